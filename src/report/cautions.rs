//! What must stand where work is suggested: short, and deferring to local
//! codes and licensed people.
//!
//! Sources: HSE L8 and HSG274 (legionella), Water Supply (Water Fittings)
//! Regulations 1999 (backflow), Water Industry Act 1991 s.118 (trade
//! effluent), Construction and Use Regulations 1986 reg. 100 (loads).

/// In the foot of every page.
pub const FOOT: &str = "A reminder, not advice: follow the maker's instructions, your own risk assessment and local rules. \
Release the pressure before opening a housing; never let old resin or cleaning chemicals run into a gully.";

/// The longer list, for the index.
pub const LIST: [(&str, &str); 8] = [
    (
        "Standing water",
        "Purified water holds no chlorine. Stored or idle water that may lie between 20 and 45 °C and be sprayed needs a legionella risk assessment (in Britain: HSE L8 and HSG274). Keep it cool, drain idle tanks, clean and disinfect them regularly.",
    ),
    (
        "Backflow",
        "Never let a hose end hang under the water level of a tank. What guard a tap needs depends on the use: ask the water supplier or an approved plumber.",
    ),
    (
        "Waste",
        "Waste water from trade use may need consent before it goes into a public sewer, and polluting a watercourse is an offence. Old resin, descaler and cleaning chemicals never go into a gully.",
    ),
    (
        "Pressure",
        "Release the pressure before opening a housing; mind the ratings of hoses and housings. A membrane that froze may leak without showing it.",
    ),
    (
        "Load",
        "A litre weighs a kilogram. Mind axle and gross limits, restraint and surge of a part-full tank.",
    ),
    (
        "Electrics",
        "Pumps, heaters and hook-ups beside water need fuses, a residual-current device and a competent auto-electrician.",
    ),
    (
        "Resin",
        "Spilt beads are slippery. Purified water is not for drinking.",
    ),
    ("Driver", "Never take readings while driving."),
];
