//! The build, step by step, on the practice page.

use convention::{Point, beats, partial, steps};
use cycle::Cycle;
use figure::lines_of;
use serde::Serialize;

use crate::hints::Ghost;
use crate::page::AlignmentLine;
use crate::{Practice, PracticeError, words};

/// One step of the build.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BuildStep {
    /// What it draws.
    pub title: String,
    /// What to do.
    pub text: String,
    /// Why.
    pub cause: String,
    /// The lines on which it is drawn.
    pub lines: Vec<AlignmentLine>,
    /// How it looks when it is done, in the panels and rows that it is about.
    pub shown: Vec<Ghost>,
}

impl Practice {
    /// The steps that draw what is asked for, on the first beat.
    ///
    /// # Errors
    /// [`PracticeError::Steps`] where the convention's own steps are out of order.
    pub fn steps(&self) -> Result<Vec<BuildStep>, PracticeError> {
        let (convention, subject) = (&self.test.convention, &self.subject);
        let start_s = self.model.span_s().map_or(0.0, |(start, _)| start);
        let one = self.model.cut(start_s + self.model.period_s);
        let rubric = self.rubric();
        let beat = beats(&one, subject).into_iter().next().unwrap_or_default();
        let mut drawn: Vec<Point> = Vec::new();
        let mut all = Vec::new();
        for step in steps(convention, subject, &one)? {
            drawn.extend(step.draw.iter().cloned());
            let asked = |point: &&Point| self.is_here(point) && !rubric.is_given(point);
            let own: Vec<&Point> = step.draw.iter().filter(asked).collect();
            if own.is_empty() {
                continue;
            }
            let part = partial(convention, subject, &one, &drawn);
            let line = |point: &Point| {
                let x_mm = self.x_of(beat.time_s(point)?)?;
                Some(AlignmentLine { x_mm, name: rubric.title(point) })
            };
            all.push(BuildStep {
                title: words::full_stop(&step.title).trim_end_matches('.').to_owned(),
                text: step.text,
                cause: step.cause,
                lines: step.lines.iter().filter_map(line).collect(),
                shown: self.shown(&part, &own),
            });
        }
        Ok(all)
    }

    /// Whether the page has a place for a point.
    fn is_here(&self, point: &Point) -> bool {
        match &point.channel {
            Some(channel) => self.panels.iter().any(|on| on.place.channel == *channel),
            None => self.rubric().row_of(&point.name).is_some(),
        }
    }

    fn shown(&self, part: &Cycle, own: &[&Point]) -> Vec<Ghost> {
        let mut shown: Vec<Ghost> = Vec::new();
        for point in own {
            let ghost = match &point.channel {
                Some(channel) => {
                    let place = self.panels.iter().find(|on| on.place.channel == *channel);
                    place.zip(part.trace(channel)).map(|(on, trace)| Ghost {
                        place: channel.clone(),
                        lines: lines_of(trace, &on.place.map()),
                    })
                }
                None => self.rubric().row_of(&point.name).map(|on| {
                    let middle = on.place.area.y + on.place.area.h / 2.0;
                    let stretches = self.key_stretches(&on.place).into_iter();
                    let lines = stretches.map(|[from, to]| vec![[from, middle], [to, middle]]);
                    Ghost { place: on.place.bar.clone(), lines: lines.collect() }
                }),
            };
            let Some(ghost) = ghost else { continue };
            if !shown.iter().any(|other| other.place == ghost.place) {
                shown.push(ghost);
            }
        }
        shown
    }
}
