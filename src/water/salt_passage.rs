//! Salt passage as it would be at 25 °C at the element's present usual pressure
//! and recovery.

use super::concentrate::{
    FeedSide, log_mean_factor, net_driving_pressure_bar, recovery_from_flows,
};
use super::conductivity::reading_noise_sd_ln;
use super::temperature::{THETA_RECOVERY_SHARE_PER_C, salt_temperature_factor};

/// Salt passage falls with net driving pressure as `NDP^−m`: 1 at fixed
/// recovery, about 0.8 behind a fixed reject valve; 0.9 between (judgement).
pub const PRESSURE_EXPONENT: f64 = 0.9;

/// Below this feed the probe's own ±1 ppm is a fifth of what it measures.
const MIN_FEED_PPM: f64 = 5.0;
/// Below this permeate the probe's own scatter exceeds what it measures.
const MIN_PERMEATE_PPM: f64 = 0.4;
/// A permeate up to a tenth above its feed is a dead membrane; more is a mix-up.
const MAX_RAW: f64 = 1.1;
/// From here on corrections act on the odds, so that none passes 1.
const ODDS_FROM: f64 = 0.1;
/// Pressure drop along the element and back-pressure on the permeate where
/// nobody measured, bar (common practice, no source).
const USUAL_DROP_BAR: f64 = 0.3;
const USUAL_PERMEATE_BAR: f64 = 0.1;
const USUAL_RECOVERY: f64 = 0.3;
/// Less net pressure than this is a closed tap or a misread gauge.
const MIN_NDP_BAR: f64 = 0.2;

/// The element's present usual operation, from the running medians of its own
/// readings; `None` where it was never read.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct UsualOperation {
    /// Permeate flow brought to 25 °C: median of `flow / water_temperature_factor`, L/min.
    pub permeate_lpm_at_25: Option<f64>,
    /// A fraction.
    pub recovery: Option<f64>,
    pub feed_bar: Option<f64>,
}

/// What was measured together with a salt passage, and what is usual there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    pub feed_ppm: f64,
    pub permeate_ppm: f64,
    /// Measured; `None` where the season has to do.
    pub water_c: Option<f64>,
    /// The season's tap temperature on that day, °C.
    pub seasonal_c: f64,
    pub permeate_lpm: Option<f64>,
    pub concentrate_lpm: Option<f64>,
    pub feed_bar: Option<f64>,
    pub usual: UsualOperation,
}

/// What the correction leaned on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum KnownBy {
    Flow,
    Pressure,
    Temperature,
    /// Nothing was measured: the seasonal temperature stood in.
    Season,
}

/// Salt passage at 25 °C and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normalised {
    /// A fraction.
    pub salt_passage: f64,
    /// What the correction leaves: standard deviation of `ln` salt passage
    /// from temperature and pressure alone (0.06 to 0.15, judgement).
    pub left_over_sd_ln: f64,
    /// The above and the meter's own noise together.
    pub sd_ln: f64,
    /// Degrees below 25 °C through which `theta` acted: another `theta` moves
    /// `ln` salt passage by the difference times this.
    pub theta_lever: f64,
    pub known_by: KnownBy,
}

/// Why a salt passage at 25 °C cannot be told.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CannotTell {
    #[error("the feed reads {0} ppm, too little for the probe to tell salt passage")]
    FeedTooLow(f64),
    #[error("the permeate reads {0} ppm, less than the probe's own error")]
    PermeateTooLow(f64),
    #[error("the permeate reads {0:.2} times the feed: probes or columns look swapped")]
    PermeateAboveFeed(f64),
    #[error("feed and permeate are not both finite numbers")]
    NotANumber,
}

/// Salt passage brought to a reference permeate flow and 25 °C:
/// `SP·(Q/Q_ref)/STCF` (ASTM D4516, salt equation, from memory).
pub fn salt_passage_from_flow(raw: f64, lpm: f64, reference_lpm: f64, salt_factor: f64) -> f64 {
    raw * lpm / reference_lpm / salt_factor
}

/// Salt passage at 25 °C: the share of the feed's salts that comes through the membrane.
///
/// `raw` is permeate over feed, a fraction (0.041 for 4.1 %); `known` says what
/// was measured with it and what is usual for this element; `theta` is the
/// fleet's own coefficient, per °C ([`super::THETA_MEAN_PER_C`] to begin with).
/// By flow where flow and its usual value are known, else by pressure, else by
/// temperature alone; the season's temperature where none was read. Only
/// excursions from the *present usual* flow or pressure are taken out, so slow
/// loss of flow stays visible and all readings share one level. At constant
/// pressure temperature nearly cancels: the full 3 % per °C would invent a
/// yearly wave.
///
/// # Errors
/// [`CannotTell`] where the probe's own error exceeds what is measured, or the
/// permeate reads more than a tenth above the feed.
///
/// # Source
/// ASTM D4516 (feed-side mean and flow equation; salt equation from memory);
/// solution–diffusion for the pressure form; left-over deviations: judgement.
pub fn salt_passage_at_25(
    raw: f64,
    known: &Conditions,
    theta: f64,
) -> Result<Normalised, CannotTell> {
    refuse_what_tells_nothing(raw, known)?;
    let water_c = known.water_c.unwrap_or(known.seasonal_c);
    let season: f64 = if known.water_c.is_some() { 0.0 } else { 0.09 };
    let by_temperature = (theta * (25.0 - water_c)).exp();
    let (factor, left_over, known_by) = if let Some(factor) = flow_factor(known, water_c, theta) {
        (factor, 0.06, KnownBy::Flow)
    } else if let Some(ratio) = pressure_ratio(raw, known) {
        (
            ratio.powf(PRESSURE_EXPONENT) * by_temperature,
            0.08,
            KnownBy::Pressure,
        )
    } else if known.water_c.is_some() {
        (by_temperature, 0.12, KnownBy::Temperature)
    } else {
        (by_temperature, 0.12, KnownBy::Season)
    };
    let left_over_sd_ln = season.hypot(left_over);
    Ok(Normalised {
        salt_passage: corrected(raw.min(0.999), factor),
        left_over_sd_ln,
        sd_ln: left_over_sd_ln.hypot(reading_noise_sd_ln(known.permeate_ppm)),
        theta_lever: 25.0 - water_c,
        known_by,
    })
}

fn refuse_what_tells_nothing(raw: f64, known: &Conditions) -> Result<(), CannotTell> {
    if !(raw.is_finite() && known.feed_ppm.is_finite() && known.permeate_ppm.is_finite()) {
        Err(CannotTell::NotANumber)
    } else if known.feed_ppm < MIN_FEED_PPM {
        Err(CannotTell::FeedTooLow(known.feed_ppm))
    } else if known.permeate_ppm < MIN_PERMEATE_PPM || raw <= 0.0 {
        Err(CannotTell::PermeateTooLow(known.permeate_ppm))
    } else if raw >= MAX_RAW {
        Err(CannotTell::PermeateAboveFeed(raw))
    } else {
        Ok(())
    }
}

/// What salt passage is multiplied by, where the flow and its usual value are known.
fn flow_factor(known: &Conditions, water_c: f64, theta: f64) -> Option<f64> {
    let lpm = known.permeate_lpm.filter(|q| *q > 0.0)?;
    let reference = known.usual.permeate_lpm_at_25.filter(|q| *q > 0.0)?;
    let recovery = known
        .concentrate_lpm
        .filter(|q| *q > 0.0)
        .map(|waste| recovery_from_flows(lpm, waste));
    match (
        recovery,
        known.usual.recovery.filter(|y| (0.0..1.0).contains(y)),
    ) {
        (Some(recovery), Some(usual)) => {
            // with recovery corrected, its share of theta falls away
            let salt = salt_temperature_factor(water_c, theta - THETA_RECOVERY_SHARE_PER_C);
            let mean = log_mean_factor(usual) / log_mean_factor(recovery);
            Some(salt_passage_from_flow(1.0, lpm, reference, salt) * mean)
        }
        _ => {
            let salt = salt_temperature_factor(water_c, theta);
            Some(salt_passage_from_flow(1.0, lpm, reference, salt))
        }
    }
}

/// Net driving pressure over its usual value, where the gauge was read.
fn pressure_ratio(raw: f64, known: &Conditions) -> Option<f64> {
    let ndp = |feed_bar: f64| {
        let bar = net_driving_pressure_bar(&FeedSide {
            feed_bar,
            drop_bar: USUAL_DROP_BAR,
            permeate_bar: USUAL_PERMEATE_BAR,
            // on the 0.5 scale a ppm is about a mg/L of dissolved salts
            feed_mg_l: known.feed_ppm,
            recovery: known
                .usual
                .recovery
                .unwrap_or(USUAL_RECOVERY)
                .clamp(0.0, 0.9),
            salt_passage: raw.min(1.0),
        });
        (bar >= MIN_NDP_BAR).then_some(bar)
    };
    Some(ndp(known.feed_bar?)? / ndp(known.usual.feed_bar?)?)
}

/// `factor` times the salt passage up to [`ODDS_FROM`], times its odds above,
/// joined without a step.
fn corrected(raw: f64, factor: f64) -> f64 {
    let scale = 1.0 - ODDS_FROM;
    let index = if raw <= ODDS_FROM {
        raw
    } else {
        scale * raw / (1.0 - raw)
    };
    let moved = index * factor;
    if moved <= ODDS_FROM {
        moved
    } else {
        moved / (scale + moved)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::water::{THETA_MEAN_PER_C, water_temperature_factor};

    fn near(value: f64, expected: f64, tolerance: f64) {
        assert!(
            (value - expected).abs() <= tolerance,
            "{value} is not {expected}"
        );
    }

    fn at(water_c: Option<f64>) -> Conditions {
        Conditions {
            feed_ppm: 320.0,
            permeate_ppm: 16.0,
            water_c,
            seasonal_c: 11.5,
            permeate_lpm: None,
            concentrate_lpm: None,
            feed_bar: None,
            usual: UsualOperation::default(),
        }
    }

    #[test]
    fn with_temperature_alone_theta_corrects() {
        // SP·exp(theta·(25 − T)), at 10 °C from 0.05
        for (theta, expected) in [
            (0.005, 0.053_894_207_54),
            (0.01, 0.058_091_712_14),
            (0.02, 0.067_492_940_38),
        ] {
            let seen = salt_passage_at_25(0.05, &at(Some(10.0)), theta).unwrap();
            near(seen.salt_passage, expected, 1e-9);
            assert_eq!(seen.known_by, KnownBy::Temperature);
            near(seen.left_over_sd_ln, 0.12, 1e-12);
            near(seen.theta_lever, 15.0, 1e-12);
        }
    }

    #[test]
    fn a_mains_reading_never_gets_the_full_three_per_cent() {
        // the trap: 0.05 at 10 °C becomes 0.0779 with 3 %/°C
        let seen = salt_passage_at_25(0.05, &at(Some(10.0)), THETA_MEAN_PER_C).unwrap();
        assert!(seen.salt_passage < 0.06);
    }

    #[test]
    fn with_flow_and_temperature_the_standard_equation_holds() {
        // ASTM D4516, salt equation: 0.05 at 10 °C, 1.4 of usually 2.4 L/min
        let mut known = at(Some(10.0));
        known.permeate_lpm = Some(1.4);
        known.usual.permeate_lpm_at_25 = Some(2.4);
        let seen = salt_passage_at_25(0.05, &known, 0.0).unwrap();
        near(seen.salt_passage, 0.049_907_755_36, 1e-9);
        near(seen.left_over_sd_ln, 0.06, 1e-12);
        let salt_103 = 1.03_f64.powf(-15.0);
        near(
            salt_passage_from_flow(0.05, 1.4, 2.4, salt_103),
            0.045_440_716_32,
            1e-9,
        );
    }

    #[test]
    fn readings_with_and_without_a_flow_share_one_level() {
        let plain = salt_passage_at_25(0.05, &at(Some(8.0)), 0.01).unwrap();
        let mut known = at(Some(8.0));
        known.usual.permeate_lpm_at_25 = Some(2.4);
        known.permeate_lpm = Some(2.4 * water_temperature_factor(8.0));
        let flow = salt_passage_at_25(0.05, &known, 0.01).unwrap();
        near(flow.salt_passage, plain.salt_passage, 1e-12);
        known.permeate_lpm = None;
        known.usual.feed_bar = Some(3.0);
        known.feed_bar = Some(3.0);
        let pressure = salt_passage_at_25(0.05, &known, 0.01).unwrap();
        near(pressure.salt_passage, plain.salt_passage, 1e-12);
        assert_eq!(pressure.known_by, KnownBy::Pressure);
    }

    #[test]
    fn half_the_net_pressure_nearly_doubles_what_passes() {
        let mut known = at(Some(25.0));
        known.usual.feed_bar = Some(3.0);
        known.feed_bar = Some(2.0);
        let seen = salt_passage_at_25(0.08, &known, 0.01).unwrap();
        // solution–diffusion, 3 → 2 bar at the tap: 58 to 77 % more as read
        let rise = 0.08 / seen.salt_passage;
        assert!((1.5..1.8).contains(&rise), "{rise}");
    }

    #[test]
    fn higher_recovery_than_usual_is_taken_out() {
        let mut known = at(Some(25.0));
        known.permeate_lpm = Some(2.0);
        known.concentrate_lpm = Some(2.0);
        known.usual = UsualOperation {
            permeate_lpm_at_25: Some(2.0),
            recovery: Some(0.25),
            feed_bar: None,
        };
        let seen = salt_passage_at_25(0.05, &known, 0.01).unwrap();
        near(seen.salt_passage, 0.05 / 1.204_710_42, 1e-8);
    }

    #[test]
    fn without_a_thermometer_the_season_stands_in_and_says_so() {
        let seen = salt_passage_at_25(0.05, &at(None), 0.01).unwrap();
        near(seen.salt_passage, 0.05 * (0.135_f64).exp(), 1e-12);
        near(seen.left_over_sd_ln, 0.15, 1e-12);
        assert_eq!(seen.known_by, KnownBy::Season);
    }

    #[test]
    fn no_correction_passes_one_or_steps() {
        let mut known = at(Some(2.0));
        known.permeate_ppm = 300.0;
        let high = salt_passage_at_25(0.94, &known, 0.03).unwrap();
        assert!(high.salt_passage > 0.94 && high.salt_passage < 1.0);
        let below = corrected(0.1 - 1e-9, 1.3);
        let above = corrected(0.1 + 1e-9, 1.3);
        near(below, above, 1e-7);
    }

    #[test]
    fn a_reading_below_the_probes_own_error_tells_nothing() {
        let mut known = at(None);
        known.feed_ppm = 2.0;
        assert_eq!(
            salt_passage_at_25(0.5, &known, 0.01),
            Err(CannotTell::FeedTooLow(2.0))
        );
        known.feed_ppm = 320.0;
        known.permeate_ppm = 0.0;
        assert_eq!(
            salt_passage_at_25(0.0, &known, 0.01),
            Err(CannotTell::PermeateTooLow(0.0))
        );
        known.permeate_ppm = 400.0;
        let swapped = salt_passage_at_25(1.25, &known, 0.01);
        assert_eq!(swapped, Err(CannotTell::PermeateAboveFeed(1.25)));
    }
}
