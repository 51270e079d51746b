//! A subject as data: what its channels, landmarks, events and phases are called.

use serde::{Deserialize, Serialize};

use crate::Cycle;

/// What a kind of cycle is made of.
///
/// The cardiac cycle is one subject; any other set of traces that are aligned in time,
/// such as cuff pressure with its sounds, is another. Whatever draws or judges a cycle
/// takes names, units and ranges from here and so works on any subject.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Subject {
    /// Identifier.
    pub name: String,
    /// Name shown to people.
    pub title: String,
    /// The channel that the others are aligned to.
    pub reference_channel: String,
    /// The landmark that every cycle has, by which repetitions are counted.
    pub anchor: String,
    /// The channels, in the order in which they are usually stacked.
    pub channels: Vec<ChannelKind>,
    /// The landmarks.
    pub landmarks: Vec<LandmarkKind>,
    /// The events.
    #[serde(default)]
    pub events: Vec<EventKind>,
    /// The phases, in the order in which they occur.
    #[serde(default)]
    pub phases: Vec<PhaseKind>,
    /// Bars that run from one event to another, such as a valve's open time.
    #[serde(default)]
    pub bars: Vec<BarKind>,
    /// The bars whose events bound the phases.
    #[serde(default)]
    pub phase_bars: Vec<String>,
    /// Landmarks and events whose order follows from what their names mean: each list from
    /// first to last within one cycle. A landmark that several channels have stands for each.
    #[serde(default)]
    pub sequences: Vec<Vec<String>>,
    /// What is drawn in one go, such as the P wave or the first heart sound.
    #[serde(default)]
    pub strokes: Vec<StrokeKind>,
    /// The ways in which a word of the subject is written, such as ECG and EKG: first the one in
    /// which everything here is written.
    #[serde(default)]
    pub spellings: Vec<String>,
}

/// One of the ways in which a subject's word is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spelling {
    usual: String,
    own: String,
}

impl Spelling {
    /// The word as it is written.
    pub fn word(&self) -> &str {
        &self.own
    }

    /// `text`, which is written in the usual way, written in this one.
    pub fn spelled(&self, text: &str) -> String {
        text.replace(&self.usual, &self.own)
    }

    /// Writes `text` in this way.
    pub fn spell(&self, text: &mut String) {
        if self.usual != self.own && text.contains(&self.usual) {
            *text = self.spelled(text);
        }
    }
}

/// One kind of trace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChannelKind {
    /// Identifier.
    pub id: String,
    /// Name shown to people.
    pub title: String,
    /// Short name that is written on the trace itself.
    pub label: String,
    /// Unit; `relative` for none.
    pub unit: String,
    /// Usual lowest and highest value, for an axis.
    pub range: [f64; 2],
    /// Landmarks at which the trace lies on its baseline; the trace's median value is the
    /// baseline where none is named.
    #[serde(default)]
    pub baseline: Vec<String>,
}

/// One kind of point on a trace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LandmarkKind {
    /// Identifier.
    pub id: String,
    /// Name shown to people, such as "dicrotic notch (incisura)".
    pub title: String,
    /// What is written beside the point, such as "P"; empty for none.
    pub label: String,
    /// The channels it may lie on.
    pub channels: Vec<String>,
    /// How it is found on a trace; the first that names the trace's channel counts. Where
    /// there is none, it is not looked for.
    #[serde(default)]
    pub features: Vec<Feature>,
}

/// How a landmark looks on a trace, and about when it is to be expected.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Feature {
    /// What it looks like.
    pub shape: FeatureShape,
    /// Usual earliest and latest time after the cycle's anchor, in milliseconds.
    pub usual_ms: [f64; 2],
    /// Whether a good trace may be without it.
    #[serde(default)]
    pub optional: bool,
    /// Whether its wave may also be upside down.
    #[serde(default)]
    pub inverts: bool,
    /// Whether a highest or lowest point may last for a while, and then counts where that begins.
    #[serde(default)]
    pub held: bool,
    /// The channels that this holds for; none for all.
    #[serde(default)]
    pub channels: Vec<String>,
}

/// What a landmark looks like on a trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FeatureShape {
    /// A highest point.
    Peak,
    /// A lowest point.
    Trough,
    /// Where a wave leaves the level before it.
    Onset,
    /// Where a wave comes back to a level.
    End,
    /// The lowest point before a steep rise.
    Foot,
    /// Where the tangent of the steepest rise meets the level before it.
    TangentFoot,
    /// Where a slow course turns into a steep rise.
    Corner,
}

/// One kind of instant.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EventKind {
    /// Identifier.
    pub id: String,
    /// Name shown to people, such as "aortic valve opens".
    pub title: String,
    /// The same as a noun, for sentences, such as "opening of the aortic valve".
    #[serde(default)]
    pub noun: Option<String>,
}

/// One kind of stretch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PhaseKind {
    /// Identifier.
    pub id: String,
    /// Name shown to people.
    pub title: String,
    /// Shorter name, for a narrow band.
    pub short: String,
}

/// A bar from one event to the next occurrence of another.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BarKind {
    /// Identifier.
    pub id: String,
    /// Name shown to people, such as "Mitral valve".
    pub title: String,
    /// Event at which the bar begins.
    pub from: String,
    /// Event at which it ends.
    pub to: String,
    /// What the bar says of its time, such as "open".
    pub state: String,
}

/// Something drawn in one go, which moves as a whole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StrokeKind {
    /// Identifier.
    pub id: String,
    /// Name shown to people, such as "first heart sound".
    pub title: String,
    /// The channel it is drawn on.
    pub channel: String,
    /// Its landmarks, from first to last.
    pub landmarks: Vec<String>,
    /// What the point half-way between its first and last landmark is called, where it has
    /// a name.
    #[serde(default)]
    pub centre: Option<String>,
    /// Where it is a burst about a baseline: how it looks when a cycle that lacks it is to
    /// show it.
    #[serde(default)]
    pub burst: Option<Burst>,
    /// Whether it may come without the rest of its cycle, and more than once, as a P wave
    /// that is not conducted does.
    #[serde(default)]
    pub free: bool,
    /// What a person is told to draw.
    pub draw: String,
    /// Why it is there, in one sentence.
    pub cause: String,
}

/// The look of a burst about a baseline.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Burst {
    /// Height above the baseline, in the channel's unit.
    pub height: f64,
    /// Length in milliseconds.
    pub length_ms: f64,
    /// Vibrations a second.
    pub frequency_hz: f64,
}

impl BarKind {
    /// The stretches between `start_s` and `end_s` during which the bar lasts in `cycle`; one
    /// that has begun before begins with the window.
    pub fn stretches(&self, cycle: &Cycle, start_s: f64, end_s: f64) -> Vec<[f64; 2]> {
        let mut turns: Vec<(f64, bool)> = Vec::new();
        for event in &cycle.events {
            if event.name == self.from || event.name == self.to {
                turns.push((event.time_s, event.name == self.from));
            }
        }
        turns.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut open = turns.first().filter(|turn| !turn.1).map(|_| f64::NEG_INFINITY);
        let mut stretches = Vec::new();
        for (time_s, begins) in turns {
            match (open, begins) {
                (None, true) => open = Some(time_s),
                (Some(from), false) => {
                    stretches.push([from, time_s]);
                    open = None;
                }
                _ => {}
            }
        }
        stretches.extend(open.map(|from| [from, f64::INFINITY]));
        let cut = stretches.into_iter().map(|[a, b]| [a.max(start_s), b.min(end_s)]);
        cut.filter(|[a, b]| a < b).collect()
    }
}

impl LandmarkKind {
    /// How it is found on `channel`, if it may lie there.
    pub fn feature_on(&self, channel: &str) -> Option<&Feature> {
        let here = |names: &[String]| names.iter().any(|name| name == channel);
        let holds = |feature: &&Feature| feature.channels.is_empty() || here(&feature.channels);
        self.features.iter().find(holds).filter(|_| here(&self.channels))
    }
}

impl Subject {
    /// The way of writing that `word` is one of, if the subject knows it.
    pub fn spelling(&self, word: &str) -> Option<Spelling> {
        let usual = self.spellings.first()?.clone();
        let own = self.spellings.iter().find(|one| *one == word)?.clone();
        Some(Spelling { usual, own })
    }

    /// The same with all that people read written in another way; identifiers stay.
    #[must_use]
    pub fn spelled(mut self, spelling: &Spelling) -> Self {
        let title = std::iter::once(&mut self.title);
        let channels = self.channels.iter_mut().flat_map(|kind| [&mut kind.title, &mut kind.label]);
        let marks = self.landmarks.iter_mut().flat_map(|kind| [&mut kind.title, &mut kind.label]);
        let events = self.events.iter_mut();
        let events = events.flat_map(|kind| [Some(&mut kind.title), kind.noun.as_mut()]);
        let phases = self.phases.iter_mut().flat_map(|kind| [&mut kind.title, &mut kind.short]);
        let bars = self.bars.iter_mut().flat_map(|kind| [&mut kind.title, &mut kind.state]);
        let strokes = self.strokes.iter_mut();
        let strokes = strokes.flat_map(|kind| [&mut kind.title, &mut kind.draw, &mut kind.cause]);
        let texts = title.chain(channels).chain(marks).chain(events.flatten());
        for text in texts.chain(phases).chain(bars).chain(strokes) {
            spelling.spell(text);
        }
        self
    }

    /// The channel called `id`.
    pub fn channel(&self, id: &str) -> Option<&ChannelKind> {
        self.channels.iter().find(|kind| kind.id == id)
    }

    /// The landmark called `id`.
    pub fn landmark(&self, id: &str) -> Option<&LandmarkKind> {
        self.landmarks.iter().find(|kind| kind.id == id)
    }

    /// The landmarks that a channel has, from first to last in a cycle: those of the sequence that
    /// has most of them.
    pub fn order_on(&self, channel: &str) -> Vec<&str> {
        let own = |name: &&String| {
            self.landmark(name).is_some_and(|kind| kind.feature_on(channel).is_some())
        };
        let longest = self.sequences.iter().max_by_key(|names| names.iter().filter(own).count());
        longest.into_iter().flatten().filter(own).map(String::as_str).collect()
    }

    /// The event called `id`.
    pub fn event(&self, id: &str) -> Option<&EventKind> {
        self.events.iter().find(|kind| kind.id == id)
    }

    /// The phase called `id`.
    pub fn phase(&self, id: &str) -> Option<&PhaseKind> {
        self.phases.iter().find(|kind| kind.id == id)
    }

    /// The stroke that has the landmark `id`, or whose centre it is.
    pub fn stroke_of(&self, id: &str) -> Option<&StrokeKind> {
        self.strokes.iter().find(|stroke| {
            stroke.landmarks.iter().any(|l| l == id) || stroke.centre.as_deref() == Some(id)
        })
    }

    /// The bar called `id`.
    pub fn bar(&self, id: &str) -> Option<&BarKind> {
        self.bars.iter().find(|bar| bar.id == id)
    }

    /// The title of the landmark or event called `id`.
    pub fn title_of(&self, id: &str) -> Option<&str> {
        let landmark = self.landmark(id).map(|kind| kind.title.as_str());
        landmark.or_else(|| self.event(id).map(|kind| kind.title.as_str()))
    }
}
