//! What a rule can be about.

use cycle::Subject;
use serde::Serialize;

/// A landmark on a channel, or an event.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Point {
    /// Identifier of the landmark or event.
    pub name: String,
    /// The channel it lies on; none for an event.
    pub channel: Option<String>,
}

impl Point {
    /// The event or landmark called `name`, on `channel` if it is a landmark.
    pub fn new(name: &str, channel: Option<&str>) -> Self {
        Self { name: name.to_owned(), channel: channel.map(str::to_owned) }
    }

    /// Whether the point lies on the channel that the others are aligned to.
    pub(crate) fn is_reference(&self, subject: &Subject) -> bool {
        self.channel.as_deref() == Some(subject.reference_channel.as_str())
    }

    /// Finds what `typed` means: a landmark of one of `channels`, or an event.
    ///
    /// `name@channel` says which channel where several have the landmark; otherwise it is the
    /// first of `channels` that can have it.
    ///
    /// # Errors
    /// What is wrong with it, in words, with the nearest known name.
    pub(crate) fn find(
        typed: &str,
        channels: &[String],
        subject: &Subject,
    ) -> Result<Self, String> {
        let (name, wanted) = match typed.split_once('@') {
            Some((name, channel)) => (name.trim(), Some(channel.trim())),
            None => (typed.trim(), None),
        };
        if subject.event(name).is_some() {
            return match wanted {
                None => Ok(Self::new(name, None)),
                Some(_) => {
                    Err(format!("{name} is an event and lies on no channel; write “{name}”"))
                }
            };
        }
        let Some(kind) = subject.landmark(name) else {
            let landmarks = subject.landmarks.iter().map(|kind| kind.id.as_str());
            let known = landmarks.chain(subject.events.iter().map(|kind| kind.id.as_str()));
            let near = cycle::nearest(name, known);
            let offer = near.map_or_else(
                || "the guide lists them all".to_owned(),
                |near| format!("did you mean “{near}”?"),
            );
            return Err(format!("there is no landmark or event “{name}”; {offer}"));
        };
        if let Some(wanted) = wanted {
            return if kind.channels.iter().any(|channel| channel == wanted) {
                Ok(Self::new(name, Some(wanted)))
            } else {
                let may = kind.channels.join(" or ");
                Err(format!("{name} does not lie on {wanted}; it lies on {may}"))
            };
        }
        let drawn = channels.iter().find(|channel| kind.channels.contains(channel));
        drawn.map(|channel| Self::new(name, Some(channel))).ok_or_else(|| {
            let may = kind.channels.join(" or ");
            format!("{name} lies on {may}, which no panel has; add the channel to panels")
        })
    }
}
