//! Laws by which salt passage may rise with exposure. None is known to be a membrane's:
//! they compete, and the fleet's own past weighs them.

/// A law of decline. With `E` the exposure (1000 L of water of 200 mg/L), `a` the `ln`
/// salt passage when new and `L` the exposure of a usual life:
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Law {
    /// `ln s = a + ln 4 · E/L`.
    Exponential,
    /// Flat at first, then ever quicker: `ln s = a + (e^(cgE/L) − 1)/c`.
    Quickening,
    /// `s = e^a + 0.075·(E/L)^q`; 1 is a straight line.
    Power(f64),
    /// Levels off: `s = e^a + e^t·(1 − e^(−E/L))`.
    Levelling,
    /// Levels off more slowly: `s = e^a + e^t·E/(L + E)`.
    Hyperbolic,
}

/// What an element is under a law: `ln` salt passage when new, `−ln` of the exposure
/// of a usual life, `ln` of what it levels off at above new, and `ln` of the exposure
/// before the records began.
pub const PARAMETERS: usize = 4;
pub type Parameters = [f64; PARAMETERS];
pub const START: usize = 0;
pub const PACE: usize = 1;
pub const TOP: usize = 2;
pub const BEFORE: usize = 3;

/// From a usual new element (2.5 %) to the usual limit (10 %), as a difference and as
/// a difference of logarithms.
const RISE: f64 = 0.075;
const LN_RISE: f64 = 2.0 * std::f64::consts::LN_2;
/// How growth quickens with what has built up, and the pace that reaches the limit
/// after a usual life with it.
const QUICKENING: f64 = 0.3;

fn quickening_pace() -> f64 {
    (1.0 + QUICKENING * LN_RISE).ln()
}

impl Law {
    /// All that compete, and how likely each is before the fleet's past is heard
    /// (judgement: nothing known of membranes favours one shape much).
    pub const ALL: [(Law, f64); 9] = [
        (Law::Exponential, 0.2),
        (Law::Quickening, 0.08),
        (Law::Power(0.6), 0.08),
        (Law::Power(0.8), 0.08),
        (Law::Power(1.0), 0.18),
        (Law::Power(1.3), 0.1),
        (Law::Power(1.7), 0.08),
        (Law::Levelling, 0.12),
        (Law::Hyperbolic, 0.08),
    ];

    /// What it is called where its weight is told.
    pub fn name(self) -> &'static str {
        match self {
            Law::Exponential => "law: by the same share",
            Law::Quickening => "law: ever quicker",
            Law::Power(q) if q < 0.7 => "law: power 0.6",
            Law::Power(q) if q < 0.9 => "law: power 0.8",
            Law::Power(q) if q < 1.15 => "law: straight line",
            Law::Power(q) if q < 1.5 => "law: power 1.3",
            Law::Power(_) => "law: power 1.7",
            Law::Levelling => "law: levels off",
            Law::Hyperbolic => "law: levels off slowly",
        }
    }

    /// Whether it levels off, so that an element may never reach a limit.
    pub fn levels_off(self) -> bool {
        matches!(self, Law::Levelling | Law::Hyperbolic)
    }

    /// `ln` salt passage after so much recorded exposure.
    pub fn ln_passage(self, p: &Parameters, recorded: f64) -> f64 {
        let [start, pace, top, before] = *p;
        let used = (recorded + before.exp()) * pace.exp();
        match self {
            Law::Exponential => start + LN_RISE * used,
            Law::Quickening => start + ((quickening_pace() * used).min(60.0).exp_m1()) / QUICKENING,
            Law::Power(q) => (start.exp() + RISE * used.max(0.0).powf(q)).ln(),
            Law::Levelling => (start.exp() + top.exp() * -(-used).exp_m1()).ln(),
            Law::Hyperbolic => (start.exp() + top.exp() * used / (1.0 + used)).ln(),
        }
    }

    /// The same with its derivatives by the parameters.
    pub fn with_slopes(self, p: &Parameters, recorded: f64) -> (f64, Parameters) {
        let [start, pace, top, before] = *p;
        let exposure = recorded + before.exp();
        let used = exposure * pace.exp();
        let (ln, by_start, by_pace, by_top) = match self {
            Law::Exponential => (start + LN_RISE * used, 1.0, LN_RISE * used, 0.0),
            Law::Quickening => {
                let g = (quickening_pace() * used).min(60.0);
                (
                    start + g.exp_m1() / QUICKENING,
                    1.0,
                    g * g.exp() / QUICKENING,
                    0.0,
                )
            }
            Law::Power(q) => {
                let (new, grown) = (start.exp(), RISE * used.max(0.0).powf(q));
                let s = new + grown;
                (s.ln(), new / s, q * grown / s, 0.0)
            }
            Law::Levelling => {
                let (new, high) = (start.exp(), top.exp());
                let left = (-used).exp();
                let s = new + high * (1.0 - left);
                (
                    s.ln(),
                    new / s,
                    high * left * used / s,
                    high * (1.0 - left) / s,
                )
            }
            Law::Hyperbolic => {
                let (new, high) = (start.exp(), top.exp());
                let share = used / (1.0 + used);
                let s = new + high * share;
                (
                    s.ln(),
                    new / s,
                    high * share / (1.0 + used) / s,
                    high * share / s,
                )
            }
        };
        let by_before = if exposure > 0.0 {
            by_pace * before.exp() / exposure
        } else {
            0.0
        };
        (ln, [by_start, by_pace, by_top, by_before])
    }

    /// Recorded exposure at which `ln` salt passage is reached; infinite where it never
    /// is, negative or 0 where it was before the records.
    pub fn exposure_at(self, p: &Parameters, ln_passage: f64) -> f64 {
        let [start, pace, top, before] = *p;
        let rise = ln_passage.exp() - start.exp();
        let used = match self {
            Law::Exponential => (ln_passage - start) / LN_RISE,
            Law::Quickening => {
                (1.0 + QUICKENING * (ln_passage - start).max(0.0)).ln() / quickening_pace()
            }
            Law::Power(q) => (rise.max(0.0) / RISE).powf(1.0 / q),
            Law::Levelling => {
                let share = rise.max(0.0) / top.exp();
                if share < 1.0 {
                    -(-share).ln_1p()
                } else {
                    f64::INFINITY
                }
            }
            Law::Hyperbolic => {
                let share = rise.max(0.0) / top.exp();
                if share < 1.0 {
                    share / (1.0 - share)
                } else {
                    f64::INFINITY
                }
            }
        };
        used / pace.exp() - before.exp()
    }
}

/// A `ln` exposure that is none.
pub const NOTHING_BEFORE: f64 = -40.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_law_finds_back_where_it_was_and_knows_its_slopes() {
        let p = [-3.6, -4.5, -2.2, 2.0];
        for (law, _) in Law::ALL {
            for exposure in [5.0, 30.0, 80.0] {
                let (ln, slopes) = law.with_slopes(&p, exposure);
                assert!((ln - law.ln_passage(&p, exposure)).abs() < 1e-12);
                let back = law.exposure_at(&p, ln);
                assert!((back - exposure).abs() < 1e-6 * exposure, "{law:?} {back}");
                for (i, slope) in slopes.iter().enumerate() {
                    let mut near = p;
                    let h = 1e-6;
                    near[i] += h;
                    let seen = (law.ln_passage(&near, exposure) - ln) / h;
                    assert!((seen - slope).abs() < 1e-4, "{law:?} {i}: {seen} {slope}");
                }
            }
        }
    }

    #[test]
    fn what_levels_off_below_the_limit_never_reaches_it() {
        let low = [0.03_f64.ln(), -4.0, 0.05_f64.ln(), NOTHING_BEFORE];
        for law in [Law::Levelling, Law::Hyperbolic] {
            assert!(law.exposure_at(&low, 0.1_f64.ln()).is_infinite());
            assert!(law.exposure_at(&low, 0.06_f64.ln()).is_finite());
        }
        assert!(Law::Power(0.6).exposure_at(&low, 0.1_f64.ln()).is_finite());
    }
}
