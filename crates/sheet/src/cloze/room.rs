//! Room for numbers: near what they stand for, on nothing.

use figure::style::Colour;
use figure::{Box2, Figure, Shape, Tag, foot};

use super::BlankKind;
use super::names::{Name, Sheet, Target};

/// Half the width of a ring or square, in millimetres at scale 1.
const RADIUS: f64 = 2.2;
/// Least distance of a number from a trace, and of numbers from one another, at scale 1.
const AIR: f64 = 0.5;
/// Longest way from a point to its ring without a leader, at scale 1.
const NEAR: f64 = 1.3;
/// How far from its name's place a number is looked for, at scale 1.
const REACH: f64 = 26.0;

/// A number's place.
pub(super) struct Ring<'s> {
    pub(super) name: &'s Name,
    pub(super) centre: [f64; 2],
    pub(super) leader: Option<Vec<[f64; 2]>>,
    pub(super) number: usize,
    radius: f64,
}

impl Ring<'_> {
    /// Its box, within which its whole outline lies.
    fn area(&self) -> Box2 {
        around(self.centre, self.radius)
    }

    /// A ring for a point, a square for whatever is longer.
    pub(super) fn outline(&self) -> Vec<[f64; 2]> {
        let [x, y] = self.centre;
        let corners = if self.name.kind == BlankKind::Landmark { 32 } else { 4 };
        let turn = std::f64::consts::TAU / f64::from(corners);
        let far = if corners == 4 { self.radius * std::f64::consts::SQRT_2 } else { self.radius };
        let corner = |index: i32| {
            let angle = (f64::from(index) + 0.5) * turn;
            [x + far * libm::cos(angle), y + far * libm::sin(angle)]
        };
        (0..corners).map(corner).collect()
    }
}

type Segment = [[f64; 2]; 2];

/// What numbers must keep off.
#[derive(Default)]
struct Taken {
    traces: Vec<(String, Colour, Segment)>,
    /// Leaders and whatever else is drawn for names.
    ways: Vec<Segment>,
    lines: Vec<Segment>,
    boxes: Vec<Box2>,
    points: Vec<[f64; 2]>,
}

/// Finds a place for the number of each of `asked` in `page`, where their names are gone.
pub(super) fn place<'s>(sheet: &Sheet<'_>, asked: &[&'s Name], page: &Figure) -> Vec<Ring<'s>> {
    let mut taken = Taken::of(page);
    for name in asked {
        if let Target::Point(point) = name.target {
            taken.points.push(point);
        }
    }
    let mut order: Vec<&Name> = asked.to_vec();
    // Points cannot move; a trace can be named anywhere.
    order.sort_by_key(|name| name.kind == BlankKind::Trace);
    let mut rings: Vec<Ring<'s>> = Vec::new();
    for name in order {
        let ring = best(name, &taken, sheet.scale);
        taken.boxes.push(ring.area());
        for pair in ring.leader.iter().flat_map(|leader| leader.windows(2)) {
            taken.ways.push([pair[0], pair[1]]);
        }
        rings.push(ring);
    }
    rings
}

impl Taken {
    fn of(page: &Figure) -> Self {
        let mut taken = Self::default();
        for item in &page.items {
            match (&item.tag, &item.shape) {
                (_, Shape::Text { .. }) => taken.boxes.extend(item.shape.text_box()),
                (tag, Shape::Lines { parts, stroke }) => {
                    let pairs = parts.iter().flat_map(|part| part.windows(2));
                    let segments = pairs.map(|pair| [pair[0], pair[1]]);
                    match tag {
                        Tag::Trace(id) | Tag::Ghost(id) => {
                            taken.traces.extend(segments.map(|s| (id.clone(), stroke.colour, s)))
                        }
                        Tag::Loop => {
                            taken.traces.extend(segments.map(|s| (String::new(), stroke.colour, s)))
                        }
                        Tag::Line(_) if !stroke.dash.is_empty() => taken.lines.extend(segments),
                        Tag::Line(_)
                        | Tag::TraceLabel(_)
                        | Tag::LandmarkLabel(_)
                        | Tag::LoopLabel(_) => taken.ways.extend(segments),
                        _ => {}
                    }
                }
                _ => {}
            }
        }
        taken
    }

    fn free(&self, area: &Box2, k: f64) -> bool {
        let clear = area.grown(AIR * k);
        !self.boxes.iter().any(|other| other.overlaps(&clear))
            && !self.traces.iter().any(|(.., [a, b])| clear.crossed_by(*a, *b))
            && !self.ways.iter().any(|[a, b]| clear.crossed_by(*a, *b))
    }

    /// The nearest point of a channel's trace.
    fn on_trace(&self, channel: &str, at: [f64; 2]) -> Option<[f64; 2]> {
        let own = self.traces.iter().filter(|(id, ..)| id == channel);
        let feet = own.map(|(.., [a, b])| foot(at, *a, *b));
        feet.min_by(|a, b| distance(*a, at).total_cmp(&distance(*b, at)))
    }

    /// Distance of the nearest trace of another channel in the same panel.
    fn other_trace(&self, channel: &str, at: [f64; 2]) -> f64 {
        let others = self.traces.iter().filter(|(id, ..)| id != channel);
        others.map(|(.., [a, b])| distance(foot(at, *a, *b), at)).fold(f64::MAX, f64::min)
    }
}

/// The best of all places within reach; where none is free, that of the name.
fn best<'s>(name: &'s Name, taken: &Taken, k: f64) -> Ring<'s> {
    let radius = RADIUS * k;
    let wanted = wanted(name, radius, k);
    let mut best: Option<(f64, Ring<'s>)> = None;
    for step in 0..(REACH / 0.5) as usize {
        let far = step as f64 * 0.5 * k;
        if best.as_ref().is_some_and(|(least, _)| *least <= far) {
            break;
        }
        let ways = if step == 0 { 1 } else { 24 };
        for way in 0..ways {
            let angle = f64::from(way) / 24.0 * std::f64::consts::TAU;
            let centre = [wanted[0] + far * libm::cos(angle), wanted[1] + far * libm::sin(angle)];
            let area = around(centre, radius);
            if !name.bounds.holds(&area) || !taken.free(&area, k) {
                continue;
            }
            let Some((leader, cost)) = leader(name, centre, radius, taken, k) else { continue };
            let crossed = taken.lines.iter().any(|[a, b]| area.crossed_by(*a, *b));
            let cost = far + cost + if crossed { 5.0 } else { 0.0 };
            if best.as_ref().is_none_or(|(least, _)| cost < *least) {
                best = Some((cost, Ring { name, centre, leader, number: 0, radius }));
            }
        }
    }
    let nowhere = || Ring { name, centre: wanted, leader: None, number: 0, radius };
    best.map_or_else(nowhere, |(_, ring)| ring)
}

/// Where a number would best stand: where the name is, but as near to its point as a ring can
/// be.
fn wanted(name: &Name, radius: f64, k: f64) -> [f64; 2] {
    let Target::Point(point) = name.target else { return name.at };
    let far = distance(point, name.at);
    let near = radius + 0.8 * k;
    if far < 1e-9 {
        return [point[0], point[1] - near];
    }
    let share = near / far;
    [0, 1].map(|axis| point[axis] + share * (name.at[axis] - point[axis]))
}

/// The leader from a number at `centre`, if it needs one, and what this costs; `None` where it
/// would pass through a name or another number.
fn leader(
    name: &Name,
    centre: [f64; 2],
    radius: f64,
    taken: &Taken,
    k: f64,
) -> Option<(Option<Vec<[f64; 2]>>, f64)> {
    let (points, mut cost) = match &name.target {
        Target::Place => return Some((None, 0.0)),
        Target::Way(points) => (points.clone(), 0.0),
        Target::Point(point) => {
            let near = |other: &&[f64; 2]| {
                distance(**other, *point) > 0.3 && distance(**other, centre) < radius + 1.6 * k
            };
            let crowded = taken.points.iter().filter(near).count() as f64;
            (vec![*point], 4.0 * crowded)
        }
        Target::Trace => {
            let end = taken.on_trace(&name.id, centre)?;
            let unclear = taken.other_trace(&name.id, end) < 1.6 * k;
            (vec![end], if unclear { 12.0 } else { 0.0 })
        }
    };
    let first = points[0];
    let far = distance(first, centre);
    let always = matches!(name.target, Target::Way(_));
    let edge = edge(name.kind, centre, first, radius);
    if !always && distance(edge, first) <= NEAR * k && far > radius {
        return Some((None, cost));
    }
    let barred = taken.boxes.iter().any(|other| other.crossed_by(edge, first))
        || taken.ways.iter().any(|[a, b]| crosses(edge, first, *a, *b));
    if barred {
        return None;
    }
    // It ends on its trace, so its last stretch is not looked at.
    let long = distance(edge, first);
    let share = (1.0 - 0.8 * k / long.max(1e-9)).max(0.0);
    let end = [0, 1].map(|axis| edge[axis] + share * (first[axis] - edge[axis]));
    if taken.traces.iter().any(|(.., [a, b])| crosses(edge, end, *a, *b)) {
        cost += 8.0;
    }
    if taken.lines.iter().any(|[a, b]| crosses(edge, end, *a, *b)) {
        cost += 1.5;
    }
    let leader = std::iter::once(edge).chain(points).collect();
    Some((Some(leader), cost))
}

/// Where a leader to `to` leaves the outline.
fn edge(kind: BlankKind, centre: [f64; 2], to: [f64; 2], radius: f64) -> [f64; 2] {
    let (dx, dy) = (to[0] - centre[0], to[1] - centre[1]);
    let long = match kind {
        BlankKind::Landmark => libm::hypot(dx, dy),
        _ => dx.abs().max(dy.abs()),
    };
    if long < 1e-9 {
        return centre;
    }
    [centre[0] + dx / long * radius, centre[1] + dy / long * radius]
}

fn around([x, y]: [f64; 2], radius: f64) -> Box2 {
    Box2::new(x - radius, y - radius, 2.0 * radius, 2.0 * radius)
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    libm::hypot(a[0] - b[0], a[1] - b[1])
}

/// Whether two stretches cross.
fn crosses(a: [f64; 2], b: [f64; 2], c: [f64; 2], d: [f64; 2]) -> bool {
    let side = |p: [f64; 2], q: [f64; 2], r: [f64; 2]| {
        (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])
    };
    side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0
}
