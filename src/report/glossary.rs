//! A dozen words of the trade, each in a sentence: for the index and whoever is
//! new to the yard.

/// The word, and what it means here.
pub const WORDS: [(&str, &str); 13] = [
    (
        "TDS",
        "Total dissolved solids, in ppm: what a TDS meter reads. Tap TDS, membrane TDS (after the RO membrane) and product TDS (after the DI resin, at the pole).",
    ),
    (
        "RO membrane",
        "Reverse osmosis: lets water through and holds most salts back. Several on one van share the water.",
    ),
    (
        "Rejection",
        "The share of the tap's salts that the membrane keeps out: 100 % less membrane TDS over tap TDS, as at 25 °C. The rest is the salt passage: rejection 93 % is salt passage 7 %.",
    ),
    (
        "DI resin",
        "Mixed-bed resin in the DI vessel: takes up the last salts, until it is spent and product TDS climbs. A refill is one vessel full.",
    ),
    (
        "Pre-filters",
        "Sediment filter and carbon block before the membrane: keep dirt and chlorine off it.",
    ),
    (
        "Waste ratio",
        "Litres to waste for each litre of product: 2 : 1 is a third recovered. The reject valve sets it.",
    ),
    (
        "Recovery",
        "Product over tap water: the waste ratio said the other way round.",
    ),
    (
        "TDS creep",
        "Membrane TDS that rises while the plant stands; it falls again within minutes of flow. So test after five minutes.",
    ),
    (
        "Hardness",
        "Calcium and magnesium, in mg/L as CaCO₃: what wears membranes and scales them.",
    ),
    (
        "Limit",
        "Where a part is done: rejection at 90 %, product TDS at 10 ppm unless the settings say otherwise (common practice).",
    ),
    (
        "Likely between",
        "Right four times in five. A wide range means few readings, not a bad van.",
    ),
    ("Best estimate", "As likely to come earlier as later."),
    (
        "Usual interval",
        "What the trade does without readings: membrane every 21 months, pre-filters every 12 weeks, resin at its limit, unless the settings say otherwise.",
    ),
];
