//! Pictures within figures and pages.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use figure::{Box2, Figure, FontEmbedding, Item, Shape, Tag};

/// Black on the left, white on the right, in the middle of a white page.
fn figure() -> Figure {
    let area = Box2::new(5.0, 5.0, 10.0, 10.0);
    let grey = [0, 255, 0, 255].as_slice().into();
    let shape = Shape::Image { area, width: 2, height: 2, grey };
    Figure {
        width_mm: 20.0,
        height_mm: 20.0,
        title: "Halves".to_owned(),
        alt: "A box, black on the left and white on the right.".to_owned(),
        items: vec![Item { tag: Tag::Paper, shape: shape.moved(1.0, 0.0) }],
    }
}

#[test]
fn svg_holds_the_picture_where_it_was_moved_to() {
    let svg = figure().svg(FontEmbedding::Referenced);
    let document = roxmltree::Document::parse(&svg).unwrap();
    let image = document.descendants().find(|node| node.has_tag_name("image")).unwrap();
    assert_eq!(image.attribute("x"), Some("6"));
    assert_eq!(image.attribute("width"), Some("10"));
    // The signature of PNG files (ISO/IEC 15948) in base64.
    assert!(image.attribute("href").unwrap().starts_with("data:image/png;base64,iVBORw0KGgo"));
}

#[test]
fn a_picture_of_the_wrong_size_is_left_out() {
    let mut figure = figure();
    if let Shape::Image { width, .. } = &mut figure.items[0].shape {
        *width = 3;
    }
    assert!(!figure.svg(FontEmbedding::Referenced).contains("<image"));
}

#[cfg(feature = "png")]
#[test]
fn png_shows_it() {
    let file = figure().png(25.4).unwrap();
    let mut reader = png::Decoder::new(std::io::Cursor::new(file)).read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut pixels).unwrap();
    let samples = pixels.len() / (info.width * info.height) as usize;
    let red = |x: usize, y: usize| pixels[(y * info.width as usize + x) * samples];
    assert_eq!([red(3, 10), red(7, 10), red(14, 10)], [255, 0, 255]);
}

#[cfg(feature = "pdf")]
#[test]
fn pdf_takes_it_and_is_the_same_each_time() {
    let pdf = figure().pdf().unwrap();
    assert!(
        pdf.windows(15).any(|bytes| bytes == b"/Subtype /Image" || bytes == b"/Subtype/Image/")
    );
    assert_eq!(pdf, figure().pdf().unwrap());
}
