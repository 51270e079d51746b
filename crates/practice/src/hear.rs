//! A task to be heard: the heart's sounds, and a trace as a tone that rises and falls with it.

use cycle::Cycle;
use heart::Heard;
use marking::has_bursts;
use serde::Deserialize;
use sheet::PanelPlace;

use crate::strokes::{Drawing, Polyline};
use crate::{Practice, PracticeError, words};

/// What is to be heard.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(default)]
pub struct Hearing {
    /// The channel whose trace is heard as a tone; with none, the heart's sounds alone.
    pub trace: String,
    /// Whether everything goes four times slower than the heart.
    pub slowly: bool,
}

/// How long the heart's sounds alone are heard, and a trace again and again, seconds.
const SOUND_S: f64 = 6.0;
/// Silence between a trace's end and its beginning, seconds.
pub(crate) const PAUSE_S: f64 = 0.4;
pub(crate) const SLOWER: f64 = 4.0;
/// The tone at a panel's bottom, hertz, and how many octaves higher it is at the top (pitch for height, as
/// in a score; the range of a singing voice: common practice, no source).
const LOWEST_HZ: f64 = 165.0;
const OCTAVES: f64 = 2.0;
const TONE: f64 = 0.22;
/// How fast the tone comes and goes, so that it does not click, seconds.
const FADE_S: f64 = 0.006;
/// A sound that is slowed keeps its loudness from moment to moment, and is heard at this pitch: at its own,
/// divided by four, nobody would hear it. Hertz.
const SLOWED_HZ: f64 = 80.0;
/// Loudness is the largest within so many seconds on either side.
const LOUDNESS_S: f64 = 0.008;
const LOUDNESS_STEPS: i32 = 8;

/// How high a trace is at a time, 0 at its panel's bottom and 1 at its top; none where there is none.
enum Heights<'a> {
    Given(&'a Cycle, &'a PanelPlace),
    Drawn { points: Polyline, gaps: Vec<[f64; 2]>, place: &'a PanelPlace },
}

impl Heights<'_> {
    fn at(&self, time_s: f64) -> Option<f64> {
        match self {
            Self::Given(model, place) => {
                let value = model.trace(&place.channel)?.at(time_s)?;
                let [bottom, top] = place.values;
                Some((value - bottom) / (top - bottom))
            }
            Self::Drawn { points, gaps, place } => {
                let [start, end] = place.time_s;
                let x = place.area.x + (time_s - start) / (end - start) * place.area.w;
                if gaps.iter().any(|[from, to]| (*from..*to).contains(&x)) {
                    return None;
                }
                let after = points.partition_point(|point| point[0] <= x);
                let ([a, y], [b, to_y]) =
                    (*points.get(after.checked_sub(1)?)?, *points.get(after)?);
                let y = y + (x - a) / (b - a) * (to_y - y);
                Some((place.area.bottom() - y) / place.area.h)
            }
        }
    }
}

impl Practice {
    /// What is heard, as a WAV file: the heart's sounds, and with them a trace, as it is given or as it
    /// is drawn, from the page's beginning to its end.
    ///
    /// # Errors
    /// [`PracticeError::Request`] where no panel has that trace, or nothing is drawn in it.
    pub fn sound(&self, hearing: &Hearing, drawing: &Drawing) -> Result<Vec<u8>, PracticeError> {
        let sounds = Heard::of(&self.computed);
        let slower = if hearing.slowly { SLOWER } else { 1.0 };
        let heard = |time_s: f64, at_s: f64| {
            if hearing.slowly { slowed(&sounds, time_s, at_s) } else { sounds.at(time_s) }
        };
        if hearing.trace.is_empty() {
            let seconds = if hearing.slowly { 2.0 * SOUND_S } else { SOUND_S };
            return Ok(heart::wav(seconds, |at_s| heard(at_s / slower, at_s)));
        }
        let heights = self.heights(&hearing.trace, drawing)?;
        let (Heights::Given(_, place) | Heights::Drawn { place, .. }) = &heights;
        let [start_s, end_s] = place.time_s;
        let turn_s = (end_s - start_s) * slower + PAUSE_S;
        let turns = (SOUND_S / turn_s).round().max(1.0);
        let (mut phase, mut loud, mut pitch) = (0.0, 0.0, 0.0);
        let step_s = 1.0 / f64::from(heart::AUDIO_HZ);
        Ok(heart::wav(turns * turn_s, |at_s| {
            let time_s = start_s + at_s % turn_s / slower;
            let shown = time_s < end_s;
            let height = heights.at(time_s).filter(|_| shown);
            if let Some(height) = height {
                pitch = LOWEST_HZ * libm::exp2(OCTAVES * height.clamp(0.0, 1.0));
            }
            let wanted = if height.is_some() { TONE } else { 0.0 };
            loud += (wanted - loud) * step_s / FADE_S;
            phase = (phase + pitch * step_s) % 1.0;
            let tone = loud * libm::sin(2.0 * std::f64::consts::PI * phase);
            let sound = if shown { heard(time_s, at_s) } else { 0.0 };
            tone + (1.0 - TONE) * sound
        }))
    }

    fn heights<'a>(
        &'a self,
        channel: &str,
        drawing: &Drawing,
    ) -> Result<Heights<'a>, PracticeError> {
        let own = |place: &&PanelPlace| place.channel == channel;
        let place = self.panels.iter().map(|on| &on.place).find(own);
        let place = place.filter(|_| !has_bursts(&self.subject, channel));
        let place = place.ok_or_else(|| PracticeError::Request(words::no_tone(channel)))?;
        if place.given {
            return Ok(Heights::Given(&self.model, place));
        }
        let sheet = self.sheet(drawing)?;
        let mut traces = sheet.pages.into_iter().flat_map(|page| page.traces);
        let drawn = traces.find(|trace| trace.channel == channel && trace.points_mm.len() > 1);
        let silent = || PracticeError::Silent(words::nothing_drawn(&self.noun_of_channel(channel)));
        let drawn = drawn.ok_or_else(silent)?;
        Ok(Heights::Drawn { points: drawn.points_mm, gaps: drawn.gaps_mm, place })
    }
}

/// How the sounds are heard at `time_s` of the heart when it is `at_s` for the listener.
fn slowed(sounds: &Heard, time_s: f64, at_s: f64) -> f64 {
    let near = (-LOUDNESS_STEPS..=LOUDNESS_STEPS).map(|step| {
        sounds.at(time_s + f64::from(step) / f64::from(LOUDNESS_STEPS) * LOUDNESS_S).abs()
    });
    near.fold(0.0, f64::max) * libm::sin(2.0 * std::f64::consts::PI * SLOWED_HZ * at_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Definition, Level};

    fn practice() -> Practice {
        let test = "title = \"A\"\nconvention = \"first_course\"\ngiven = [\"ecg\"]\n".to_owned();
        let definition = Definition { test, ..Definition::default() };
        Practice::new(&definition, Level::Given, 3).unwrap()
    }

    fn hearing(trace: &str, slowly: bool) -> Hearing {
        Hearing { trace: trace.to_owned(), slowly }
    }

    fn samples(wav: &[u8]) -> Vec<f64> {
        assert_eq!(&wav[..4], b"RIFF");
        let pairs = wav[44..].chunks_exact(2);
        pairs.map(|pair| f64::from(i16::from_le_bytes([pair[0], pair[1]])) / 32768.0).collect()
    }

    /// The pressure's panel with a line in it: level at a quarter of its height, then at three
    /// quarters, with nothing in the last third.
    fn steps(practice: &Practice) -> (Drawing, PanelPlace) {
        let place =
            practice.panels.iter().find(|on| on.place.channel == "aortic_pressure").unwrap();
        let area = place.place.area;
        let [left, third] = [area.x, area.w / 3.0];
        let y = |share: f64| area.bottom() - share * area.h;
        let line = vec![
            [left, y(0.25)],
            [left + third, y(0.25)],
            [left + third + 1.0, y(0.75)],
            [left + 2.0 * third, y(0.75)],
        ];
        let mut drawing = Drawing::default();
        drawing.strokes.insert("aortic_pressure".to_owned(), vec![line]);
        (drawing, place.place.clone())
    }

    /// Upward crossings a second: a pure tone's pitch, where the heart is silent.
    fn pitch(samples: &[f64], from_s: f64, to_s: f64) -> f64 {
        let place = |time_s: f64| (time_s * f64::from(heart::AUDIO_HZ)) as usize;
        let part = &samples[place(from_s)..place(to_s)];
        let crossings = part.windows(2).filter(|pair| pair[0] <= 0.0 && pair[1] > 0.0).count();
        crossings as f64 / (to_s - from_s)
    }

    #[test]
    fn the_tone_is_as_high_as_the_line_and_silent_where_there_is_none() {
        let mut practice = practice();
        // Without the heart's sounds the tone can be measured.
        practice.computed.traces.retain(|trace| trace.channel != "heart_sounds");
        let (drawing, place) = steps(&practice);
        for slowly in [false, true] {
            let wav = practice.sound(&hearing("aortic_pressure", slowly), &drawing).unwrap();
            let samples = samples(&wav);
            let third = (place.time_s[1] - place.time_s[0]) / 3.0 * if slowly { 4.0 } else { 1.0 };
            let low = pitch(&samples, 0.1 * third, 0.9 * third);
            let high = pitch(&samples, 1.2 * third, 1.9 * third);
            // Two octaves over the panel: an octave between a quarter and three quarters.
            assert!((low / (165.0 * 2f64.sqrt()) - 1.0).abs() < 0.02, "{low}");
            assert!((high / low - 2.0).abs() < 0.03, "{low} {high}");
            let rest = &samples[(2.1 * third * 8000.0) as usize..(2.9 * third * 8000.0) as usize];
            assert!(rest.iter().all(|value| value.abs() < 1e-3));
        }
    }

    #[test]
    fn the_sounds_are_in_step_with_the_page() {
        let mut practice = practice();
        let onsets: Vec<f64> = practice
            .computed
            .landmarks
            .iter()
            .filter(|mark| mark.name == "s1_onset")
            .map(|mark| mark.time_s)
            .collect();
        practice.model.traces.retain(|trace| trace.channel != "ecg");
        let ecg = practice.panels.iter().find(|on| on.place.channel == "ecg").unwrap();
        let [start_s, end_s] = ecg.place.time_s;
        for (slowly, slower) in [(false, 1.0), (true, 4.0)] {
            let wav = practice.sound(&hearing("ecg", slowly), &Drawing::default()).unwrap();
            let samples = samples(&wav);
            let loudest = |from_s: f64, to_s: f64| {
                let place = |time_s: f64| ((time_s - start_s) * slower * 8000.0) as usize;
                let part = &samples[place(from_s)..place(to_s)];
                part.iter().fold(0.0f64, |most, value| most.max(value.abs()))
            };
            let shown = onsets.iter().filter(|at| (start_s + 0.1..end_s - 0.2).contains(*at));
            let mut count = 0;
            for at in shown {
                let (before, after) = (loudest(at - 0.06, at - 0.02), loudest(*at, at + 0.08));
                assert!(after > 0.1 && before < 0.2 * after, "{at}: {before} {after}");
                count += 1;
            }
            assert!(count > 0);
        }
    }

    #[test]
    fn what_cannot_be_heard_is_told() {
        let practice = practice();
        let refused = |trace| practice.sound(&hearing(trace, false), &Drawing::default());
        let told = |trace| refused(trace).unwrap_err().to_string();
        assert_eq!(
            told("aortic_pressure"),
            "Nothing is drawn yet in the panel of the aortic pressure."
        );
        assert!(told("heart_sounds").contains("heart_sounds"));
        assert!(refused("ecg").is_ok() && refused("").is_ok());
    }
}
