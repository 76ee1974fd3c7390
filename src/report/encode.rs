//! Pictures as PNG bytes: the same picture always gives the same bytes.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use super::raster::Picture;
use super::squeeze::Squeezer;

/// Written into every page, so that a page of an earlier report is known again.
const SOFTWARE: (&str, &str) = ("Software", "litrewise report");
/// 150 dots per inch in dots per metre.
const DOTS_PER_METRE: u32 = 5906;

/// Encodes pictures; its room to work in serves one after another.
pub struct Encoder {
    squeezer: Squeezer,
    stream: Vec<u8>,
}

impl Encoder {
    pub fn new() -> Encoder {
        Encoder {
            squeezer: Squeezer::new(),
            stream: Vec::new(),
        }
    }

    /// The picture as a PNG with a palette.
    ///
    /// # Errors
    /// What the PNG library says.
    pub fn png_bytes(&mut self, picture: &Picture<'_>) -> Result<Vec<u8>, png::EncodingError> {
        self.squeezer
            .squeeze(picture.rows, picture.width as usize + 1, &mut self.stream);
        let mut out = Vec::with_capacity(self.stream.len() + 2 * 1024);
        let mut encoder = png::Encoder::new(&mut out, picture.width, picture.height);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_color(png::ColorType::Indexed);
        let palette: Vec<u8> = picture
            .colours
            .iter()
            .flat_map(|c| [c.0, c.1, c.2])
            .collect();
        encoder.set_palette(palette);
        encoder.set_pixel_dims(Some(png::PixelDimensions {
            xppu: DOTS_PER_METRE,
            yppu: DOTS_PER_METRE,
            unit: png::Unit::Meter,
        }));
        encoder.add_text_chunk(SOFTWARE.0.to_owned(), SOFTWARE.1.to_owned())?;
        let mut writer = encoder.write_header()?;
        writer.write_chunk(png::chunk::IDAT, &self.stream)?;
        writer.finish()?;
        Ok(out)
    }
}

/// Whether the file is a PNG that carries our mark.
pub fn is_a_page_of_ours(path: &Path) -> bool {
    let Ok(file) = File::open(path) else {
        return false;
    };
    let Ok(reader) = png::Decoder::new(BufReader::new(file)).read_info() else {
        return false;
    };
    reader
        .info()
        .uncompressed_latin1_text
        .iter()
        .any(|text| (text.keyword.as_str(), text.text.as_str()) == SOFTWARE)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::report::look::Ink;

    fn decoded(bytes: &[u8]) -> Vec<u8> {
        let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        let frame = reader.next_frame(&mut pixels).unwrap();
        pixels.truncate(frame.buffer_size());
        pixels
    }

    #[test]
    fn a_picture_comes_back_as_it_was() {
        let colours: Vec<Ink> = (0..=254).map(|c| Ink(c, 255 - c, c / 2)).collect();
        let rows: Vec<u8> = (0..30_u32)
            .flat_map(|y| {
                let row = (0..40_u32).map(move |x| (x * y % 255) as u8);
                [0].into_iter().chain(row)
            })
            .collect();
        let picture = Picture {
            width: 40,
            height: 30,
            rows: &rows,
            colours: &colours,
        };
        let wanted: Vec<u8> = picture.inks().flat_map(|c| [c.0, c.1, c.2]).collect();
        assert_eq!(wanted.len(), 40 * 30 * 3);
        let mut encoder = Encoder::new();
        let bytes = encoder.png_bytes(&picture).unwrap();
        assert_eq!(decoded(&bytes), wanted);
        // what is kept from the page before changes nothing
        assert_eq!(encoder.png_bytes(&picture).unwrap(), bytes);
    }
}
