//! Single pictures and sentences, for whoever shows them other than as pages.

use convention::{Convention, Point};
use figure::Figure;
use sheet::Sizes;

use crate::class_picture::{over_the_key, results, told};
use crate::drawn::DrawnSheet;
use crate::feedback::{Feedback, page_numbers};
use crate::locate::Located;
use crate::marks::{Marks, RuleMark};
use crate::overlay;
use crate::rubric::Rubric;
use crate::said::{Names, missed, sentence, way, withheld};
use crate::sites::Sites;
use crate::spread::{histogram, reach_mm, strips};
use crate::statistics::{Class, ClassSheet, Item, Statistics};

/// Larger than any page, in millimetres: pages are shown at their own size.
const WHOLE_MM: [f64; 2] = [400.0, 400.0];
/// Size of letters on a page at its own size, in millimetres.
const LETTERS_MM: f64 = 3.4;
/// Width of pictures of distributions, in millimetres.
const WIDTH_MM: f64 = 180.0;

/// Numbers of the pages that have panels or bars.
pub fn pages_of(rubric: &Rubric<'_>) -> Vec<u8> {
    page_numbers(rubric)
}

/// A page of a student's drawing with what was found on it, numbered as in the list of rules.
pub fn drawing_figure(feedback: &Feedback<'_>, page: u8) -> Option<Figure> {
    let sites = Sites::new(feedback.drawn, feedback.located, feedback.rubric);
    overlay::picture(feedback, &sites, page, WHOLE_MM, LETTERS_MM)
}

/// What was drawn and where it belongs, in a sentence; empty where a rule is met or no words but
/// the rule's own are needed.
pub fn missed_words(mark: &RuleMark, located: &Located, rubric: &Rubric<'_>) -> String {
    let rule = rubric.convention.rule(&mark.id);
    rule.map(|rule| missed(rule, mark, located, Names::of(rubric))).unwrap_or_default()
}

/// For each of `marks`, which beat its measured number is from and of how many, the first being 1;
/// nothing where a sheet shows one beat, or nothing was measured.
pub fn beats_told(
    marks: &[RuleMark],
    drawn: &DrawnSheet,
    located: &Located,
    rubric: &Rubric<'_>,
) -> Vec<Option<(usize, usize)>> {
    Sites::new(drawn, located, rubric).beats_told(marks)
}

/// All drawings of a page of one form over the key.
pub fn class_figure(class: &Class<'_>, form: usize, page: u8) -> Option<Figure> {
    let rubric = class.forms.get(form)?.rubric;
    let own = class.sheets.iter().filter(|sheet| sheet.form == form);
    let sheets: Vec<&ClassSheet<'_>> = own.collect();
    over_the_key(&sheets, rubric, page, WHOLE_MM)
}

/// Where a class put each landmark: for each panel its title and the picture.
pub fn landmark_figures(statistics: &Statistics, rubric: &Rubric<'_>) -> Vec<(String, Figure)> {
    let reach = reach_mm(&statistics.landmarks);
    let groups = statistics.landmarks.chunk_by(|a, b| a.channel == b.channel);
    let figure = |group: &[crate::LandmarkSpread]| {
        let title = match &group[0].channel {
            Some(channel) => rubric.subject.channel(channel).map(|kind| kind.title.clone()),
            None => Some("Bars".to_owned()),
        };
        let spreads: Vec<_> = group.iter().collect();
        let figure = strips(&spreads, Names::of(rubric), WIDTH_MM, reach, Sizes::USUAL);
        (title.unwrap_or_default(), figure)
    };
    groups.map(figure).collect()
}

/// Where a class put the landmarks that one rule is about; none where they are printed.
pub fn rule_landmarks_figure(
    id: &str,
    statistics: &Statistics,
    rubric: &Rubric<'_>,
) -> Option<Figure> {
    let points = rubric.convention.rule(id)?.says.points();
    let own = |spread: &&crate::LandmarkSpread| {
        points.contains(&&Point::new(&spread.name, spread.channel.as_deref()))
    };
    let spreads: Vec<_> = statistics.landmarks.iter().filter(own).collect();
    let reach = reach_mm(&statistics.landmarks);
    let names = Names::of(rubric);
    (!spreads.is_empty()).then(|| strips(&spreads, names, WIDTH_MM, reach, Sizes::USUAL))
}

/// How many sheets earned how much.
pub fn points_figure(statistics: &Statistics) -> Figure {
    histogram(statistics, WIDTH_MM, Sizes::USUAL)
}

/// A class's results in words.
pub fn results_words(statistics: &Statistics) -> String {
    results(statistics)
}

/// Why a rule of `marks` does not earn all that it could by itself, in words; empty where it does.
pub fn withheld_words(mark: &RuleMark, marks: &Marks, convention: &Convention) -> String {
    withheld(mark, &marks.rules, convention)
}

/// How often a rule was missed, which way, and by how much, in words.
pub fn item_words(item: &Item, rubric: &Rubric<'_>) -> String {
    let rule = rubric.convention.rule(&item.id);
    rule.map(|rule| told(item, &rule.says)).unwrap_or_default()
}

/// The cause of a rule, as a sentence.
pub fn cause_words(id: &str, rubric: &Rubric<'_>) -> String {
    rubric.convention.rule(id).map(|rule| sentence(&rule.cause)).unwrap_or_default()
}

/// Which way a rule is missed by `off_mm`, such as "too late".
pub fn way_words(id: &str, off_mm: f64, rubric: &Rubric<'_>) -> &'static str {
    rubric.convention.rule(id).map_or("", |rule| way(&rule.says, off_mm))
}
