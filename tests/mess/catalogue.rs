//! The catalogue of faults: what is wrong, what a careful clerk does, and the
//! test that holds us to it.

use super::faults::*;

/// What becomes of the row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Outcome {
    Kept,
    /// Put right and noted, where only one reading of the row is possible.
    Fixed,
    SetAside,
    /// By its rows one or the other, each held by the test.
    ByRow,
}

use Outcome::{ByRow, Fixed, Kept, SetAside};

/// Number, fault, outcome, test.
type Fault = (u8, &'static str, Outcome, fn());

/// What needs a van's past (9 to 11, 17, 23, 26 to
/// 31, 45, 47, 48) is kept by the store and judged when its history is cut into
/// lives: there "set aside" means left out of every fit, with a remark.
const FAULTS: [Fault; 50] = [
    (
        1,
        "03/04/2026, order unclear",
        ByRow,
        order_of_day_and_month_unclear,
    ),
    (
        2,
        "two-digit year, day number",
        Fixed,
        years_of_two_digits_and_day_numbers,
    ),
    (
        3,
        "future, too old, no such day",
        SetAside,
        dates_that_cannot_be,
    ),
    (4, "time of day missing", Kept, time_of_day_missing),
    (
        5,
        "hour of the clock change",
        Kept,
        hours_that_happen_twice_or_never,
    ),
    (
        6,
        "decimal comma, thousands",
        ByRow,
        decimal_commas_and_thousands,
    ),
    (7, "unit in the cell", Fixed, units_in_cells),
    (
        8,
        "spoilt µ, BOM, NUL, line ends, delimiters",
        Fixed,
        bytes_of_other_programs,
    ),
    (
        9,
        "conductivity in a ppm column",
        ByRow,
        conductivity_in_a_ppm_column,
    ),
    (10, "meter on the 0.7 scale", Kept, a_meter_on_another_scale),
    (
        11,
        "feed and permeate swapped",
        ByRow,
        feed_and_permeate_swapped,
    ),
    (
        12,
        "permeate slightly above the feed",
        Kept,
        permeate_slightly_above_the_feed,
    ),
    (
        13,
        "product slightly above the permeate",
        Kept,
        product_above_the_permeate,
    ),
    (
        14,
        "0 in feed, 999, OL, Err",
        ByRow,
        a_meter_off_or_over_its_range,
    ),
    (15, "blank, n/a, same", ByRow, no_value_and_ditto_marks),
    (
        16,
        "<1, >500, ~12, 5-6, 05-Jun",
        ByRow,
        bounds_ranges_and_dates_that_were_ranges,
    ),
    (
        17,
        "ten times too much or too little",
        SetAside,
        a_missing_or_extra_zero,
    ),
    (18, "van spelled otherwise", ByRow, spellings_of_a_van),
    (19, "unknown van", SetAside, a_van_not_on_the_list),
    (20, "van renamed", SetAside, a_renamed_van),
    (
        21,
        "row or file sent again",
        Kept,
        a_row_or_a_file_sent_again,
    ),
    (22, "same key, other value", Kept, a_corrected_row),
    (
        23,
        "near duplicate",
        Kept,
        nearly_the_same_row_from_two_exports,
    ),
    (
        24,
        "total, header, footer, ragged row",
        ByRow,
        lines_that_are_no_rows_and_rows_that_are_ragged,
    ),
    (25, "no litres or less", SetAside, no_litres_or_less),
    (26, "more than the tank holds", ByRow, more_than_the_tank),
    (27, "counter rolls over", Fixed, a_counter_that_rolls_over),
    (28, "counter replaced", Fixed, a_counter_that_was_replaced),
    (
        29,
        "counter goes back a little",
        SetAside,
        a_counter_read_a_little_back,
    ),
    (
        30,
        "counter stands still",
        SetAside,
        a_counter_that_stood_still,
    ),
    (
        31,
        "litres and counter disagree",
        Kept,
        litres_and_counter_that_disagree,
    ),
    (32, "end before the start", Fixed, an_end_before_its_start),
    (33, "source in other words", ByRow, words_for_the_source),
    (34, "waste that cannot be", Kept, waste_that_cannot_be),
    (
        35,
        "temperature that cannot be",
        Kept,
        temperatures_that_cannot_be,
    ),
    (
        36,
        "pressure in another unit",
        ByRow,
        pressures_in_other_units,
    ),
    (
        37,
        "postcode as people write it",
        Fixed,
        postcodes_as_people_write_them,
    ),
    (
        38,
        "postcode outside the table",
        Kept,
        a_postcode_without_a_published_hardness,
    ),
    (39, "item in other words", ByRow, words_for_the_work),
    (40, "service dated later", Kept, services_written_down_later),
    (
        41,
        "resin in kg or bags",
        Fixed,
        resin_by_weight_or_by_the_bag,
    ),
    (
        42,
        "money with sign, thousands, credit",
        Fixed,
        money_as_people_write_it,
    ),
    (
        43,
        "hardness as range, class, bare degrees",
        ByRow,
        hardness_as_suppliers_write_it,
    ),
    (
        44,
        "two figures for one postcode",
        Kept,
        two_figures_for_one_postcode,
    ),
    (
        45,
        "rows outside a van's service",
        Kept,
        rows_outside_a_vans_service,
    ),
    (46, "test rows", SetAside, test_rows),
    (
        47,
        "logger every ten seconds",
        Kept,
        a_logger_every_ten_seconds,
    ),
    (48, "figures copied down", Kept, figures_copied_down),
    (49, "formula, error, E-notation", ByRow, cells_like_formulas),
    (50, "no table at all", SetAside, files_that_are_no_tables),
];

#[test]
fn every_fault_has_its_number_and_its_own_test() {
    for (n, (number, fault, outcome, test)) in (1..).zip(FAULTS) {
        assert_eq!(number, n, "{fault}: {outcome:?}");
        let twins = FAULTS
            .iter()
            .filter(|(_, _, _, other)| *other as usize == test as usize);
        assert_eq!(twins.count(), 1, "{fault}");
    }
}
