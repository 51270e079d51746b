//! Title, phases and the names of the alignment lines.

use cycle::PhaseKind;

use super::{Layer, Look, Plan, SMALL, TITLE, text_height};
use crate::picture::{Align, Box2, Shape, Stroke, Tag};
use crate::{font, place, style};

/// Distance between names in a row, in millimetres at scale 1.
const BETWEEN: f64 = 2.5;
/// Height of the slanted stretch from a name to what it names, at scale 1.
const SLANT: f64 = 2.6;

/// One phase where it is shown.
struct Band<'a> {
    kind: &'a PhaseKind,
    from: f64,
    to: f64,
}

impl Band<'_> {
    fn middle(&self) -> f64 {
        f64::midpoint(self.from, self.to)
    }
}

/// Names in a row, each in lines, with their middles.
struct Row {
    lines: Vec<Vec<String>>,
    middles: Vec<f64>,
}

impl Row {
    fn height(&self, size: f64) -> f64 {
        let most = self.lines.iter().map(Vec::len).max().unwrap_or_default();
        if most == 0 { 0.0 } else { text_height(most, size) }
    }
}

impl<'a> Plan<'a> {
    /// Everything above the panels; gives where they may begin.
    pub(super) fn head(&mut self, mut y: f64) -> f64 {
        let k = self.k;
        if let Some(title) = &self.scene.spec.title {
            let room = self.scene.spec.width_mm - 2.0 * self.names;
            let lines = font::wrap(title, TITLE * k, true, room);
            let look = Look::new(TITLE, Align::Start, style::INK).bold();
            y = self.lines_of_text(&Tag::Title, self.names, y, &lines, look) + 3.0 * k;
        }
        if self.scene.spec.phases {
            y = self.phases(y);
        }
        self.line_names(y)
    }

    fn bands(&self) -> Vec<Band<'a>> {
        let scene = self.scene;
        let shown = scene.cycle.phases.iter().filter_map(|phase| {
            let kind = scene.subject.phase(&phase.name)?;
            let from = self.x(phase.start_s.max(scene.start_s));
            let to = self.x(phase.end_s.min(scene.end_s));
            (to > from).then_some(Band { kind, from, to })
        });
        shown.collect()
    }

    fn phases(&mut self, y: f64) -> f64 {
        let bands = self.bands();
        if bands.is_empty() {
            return y;
        }
        let size = SMALL * self.k;
        let inside: Vec<Option<Vec<String>>> =
            bands.iter().map(|band| fitting(band, size, 0.9 * self.k)).collect();
        let narrow: Vec<&Band<'a>> =
            bands.iter().zip(&inside).filter(|(_, lines)| lines.is_none()).map(|p| p.0).collect();
        match self.raised(&narrow) {
            Some(row) => self.named_bands(y, &bands, &inside, &narrow, &row),
            None => self.numbered_bands(y, &bands),
        }
    }

    /// The names of narrow bands in a row above; none where they would stray too far.
    fn raised(&self, narrow: &[&Band<'a>]) -> Option<Row> {
        let wanted: Vec<f64> = narrow.iter().map(|band| band.middle()).collect();
        let titles: Vec<&str> = narrow.iter().map(|band| band.kind.title.as_str()).collect();
        let shorts: Vec<&str> = narrow.iter().map(|band| band.kind.short.as_str()).collect();
        self.row(&wanted, &titles, 22.0).or_else(|| self.row(&wanted, &shorts, 22.0))
    }

    /// Names near `wanted`, in as few lines as keep them within `stray` (at scale 1).
    fn row(&self, wanted: &[f64], names: &[&str], stray: f64) -> Option<Row> {
        let (k, size) = (self.k, SMALL * self.k);
        let (low, high) = (self.names, self.right + self.label_margin);
        let tries = [60.0, 30.0, 22.0, 16.0].iter().filter_map(|room| {
            let lines: Vec<Vec<String>> =
                names.iter().map(|name| font::wrap_evenly(name, size, false, room * k)).collect();
            let widths: Vec<f64> =
                lines.iter().map(|lines| font::widest(lines, size, false)).collect();
            let middles = place::spread(wanted, &widths, BETWEEN * k, low, high)?;
            let off = middles.iter().zip(wanted).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            Some((off, Row { lines, middles }))
        });
        let mut best: Option<(f64, Row)> = None;
        for (off, row) in tries {
            if off <= 9.0 * k {
                return Some(row);
            }
            if off <= stray * k && best.as_ref().is_none_or(|(least, _)| off < *least) {
                best = Some((off, row));
            }
        }
        best.map(|(_, row)| row)
    }

    fn named_bands(
        &mut self,
        y: f64,
        bands: &[Band<'a>],
        inside: &[Option<Vec<String>>],
        narrow: &[&Band<'a>],
        row: &Row,
    ) -> f64 {
        let (k, size) = (self.k, SMALL * self.k);
        let top = if narrow.is_empty() { y } else { y + row.height(size) + SLANT * k };
        let most = inside.iter().flatten().map(Vec::len).max().unwrap_or(1);
        let height = text_height(most, size) + 2.0 * k;
        for (index, band) in bands.iter().enumerate() {
            self.band(index, band, top, height);
            let Some(lines) = &inside[index] else { continue };
            let tag = Tag::Phase(band.kind.id.clone());
            let start = top + (height - text_height(lines.len(), size)) / 2.0;
            let look = Look::new(SMALL, Align::Middle, style::INK);
            self.lines_of_text(&tag, band.middle(), start, lines, look);
        }
        for (index, band) in narrow.iter().enumerate() {
            let tag = Tag::Phase(band.kind.id.clone());
            let (lines, middle) = (&row.lines[index], row.middles[index]);
            let start = top - SLANT * k - text_height(lines.len(), size);
            let look = Look::new(SMALL, Align::Middle, style::INK);
            self.lines_of_text(&tag, middle, start, lines, look);
            let knee = [band.middle(), top - 0.6 * k];
            let points = [[middle, top - (SLANT - 0.3) * k], knee, [knee[0], top + 0.9 * k]];
            let stroke = Stroke::solid(style::SOFT_INK, 0.15 * k);
            self.line(Layer::Frames, tag, &points, stroke);
        }
        self.strip_name(top, height);
        top + height
    }

    /// Bands with numbers, and a key above: for bands too many or too narrow for names.
    fn numbered_bands(&mut self, y: f64, bands: &[Band<'a>]) -> f64 {
        let (k, size) = (self.k, SMALL * self.k);
        let kinds: Vec<&PhaseKind> = self
            .scene
            .subject
            .phases
            .iter()
            .filter(|kind| bands.iter().any(|band| band.kind.id == kind.id))
            .collect();
        let mut top = self.phase_key(y, &kinds) + 1.2 * k;
        let number = |band: &Band<'_>| {
            let place = kinds.iter().position(|kind| kind.id == band.kind.id);
            (place.unwrap_or_default() + 1).to_string()
        };
        let slim = |band: &Band<'_>| {
            band.to - band.from < font::width(&number(band), size, false) + 0.3 * k
        };
        let raised: Vec<&Band<'a>> = bands.iter().filter(|band| slim(band)).collect();
        let wanted: Vec<f64> = raised.iter().map(|band| band.middle()).collect();
        let widths: Vec<f64> =
            raised.iter().map(|band| font::width(&number(band), size, false)).collect();
        let middles = place::spread(&wanted, &widths, 0.4 * k, self.left, self.right);
        let lift = text_height(1, size);
        if !raised.is_empty() {
            top += lift;
        }
        let height = lift + 1.6 * k;
        let baseline = top + 0.8 * k + font::ABOVE * size;
        let look = Look::new(SMALL, Align::Middle, style::INK);
        for (index, band) in bands.iter().enumerate() {
            self.band(index, band, top, height);
            if !slim(band) {
                let tag = Tag::Phase(band.kind.id.clone());
                self.text(tag, [band.middle(), baseline], &number(band), look);
            }
        }
        for (band, middle) in raised.iter().zip(middles.unwrap_or_default()) {
            let tag = Tag::Phase(band.kind.id.clone());
            self.text(tag, [middle, top - 0.25 * size], &number(band), look);
        }
        self.strip_name(top, height);
        top + height
    }

    fn phase_key(&mut self, y: f64, kinds: &[&PhaseKind]) -> f64 {
        let (k, size) = (self.k, SMALL * self.k);
        let mut at = [self.left, y + font::ABOVE * size];
        for (index, kind) in kinds.iter().enumerate() {
            let text = format!("{} {}", index + 1, kind.title);
            let width = font::width(&text, size, false);
            if at[0] + width > self.right && at[0] > self.left {
                at = [self.left, at[1] + font::LEADING * size];
            }
            let look = Look::new(SMALL, Align::Start, style::INK);
            self.text(Tag::Phase(String::new()), at, &text, look);
            at[0] += width + 4.0 * k;
        }
        at[1] + font::BELOW * size
    }

    fn band(&mut self, index: usize, band: &Band<'_>, top: f64, height: f64) {
        let tag = Tag::Phase(band.kind.id.clone());
        let area = Box2::new(band.from, top, band.to - band.from, height);
        if index.is_multiple_of(2) {
            self.add(Layer::Ground, tag.clone(), Shape::Fill { area, colour: style::TINT });
        }
        let stroke = self.hairline();
        let (x, w, b) = (area.x, area.right(), area.bottom());
        let frame = [[x, top], [w, top], [w, b], [x, b], [x, top]];
        self.line(Layer::Frames, tag, &frame, stroke);
    }

    fn strip_name(&mut self, top: f64, height: f64) {
        let size = SMALL * self.k;
        let baseline = top + (height - text_height(1, size)) / 2.0 + font::ABOVE * size;
        let look = Look::new(SMALL, Align::Start, style::SOFT_INK);
        self.text(Tag::Phase(String::new()), [self.names, baseline], "Phase", look);
    }

    /// The lines' names in a row, each with a slant to where its first line begins.
    fn line_names(&mut self, y: f64) -> f64 {
        let (scene, k, size) = (self.scene, self.k, SMALL * self.k);
        let mut named: Vec<(f64, &str, &str)> =
            scene.lines.iter().map(|line| (self.x(line.times_s[0]), line.id, line.title)).collect();
        if named.is_empty() {
            return y + super::GAP * k;
        }
        named.sort_by(|a, b| a.0.total_cmp(&b.0));
        let wanted: Vec<f64> = named.iter().map(|line| line.0).collect();
        let titles: Vec<&str> = named.iter().map(|line| line.2).collect();
        let ids: Vec<&str> = named.iter().map(|line| line.1).collect();
        // Far from its line a name is still better than none, so any distance will do.
        let row = self.row(&wanted, &titles, 1e6).or_else(|| self.row(&wanted, &ids, 1e6));
        let Some(row) = row else { return y + super::GAP * k };
        let top = y + 1.6 * k;
        let bottom = top + row.height(size);
        let end = bottom + SLANT * k;
        for (index, &(x, id, _)) in named.iter().enumerate() {
            let tag = Tag::Line(id.to_owned());
            let (lines, middle) = (&row.lines[index], row.middles[index]);
            let start = bottom - text_height(lines.len(), size);
            let look = Look::new(SMALL, Align::Middle, style::ACCENT);
            self.lines_of_text(&tag, middle, start, lines, look);
            let stroke = Stroke::solid(style::ACCENT, 0.2 * k);
            self.line(Layer::Lines, tag, &[[middle, bottom + 0.4 * k], [x, end]], stroke);
        }
        end
    }
}

/// A phase's name in one or two lines inside its band, or `None` where it is too narrow.
fn fitting(band: &Band<'_>, size: f64, air: f64) -> Option<Vec<String>> {
    let room = band.to - band.from - air;
    [&band.kind.title, &band.kind.short].into_iter().find_map(|name| {
        // An abbreviation inside is worse than the full name above.
        let abbreviated = name.len() * 2 < band.kind.title.len();
        let lines = font::wrap(name, size, false, room);
        let fits = lines.len() <= 2 && font::widest(&lines, size, false) <= room;
        (fits && !abbreviated).then_some(lines)
    })
}
