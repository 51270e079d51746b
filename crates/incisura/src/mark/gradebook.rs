//! `gradebook.csv`: one row for each student, for any gradebook.

use marking::RuleMark;

use crate::mark::class::{Class, Record};
use crate::mark::results::{Status, rounded};

/// The columns before those of the rules.
const COLUMNS: [&str; 9] = [
    "name",
    "id",
    "sheet",
    "form",
    "points",
    "max_points",
    "percent",
    "to_review_points",
    "status",
];

/// The file: students in the order of their sheets, then sheets of unknown students.
pub(crate) fn csv(class: &Class) -> String {
    let rules = class.rules();
    let mut writer = csv::Writer::from_writer(Vec::new());
    let mut row = |fields: Vec<String>| {
        writer.write_record(fields).expect("writing to memory succeeds and rows have one length");
    };
    row(COLUMNS.iter().chain(&rules).map(|name| (*name).to_owned()).collect());
    let (named, unnamed): (Vec<&Record>, Vec<&Record>) =
        class.records.iter().partition(|record| record.student.is_some());
    for record in named.into_iter().chain(unnamed) {
        if record.student.is_some() || record.status().is_some() {
            row(fields(record, &rules));
        }
    }
    let bytes = writer.into_inner().expect("flushing to memory succeeds");
    String::from_utf8(bytes).expect("fields are text")
}

fn fields(record: &Record, rules: &[&str]) -> Vec<String> {
    let (name, id) = record.whose().unwrap_or_default();
    let number = |value: f64| rounded(value).to_string();
    let mut fields =
        vec![name.to_owned(), id.to_owned(), record.sheet.to_string(), record.form.to_string()];
    match record.marks() {
        Some(marks) => {
            let most = marks.max_points();
            let percent = if most > 0.0 { marks.points() / most * 100.0 } else { 0.0 };
            let percent = (percent * 10.0).round() / 10.0;
            fields.extend([number(marks.points()), number(most), percent.to_string()]);
            fields.push(number(marks.open_points()));
        }
        None => fields.extend([const { String::new() }; 4]),
    }
    fields.push(record.status().map_or("no sheet", Status::text).to_owned());
    for id in rules {
        let rule = record.marks().and_then(|marks| marks.rules.iter().find(|r| r.id == *id));
        let rule = rule.filter(|rule| rule.uncounted.is_none());
        fields.push(rule.and_then(RuleMark::earned).map(number).unwrap_or_default());
    }
    fields
}
