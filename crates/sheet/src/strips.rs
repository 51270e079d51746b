//! Pages of strips on grid paper, to be measured by hand, and their key.

use figure::{Figure, Page};

use crate::definition::{Orientation, Test};
use crate::flow::{Column, Flow};

/// A strip with what is asked about it.
#[derive(Clone, Debug, PartialEq)]
pub struct StripExercise {
    /// The strip as the student gets it.
    pub blank: Figure,
    /// The same with what is measured marked.
    pub marked: Figure,
    /// What is asked, in order.
    pub questions: Vec<StripQuestion>,
    /// What else the key says, such as what to look for.
    pub about: String,
}

/// A question about a strip with its answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StripQuestion {
    /// The question.
    pub text: String,
    /// The answer.
    pub answer: String,
    /// How far an answer may lie from it; empty where it is right or wrong.
    pub accept: String,
    /// How it is read off.
    pub worked: String,
}

/// Said on every page: the paper's scale, and what the strips are not.
const NOTE: &str = "A small square is 1 mm: 40 ms across and 0.1 mV up. A large square is 5 mm: 200 ms and 0.5 mV. \
    Print at full size. The strips are computed, for teaching; they are no patient's.";

/// The strips of `test`, one on a page with room for answers; and their key.
pub fn strip_pages(test: &Test, strips: &[StripExercise]) -> [Vec<Page>; 2] {
    let size_mm = test.paper.size_mm(Orientation::Portrait);
    let title = format!("{}: {}", test.spelled("ECG strips"), test.title);
    let mut asked = Flow::new(size_mm, test.sizes(), &title);
    asked.put(vec![asked.name_line(None)]);
    asked.put(vec![asked.paragraph(NOTE)]);
    let title = format!("{}: {}", test.spelled("Key to the ECG strips"), test.title);
    let mut answered = Flow::new(size_mm, test.sizes(), &title);
    answered.put(vec![answered.paragraph(NOTE)]);
    let columns = |shares: &[(&'static str, f64)]| -> Vec<Column> {
        shares.iter().map(|&(head, share)| Column { head, share }).collect()
    };
    let to_fill = columns(&[("Question", 118.0), ("Answer", 56.0)]);
    let filled = columns(&[("Question", 43.0), ("Answer", 40.0), ("Accept", 28.0), ("How", 63.0)]);
    for (index, strip) in strips.iter().enumerate() {
        let heading = format!("Strip {}", index + 1);
        if index > 0 {
            asked.turn();
            answered.turn();
        }
        asked.put(vec![asked.heading(2, &heading), asked.picture(&strip.blank)]);
        let rows = strip.questions.iter().map(|one| vec![one.text.clone(), String::new()]);
        asked.table(&to_fill, &rows.collect::<Vec<_>>());
        answered.put(vec![answered.heading(2, &heading), answered.picture(&strip.marked)]);
        let rows = strip.questions.iter().map(|one| {
            vec![one.text.clone(), one.answer.clone(), one.accept.clone(), one.worked.clone()]
        });
        answered.table(&filled, &rows.collect::<Vec<_>>());
        if !strip.about.is_empty() {
            answered.put(vec![answered.paragraph(&strip.about)]);
        }
    }
    [asked.finish(), answered.finish()]
}
