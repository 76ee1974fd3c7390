//! Small pictures of what is drawn over and over, letters and dots: made once
//! in a thread, then only laid down.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use ttf_parser::OutlineBuilder;

use super::coverage::{Point, Shape};
use crate::report::font::{COMMON, Font, Fonts};

/// Places within a pixel for which a letter is made.
const LETTER_PLACES: usize = 2;
/// Places within a pixel, each way, for which a dot is made.
const DOT_PLACES: usize = 4;
/// Straight steps that stand for a curve of an outline.
const STEPS: u32 = 6;

/// A picture's box, from the pixel that it was made for.
#[derive(Debug, Clone, Copy, Default)]
pub struct Sprite {
    pub left: i32,
    pub top: i32,
    pub width: usize,
    height: usize,
    start: usize,
}

/// All sprites of a thread.
#[derive(Debug, Default)]
pub struct Sprites {
    shares: Vec<u8>,
    faces: Vec<Letters>,
    dots: Vec<Dots>,
    shape: Shape,
}

/// The letters of one size and weight.
#[derive(Debug)]
struct Letters {
    size: f64,
    bold: bool,
    common: Vec<Option<Sprite>>,
    rare: BTreeMap<(char, usize), Sprite>,
}

/// Dots of one radius.
#[derive(Debug)]
struct Dots {
    radius: f64,
    made: [Option<Sprite>; DOT_PLACES * DOT_PLACES],
}

/// One size and weight of letters, by its number.
#[derive(Debug, Clone, Copy)]
pub struct FaceNumber(usize);

impl Sprites {
    /// The rows of a sprite: shares from the left.
    pub fn rows(&self, sprite: &Sprite) -> impl Iterator<Item = &[u8]> {
        let end = sprite.start + sprite.width * sprite.height;
        let shares = self.shares.get(sprite.start..end).unwrap_or_default();
        shares.chunks_exact(sprite.width.max(1))
    }

    pub fn face(&mut self, size: f64, bold: bool) -> FaceNumber {
        let known = self
            .faces
            .iter()
            .position(|f| f.size == size && f.bold == bold);
        FaceNumber(known.unwrap_or_else(|| {
            self.faces.push(Letters {
                size,
                bold,
                common: vec![None; COMMON * LETTER_PLACES],
                rare: BTreeMap::new(),
            });
            self.faces.len() - 1
        }))
    }

    /// A letter that begins at `x`, and the pixel that it is made for.
    pub fn letter(
        &mut self,
        FaceNumber(face): FaceNumber,
        letter: char,
        x: f64,
        fonts: &Fonts,
    ) -> (Sprite, i32) {
        let (pixel, place) = pixel_and_place(x, LETTER_PLACES);
        let Some(letters) = self.faces.get_mut(face) else {
            return (Sprite::default(), pixel);
        };
        let at = letter as usize * LETTER_PLACES + place;
        let made = match letters.common.get(at) {
            Some(sprite) => *sprite,
            None => letters.rare.get(&(letter, place)).copied(),
        };
        if let Some(sprite) = made {
            return (sprite, pixel);
        }
        let font = fonts.of(letters.bold);
        let shift = place as f64 / LETTER_PLACES as f64;
        let mut pen = Pen::new(&mut self.shape, font, letters.size, shift);
        font.outline(letter, &mut pen);
        let sprite = keep(&mut self.shape, &mut self.shares);
        match letters.common.get_mut(at) {
            Some(slot) => *slot = Some(sprite),
            None => {
                letters.rare.insert((letter, place), sprite);
            }
        }
        (sprite, pixel)
    }

    /// A dot about `at`, and the pixel that it is made for.
    pub fn dot(&mut self, radius: f64, at: Point) -> (Sprite, (i32, i32)) {
        let ((x, right), (y, down)) = (
            pixel_and_place(at.0, DOT_PLACES),
            pixel_and_place(at.1, DOT_PLACES),
        );
        let known = self.dots.iter().position(|dots| dots.radius == radius);
        let number = known.unwrap_or_else(|| {
            self.dots.push(Dots {
                radius,
                made: [None; DOT_PLACES * DOT_PLACES],
            });
            self.dots.len() - 1
        });
        let slot = self
            .dots
            .get_mut(number)
            .and_then(|dots| dots.made.get_mut(down * DOT_PLACES + right));
        let Some(slot) = slot else {
            return (Sprite::default(), (x, y));
        };
        let sprite = *slot.get_or_insert_with(|| {
            let part = |place: usize| place as f64 / DOT_PLACES as f64;
            self.shape
                .outline(&circle((part(right), part(down)), radius));
            keep(&mut self.shape, &mut self.shares)
        });
        (sprite, (x, y))
    }
}

/// Corners of a circle, as many as its size needs to look round.
pub fn circle((x, y): Point, radius: f64) -> Vec<Point> {
    let corners = (16.0 + 4.0 * radius).clamp(16.0, 256.0) as u32;
    let turns = (0..corners).map(|i| f64::from(i) / f64::from(corners) * TAU);
    turns
        .map(|turn| (x + radius * turn.cos(), y + radius * turn.sin()))
        .collect()
}

/// The pixel in which `at` lies, and the nearest of so many places within it.
fn pixel_and_place(at: f64, places: usize) -> (i32, usize) {
    let fine = (at * places as f64).round() as i64;
    let places = places as i64;
    let pixel = i32::try_from(fine.div_euclid(places)).unwrap_or(i32::MAX / 2);
    (pixel, fine.rem_euclid(places) as usize)
}

/// The shape as a sprite, its shares added to the others.
fn keep(shape: &mut Shape, shares: &mut Vec<u8>) -> Sprite {
    let Some((x0, y0, x1, y1)) = shape.bounds() else {
        return Sprite::default();
    };
    let (left, top) = (x0.floor(), y0.floor());
    let (width, height) = ((x1.ceil() - left) as usize, (y1.ceil() - top) as usize);
    shape.shift(-left, -top);
    let start = shares.len();
    shares.resize(start + width * height, 0);
    shape.fill((width, height), |y, from, to, share| {
        let row = start + y * width;
        if let Some(stretch) = shares.get_mut(row + from..row + to) {
            stretch.fill(share);
        }
    });
    Sprite {
        left: left as i32,
        top: top as i32,
        width,
        height,
        start,
    }
}

/// Draws a letter's outline into a shape.
struct Pen<'a> {
    shape: &'a mut Shape,
    scale: f64,
    shift: f64,
    at: Point,
    start: Point,
}

impl<'a> Pen<'a> {
    fn new(shape: &'a mut Shape, font: &Font, size: f64, shift: f64) -> Pen<'a> {
        Pen {
            shape,
            scale: font.pixels_per_unit(size),
            shift,
            at: (0.0, 0.0),
            start: (0.0, 0.0),
        }
    }

    fn px(&self, x: f32, y: f32) -> Point {
        let (x, y) = (f64::from(x), f64::from(y));
        (x * self.scale + self.shift, -y * self.scale)
    }

    fn step(&mut self, to: Point) {
        self.shape.step(self.at, to);
        self.at = to;
    }

    /// A curve as straight steps; `along` gives its point at 0 to 1.
    fn curve(&mut self, along: impl Fn(f64) -> Point) {
        for i in 1..=STEPS {
            self.step(along(f64::from(i) / f64::from(STEPS)));
        }
    }
}

/// The point at `t` between two.
fn between(a: Point, b: Point, t: f64) -> Point {
    (a.0 + (b.0 - a.0) * t, a.1 + (b.1 - a.1) * t)
}

impl OutlineBuilder for Pen<'_> {
    fn move_to(&mut self, x: f32, y: f32) {
        self.at = self.px(x, y);
        self.start = self.at;
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.step(self.px(x, y));
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let (a, b, c) = (self.at, self.px(x1, y1), self.px(x, y));
        self.curve(|t| between(between(a, b, t), between(b, c, t), t));
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let (a, b, c, d) = (self.at, self.px(x1, y1), self.px(x2, y2), self.px(x, y));
        self.curve(|t| {
            let (ab, bc, cd) = (between(a, b, t), between(b, c, t), between(c, d, t));
            between(between(ab, bc, t), between(bc, cd, t), t)
        });
    }

    fn close(&mut self) {
        self.step(self.start);
    }
}
