//! Pictures held against each other as an eye would, with a little tolerance:
//! another machine's arithmetic may shade an edge a little differently.

use std::path::{Path, PathBuf};

/// A picture: width and RGB rows.
struct Picture {
    width: u32,
    pixels: Vec<[u8; 3]>,
}

fn decoded(bytes: &[u8]) -> Picture {
    let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
    decoder.set_transformations(png::Transformations::EXPAND);
    let mut reader = decoder.read_info().expect("a PNG");
    let mut buffer = vec![0; reader.output_buffer_size().expect("its size")];
    let frame = reader.next_frame(&mut buffer).expect("its pixels");
    buffer.truncate(frame.buffer_size());
    let pixels = buffer.as_chunks::<3>().0.to_vec();
    Picture {
        width: frame.width,
        pixels,
    }
}

/// How different two colours look, 0 to 1: Y. Kotsarenko, F. Ramos, *Measuring
/// perceived color difference using YIQ NTSC transmission color space in mobile
/// applications*, 2010.
fn difference(a: [u8; 3], b: [u8; 3]) -> f64 {
    let [r, g, b] = [0, 1, 2].map(|i| f64::from(a[i]) - f64::from(b[i]));
    let y = 0.298_895 * r + 0.586_622 * g + 0.114_482 * b;
    let i = 0.595_978 * r - 0.274_176 * g - 0.321_801 * b;
    let q = 0.211_471 * r - 0.522_617 * g + 0.311_147 * b;
    (0.5053 * y * y + 0.299 * i * i + 0.1957 * q * q) / 35_215.0
}

/// A pixel that looks more different than this counts (a tenth of the way from
/// black to white, squared as the measure is).
const SEEN: f64 = 0.01;
/// At most so large a share of the pixels may count.
const SHARE: f64 = 0.000_2;

/// What is wrong, if anything; the difference is drawn into `folder`.
pub fn compare(name: &str, kept: &[u8], made: &[u8], folder: &Path) -> Result<(), String> {
    if kept == made {
        return Ok(());
    }
    let (kept, made) = (decoded(kept), decoded(made));
    if (kept.width, kept.pixels.len()) != (made.width, made.pixels.len()) {
        return Err(format!("{name} has another size"));
    }
    let pairs = || kept.pixels.iter().zip(&made.pixels);
    let seen = pairs().filter(|(a, b)| difference(**a, **b) > SEEN).count();
    let share = seen as f64 / kept.pixels.len().max(1) as f64;
    if share <= SHARE {
        return Ok(());
    }
    // what was there in pale grey, what differs in red
    let mut drawn = Vec::with_capacity(3 * kept.pixels.len());
    for (a, b) in pairs() {
        let pale = 255 - (255 - a[1]) / 4;
        drawn.extend(match difference(*a, *b) > SEEN {
            true => [200, 0, 0],
            false => [pale; 3],
        });
    }
    let path = folder.join(format!("difference-{name}"));
    write(&path, &made, &drawn);
    Err(format!(
        "{seen} pixels of {name} look different; {} shows them in red",
        path.display()
    ))
}

fn write(path: &PathBuf, like: &Picture, rgb: &[u8]) {
    let height = like.pixels.len() as u32 / like.width;
    let file = std::fs::File::create(path).expect("a place for the difference");
    let mut encoder = png::Encoder::new(file, like.width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header().expect("a PNG");
    writer.write_image_data(rgb).expect("its pixels");
}

/// A picture of `paint`ed pixels as PNG bytes.
fn png_of(paint: impl Fn(u32, u32) -> [u8; 3]) -> Vec<u8> {
    let (width, height) = (200, 150);
    let rgb: Vec<u8> = (0..height)
        .flat_map(|y| (0..width).map(move |x| (x, y)))
        .flat_map(|(x, y)| paint(x, y))
        .collect();
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header().expect("a PNG");
    writer.write_image_data(&rgb).expect("its pixels");
    writer.finish().expect("its end");
    bytes
}

#[test]
fn a_shade_passes_and_a_moved_line_is_drawn_in_red() {
    let folder = tempfile::tempdir().expect("a folder");
    let line = |at: u32| png_of(move |x, _| if x == at { [0, 49, 111] } else { [255; 3] });
    let shaded = png_of(|x, _| if x == 60 { [6, 52, 108] } else { [254; 3] });
    assert_eq!(compare("a.png", &line(60), &shaded, folder.path()), Ok(()));
    let said = compare("b.png", &line(60), &line(64), folder.path()).unwrap_err();
    assert!(said.contains("300 pixels"), "{said}");
    let drawn = decoded(&std::fs::read(folder.path().join("difference-b.png")).expect("it"));
    let red = drawn.pixels.iter().filter(|p| **p == [200, 0, 0]).count();
    assert_eq!(red, 300);
}
