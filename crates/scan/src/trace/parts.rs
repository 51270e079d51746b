//! Connected parts of ink.

/// The connected parts of a mask as runs along its rows; what is no more than two pixels apart
/// counts as connected.
#[derive(Clone, Debug)]
pub(crate) struct Runs {
    width: usize,
    runs: Vec<Run>,
    boxes: Vec<PixelBox>,
    areas: Vec<u32>,
}

/// The same, where each row's runs can be found.
#[derive(Clone, Debug)]
pub(crate) struct Parts {
    runs: Runs,
    /// The first run of each row, and one past the last of all.
    rows: Vec<usize>,
}

/// Pixels side by side: their row, the first, one past the last, and their part.
#[derive(Clone, Copy, Debug)]
struct Run {
    y: usize,
    from: usize,
    to: usize,
    part: u32,
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
/// Pixels of a row that are looked at together.
const TOGETHER: usize = 32;

/// Runs of a row joined over gaps: first pixel, one past the last, and the set they are in.
struct Joined {
    from: usize,
    to: usize,
    set: u32,
}

impl Runs {
    /// The parts of what `is_inked` in rows of this width.
    pub(crate) fn of<T: Copy>(width: usize, pixels: &[T], is_inked: impl Fn(T) -> bool) -> Self {
        let mut sets: Vec<u32> = Vec::new();
        let mut rows: [Vec<Joined>; 2] = [Vec::new(), Vec::new()];
        let mut runs: Vec<Run> = Vec::new();
        for (y, row) in pixels.chunks_exact(width.max(1)).enumerate() {
            let first = runs.len();
            add_runs(row, y, &is_inked, &mut runs);
            let mut joined = std::mem::take(&mut rows[0]);
            join(&mut runs[first..], &mut joined);
            for run in &mut joined {
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
            }
            runs[first..].iter_mut().for_each(|run| run.part = joined[run.part as usize].set);
            rows[0] = std::mem::replace(&mut rows[1], joined);
        }
        Self::numbered(width, runs, sets)
    }

    /// Numbers the parts in the order of their first pixels.
    fn numbered(width: usize, mut runs: Vec<Run>, mut sets: Vec<u32>) -> Self {
        let mut names = vec![NONE; sets.len()];
        let (mut boxes, mut areas): (Vec<PixelBox>, Vec<u32>) = (Vec::new(), Vec::new());
        for run in &mut runs {
            let here = PixelBox { left: run.from, top: run.y, right: run.to - 1, bottom: run.y };
            let name = &mut names[root(&mut sets, run.part) as usize];
            if *name == NONE {
                *name = boxes.len() as u32;
                boxes.push(here);
                areas.push(0);
            }
            run.part = *name;
            let part = *name as usize;
            boxes[part] = boxes[part].joined(&here);
            areas[part] += (run.to - run.from) as u32;
        }
        Self { width, runs, boxes, areas }
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

    /// Every inked pixel and its part.
    pub(crate) fn each(&self) -> impl Iterator<Item = (usize, usize)> {
        let pixels = |run: &Run| {
            let part = run.part as usize;
            (run.y * self.width + run.from..run.y * self.width + run.to).map(move |at| (at, part))
        };
        self.runs.iter().flat_map(pixels)
    }
}

impl Parts {
    pub(crate) fn of(width: usize, height: usize, inked: impl Fn(usize) -> bool) -> Self {
        let mask: Vec<bool> = (0..width * height).map(inked).collect();
        Self::of_mask(width, &mask)
    }

    /// The parts of a mask, row by row, of this width.
    pub(crate) fn of_mask(width: usize, mask: &[bool]) -> Self {
        let runs = Runs::of(width, mask, |inked| inked);
        let mut rows = Vec::with_capacity(mask.len() / width.max(1) + 1);
        for (at, run) in runs.runs.iter().enumerate() {
            rows.resize(rows.len().max(run.y + 1), at);
        }
        rows.resize(mask.len() / width.max(1) + 1, runs.runs.len());
        Self { runs, rows }
    }

    /// Pixels in a row.
    pub(crate) fn width(&self) -> usize {
        self.runs.width
    }

    pub(crate) fn count(&self) -> usize {
        self.runs.count()
    }

    /// Pixels of a part.
    pub(crate) fn area(&self, part: usize) -> u32 {
        self.runs.area(part)
    }

    pub(crate) fn bounds(&self, part: usize) -> PixelBox {
        self.runs.bounds(part)
    }

    fn row(&self, y: usize) -> &[Run] {
        &self.runs.runs[self.rows[y]..self.rows[y + 1]]
    }

    /// The part of a pixel.
    pub(crate) fn at(&self, at: usize) -> Option<usize> {
        let (x, y) = (at % self.width(), at / self.width());
        let row = self.row(y);
        let run = row.get(row.partition_point(|run| run.to <= x))?;
        (run.from <= x).then_some(run.part as usize)
    }

    /// Which pixels of a row, from a column and row on, are of the parts that `are_wanted`.
    pub(crate) fn mask_of(&self, are_wanted: &[bool], [x, y]: [usize; 2], mask: &mut [bool]) {
        mask.fill(false);
        let within = |column: usize| column.saturating_sub(x).min(mask.len());
        let wanted = self.row(y).iter().filter(|run| are_wanted[run.part as usize]);
        let wanted: Vec<[usize; 2]> =
            wanted.map(|run| [within(run.from), within(run.to)]).collect();
        wanted.into_iter().for_each(|[from, to]| mask[from..to].fill(true));
    }

    /// Every inked pixel and its part.
    pub(crate) fn each(&self) -> impl Iterator<Item = (usize, usize)> {
        self.runs.each()
    }
}

/// The runs of a row. Most of a page is paper: many pixels are looked at together.
fn add_runs<T: Copy>(row: &[T], y: usize, is_inked: impl Fn(T) -> bool, runs: &mut Vec<Run>) {
    let first = runs.len();
    for (n, part) in row.chunks(TOGETHER).enumerate() {
        if !part.iter().fold(false, |any, &pixel| any | is_inked(pixel)) {
            continue;
        }
        for x in (n * TOGETHER..n * TOGETHER + part.len()).filter(|&x| is_inked(row[x])) {
            match runs[first..].last_mut() {
                Some(run) if run.to == x => run.to = x + 1,
                _ => runs.push(Run { y, from: x, to: x + 1, part: NONE }),
            }
        }
    }
}

/// Joins the runs of a row over gaps of at most two pixels, and notes in each what it is joined to.
fn join(runs: &mut [Run], joined: &mut Vec<Joined>) {
    joined.clear();
    for run in runs {
        match joined.last_mut() {
            Some(last) if run.from <= last.to + 2 => last.to = run.to,
            _ => joined.push(Joined { from: run.from, to: run.to, set: NONE }),
        }
        run.part = joined.len() as u32 - 1;
    }
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
