//! Figures of invented cycles: labels apart, millimetres true, files sound.

mod support;

use cycle::Cycle;
use figure::{
    Box2, Figure, FigureError, FigureSpec, FontEmbedding, PanelSpec, Shape, Tag, lay_out,
};
use support::{cases, invented, subject, usual};

fn figures() -> Vec<(&'static str, Cycle, FigureSpec, Figure)> {
    let subject = subject();
    let lay = |(name, cycle, spec): (&'static str, Cycle, FigureSpec)| {
        let figure = lay_out(&cycle, &subject, &spec).expect("every case can be drawn");
        (name, cycle, spec, figure)
    };
    cases().into_iter().map(lay).collect()
}

fn texts(figure: &Figure) -> Vec<(&Tag, &str, Box2)> {
    let text = |shape: &Shape| match shape {
        Shape::Text { text, .. } => text.clone(),
        _ => String::new(),
    };
    let items = figure.items.iter();
    let boxes = items.filter_map(|item| Some((item, item.shape.text_box()?)));
    boxes
        .map(|(item, area)| {
            let Shape::Text { text: words, .. } = &item.shape else {
                panic!("{}", text(&item.shape))
            };
            (&item.tag, words.as_str(), area)
        })
        .collect()
}

fn segments(figure: &Figure, wanted: impl Fn(&Tag) -> bool) -> Vec<[[f64; 2]; 2]> {
    let mut found = Vec::new();
    for item in figure.items.iter().filter(|item| wanted(&item.tag)) {
        if let Shape::Lines { parts, .. } = &item.shape {
            found.extend(parts.iter().flat_map(|part| part.windows(2)).map(|p| [p[0], p[1]]));
        }
    }
    found
}

#[test]
fn no_two_texts_overlap_and_none_leaves_the_page() {
    for (name, _, _, figure) in figures() {
        let page = Box2::new(0.0, 0.0, figure.width_mm, figure.height_mm);
        let texts = texts(&figure);
        for (i, (_, a, area)) in texts.iter().enumerate() {
            assert!(page.holds(area), "{name}: “{a}” leaves the page: {area:?}");
            for (_, b, other) in &texts[..i] {
                assert!(!area.overlaps(other), "{name}: “{a}” lies on “{b}”");
            }
        }
    }
}

#[test]
fn no_trace_crosses_a_text() {
    for (name, _, _, figure) in figures() {
        let traces =
            segments(&figure, |tag| matches!(tag, Tag::Trace(_) | Tag::Ghost(_) | Tag::Loop));
        for (tag, text, area) in texts(&figure) {
            let crossed = traces.iter().find(|[a, b]| area.crossed_by(*a, *b));
            assert!(crossed.is_none(), "{name}: {tag:?} “{text}” is crossed at {crossed:?}");
        }
    }
}

#[test]
fn every_trace_that_shares_a_panel_is_named() {
    for (name, _, spec, figure) in figures() {
        for panel in spec.panels.iter().filter(|panel| panel.channels.len() > 1) {
            for channel in &panel.channels {
                let tag = Tag::TraceLabel(channel.clone());
                assert!(texts(&figure).iter().any(|text| *text.0 == tag), "{name}: {channel}");
            }
        }
    }
}

#[test]
fn every_phase_stays_identified() {
    let subject = subject();
    for (name, cycle, _, figure) in figures() {
        let words: Vec<&str> = texts(&figure).iter().map(|text| text.1).collect();
        let words = words.join(" ");
        for phase in &cycle.phases {
            let kind = subject.phase(&phase.name).unwrap();
            let named = words.contains(&kind.title) || words.contains(&kind.short);
            assert!(named, "{name}: {} is not in {words}", kind.title);
        }
    }
}

#[test]
fn crowded_panels_still_name_their_traces() {
    let spec = FigureSpec {
        panels: vec![PanelSpec::new(&["lv_pressure", "aortic_pressure", "la_pressure"], 8.0)],
        ..usual()
    };
    let figure =
        lay_out(&invented(support::Shape { beats: 4, ..Default::default() }), &subject(), &spec);
    let figure = figure.unwrap();
    let named = texts(&figure).iter().filter(|t| matches!(t.0, Tag::TraceLabel(_))).count();
    assert_eq!(named, 3);
}

#[test]
fn an_alignment_line_passes_through_its_landmark() {
    for (name, cycle, spec, figure) in figures() {
        let line = Tag::Line("r_peak".into());
        let xs: Vec<f64> = segments(&figure, |tag| *tag == line)
            .into_iter()
            .filter(|[a, b]| a[0] == b[0])
            .map(|[a, _]| a[0])
            .collect();
        let shown = |time: &f64| {
            (spec.start_s.unwrap_or(0.0)..=spec.end_s.unwrap_or(f64::MAX)).contains(time)
        };
        let times: Vec<f64> = cycle.times_of("r_peak").into_iter().filter(shown).collect();
        assert_eq!(xs.len(), times.len(), "{name}");
        // The highest point of the drawn trace near each line is the R peak.
        let points: Vec<[f64; 2]> =
            segments(&figure, |tag| *tag == Tag::Trace("ecg".into())).concat();
        for x in xs {
            let near = points.iter().filter(|p| (p[0] - x).abs() < 4.0);
            let peak = near.min_by(|a, b| a[1].total_cmp(&b[1])).unwrap();
            assert!((peak[0] - x).abs() < 0.05, "{name}: line {x}, peak {}", peak[0]);
        }
    }
}

#[test]
fn svg_is_well_formed_in_millimetres_and_small() {
    for (name, _, spec, figure) in figures() {
        let svg = figure.svg(FontEmbedding::Referenced);
        assert!(svg.len() < 150_000, "{name}: {} bytes", svg.len());
        let tree = roxmltree::Document::parse(&svg).unwrap();
        let root = tree.root_element();
        assert_eq!(root.attribute("width"), Some(format!("{}mm", spec.width_mm).as_str()));
        assert_eq!(root.attribute("role"), Some("img"));
        let words =
            |tag: &str| tree.descendants().find(|n| n.has_tag_name(tag)).and_then(|n| n.text());
        assert_eq!(words("desc"), Some(figure.alt.as_str()));
        for channel in spec.panels.iter().flat_map(|panel| &panel.channels) {
            let here = |n: &roxmltree::Node<'_, '_>| n.attribute("data-channel") == Some(channel);
            assert!(tree.descendants().any(|n| here(&n)), "{name}: {channel}");
        }
        let longest =
            svg.split(|c: char| !c.is_ascii_digit() && c != '.').filter_map(|n| n.split_once('.'));
        let decimals = longest.map(|(_, decimals)| decimals.len()).max().unwrap();
        assert!(decimals <= 3, "{name}: {decimals} decimals");
    }
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let (a, b) = (figures(), figures());
    for (a, b) in a.iter().zip(&b) {
        assert_eq!(a.3.svg(FontEmbedding::Embedded), b.3.svg(FontEmbedding::Embedded));
    }
}

#[test]
fn markup_in_a_title_is_only_text() {
    let title = "S1 < S2 & \"A2\" > </title><script>".to_owned();
    let spec = FigureSpec { title: Some(title.clone()), ..usual() };
    let figure = lay_out(&invented(Default::default()), &subject(), &spec).unwrap();
    let svg = figure.svg(FontEmbedding::Embedded);
    let tree = roxmltree::Document::parse(&svg).unwrap();
    let node = tree.descendants().find(|n| n.has_tag_name("title")).unwrap();
    assert_eq!(node.text(), Some(title.as_str()));
    assert!(!tree.descendants().any(|n| n.has_tag_name("script")));
}

#[test]
fn the_alternative_text_tells_panels_times_and_absences() {
    let subject = subject();
    for (name, _, spec, figure) in figures() {
        for id in spec.panels.iter().flat_map(|panel| &panel.channels) {
            let title = &subject.channel(id).unwrap().title;
            assert!(figure.alt.contains(title.as_str()), "{name}: {title}");
        }
        assert!(figure.alt.contains("R peak at"), "{name}");
        assert!(!figure.alt.contains('\n'));
    }
    let no_p = figures().into_iter().find(|case| case.0 == "fast-no-p").unwrap().3;
    assert!(no_p.alt.contains("no line for onset of the P wave"), "{}", no_p.alt);
}

#[test]
fn unknown_and_absent_names_are_told_apart() {
    let (subject, cycle) = (subject(), invented(Default::default()));
    let fails = |spec: FigureSpec| lay_out(&cycle, &subject, &spec).unwrap_err().to_string();
    let panel = |id: &str| FigureSpec { panels: vec![PanelSpec::new(&[id], 30.0)], ..usual() };
    assert!(fails(panel("lv_presure")).contains("did you mean “lv_pressure”?"));
    assert!(fails(panel("rv_volume")).contains("this cycle has no channel rv_volume; it has ecg,"));
    let line = FigureSpec { lines: vec!["r_peek".into()], ..usual() };
    assert!(fails(line).contains("did you mean “r_peak”?"));
    let bar = FigureSpec { bars: vec!["mitrall".into()], ..usual() };
    assert!(fails(bar).contains("did you mean “mitral”?"));
    let mixed = FigureSpec { panels: vec![PanelSpec::new(&["ecg", "lv_volume"], 30.0)], ..usual() };
    assert!(fails(mixed).contains("mixes ecg (mV) and lv_volume (mL)"));
    assert!(fails(FigureSpec::default()).contains("no panels"));
    assert!(fails(FigureSpec { scale: f64::NAN, ..usual() }).contains("0.5 to 4"));
    assert!(fails(FigureSpec { start_s: Some(7.0), ..usual() }).contains("it runs from 0 s"));
    let narrow = FigureSpec { width_mm: 60.0, scale: 2.0, ..usual() };
    assert!(fails(narrow).contains("mm wide"));
}

#[test]
fn the_width_that_an_error_asks_for_is_enough() {
    let (subject, cycle) = (subject(), invented(Default::default()));
    let spec = FigureSpec { width_mm: 60.0, scale: 2.0, ..usual() };
    let Err(FigureError::TooNarrow { needed_mm, .. }) = lay_out(&cycle, &subject, &spec) else {
        panic!("60 mm should be too narrow");
    };
    let spec = FigureSpec { width_mm: needed_mm, ..spec };
    assert!(lay_out(&cycle, &subject, &spec).is_ok(), "{needed_mm}");
}

#[test]
fn a_second_cycle_lies_beneath_the_first() {
    let subject = subject();
    let other = invented(support::Shape { pressure: 1.3, ..Default::default() });
    let cycle = invented(Default::default());
    let figure = figure::lay_out_over(&cycle, Some(&other), &subject, &usual()).unwrap();
    let place = |wanted: Tag| figure.items.iter().position(|item| item.tag == wanted).unwrap();
    assert!(place(Tag::Ghost("lv_pressure".into())) < place(Tag::Trace("ecg".into())));
    let without = FigureSpec { ghost: false, ..usual() };
    let figure = figure::lay_out_over(&cycle, Some(&other), &subject, &without).unwrap();
    assert!(!figure.items.iter().any(|item| matches!(item.tag, Tag::Ghost(_))));
}

#[test]
fn a_second_cycle_is_named_beside_its_traces_and_in_words() {
    let other = invented(support::Shape { pressure: 1.3, ..Default::default() });
    let cycle = invented(Default::default());
    let spec = FigureSpec {
        ghost_title: Some("kept".into()),
        loop_channels: Some(["lv_volume", "lv_pressure"].map(str::to_owned)),
        width_mm: 270.0,
        ..usual()
    };
    let figure = figure::lay_out_over(&cycle, Some(&other), &subject(), &spec).unwrap();
    let texts = texts(&figure);
    let names: Vec<&Box2> =
        texts.iter().filter(|(_, text, _)| *text == "kept").map(|(_, _, area)| area).collect();
    assert!(names.len() >= 2, "one in a panel and one in the loop, not {}", names.len());
    for (_, text, area) in texts.iter().filter(|(_, text, _)| *text != "kept") {
        assert!(names.iter().all(|name| !name.overlaps(area)), "“kept” lies on “{text}”");
    }
    assert!(figure.alt.contains("A second cycle (kept) is drawn beneath"), "{}", figure.alt);
    let same = figure::lay_out_over(&cycle, Some(&cycle), &subject(), &spec).unwrap();
    let of_panels = same.items.iter().filter(|item| {
        matches!(&item.shape, Shape::Text { text, at, .. } if text == "kept" && at[0] < 180.0)
    });
    assert_eq!(of_panels.count(), 0, "where both run alike there is nothing to tell apart");
}

#[test]
fn the_second_cycles_loop_is_whole_however_long_it_lasts() {
    let other = invented(support::Shape { stretch: 1.3, ..Default::default() });
    // Of one beat, and of two that together are shorter than the other's one.
    let two_short = support::Shape { stretch: 0.5, beats: 2, ..Default::default() };
    for cycle in [invented(Default::default()), invented(two_short)] {
        let spec = FigureSpec {
            loop_channels: Some(["lv_volume", "lv_pressure"].map(str::to_owned)),
            width_mm: 270.0,
            ..usual()
        };
        let figure = figure::lay_out_over(&cycle, Some(&other), &subject(), &spec).unwrap();
        let wanted = Tag::Ghost("lv_pressure".into());
        let loops = figure.items.iter().filter(|item| item.tag == wanted);
        let closed = loops.filter(|item| match &item.shape {
            Shape::Lines { parts, .. } => {
                parts.len() == 1 && parts[0].first() == parts[0].last() && parts[0].len() > 4
            }
            _ => false,
        });
        assert_eq!(closed.count(), 1, "{} s a beat", cycle.period_s);
    }
}

#[test]
fn a_heavy_stretch_is_thick_and_no_longer_than_asked() {
    let cycle = invented(Default::default());
    let heavy = figure::Stretch { channel: "ecg".into(), start_s: 0.2, end_s: 0.3 };
    let plain = lay_out(&cycle, &subject(), &usual()).unwrap();
    let spec = FigureSpec { heavy: vec![heavy], ..usual() };
    let figure = lay_out(&cycle, &subject(), &spec).unwrap();
    let of_ecg = |figure: &Figure| -> Vec<(f64, f64, f64)> {
        let items = figure.items.iter().filter(|item| item.tag == Tag::Trace("ecg".into()));
        let lines = items.filter_map(|item| match &item.shape {
            Shape::Lines { parts, stroke } => {
                let xs = || parts.iter().flatten().map(|point| point[0]);
                let ends = (xs().fold(f64::MAX, f64::min), xs().fold(f64::MIN, f64::max));
                Some((stroke.width, ends.0, ends.1))
            }
            _ => None,
        });
        lines.collect()
    };
    let (usual, with) = (of_ecg(&plain), of_ecg(&figure));
    assert_eq!((usual.len(), with.len()), (1, 2));
    let (whole, stretch) = (usual[0], with[0]);
    assert!(stretch.0 >= 2.0 * whole.0);
    let per_s = (whole.2 - whole.1) / (cycle.traces[0].end_s() - cycle.traces[0].start_s);
    assert!((stretch.2 - stretch.1 - 0.1 * per_s).abs() < 0.1, "{stretch:?} of {whole:?}");
}

#[test]
fn a_specification_reads_from_toml_and_refuses_misspellings() {
    let text = "width_mm = 200\nlines = ['r_peak']\n[[panels]]\nchannels = ['ecg']\nheight_mm = 25";
    let spec: FigureSpec = toml::from_str(text).unwrap();
    assert!((spec.width_mm - 200.0).abs() < 1e-12 && spec.panels[0].range.is_none());
    assert!(toml::from_str::<FigureSpec>("widht_mm = 200").is_err());
}

#[cfg(feature = "png")]
#[test]
fn png_has_the_size_asked_for_and_ink_on_it() {
    let figure = &figures()[0].3;
    let png = figure.png(100.0).unwrap();
    assert_eq!(png, figure.png(100.0).unwrap());
    let number = |at: usize| u32::from_be_bytes(png[at..at + 4].try_into().unwrap());
    assert_eq!(number(16), (180.0_f64 / 25.4 * 100.0).ceil() as u32);
    assert!(png.len() > 20_000);
    assert!(figure.png(1e9).is_err() && figure.png(f64::NAN).is_err());
}

#[cfg(feature = "pdf")]
#[test]
fn pdf_is_the_same_each_time_and_tagged() {
    let figure = &figures()[0].3;
    let pdf = figure.pdf().unwrap();
    assert_eq!(pdf, figure.pdf().unwrap());
    let text = String::from_utf8_lossy(&pdf);
    assert!(text.starts_with("%PDF-"));
    for part in ["/StructTreeRoot", "/Figure", "/Alt", "/Lang", "/Marked true"] {
        assert!(text.contains(part), "{part}");
    }
}

/// Writes every case for looking at: `cargo test -p figure --all-features -- --ignored`.
#[cfg(all(feature = "png", feature = "pdf"))]
#[test]
#[ignore = "writes pictures to look at"]
fn pictures() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR"));
    let ghost = invented(support::Shape { pressure: 1.25, ..Default::default() });
    let over =
        figure::lay_out_over(&invented(Default::default()), Some(&ghost), &subject(), &usual());
    let others = figures().into_iter().map(|case| (case.0, case.3));
    for (name, figure) in others.chain([("ghost", over.unwrap())]) {
        let path = |ending: &str| folder.join(format!("{name}.{ending}"));
        std::fs::write(path("svg"), figure.svg(FontEmbedding::Embedded)).unwrap();
        std::fs::write(path("png"), figure.png(130.0).unwrap()).unwrap();
        std::fs::write(path("pdf"), figure.pdf().unwrap()).unwrap();
        std::fs::write(path("txt"), &figure.alt).unwrap();
    }
}

#[test]
fn a_landmark_is_called_what_the_figure_asks_for() {
    let (subject, cycle) = (subject(), invented(support::Shape::default()));
    let mut spec = usual();
    let names = [("systolic_peak", "top"), ("p_peak", ""), ("dicrotic_notch", "a cut")];
    spec.label_texts =
        names.into_iter().map(|(id, text)| (id.to_owned(), text.to_owned())).collect();
    let figure = lay_out(&cycle, &subject, &spec).unwrap();
    let label = |id: &str| {
        let wanted = Tag::LandmarkLabel(id.to_owned());
        texts(&figure).into_iter().find(|(tag, ..)| **tag == wanted).map(|(_, text, _)| text)
    };
    assert_eq!(label("systolic_peak"), Some("top"));
    assert_eq!(label("dicrotic_notch"), Some("a cut"));
    assert_eq!([label("p_peak"), label("r_peak")], [None, Some("R")]);
}

#[test]
fn a_label_without_a_leader_is_nearest_to_its_own_point() {
    let subject = subject();
    let mut cycle = invented(support::Shape::default());
    let notch = cycle.landmark("dicrotic_notch").unwrap().time_s;
    let trace = cycle.trace("aortic_pressure").unwrap().clone();
    let near = |time_s: f64| trace.at(time_s).unwrap();
    let (time_s, value) = (notch + 0.012, near(notch + 0.012));
    cycle.landmarks.retain(|mark| mark.name != "dicrotic_peak");
    cycle.landmarks.push(cycle::Landmark {
        name: "dicrotic_peak".into(),
        channel: "aortic_pressure".into(),
        time_s,
        value,
    });
    let points = [[notch, near(notch)], [time_s, value]];
    let mut spec = usual();
    spec.panels = vec![PanelSpec {
        channels: vec!["aortic_pressure".into()],
        height_mm: 50.0,
        range: Some([60.0, 140.0]),
        title: None,
    }];
    let figure = lay_out(&cycle, &subject, &spec).unwrap();
    let frame = segments(&figure, |tag| *tag == Tag::Panel);
    let (left, right) = (frame[0][0][0], frame[0][1][0]);
    let (top, bottom) = (frame[1][0][1], frame[1][1][1]);
    let end = cycle.span_s().unwrap().1;
    let at = |[t, v]: [f64; 2]| {
        [left + t / end * (right - left), bottom - (v - 60.0) / 80.0 * (bottom - top)]
    };
    for (index, id) in ["dicrotic_notch", "dicrotic_peak"].into_iter().enumerate() {
        let tag = Tag::LandmarkLabel(id.to_owned());
        let Some((_, _, area)) = texts(&figure).into_iter().find(|(other, ..)| **other == tag)
        else {
            panic!("{id} has no label")
        };
        if !segments(&figure, |other| *other == tag).is_empty() {
            continue;
        }
        let far = |point: [f64; 2]| {
            let [x, y] = at(point);
            let (dx, dy) = (x - x.clamp(area.x, area.right()), y - y.clamp(area.y, area.bottom()));
            libm::hypot(dx, dy)
        };
        assert!(far(points[index]) <= far(points[1 - index]) + 1e-6, "{id}");
    }
}
