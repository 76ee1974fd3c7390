//! Pictures as PNG bytes: the same picture always gives the same bytes.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use super::canvas::Picture;

/// Written into every page, so that a page of an earlier report is known again.
const SOFTWARE: (&str, &str) = ("Software", "litrewise report");
/// 150 dots per inch in dots per metre.
const DOTS_PER_METRE: u32 = 5906;

/// The picture as a PNG in full colour.
///
/// # Errors
/// What the PNG library says.
pub fn png_bytes(picture: &Picture) -> Result<Vec<u8>, png::EncodingError> {
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, picture.width, picture.height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Balanced);
    encoder.set_pixel_dims(Some(png::PixelDimensions {
        xppu: DOTS_PER_METRE,
        yppu: DOTS_PER_METRE,
        unit: png::Unit::Meter,
    }));
    encoder.add_text_chunk(SOFTWARE.0.to_owned(), SOFTWARE.1.to_owned())?;
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&picture.pixels)?;
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
