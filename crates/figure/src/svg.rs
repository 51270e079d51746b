//! A figure as Scalable Vector Graphics.

use std::fmt::Write as _;

use crate::picture::{Align, Figure, Item, Shape, Stroke, Tag};
use crate::style::Colour;
use crate::{font, image};

/// Where the typeface of an SVG comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FontEmbedding {
    /// In the file itself, which then stands alone.
    Embedded,
    /// From the page that shows it.
    Referenced,
}

impl Figure {
    /// The figure as SVG, a unit of which is a millimetre.
    pub fn svg(&self, fonts: FontEmbedding) -> String {
        let mut out = String::with_capacity(64 * 1024);
        self.head(&mut out, fonts);
        for group in self.items.chunk_by(|a, b| a.tag == b.tag) {
            write_group(&mut out, group);
        }
        out.push_str("</g></svg>\n");
        out
    }

    fn head(&self, out: &mut String, fonts: FontEmbedding) {
        // Several figures may stand in one page, so their names must differ.
        let id = fingerprint(&self.title) ^ fingerprint(&self.alt).rotate_left(1);
        let (w, h) = (number(self.width_mm), number(self.height_mm));
        put(
            out,
            format_args!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\" role=\"img\" aria-labelledby=\"title-{id:x} desc-{id:x}\">\n\
                 <title id=\"title-{id:x}\">{}</title>\n<desc id=\"desc-{id:x}\">{}</desc>\n",
                escaped(&self.title),
                escaped(&self.alt)
            ),
        );
        if fonts == FontEmbedding::Embedded {
            out.push_str("<style>");
            face(out, 400, font::REGULAR_WOFF2);
            face(out, 700, font::BOLD_WOFF2);
            out.push_str("svg{font-kerning:none;font-variant-ligatures:none}</style>\n");
        }
        put(
            out,
            format_args!(
                "<g font-family=\"'{}', sans-serif\" fill=\"none\" stroke-linejoin=\"round\">\n",
                font::FAMILY
            ),
        );
    }
}

fn put(out: &mut String, text: std::fmt::Arguments<'_>) {
    out.write_fmt(text).expect("writing to text in memory succeeds");
}

fn face(out: &mut String, weight: u16, woff2: &[u8]) {
    put(
        out,
        format_args!(
            "@font-face{{font-family:'{}';font-weight:{weight};src:url(data:font/woff2;base64,{}) format('woff2')}}",
            font::FAMILY,
            base64(woff2)
        ),
    );
}

fn write_group(out: &mut String, group: &[Item]) {
    let Some(first) = group.first() else { return };
    let (class, attribute) = match &first.tag {
        Tag::Paper => ("paper", None),
        Tag::Title => ("title", None),
        Tag::Phase(id) => ("phase", Some(("phase", id))),
        Tag::Panel => ("panel", None),
        Tag::Axis => ("axis", None),
        Tag::Grid => ("grid", None),
        Tag::Line(id) => ("line", Some(("landmark", id))),
        Tag::Ghost(id) => ("ghost", Some(("channel", id))),
        Tag::Trace(id) => ("trace", Some(("channel", id))),
        Tag::TraceLabel(id) => ("trace-label", Some(("channel", id))),
        Tag::LandmarkLabel(id) => ("landmark-label", Some(("landmark", id))),
        Tag::Bar(id) => ("bar", Some(("bar", id))),
        Tag::Loop => ("loop", None),
        Tag::LoopLabel(id) => ("loop-label", Some(("landmark", id))),
    };
    put(out, format_args!("<g class=\"{class}\""));
    if let Some((name, id)) = attribute {
        put(out, format_args!(" data-{name}=\"{}\"", escaped(id)));
    }
    out.push('>');
    for item in group {
        write_shape(out, &item.shape);
    }
    out.push_str("</g>\n");
}

fn write_shape(out: &mut String, shape: &Shape) {
    match shape {
        Shape::Fill { area, colour } => put(
            out,
            format_args!(
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{}\"/>",
                number(area.x),
                number(area.y),
                number(area.w),
                number(area.h),
                hex(*colour)
            ),
        ),
        Shape::Lines { parts, stroke } => write_lines(out, parts, stroke),
        Shape::Image { area, width, height, grey } => {
            let Some(file) = image::png(*width, *height, grey) else { return };
            put(
                out,
                format_args!(
                    "<image x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" preserveAspectRatio=\"none\" href=\"data:image/png;base64,{}\"/>",
                    number(area.x),
                    number(area.y),
                    number(area.w),
                    number(area.h),
                    base64(&file)
                ),
            );
        }
        Shape::Polygon { points, colour } => {
            out.push_str("<path d=\"");
            write_points(out, points);
            put(out, format_args!("Z\" fill=\"{}\"/>", hex(*colour)));
        }
        Shape::Text { at, text, size, bold, align, colour } => {
            put(
                out,
                format_args!(
                    "<text x=\"{}\" y=\"{}\" font-size=\"{}\"",
                    number(at[0]),
                    number(at[1]),
                    number(*size)
                ),
            );
            out.push_str(match align {
                Align::Start => "",
                Align::Middle => " text-anchor=\"middle\"",
                Align::End => " text-anchor=\"end\"",
            });
            out.push_str(if *bold { " font-weight=\"700\"" } else { "" });
            put(out, format_args!(" fill=\"{}\">{}</text>", hex(*colour), escaped(text)));
        }
    }
}

fn write_lines(out: &mut String, parts: &[Vec<[f64; 2]>], stroke: &Stroke) {
    out.push_str("<path d=\"");
    for part in parts {
        write_points(out, part);
    }
    put(
        out,
        format_args!(
            "\" stroke=\"{}\" stroke-width=\"{}\"",
            hex(stroke.colour),
            number(stroke.width)
        ),
    );
    if !stroke.dash.is_empty() {
        let dash: Vec<String> = stroke.dash.iter().map(|&length| number(length)).collect();
        put(out, format_args!(" stroke-dasharray=\"{}\"", dash.join(" ")));
    }
    out.push_str("/>");
}

fn write_points(out: &mut String, points: &[[f64; 2]]) {
    for (index, point) in points.iter().enumerate() {
        out.push(if index == 0 { 'M' } else { 'L' });
        put_number(out, point[0]);
        out.push(' ');
        put_number(out, point[1]);
    }
}

/// A length with at most three decimals.
fn number(value: f64) -> String {
    let mut text = String::new();
    put_number(&mut text, value);
    text
}

/// Writes what [`number`] gives: a trace has thousands of them.
fn put_number(out: &mut String, value: f64) {
    let start = out.len();
    put(out, format_args!("{value:.3}"));
    out.truncate(out.trim_end_matches('0').trim_end_matches('.').len());
    if &out[start..] == "-0" {
        out.replace_range(start.., "0");
    }
}

fn hex([r, g, b]: Colour) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// Text that XML reads as itself; letters that XML cannot hold are left out.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\u{fffe}' | '\u{ffff}' => {}
            c if c < ' ' && !matches!(c, '\t' | '\n' | '\r') => {}
            c => out.push(c),
        }
    }
    out
}

/// A number that depends on the text alone (FNV-1a), the same on every machine.
fn fingerprint(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

/// Bytes as text, by RFC 4648 with padding.
pub fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let at = |i: usize| u32::from(chunk.get(i).copied().unwrap_or_default());
        let bits = at(0) << 16 | at(1) << 8 | at(2);
        for i in 0..4 {
            let letter = LETTERS[(bits >> (18 - 6 * i) & 63) as usize];
            out.push(if i > chunk.len() { '=' } else { char::from(letter) });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_of_the_standards_examples() {
        // RFC 4648, section 10.
        let pairs =
            [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foobar", "Zm9vYmFy")];
        for (plain, coded) in pairs {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn numbers_are_short() {
        assert_eq!(number(12.0), "12");
        assert_eq!(number(-0.0001), "0");
        assert_eq!(number(1.23456), "1.235");
    }

    #[test]
    fn xml_reads_back_what_was_written() {
        assert_eq!(escaped("a<b> & \"c\"\u{1}"), "a&lt;b&gt; &amp; &quot;c&quot;");
    }
}
