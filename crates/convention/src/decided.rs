//! Whether a question has one answer on a figure.

use cycle::{Cycle, Subject};

use crate::questions::{Kind, Question, Stands};
use crate::{Point, beats};

/// Seconds by which things that are to be put in order are apart on the figure.
const APART_S: f64 = 0.012;
/// Seconds around a line in which no bar begins or ends, if it is asked which are on there: as far
/// as classroom rules let such an instant vary (no source).
const STILL_S: f64 = 0.035;

impl Question {
    /// Whether there is one answer, by the rules and on the figure that `drawn` is: its points are
    /// there, in a strict order with room between them, and no bar begins or ends near where it is
    /// asked about.
    pub fn is_decided(&self, subject: &Subject, drawn: &Cycle) -> bool {
        let all = beats(drawn, subject);
        let Some(beat) = all.first() else { return false };
        let points = self.choices.iter().filter_map(|choice| match &choice.stands {
            Stands::Point(point) => Some(point),
            _ => None,
        });
        let points: Vec<&Point> = points.collect();
        let times: Option<Vec<f64>> = points.iter().map(|point| beat.time_s(point)).collect();
        let Some(times) = times else { return false };
        let Some(about) =
            self.about.iter().map(|point| beat.time_s(point)).collect::<Option<Vec<f64>>>()
        else {
            return false;
        };
        match self.kind {
            Kind::Order => {
                let count = self.choices.len();
                let order: Vec<f64> = self.answer.iter().map(|&index| times[index]).collect();
                self.pairs.len() == count * (count - 1) / 2
                    && order.windows(2).all(|pair| pair[1] - pair[0] >= APART_S)
            }
            Kind::First => {
                let together =
                    self.answer.iter().any(|&index| self.choices[index].stands == Stands::Together);
                together || times.windows(2).all(|pair| (pair[1] - pair[0]).abs() >= APART_S)
            }
            Kind::Between => true,
            Kind::Bars => {
                let bars = self.choices.iter().filter_map(|choice| match &choice.stands {
                    Stands::Bar(id) => subject.bar(id),
                    _ => None,
                });
                let moves: Vec<f64> = bars
                    .flat_map(|bar| [&bar.from, &bar.to])
                    .flat_map(|event| drawn.times_of(event))
                    .collect();
                about.iter().all(|at| moves.iter().all(|event| (event - at).abs() >= STILL_S))
            }
        }
    }
}
