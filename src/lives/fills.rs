//! Whether fills were written down well enough for a life's litres to be known.

use crate::calendar::Date;

use super::days::days_between;

/// Fills missing for longer than this at the start or the end of a life make
/// its litres unknown.
const UNRECORDED_DAYS: i64 = 45;
/// A gap between fills this long is a holiday, unless readings went on in it.
const GAP_DAYS: i64 = 28;
/// So many looks within a gap show that the van was working.
const LOOKS_IN_GAP: usize = 2;
/// Share of a life without fills though the van was working that still leaves
/// its litres worth telling.
const UNRECORDED_SHARE: f64 = 0.1;

/// Whether the fills cover a life.
///
/// `fill_dates`: of the van, oldest first. `look_dates`: of this life, oldest
/// first. `begins`: `None` where the life began before the records, so that it
/// counts from its first row. `ends`: `None` while in use.
pub(crate) fn cover(
    fill_dates: &[Date],
    look_dates: impl Iterator<Item = Date> + Clone,
    begins: Option<Date>,
    ends: Option<Date>,
) -> bool {
    let (Some(first), Some(last)) = (fill_dates.first(), fill_dates.last()) else {
        return false;
    };
    let begins_unrecorded = begins.is_some_and(|day| days_between(day, *first) > UNRECORDED_DAYS);
    // Readings that go on long after the last fill: water was made unseen.
    let ends_unrecorded = look_dates
        .clone()
        .last()
        .is_some_and(|observation| days_between(*last, observation) > UNRECORDED_DAYS);
    if begins_unrecorded || ends_unrecorded {
        return false;
    }
    let from = begins.map_or(0, |day| fill_dates.partition_point(|fill| *fill < day));
    let to = ends.map_or(fill_dates.len(), |day| {
        fill_dates.partition_point(|fill| *fill < day)
    });
    let fills = fill_dates.get(from..to).unwrap_or_default();
    let days = fills
        .first()
        .zip(fills.last())
        .map_or(0, |(first, last)| days_between(*first, *last));
    unrecorded_days(fills, look_dates) as f64 <= UNRECORDED_SHARE * days as f64
}

/// Days in gaps between fills in which the van was working.
fn unrecorded_days(fills: &[Date], look_dates: impl Iterator<Item = Date>) -> i64 {
    let mut observations = look_dates.peekable();
    let mut unrecorded = 0;
    for pair in fills.windows(2) {
        let [before, after] = pair else { continue };
        while observations
            .next_if(|observation| observation <= before)
            .is_some()
        {}
        let mut within = 0;
        while observations
            .next_if(|observation| observation < after)
            .is_some()
        {
            within += 1;
        }
        let gap = days_between(*before, *after);
        if gap > GAP_DAYS && within >= LOOKS_IN_GAP {
            unrecorded += gap;
        }
    }
    unrecorded
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::date;
    use crate::lives::days::days_after;

    const FIRST: Date = date(2026, 1, 5);

    fn days(numbers: impl Iterator<Item = i64>) -> Vec<Date> {
        numbers.map(|n| days_after(FIRST, n)).collect()
    }

    #[test]
    fn a_holiday_leaves_the_litres_known_but_a_gap_with_readings_does_not() {
        let fills = days((0..100).chain(160..260));
        let away = days((0..100).step_by(7).chain((160..260).step_by(7)));
        let working = days((0..260).step_by(7));
        assert!(cover(&fills, away.iter().copied(), Some(FIRST), None));
        assert!(!cover(&fills, working.iter().copied(), Some(FIRST), None));
        // The life before the gap is not concerned.
        let ends = days_after(FIRST, 90);
        let early = working
            .iter()
            .copied()
            .filter(|observation| *observation < ends);
        assert!(cover(&fills, early, Some(FIRST), Some(ends)));
    }

    #[test]
    fn fills_that_begin_long_after_fitting_or_stop_long_before_the_last_look_do_not_cover() {
        let fills = days(100..200);
        let observations = days((100..200).step_by(7));
        assert!(!cover(
            &fills,
            observations.iter().copied(),
            Some(FIRST),
            None
        ));
        assert!(cover(&fills, observations.iter().copied(), None, None));
        let later = days((100..260).step_by(7));
        assert!(!cover(&fills, later.iter().copied(), None, None));
        assert!(!cover(&[], observations.iter().copied(), None, None));
    }
}
