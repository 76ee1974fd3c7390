//! What must stand where work is suggested: short, and deferring to local
//! codes and licensed people.
//!
//! Sources: HSE L8 and HSG274 (legionella), Water Supply (Water Fittings)
//! Regulations 1999 (backflow), Water Industry Act 1991 s.118 (trade
//! effluent), Construction and Use Regulations 1986 reg. 100 (loads).

use crate::advise::Item;

/// In the foot of every page.
pub const FOOT: &str = "A reminder, not advice: follow the maker's instructions, your own risk assessment and local rules. \
Shut off water and power and release the pressure before opening a housing; drain and disinfect what stood still; never let old resin or cleaning chemicals run into a gully.";

/// For the work that a list names, as far as it concerns these items.
pub fn for_work(items: &[Item]) -> String {
    let any = |wanted: &[Item]| items.iter().any(|i| wanted.contains(i));
    let mut said: Vec<&str> = Vec::new();
    if any(&[Item::Membrane, Item::Prefilter, Item::Resin]) {
        said.push("Shut off the water, isolate pump, charger and hook-up, and release the pressure before opening a housing; keep water off batteries.");
    }
    if any(&[Item::Membrane]) {
        said.push("Run a new membrane to waste first, as its maker says.");
    }
    if any(&[Item::Resin]) {
        said.push("Spilt beads are slippery; old resin is waste, not for a gully.");
    }
    said.push("A full tank weighs a kilogram a litre. No hose end under the water level: it can draw tank water back into the mains. Reject water and chemicals belong where the sewerage undertaker allows.");
    said.push(WHOSE);
    said.join(" ")
}

/// Whose word counts.
const WHOSE: &str = "A reminder, not advice: the makers' instructions, your own risk assessment, local codes and licensed people decide.";

/// For a van that stood still.
pub fn stood_still(weeks: usize) -> String {
    format!(
        "no water made for {weeks} weeks: drain, flush and disinfect tank and hoses before use; standing water can grow legionella"
    )
}

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
