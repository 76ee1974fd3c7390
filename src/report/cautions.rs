//! What must stand where work is suggested: short, and deferring to local rules
//! and competent people.
//!
//! Sources: HSE L8 and HSG274 parts 2 and 3 (legionella; weekly flushing of what
//! is seldom used: from memory), Water Supply (Water Fittings) Regulations 1999,
//! Water Supply (Water Fittings) (Scotland) Byelaws 2014 and Regulations
//! (Northern Ireland) 2009 (backflow), Water Industry Act 1991 s.118 (trade
//! effluent), Environmental Protection Act 1990 s.34 (waste carriers), COSHH 2002
//! (chemicals), Manual Handling Operations Regulations 1992, Construction and
//! Use Regulations 1986 reg. 100 (loads).

use crate::advise::Item;

/// In the foot of every page; two lines.
pub const FOOT: &str = "A reminder, not advice; local rules and competent people decide. Shut off water and power and release the pressure before opening a housing; keep chlorine off membrane and resin; \
flush weekly what stands still; air gap or double check valve at every tap; two people or a trolley for heavy parts; old resin and chemicals to a registered waste carrier, never down a gully.";

/// Whose word counts.
const WHOSE: &str = "A reminder, not advice: the makers' instructions, your own risk assessment, local rules and competent people decide.";

/// For the work that a list names, as far as it concerns these items.
pub fn for_work(items: &[Item]) -> String {
    let any = |wanted: &[Item]| items.iter().any(|i| wanted.contains(i));
    let mut said: Vec<&str> = Vec::new();
    if any(&[Item::Membrane, Item::Prefilter, Item::Resin]) {
        said.push("Shut off the water, isolate pump, charger and hook-up, and release the pressure before opening a housing; keep water off batteries.");
    }
    if any(&[Item::Membrane]) {
        said.push("Run a new membrane to waste first, as its maker says; chlorine destroys it.");
    }
    if any(&[Item::Resin]) {
        said.push("Gloves and eye protection; spilt beads are slippery; a 25 L bag weighs about 18 kg. Old resin goes to a waste carrier, never down a gully.");
    }
    if any(&[Item::Tank, Item::Flush]) {
        said.push(DISINFECT);
    }
    said.push("A full tank weighs a kilogram a litre. Keep the filling hose above the water (air gap): tank water can be drawn back into the mains.");
    said.push(WHOSE);
    said.join(" ")
}

/// What belongs to every disinfecting.
const DISINFECT: &str = "Disinfect tank and hoses only: chlorine must bypass RO membrane and DI resin, and chlorine and acid descaler must never meet (poisonous gas).";

/// For a van that stood still.
pub fn stood_still(weeks: usize) -> String {
    format!(
        "no water made for {weeks} weeks: standing water can grow legionella. Drain, flush and disinfect any tank or hose left standing before use, and flush weekly while laid up. {DISINFECT} {WHOSE}"
    )
}

/// The safety line of a driver's card.
pub const DRIVER: &str = "Water and power off, pressure released before you open a housing. Gloves and eye protection; spilt beads are slippery. Do not lift alone what is too heavy. No chlorine through membrane or resin. Old resin and chemicals go back to the yard for a waste carrier, never down a gully. Not sure? Stop and ask.";

/// The longer list, for the index.
pub const LIST: [(&str, &str); 11] = [
    (
        "Standing water",
        "Purified water holds no chlorine. Stored or idle water, sprayed as it is in window cleaning, needs a legionella risk assessment (in Britain: HSE L8 and HSG274); 20 to 45 °C is worst. Keep it cool, flush weekly what is seldom used, drain idle tanks, clean and disinfect them regularly.",
    ),
    (
        "Disinfecting",
        "Chlorine destroys RO membranes and harms resin: it must bypass both, and be flushed out before they are back in line. Never mix chlorine with acid descaler: the gas is poisonous.",
    ),
    (
        "Chemicals",
        "Read the safety data sheet first; gloves and eye protection; keep an assessment (in Britain: COSHH).",
    ),
    (
        "Backflow",
        "Keep the filling hose above the water (air gap). Which backflow protection the tap needs depends on the fluid category of the use: ask the water company or an approved plumber. Some uses must be notified to it, and a standpipe needs its licence. In force: Water Fittings Regulations 1999 (England, Wales), Byelaws 2014 (Scotland), Regulations 2009 (Northern Ireland).",
    ),
    (
        "Waste",
        "Reject water and waste from trade use may need consent before it goes into a public sewer, and polluting a watercourse is an offence. Old resin, descaler and cleaning chemicals never go down a gully: bag them and hand them to a registered waste carrier.",
    ),
    (
        "Pressure",
        "Release the pressure before opening a housing. Hoses and housings rated for the pump's cut-out pressure; a relief valve where the maker asks for one. A membrane that froze may leak without showing it.",
    ),
    (
        "Load",
        "A litre weighs a kilogram. Mind axle and gross limits, restraint and surge of a part-full tank.",
    ),
    (
        "Lifting",
        "A 25 L bag of resin weighs about 18 kg, a full DI vessel more: trolley or two people.",
    ),
    (
        "Electrics",
        "Pumps, heaters and hook-ups beside water need fuses, an RCD and a competent auto-electrician. Charge lithium batteries only with their own charger, never frozen and never unattended where a fire could spread; lead-acid ones give off hydrogen: air the van.",
    ),
    (
        "Heaters",
        "Hot water scalds; a burner needs its own air and flue and a carbon monoxide alarm. Frost heaters away from anything that burns.",
    ),
    (
        "On the job",
        "Spilt beads are slippery. Purified water is not for drinking. Never take readings while driving.",
    ),
];
