//! Connected parts of ink.

/// The connected parts of a mask; what is no more than two pixels apart counts as connected.
#[derive(Clone, Debug)]
pub(crate) struct Parts {
    width: usize,
    of: Vec<u32>,
    boxes: Vec<PixelBox>,
    areas: Vec<u32>,
}

/// Columns and rows, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct PixelBox {
    pub(crate) left: usize,
    pub(crate) top: usize,
    pub(crate) right: usize,
    pub(crate) bottom: usize,
}

impl PixelBox {
    pub(crate) fn width(&self) -> usize {
        self.right - self.left + 1
    }

    pub(crate) fn height(&self) -> usize {
        self.bottom - self.top + 1
    }

    pub(crate) fn joined(&self, other: &Self) -> Self {
        Self {
            left: self.left.min(other.left),
            top: self.top.min(other.top),
            right: self.right.max(other.right),
            bottom: self.bottom.max(other.bottom),
        }
    }
}

const NONE: u32 = u32::MAX;

/// Horizontal runs of a row: first pixel, one past the last, and the run's set.
struct Run {
    from: usize,
    to: usize,
    set: u32,
}

impl Parts {
    pub(crate) fn of(width: usize, height: usize, inked: impl Fn(usize) -> bool) -> Self {
        let mut sets: Vec<u32> = Vec::new();
        let mut rows: [Vec<Run>; 2] = [Vec::new(), Vec::new()];
        let mut of = vec![NONE; width * height];
        for y in 0..height {
            let mut runs = runs(width, |x| inked(y * width + x));
            for run in &mut runs {
                for row in &rows {
                    let first = row.partition_point(|above| above.to + 1 < run.from);
                    let touching = row[first..].iter().take_while(|above| above.from <= run.to + 1);
                    for above in touching {
                        run.set = united(&mut sets, run.set, above.set);
                    }
                }
                if run.set == NONE {
                    run.set = sets.len() as u32;
                    sets.push(run.set);
                }
                for x in run.from..run.to {
                    if inked(y * width + x) {
                        of[y * width + x] = run.set;
                    }
                }
            }
            rows.swap(0, 1);
            rows[1] = runs;
        }
        Self::numbered(width, of, sets)
    }

    fn numbered(width: usize, mut of: Vec<u32>, mut sets: Vec<u32>) -> Self {
        let mut names = vec![NONE; sets.len()];
        let (mut boxes, mut areas): (Vec<PixelBox>, Vec<u32>) = (Vec::new(), Vec::new());
        for (at, set) in of.iter_mut().enumerate() {
            if *set == NONE {
                continue;
            }
            let (x, y) = (at % width, at / width);
            let here = PixelBox { left: x, top: y, right: x, bottom: y };
            let name = &mut names[root(&mut sets, *set) as usize];
            if *name == NONE {
                *name = boxes.len() as u32;
                boxes.push(here);
                areas.push(0);
            }
            *set = *name;
            let part = *name as usize;
            boxes[part] = boxes[part].joined(&here);
            areas[part] += 1;
        }
        Self { width, of, boxes, areas }
    }

    /// Pixels in a row.
    pub(crate) fn width(&self) -> usize {
        self.width
    }

    pub(crate) fn count(&self) -> usize {
        self.boxes.len()
    }

    /// Pixels of a part.
    pub(crate) fn area(&self, part: usize) -> u32 {
        self.areas[part]
    }

    pub(crate) fn bounds(&self, part: usize) -> PixelBox {
        self.boxes[part]
    }

    /// The part of a pixel.
    pub(crate) fn at(&self, at: usize) -> Option<usize> {
        Some(self.of[at]).filter(|&part| part != NONE).map(|part| part as usize)
    }

    /// Every inked pixel and its part.
    pub(crate) fn each(&self) -> impl Iterator<Item = (usize, usize)> {
        let inked = self.of.iter().enumerate().filter(|(_, part)| **part != NONE);
        inked.map(|(at, &part)| (at, part as usize))
    }

    /// Pixels of a part within its box.
    pub(crate) fn pixels(&self, part: usize) -> impl Iterator<Item = [usize; 2]> {
        let bounds = self.boxes[part];
        let places = (bounds.top..=bounds.bottom)
            .flat_map(move |y| (bounds.left..=bounds.right).map(move |x| [x, y]));
        places.filter(move |[x, y]| self.of[y * self.width + x] == part as u32)
    }
}

/// Runs of a row, over gaps of at most two pixels.
fn runs(width: usize, inked: impl Fn(usize) -> bool) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    for x in 0..width {
        if !inked(x) {
            continue;
        }
        match runs.last_mut() {
            Some(run) if x <= run.to + 2 => run.to = x + 1,
            _ => runs.push(Run { from: x, to: x + 1, set: NONE }),
        }
    }
    runs
}

fn united(sets: &mut [u32], own: u32, other: u32) -> u32 {
    let other = root(sets, other);
    if own == NONE {
        return other;
    }
    let own = root(sets, own);
    sets[own.max(other) as usize] = own.min(other);
    own.min(other)
}

fn root(sets: &mut [u32], mut set: u32) -> u32 {
    while sets[set as usize] != set {
        let up = sets[sets[set as usize] as usize];
        sets[set as usize] = up;
        set = up;
    }
    set
}
