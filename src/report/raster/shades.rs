//! The palette of a page: its inks exactly, and the shades of soft edges, each
//! made when it is first met. A shade is a share of an ink on what lies there.

use crate::report::look::{Ink, PAPER};

/// All of an ink, in the parts in which shares of it are told.
pub const FULL: u8 = 12;
/// Rows of a table of shades: a power of two, so that no share leads outside.
const ROWS: usize = 16;
/// The place of no colour: this shade has not been met yet.
const NOT_MET: u8 = 255;
/// A palette holds 256 colours; one place says that a shade was not met.
const MOST: usize = NOT_MET as usize;
/// Colours that agree in so many upper bits of each channel count as one.
const BITS: u32 = 5;

/// By share and by the place of what lies below: the place of the shade.
type Table = [[u8; 256]; ROWS];

/// A page's colours and what becomes of them where inks meet.
pub struct Shades {
    colours: Vec<Ink>,
    inks: Vec<Known>,
    /// By an ink's number; more than there are inks where a page before had more.
    tables: Vec<Box<Table>>,
    /// By upper bits: the colour that stands for all that share them.
    bins: Vec<u8>,
}

#[derive(Debug, Clone, Copy)]
struct Known {
    ink: Ink,
    place: u8,
}

/// An ink of the page, by its number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct InkNumber(usize);

impl Shades {
    pub fn new() -> Shades {
        Shades {
            colours: Vec::new(),
            inks: Vec::new(),
            tables: Vec::new(),
            bins: vec![NOT_MET; 1 << (3 * BITS)],
        }
    }

    /// Begins a page of white paper, colour 0; `inks` are kept exactly.
    pub fn begin(&mut self, inks: impl Iterator<Item = Ink>) {
        self.colours.clear();
        self.inks.clear();
        self.bins.fill(NOT_MET);
        self.number_of(PAPER);
        for ink in inks {
            self.number_of(ink);
        }
    }

    pub fn colours(&self) -> &[Ink] {
        &self.colours
    }

    /// The number of an ink, which is new or has one.
    pub fn number_of(&mut self, ink: Ink) -> InkNumber {
        let known = self.inks.iter().position(|k| k.ink == ink);
        InkNumber(known.unwrap_or_else(|| self.note(ink)))
    }

    fn note(&mut self, ink: Ink) -> usize {
        let place = self.add(ink);
        let number = self.inks.len();
        self.inks.push(Known { ink, place });
        if self.tables.len() == number {
            self.tables.push(Box::new([[NOT_MET; 256]; ROWS]));
        }
        if let Some(table) = self.tables.get_mut(number) {
            for (share, row) in table.iter_mut().enumerate() {
                row.fill(if share == usize::from(FULL) {
                    place
                } else {
                    NOT_MET
                });
            }
            // no ink leaves what lies there
            for (below, shade) in (0_u8..=255).zip(&mut table[0]) {
                *shade = below;
            }
        }
        number
    }

    /// Lays an ink on a stretch of a row, each pixel with its own share.
    pub fn blend(&mut self, InkNumber(ink): InkNumber, row: &mut [u8], shares: &[u8]) {
        for (pixel, share) in row.iter_mut().zip(shares) {
            let Some(table) = self.tables.get(ink) else {
                return;
            };
            let shade = table[usize::from(*share) % ROWS][usize::from(*pixel)];
            *pixel = match shade {
                NOT_MET => self.meet(ink, *share, *pixel),
                shade => shade,
            };
        }
    }

    /// The same with one share for all.
    pub fn blend_evenly(&mut self, InkNumber(ink): InkNumber, row: &mut [u8], share: u8) {
        if share == FULL {
            row.fill(self.inks.get(ink).map_or(0, |known| known.place));
            return;
        }
        for pixel in row {
            let Some(table) = self.tables.get(ink) else {
                return;
            };
            let shade = table[usize::from(share) % ROWS][usize::from(*pixel)];
            *pixel = match shade {
                NOT_MET => self.meet(ink, share, *pixel),
                shade => shade,
            };
        }
    }

    /// Makes a shade, and remembers it.
    #[cold]
    fn meet(&mut self, ink: usize, share: u8, place: u8) -> u8 {
        let (Some(above), Some(below)) = (
            self.inks.get(ink).map(|known| known.ink),
            self.colours.get(usize::from(place)).copied(),
        ) else {
            return place;
        };
        let shade = self.add_shade(mixed(above, below, share));
        if let Some(table) = self.tables.get_mut(ink) {
            table[usize::from(share) % ROWS][usize::from(place)] = shade;
        }
        shade
    }

    fn add_shade(&mut self, colour: Ink) -> u8 {
        match self.bins.get(bin_of(colour)) {
            Some(&place) if place != NOT_MET => place,
            _ => self.add(colour),
        }
    }

    /// The place of a colour: a new one while there is room, else the nearest.
    fn add(&mut self, colour: Ink) -> u8 {
        let place = match u8::try_from(self.colours.len()) {
            Ok(place) if usize::from(place) < MOST => {
                self.colours.push(colour);
                place
            }
            _ => nearest(&self.colours, colour),
        };
        if let Some(bin) = self.bins.get_mut(bin_of(colour)) {
            *bin = place;
        }
        place
    }
}

/// A share of one ink on another.
fn mixed(above: Ink, below: Ink, share: u8) -> Ink {
    let mix = |a: u8, b: u8| {
        let (share, full) = (u16::from(share.min(FULL)), u16::from(FULL));
        ((u16::from(a) * share + u16::from(b) * (full - share) + full / 2) / full) as u8
    };
    Ink(
        mix(above.0, below.0),
        mix(above.1, below.1),
        mix(above.2, below.2),
    )
}

fn bin_of(Ink(r, g, b): Ink) -> usize {
    let upper = [r, g, b].map(|channel| usize::from(channel >> (8 - BITS)));
    upper.iter().fold(0, |bin, bits| bin << BITS | bits)
}

fn nearest(colours: &[Ink], colour: Ink) -> u8 {
    let square = |a: u8, b: u8| u32::from(a.abs_diff(b)).pow(2);
    let far = |c: &Ink| square(c.0, colour.0) + square(c.1, colour.1) + square(c.2, colour.2);
    let places = (0_u8..).zip(colours);
    places
        .min_by_key(|(_, c)| far(c))
        .map_or(0, |(place, _)| place)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::look;

    #[test]
    fn inks_are_exact_and_their_soft_edges_near_enough() {
        let mut shades = Shades::new();
        let inks = [
            look::TEXT,
            look::MEMBRANE,
            look::GRID,
            look::SHADE,
            look::LIMIT,
        ];
        shades.begin(inks.into_iter());
        for below in inks {
            for above in inks {
                for share in 0..=FULL {
                    let (lower, upper) = (shades.number_of(below), shades.number_of(above));
                    let mut row = [0_u8; 3];
                    shades.blend_evenly(lower, &mut row, FULL);
                    shades.blend(upper, &mut row, &[share; 3]);
                    let got = row.map(|place| shades.colours()[usize::from(place)]);
                    let wanted = mixed(above, below, share);
                    let off = [
                        got[0].0.abs_diff(wanted.0),
                        got[0].1.abs_diff(wanted.1),
                        got[0].2.abs_diff(wanted.2),
                    ];
                    assert!(off.iter().all(|o| *o < 8), "{off:?}");
                    if share == 0 || share == FULL {
                        assert_eq!(got, [wanted; 3]);
                    }
                }
            }
        }
    }

    #[test]
    fn a_page_of_too_many_inks_takes_the_nearest() {
        let mut shades = Shades::new();
        let steps = || (0..9_u8).map(|step| step * 31);
        let cube =
            steps().flat_map(|r| steps().flat_map(move |g| steps().map(move |b| Ink(r, g, b))));
        shades.begin(cube.clone());
        assert_eq!(shades.colours().len(), MOST);
        for ink in cube {
            let number = shades.number_of(ink);
            let mut row = [0_u8];
            shades.blend_evenly(number, &mut row, FULL);
            assert!(usize::from(row[0]) < MOST);
        }
    }
}
