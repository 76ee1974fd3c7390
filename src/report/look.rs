//! The one visual language of all pages: inks, type sizes, and a shape for
//! every state, so that a state is told by word and shape as well as colour.

use crate::advise::State;

/// An opaque colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ink(pub u8, pub u8, pub u8);

impl Ink {
    /// A lighter version of the ink: `share` of it (0..1) on white paper.
    pub fn tint(self, share: f64) -> Ink {
        let mix = |c: u8| (255.0 - (255.0 - f64::from(c)) * share).round() as u8;
        Ink(mix(self.0), mix(self.1), mix(self.2))
    }
}

pub const PAPER: Ink = Ink(255, 255, 255);
pub const TEXT: Ink = Ink(24, 33, 43);
pub const MUTED: Ink = Ink(84, 95, 106);
pub const GRID: Ink = Ink(223, 228, 233);
pub const RULE: Ink = Ink(150, 160, 170);
/// Readings of an earlier part.
pub const EARLIER: Ink = Ink(128, 138, 148);
pub const SHADE: Ink = Ink(244, 246, 248);
/// Membranes and rejection; their readings, lighter than the fit.
pub const MEMBRANE: Ink = Ink(0, 49, 111);
pub const MEMBRANE_READING: Ink = Ink(102, 131, 169);
/// Resin and the water after it; its readings.
pub const RESIN: Ink = Ink(177, 102, 65);
pub const RESIN_READING: Ink = Ink(189, 125, 94);
/// Litres.
pub const WATER: Ink = Ink(59, 161, 162);
/// Pre-filters.
pub const PREFILTER: Ink = Ink(108, 86, 150);
/// Limits.
pub const LIMIT: Ink = Ink(134, 37, 54);

/// The ink of a series' readings: lighter than its fit, and still plain on paper.
pub fn reading(series: Ink) -> Ink {
    match series {
        MEMBRANE => MEMBRANE_READING,
        RESIN => RESIN_READING,
        other => other,
    }
}

/// The tint of a likely range; its edge is drawn in the ink of readings.
pub fn range(series: Ink) -> Ink {
    series.tint(0.18)
}

/// Page size: A4 landscape at 150 dots per inch.
pub const PAGE: (u32, u32) = (1754, 1240);
/// A single chart of the gallery.
pub const SINGLE: (u32, u32) = (1000, 620);
/// A drawing of the index: wide and high.
pub const DRAWING: (u32, u32) = (540, 380);
/// A drawing over the whole width.
pub const DRAWING_WIDE: (u32, u32) = (680, 420);
/// A drawing with many rows.
pub const DRAWING_TALL: (u32, u32) = (540, 620);
/// A drawing of less weight.
pub const DRAWING_LOW: (u32, u32) = (540, 300);
/// Outer margin of a page, px.
pub const MARGIN: f64 = 56.0;

/// How a piece of text looks: em size in px, weight, ink.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Type {
    pub size: f64,
    pub bold: bool,
    pub ink: Ink,
}

impl Type {
    const fn new(size: f64, bold: bool, ink: Ink) -> Type {
        Type { size, bold, ink }
    }

    /// The same in another ink.
    pub const fn inked(self, ink: Ink) -> Type {
        Type { ink, ..self }
    }

    /// Distance from one baseline to the next, px.
    pub fn leading(&self) -> f64 {
        (self.size * 1.3).round()
    }

    /// How far the baseline lies under the middle of its digits and capitals, px.
    pub fn below_middle(&self) -> f64 {
        self.size * 0.36
    }
}

/// The scale of type sizes. 18 px is 8.6 points on A4; nothing is smaller.
pub const PAGE_TITLE: Type = Type::new(38.0, true, TEXT);
pub const LEAD: Type = Type::new(22.0, false, TEXT);
pub const CHART_TITLE: Type = Type::new(21.0, true, TEXT);
pub const BODY: Type = Type::new(19.0, false, TEXT);
pub const BODY_BOLD: Type = Type::new(19.0, true, TEXT);
pub const SMALL: Type = Type::new(18.0, false, MUTED);
pub const SMALL_BOLD: Type = Type::new(18.0, true, TEXT);

/// Every size there is, px.
pub const SIZES: [f64; 5] = [
    SMALL.size,
    BODY.size,
    CHART_TITLE.size,
    LEAD.size,
    PAGE_TITLE.size,
];

/// Markers that stay apart in grey print.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    Circle,
    Ring,
    Square,
    Diamond,
    Triangle,
    Cross,
    /// A ring with a dot, for what cannot be told.
    Eye,
}

/// Shape and ink of a state. Lightness differs too, for grey printing; the inks
/// stay apart for whoever sees fewer colours (`sight` holds them to it).
pub fn badge(state: State) -> (Shape, Ink) {
    match state {
        State::FailingEarly => (Shape::Cross, Ink(81, 11, 53)),
        State::Overdue => (Shape::Square, Ink(160, 37, 53)),
        State::Due => (Shape::Triangle, Ink(205, 133, 51)),
        State::Watch => (Shape::Diamond, Ink(16, 61, 143)),
        State::Unknown => (Shape::Eye, Ink(95, 104, 112)),
        State::OnCourse => (Shape::Circle, Ink(78, 143, 114)),
    }
}
