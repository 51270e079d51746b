//! Grey pictures as PNG files.

/// The picture's size; `None` where it is empty, or `grey` is not as long as its size says.
pub(crate) fn size(width: usize, height: usize, grey: &[u8]) -> Option<(u32, u32)> {
    let (w, h) = (u32::try_from(width).ok()?, u32::try_from(height).ok()?);
    let fits = w > 0 && h > 0 && width.checked_mul(height)? == grey.len();
    fits.then_some((w, h))
}

/// The picture as a PNG file; `None` where it has no [`size()`].
pub(crate) fn png(width: usize, height: usize, grey: &[u8]) -> Option<Vec<u8>> {
    let (w, h) = size(width, height, grey)?;
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, w, h);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header().ok()?;
    writer.write_image_data(grey).ok()?;
    writer.finish().ok()?;
    Some(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_reads_back_and_a_wrong_size_is_refused() {
        let grey = [0, 50, 100, 150, 200, 255];
        let file = png(3, 2, &grey).unwrap();
        let mut reader = png::Decoder::new(std::io::Cursor::new(file)).read_info().unwrap();
        let mut read = vec![0; 6];
        reader.next_frame(&mut read).unwrap();
        assert_eq!(read, grey);
        assert_eq!((reader.info().width, reader.info().height), (3, 2));
        assert_eq!(png(2, 2, &grey), None);
        assert_eq!(png(0, 0, &[]), None);
    }
}
