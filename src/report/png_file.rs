//! Pictures as PNG bytes: the same picture always gives the same bytes.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use super::pixels::Picture;

/// Written into every page, so that a page of an earlier report is known again.
const SOFTWARE: (&str, &str) = ("Software", "litrewise report");
/// 150 dots per inch in dots per metre.
const DOTS_PER_METRE: u32 = 5906;
/// Flat areas of few colours: no filter and a low level give the smallest
/// pages for the time they take.
const DEFLATE_LEVEL: u8 = 3;

/// The picture as a PNG with a palette.
///
/// # Errors
/// What the PNG library says.
pub fn png_bytes(picture: &Picture<'_>) -> Result<Vec<u8>, png::EncodingError> {
    let mut out = Vec::with_capacity(128 * 1024);
    let mut encoder = png::Encoder::new(&mut out, picture.width, picture.height);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_color(png::ColorType::Indexed);
    let colours = picture.colours.iter();
    let palette: Vec<u8> = colours.flat_map(|c| [c.0, c.1, c.2]).collect();
    encoder.set_palette(palette);
    encoder.set_filter(png::Filter::NoFilter);
    encoder.set_deflate_compression(png::DeflateCompression::Level(DEFLATE_LEVEL));
    encoder.set_pixel_dims(Some(png::PixelDimensions {
        xppu: DOTS_PER_METRE,
        yppu: DOTS_PER_METRE,
        unit: png::Unit::Meter,
    }));
    encoder.add_text_chunk(SOFTWARE.0.to_owned(), SOFTWARE.1.to_owned())?;
    let mut writer = encoder.write_header()?;
    writer.write_image_data(picture.pixels)?;
    writer.finish()?;
    Ok(out)
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
