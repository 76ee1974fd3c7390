//! Hardness units and their conversion to mg/L as CaCO3.

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

    /// mg/L as CaCO3 in one of this unit.
    ///
    /// Sources: a grain is 64.79891 mg, an imperial gallon 4.54609 L, a US
    /// gallon 3.785411784 L (definitions); molar masses CaCO3 100.0869, CaO
    /// 56.0774, Ca 40.078 g/mol.
    pub fn mg_l_caco3(self) -> f64 {
        const CACO3: f64 = 100.0869;
        match self {
            HardnessUnit::MgLCaco3 => 1.0,
            HardnessUnit::Clark => 64.79891 / 4.54609,
            HardnessUnit::French => 10.0,
            HardnessUnit::German => 10.0 * CACO3 / 56.0774,
            HardnessUnit::MmolL => CACO3,
            HardnessUnit::MgLCa => CACO3 / 40.078,
            HardnessUnit::GrainsUsGal => 64.79891 / 3.785411784,
        }
    }
}
