//! Inks for dark screens: the same hue, lightness turned over.

use super::look::{Ink, PAPER};

/// Lightness (Oklab) of dark paper and of the brightest ink on it.
const DARKEST: f64 = 0.21;
const BRIGHTEST: f64 = 0.95;
/// Lightness of the darkest ink on white paper.
const INK_LIGHTNESS: f64 = 0.24;
/// The paper of dark screens, as in the style sheet.
pub const DARK_PAPER: Ink = Ink(20, 25, 31);

/// The ink as it looks on a dark screen. Lightness and hue are those of Oklab
/// (B. Ottosson, *A perceptual color space for image processing*, 2020).
pub fn by_night(ink: Ink) -> Ink {
    if ink == PAPER {
        return DARK_PAPER;
    }
    let [l, a, b] = oklab(ink);
    let share = ((1.0 - l) / (1.0 - INK_LIGHTNESS)).clamp(0.0, 1.0);
    from_oklab([DARKEST + (BRIGHTEST - DARKEST) * share.powf(0.8), a, b])
}

fn linear(channel: u8) -> f64 {
    let c = f64::from(channel) / 255.0;
    if c <= 0.040_45 {
        c / 12.92
    } else {
        ((c + 0.055) / 1.055).powf(2.4)
    }
}

fn stored(c: f64) -> u8 {
    let c = if c <= 0.003_130_8 {
        c * 12.92
    } else {
        1.055 * c.powf(1.0 / 2.4) - 0.055
    };
    (c.clamp(0.0, 1.0) * 255.0).round() as u8
}

/// Lightness, green–red and blue–yellow of an ink.
pub fn oklab(Ink(r, g, b): Ink) -> [f64; 3] {
    let (r, g, b) = (linear(r), linear(g), linear(b));
    let l = (0.412_221_470_8 * r + 0.536_332_536_3 * g + 0.051_445_992_9 * b).cbrt();
    let m = (0.211_903_498_2 * r + 0.680_699_545_1 * g + 0.107_396_956_6 * b).cbrt();
    let s = (0.088_302_461_9 * r + 0.281_718_837_6 * g + 0.629_978_700_5 * b).cbrt();
    [
        0.210_454_255_3 * l + 0.793_617_785_0 * m - 0.004_072_046_8 * s,
        1.977_998_495_1 * l - 2.428_592_205_0 * m + 0.450_593_709_9 * s,
        0.025_904_037_1 * l + 0.782_771_766_2 * m - 0.808_675_766_0 * s,
    ]
}

fn from_oklab([l, a, b]: [f64; 3]) -> Ink {
    let x = (l + 0.396_337_777_4 * a + 0.215_803_757_3 * b).powi(3);
    let y = (l - 0.105_561_345_8 * a - 0.063_854_172_8 * b).powi(3);
    let z = (l - 0.089_484_177_5 * a - 1.291_485_548_0 * b).powi(3);
    Ink(
        stored(4.076_741_662_1 * x - 3.307_711_591_3 * y + 0.230_969_929_2 * z),
        stored(-1.268_438_004_6 * x + 2.609_757_401_1 * y - 0.341_319_396_5 * z),
        stored(-0.004_196_086_3 * x - 0.703_418_614_7 * y + 1.707_614_701_0 * z),
    )
}

/// The ratio of contrast between two inks: Web Content Accessibility
/// Guidelines 2.2, "contrast ratio" (1 to 21).
#[cfg(test)]
pub fn contrast(one: Ink, other: Ink) -> f64 {
    let luminance =
        |Ink(r, g, b): Ink| 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
    let (a, b) = (luminance(one), luminance(other));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::look;

    #[test]
    fn oklab_is_that_of_its_paper() {
        // Ottosson's own table: XYZ white is L 1, a 0, b 0; sRGB red 0.628, 0.225, 0.126
        let near = |got: [f64; 3], want: [f64; 3]| {
            got.iter().zip(want).all(|(g, w)| (g - w).abs() < 0.001)
        };
        assert!(near(oklab(Ink(255, 255, 255)), [1.0, 0.0, 0.0]));
        assert!(near(oklab(Ink(255, 0, 0)), [0.628, 0.225, 0.126]));
        for ink in [look::MEMBRANE, look::RESIN, look::TEXT] {
            let back = from_oklab(oklab(ink));
            let far = [
                back.0.abs_diff(ink.0),
                back.1.abs_diff(ink.1),
                back.2.abs_diff(ink.2),
            ];
            assert!(far.iter().all(|d| *d <= 1), "{ink:?} {back:?}");
        }
    }

    #[test]
    fn text_can_be_read_on_dark_paper() {
        for ink in [look::TEXT, look::MUTED, look::LIMIT] {
            let ratio = contrast(by_night(ink), DARK_PAPER);
            assert!(ratio >= 4.5, "{ink:?} {ratio}");
        }
        for ink in [look::MEMBRANE, look::RESIN, look::WATER, look::PREFILTER] {
            let ratio = contrast(by_night(ink), DARK_PAPER);
            assert!(ratio >= 3.0, "{ink:?} {ratio}");
        }
    }
}
