//! The lowest and highest values of a recording, block by block, so that hours of it are drawn as
//! quickly as a second.

use recording::{ReadError, Recording, Signal, Source as _};

use crate::progress;
use crate::web::words::recordings as words;

/// A block is at least so long, in seconds; a recording has at most so many.
const BLOCK_S: f64 = 0.1;
const MOST_BLOCKS: f64 = 216_000.0;
/// So many samples are read at a time.
const AT_A_TIME: usize = 65_536;
/// Columns narrower than this are no closer than the samples, which are then drawn themselves.
const FEW_SAMPLES: f64 = 2.0;

/// Lowest and highest value within some time; not numbers where nothing was recorded.
pub(crate) type Extent = [f32; 2];

const NOTHING: Extent = [f32::NAN, f32::NAN];

/// The blocks of every signal.
#[derive(Debug)]
pub(crate) struct Envelope {
    block_s: f64,
    blocks: Vec<Vec<Extent>>,
    /// The usual lowest and highest value of each signal.
    usual: Vec<Option<[f64; 2]>>,
}

/// A stretch of a signal, ready to be drawn.
#[derive(Debug, PartialEq)]
pub(crate) enum Drawn {
    /// The samples: times in seconds, and values, which are not numbers in gaps.
    Samples(Vec<[f64; 2]>),
    /// Columns of equal width.
    Columns(Vec<Extent>),
}

fn widened(extent: &mut Extent, value: f32) {
    // Of a number and none, the number is taken.
    *extent = [extent[0].min(value), extent[1].max(value)];
}

impl Envelope {
    /// Goes over the whole recording once for each signal.
    pub(crate) fn of(recording: &mut Recording) -> Result<Self, ReadError> {
        let block_s = BLOCK_S.max(recording.duration_s() / MOST_BLOCKS);
        let signals = recording.signals().to_vec();
        let bar = progress::bar(words::READING, signals.len());
        let mut blocks = Vec::new();
        for (index, signal) in signals.iter().enumerate() {
            blocks.push(blocks_of(recording, index, signal, block_s)?);
            bar.inc(1);
        }
        bar.finish_and_clear();
        let usual = blocks.iter().map(|blocks| usual(blocks)).collect();
        Ok(Self { block_s, blocks, usual })
    }

    /// Between which values a signal usually lies; nothing of one that was never recorded.
    pub(crate) fn usual(&self, signal: usize) -> Option<[f64; 2]> {
        self.usual.get(signal).copied().flatten()
    }

    /// A stretch of `signal` in `columns` columns.
    pub(crate) fn stretch(
        &self,
        recording: &mut Recording,
        signal: usize,
        [from_s, to_s]: [f64; 2],
        columns: usize,
    ) -> Result<Drawn, ReadError> {
        let Some(rate_hz) = recording.signals().get(signal).map(|signal| signal.rate_hz) else {
            return Ok(Drawn::Columns(Vec::new()));
        };
        let column_s = (to_s - from_s) / columns.max(1) as f64;
        if column_s >= self.block_s {
            let blocks = self.blocks.get(signal).map_or(&[][..], Vec::as_slice);
            return Ok(Drawn::Columns(gathered(blocks, self.block_s, from_s, column_s, columns)));
        }
        let first = (from_s * rate_hz).floor().max(0.0);
        let count = ((to_s * rate_hz).ceil() - first).max(0.0) as usize + 1;
        let mut samples = Vec::new();
        recording.read(signal, first as u64, count, &mut samples)?;
        if column_s * rate_hz <= FEW_SAMPLES {
            let time = |index: usize| (first + index as f64) / rate_hz;
            let points = samples.iter().enumerate().map(|(index, value)| [time(index), *value]);
            return Ok(Drawn::Samples(points.collect()));
        }
        let mut all = vec![NOTHING; columns];
        for (index, value) in samples.iter().enumerate() {
            let place = ((first + index as f64) / rate_hz - from_s) / column_s;
            if let Some(extent) = all.get_mut(place.max(0.0) as usize).filter(|_| place >= 0.0) {
                widened(extent, *value as f32);
            }
        }
        Ok(Drawn::Columns(all))
    }
}

fn blocks_of(
    recording: &mut Recording,
    index: usize,
    signal: &Signal,
    block_s: f64,
) -> Result<Vec<Extent>, ReadError> {
    let count = (signal.samples as f64 / signal.rate_hz / block_s).ceil() as usize;
    let mut blocks = vec![NOTHING; count];
    let mut samples = Vec::with_capacity(AT_A_TIME);
    let mut from = 0;
    while from < signal.samples {
        samples.clear();
        recording.read(index, from, AT_A_TIME, &mut samples)?;
        if samples.is_empty() {
            break;
        }
        for (at, value) in samples.iter().enumerate() {
            let block = ((from + at as u64) as f64 / signal.rate_hz / block_s) as usize;
            if let Some(extent) = blocks.get_mut(block) {
                widened(extent, *value as f32);
            }
        }
        from += samples.len() as u64;
    }
    Ok(blocks)
}

/// Columns out of blocks.
fn gathered(
    blocks: &[Extent],
    block_s: f64,
    from_s: f64,
    column_s: f64,
    columns: usize,
) -> Vec<Extent> {
    let column = |index: usize| {
        let first = ((from_s + index as f64 * column_s) / block_s).floor().max(0.0) as usize;
        let until = ((from_s + (index + 1) as f64 * column_s) / block_s).ceil().max(0.0) as usize;
        let part = blocks.get(first.min(blocks.len())..until.min(blocks.len()));
        part.unwrap_or_default().iter().fold(NOTHING, |mut all, extent| {
            widened(&mut all, extent[0]);
            widened(&mut all, extent[1]);
            all
        })
    };
    (0..columns).map(column).collect()
}

/// Of a hundred blocks the lowest and highest may lie outside: a single spike does not make all
/// else flat.
fn usual(blocks: &[Extent]) -> Option<[f64; 2]> {
    let side = |side: usize| {
        let mut all: Vec<f32> =
            blocks.iter().map(|extent| extent[side]).filter(|value| value.is_finite()).collect();
        all.sort_by(f32::total_cmp);
        all
    };
    let (lows, highs) = (side(0), side(1));
    let outside = lows.len() / 100;
    let low = f64::from(*lows.get(outside)?);
    let high = f64::from(*highs.get(highs.len().checked_sub(1 + outside)?)?);
    Some(if high > low { [low, high] } else { [low - 1.0, low + 1.0] })
}

#[cfg(test)]
mod tests {
    use recording::{Asked, Memory};

    use super::*;

    /// A ramp of 100 samples a second with a gap in it.
    fn ramp(seconds: usize) -> Recording {
        let mut text = "ramp,x\n".to_owned();
        for index in 0..100 * seconds {
            let gap = (250..300).contains(&index);
            text += &if gap { "nan,0\n".to_owned() } else { format!("{index},0\n") };
        }
        let how = Asked { rate_hz: Some(100.0), ..Asked::default() };
        let files = Memory::one("ramp.csv", text.into_bytes());
        Recording::open_in(Box::new(files), "ramp.csv", &how).unwrap()
    }

    #[test]
    fn near_by_samples_are_drawn_and_from_afar_their_extents() {
        let mut recording = ramp(60);
        let envelope = Envelope::of(&mut recording).unwrap();
        let near = envelope.stretch(&mut recording, 0, [1.0, 1.1], 100).unwrap();
        let Drawn::Samples(points) = near else { panic!("samples") };
        assert_eq!(points[..2], [[1.0, 100.0], [1.01, 101.0]]);
        // Of columns narrower than a block the samples' extents, of wider ones the blocks'.
        for (columns, wide) in [(600, 0.1), (60, 1.0), (1_200, 0.05)] {
            let Drawn::Columns(all) =
                envelope.stretch(&mut recording, 0, [0.0, 60.0], columns).unwrap()
            else {
                panic!("columns")
            };
            let at = |s: f64| all[(s / wide + 1e-6) as usize];
            assert!(at(2.6)[0].is_nan() || wide >= 1.0, "{columns}");
            assert!((at(10.0)[0] - 1_000.0).abs() < 2.0, "{columns}: {:?}", at(10.0));
            assert!((at(59.0)[1] - (5_900.0 + 100.0 * wide as f32)).abs() < 2.0);
        }
    }

    #[test]
    fn a_spike_leaves_the_usual_range_as_it_is() {
        let mut blocks = vec![[0.0_f32, 1.0]; 1_000];
        blocks[500] = [-50.0, 90.0];
        assert_eq!(usual(&blocks), Some([0.0, 1.0]));
        assert_eq!(usual(&[NOTHING]), None);
        assert_eq!(usual(&[[2.0, 2.0]]), Some([1.0, 3.0]));
    }
}
