//! Hardness units and their conversion to mg/L as CaCO3.

/// Molar masses, g/mol (IUPAC 2021 atomic weights).
const CACO3: f64 = 100.0869;
const CAO: f64 = 56.0774;
const CALCIUM: f64 = 40.078;

/// mg in one grain (definition, international yard and pound agreement 1959).
const MG_PER_GRAIN: f64 = 64.79891;

/// A unit in which suppliers publish hardness.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum HardnessUnit {
    MgLCaco3,
    Clark,
    French,
    German,
    MmolL,
    MgLCa,
    GrainsUsGal,
}

impl HardnessUnit {
    /// All units, in the contract's order.
    pub const ALL: [HardnessUnit; 7] = [
        HardnessUnit::MgLCaco3,
        HardnessUnit::Clark,
        HardnessUnit::French,
        HardnessUnit::German,
        HardnessUnit::MmolL,
        HardnessUnit::MgLCa,
        HardnessUnit::GrainsUsGal,
    ];

    /// The contract's word for the unit.
    pub fn word(self) -> &'static str {
        match self {
            HardnessUnit::MgLCaco3 => "mg_l_caco3",
            HardnessUnit::Clark => "clark",
            HardnessUnit::French => "french",
            HardnessUnit::German => "german",
            HardnessUnit::MmolL => "mmol_l",
            HardnessUnit::MgLCa => "mg_l_ca",
            HardnessUnit::GrainsUsGal => "grains_us_gal",
        }
    }

    /// The unit of the contract's word; `None` for any other text.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|unit| unit.word() == word)
    }

    /// mg/L as CaCO3 in one of this unit.
    ///
    /// Sources: a grain is 64.79891 mg, an imperial gallon 4.54609 L, a US
    /// gallon 3.785411784 L (definitions); a German degree is 10 mg/L CaO, a
    /// French one 10 mg/L CaCO3 (public hardness tables); molar masses CaCO3
    /// 100.0869, CaO 56.0774, Ca 40.078 g/mol.
    pub fn mg_l_caco3(self) -> f64 {
        match self {
            HardnessUnit::MgLCaco3 => 1.0,
            HardnessUnit::Clark => MG_PER_GRAIN / 4.54609,
            HardnessUnit::French => 10.0,
            HardnessUnit::German => 10.0 * CACO3 / CAO,
            HardnessUnit::MmolL => CACO3,
            HardnessUnit::MgLCa => CACO3 / CALCIUM,
            HardnessUnit::GrainsUsGal => MG_PER_GRAIN / 3.785_411_784,
        }
    }

    /// `value` of this unit in mg/L as CaCO3.
    pub fn to_mg_l_caco3(self, value: f64) -> f64 {
        value * self.mg_l_caco3()
    }

    /// A hardness of `mg_l_caco3` in this unit.
    pub fn from_mg_l_caco3(self, mg_l_caco3: f64) -> f64 {
        mg_l_caco3 / self.mg_l_caco3()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(value: f64, expected: f64, tolerance: f64) {
        assert!(
            (value - expected).abs() <= tolerance,
            "{value} is not {expected}"
        );
    }

    #[test]
    fn published_units_become_mg_per_litre() {
        // definitions and public hardness tables
        near(HardnessUnit::Clark.to_mg_l_caco3(1.0), 14.253_767_52, 1e-6);
        near(HardnessUnit::Clark.to_mg_l_caco3(20.0), 285.075_350_5, 1e-5);
        near(HardnessUnit::French.to_mg_l_caco3(1.0), 10.0, 1e-12);
        near(HardnessUnit::German.to_mg_l_caco3(1.0), 17.847_992_24, 1e-6);
        near(
            HardnessUnit::German.to_mg_l_caco3(16.0),
            285.567_875_8,
            1e-5,
        );
        near(HardnessUnit::MmolL.to_mg_l_caco3(1.0), 100.0869, 1e-9);
        near(HardnessUnit::MgLCa.to_mg_l_caco3(1.0), 2.497_302_76, 1e-6);
        near(
            HardnessUnit::MgLCa.to_mg_l_caco3(114.0),
            284.692_514_6,
            1e-4,
        );
        near(
            HardnessUnit::GrainsUsGal.to_mg_l_caco3(1.0),
            17.118_061_05,
            1e-6,
        );
    }

    #[test]
    fn units_go_there_and_back() {
        near(
            HardnessUnit::Clark.from_mg_l_caco3(285.0),
            19.994_713_65,
            1e-6,
        );
        near(
            HardnessUnit::German.from_mg_l_caco3(285.0),
            15.968_182_65,
            1e-6,
        );
        for unit in HardnessUnit::ALL {
            near(unit.from_mg_l_caco3(unit.to_mg_l_caco3(12.5)), 12.5, 1e-12);
            assert_eq!(HardnessUnit::from_word(unit.word()), Some(unit));
        }
        assert_eq!(HardnessUnit::from_word("degrees"), None);
    }
}
