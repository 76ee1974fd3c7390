//! Pictures as PNG bytes: the same picture always gives the same bytes.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use super::raster::Picture;

/// Written into every page, so that a page of an earlier report is known again.
const SOFTWARE: (&str, &str) = ("Software", "litrewise report");
/// 150 dots per inch in dots per metre.
const DOTS_PER_METRE: u32 = 5906;
/// Colours a PNG palette can hold.
const MOST_COLOURS: usize = 256;

/// The most frequent colours are always kept exactly: paper, text, inks, tints.
const EXACT: usize = 64;
/// How far a rare shade may lie from the colour that shows it, in levels of the
/// three channels squared and added: the smallest that suffices is taken.
const UNSEEN: [i32; 5] = [8 * 8, 12 * 12, 18 * 18, 27 * 27, 40 * 40];

/// The picture as a PNG with a palette of its 256 most frequent colours; the
/// few others, shades on the edges of letters and lines, take the nearest one.
/// A picture for which that would show is encoded in full colour.
///
/// # Errors
/// What the PNG library says.
pub fn png_bytes(picture: &Picture) -> Result<Vec<u8>, png::EncodingError> {
    let indexed = with_palette(&picture.pixels);
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, picture.width, picture.height);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Balanced);
    let data = match indexed {
        Some((palette, indices)) => {
            encoder.set_color(png::ColorType::Indexed);
            encoder.set_palette(palette);
            // neighbouring palette numbers are not neighbouring colours: no filter pays
            encoder.set_filter(png::Filter::NoFilter);
            std::borrow::Cow::Owned(indices)
        }
        None => {
            encoder.set_color(png::ColorType::Rgb);
            std::borrow::Cow::Borrowed(&picture.pixels)
        }
    };
    encoder.set_pixel_dims(Some(png::PixelDimensions {
        xppu: DOTS_PER_METRE,
        yppu: DOTS_PER_METRE,
        unit: png::Unit::Meter,
    }));
    encoder.add_text_chunk(SOFTWARE.0.to_owned(), SOFTWARE.1.to_owned())?;
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&data)?;
    writer.finish()?;
    Ok(out)
}

/// A colour without its two lowest bits per channel: 18 bits.
fn bin_of(pixel: [u8; 3]) -> usize {
    let [r, g, b] = pixel.map(|c| usize::from(c >> 2));
    r << 12 | g << 6 | b
}

/// A palette (RGB triples) and one index per pixel. Colours are first put into
/// bins of 4 levels a channel; a bin is shown by the first of its colours met.
/// `None` if some colour finds none near it.
fn with_palette(pixels: &[u8]) -> Option<(Vec<u8>, Vec<u8>)> {
    let bins = count_bins(pixels);
    let mut order: Vec<(usize, [u8; 3], usize)> = bins
        .iter()
        .enumerate()
        .filter(|(_, (n, _))| *n > 0)
        .map(|(bin, (n, colour))| (bin, *colour, *n))
        .collect();
    // most frequent first; equal counts by bin, so that nothing is left to chance
    order.sort_by(|a, b| b.2.cmp(&a.2).then(a.0.cmp(&b.0)));
    let colours: Vec<[u8; 3]> = order.iter().map(|(_, colour, _)| *colour).collect();
    let (kept, places) = UNSEEN.iter().find_map(|far| gathered(&colours, *far))?;
    let mut index_of = vec![0_u8; bins.len()];
    for ((bin, _, _), place) in order.iter().zip(places) {
        if let Some(slot) = index_of.get_mut(*bin) {
            *slot = place;
        }
    }
    let mut indices = Vec::with_capacity(pixels.len() / 3);
    for (colour, n) in runs(pixels) {
        let index = index_of.get(bin_of(colour)).copied().unwrap_or(0);
        match n {
            1 => indices.push(index),
            n => indices.extend(std::iter::repeat_n(index, n)),
        }
    }
    Some((kept.concat(), indices))
}

/// How often each bin occurs, and the first colour met in it.
fn count_bins(pixels: &[u8]) -> Vec<(usize, [u8; 3])> {
    let mut bins = vec![(0_usize, [0_u8; 3]); 1 << 18];
    for (colour, n) in runs(pixels) {
        if let Some(bin) = bins.get_mut(bin_of(colour)) {
            if bin.0 == 0 {
                bin.1 = colour;
            }
            bin.0 += n;
        }
    }
    bins
}

/// The pixels as colours and how often each repeats; a run may be told in parts.
fn runs(pixels: &[u8]) -> impl Iterator<Item = ([u8; 3], usize)> + '_ {
    const STRETCH: usize = 64;
    const PAPER: [u8; STRETCH * 3] = [255; STRETCH * 3];
    pixels.chunks(STRETCH * 3).flat_map(|stretch| {
        // most of a page is paper: one comparison for the whole stretch
        let paper = PAPER.get(..stretch.len()) == Some(stretch);
        let rest = if paper { &[][..] } else { stretch };
        let whole = paper.then_some(([255; 3], stretch.len() / 3));
        whole
            .into_iter()
            .chain(rest.chunks_exact(3).map(|p| match p {
                &[r, g, b] => ([r, g, b], 1),
                _ => ([255; 3], 1),
            }))
    })
}

/// A palette in which every colour finds one within `far`, and each colour's
/// place in it; `None` if 256 places are too few. `colours`: most frequent first.
fn gathered(colours: &[[u8; 3]], far: i32) -> Option<(Vec<[u8; 3]>, Vec<u8>)> {
    let mut kept: Vec<[u8; 3]> = Vec::with_capacity(MOST_COLOURS);
    let mut places = Vec::with_capacity(colours.len());
    for colour in colours {
        let near = nearest(&kept, *colour).filter(|(_, distance)| *distance <= far);
        let place = match near {
            Some((place, _)) if kept.len() >= EXACT => place,
            _ if kept.len() == MOST_COLOURS => return None,
            _ => {
                kept.push(*colour);
                kept.len() - 1
            }
        };
        places.push(u8::try_from(place).ok()?);
    }
    Some((kept, places))
}

/// The place of the nearest colour and how far off it is.
fn nearest(palette: &[[u8; 3]], colour: [u8; 3]) -> Option<(usize, i32)> {
    let far = |other: &[u8; 3]| -> i32 {
        let pairs = other.iter().zip(&colour);
        pairs
            .map(|(a, b)| (i32::from(*a) - i32::from(*b)).pow(2))
            .sum()
    };
    let distances = palette.iter().map(far).enumerate();
    distances.min_by_key(|(_, distance)| *distance)
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

    fn picture(width: u32, pixels: Vec<u8>) -> Picture {
        let height = pixels.len() as u32 / 3 / width;
        Picture {
            width,
            height,
            pixels,
        }
    }

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
    fn few_colours_come_back_exactly() {
        let pixels: Vec<u8> = (0..40 * 30)
            .flat_map(|i| [[255, 255, 255], [22, 84, 140], [0, 0, 0]][i % 3])
            .collect();
        let page = picture(40, pixels.clone());
        assert_eq!(decoded(&png_bytes(&page).unwrap()), pixels);
    }

    #[test]
    fn colours_too_many_for_a_palette_come_back_exactly() {
        // a cube of 9 x 9 x 9 colours, 31 levels apart: 729 for 256 places
        let steps = || (0..9_u8).map(|s| s * 31);
        let pixels: Vec<u8> = steps()
            .flat_map(|r| steps().flat_map(move |g| steps().flat_map(move |b| [r, g, b])))
            .collect();
        let page = picture(27, pixels.clone());
        assert_eq!(decoded(&png_bytes(&page).unwrap()), pixels);
    }

    #[test]
    fn rare_shades_come_back_near_enough() {
        // mostly paper and a grey ramp, a few shades between its steps
        let mut pixels: Vec<u8> = (0..=255_u8).flat_map(|g| [g; 3].repeat(20)).collect();
        pixels.extend((0..100_u8).flat_map(|g| [g, g + 6, g]));
        let page = picture(2, pixels.clone());
        let back = decoded(&png_bytes(&page).unwrap());
        let worst = pixels.iter().zip(&back).map(|(a, b)| a.abs_diff(*b)).max();
        assert!(worst.is_some_and(|w| (1..=18).contains(&w)), "{worst:?}");
    }
}
