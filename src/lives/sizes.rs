//! Sizes, base and standing of a van by the van list.

use crate::calendar::Date;

use crate::store::records::Van;

/// Whether a van works on the as-of day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Standing {
    InService,
    NotYet,
    /// Out of service since that day.
    Retired(Date),
}

/// The rows of the van list that count.
#[derive(Debug, Clone)]
pub(crate) struct Sizes<'a>(Vec<&'a Van>);

impl<'a> Sizes<'a> {
    /// Rows that hold by `as_of`; the oldest one also stands for the time before it.
    pub(crate) fn up_to(listed: &'a [Van], as_of: Date) -> Sizes<'a> {
        let mut rows: Vec<&Van> = listed.iter().collect();
        rows.sort_by_key(|row| row.from);
        let held = rows.partition_point(|row| row.from.is_none_or(|from| from <= as_of));
        rows.truncate(held.max(1));
        Sizes(rows)
    }

    /// What the list says on `day`: the newest entry that is filled in, else
    /// the first one after.
    pub(crate) fn on<T>(&self, day: Date, field: impl Fn(&'a Van) -> Option<T>) -> Option<T> {
        let held = self
            .0
            .partition_point(|row| row.from.is_none_or(|from| from <= day));
        let (past, future) = self.0.split_at_checked(held)?;
        past.iter()
            .rev()
            .find_map(|row| field(row))
            .or_else(|| future.iter().find_map(|row| field(row)))
    }

    /// Rows that count, oldest first.
    pub(crate) fn rows(&self) -> &[&'a Van] {
        &self.0
    }

    pub(crate) fn standing(&self, as_of: Date) -> Standing {
        let put_in = self.on(as_of, |row| row.in_service_on);
        let taken_out = self.on(as_of, |row| row.out_of_service_on);
        match (put_in, taken_out) {
            // A van put back into service after it had been taken out.
            (Some(put_in), Some(out)) if out <= put_in && put_in <= as_of => Standing::InService,
            (_, Some(out)) if out <= as_of => Standing::Retired(out),
            (Some(put_in), _) if put_in > as_of => Standing::NotYet,
            _ => Standing::InService,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::date;

    #[test]
    fn a_listed_size_holds_from_its_day_on_and_blanks_do_not_erase() {
        let row = |from, membranes, tank_litres| Van {
            van: "QV-1".into(),
            from,
            base_postcode: None,
            tank_litres,
            membranes,
            resin_litres: None,
            in_service_on: None,
            out_of_service_on: None,
        };
        let rows = [
            row(None, Some(1), Some(400.0)),
            row(Some(date(2026, 5, 1)), Some(2), None),
        ];
        let sizes = Sizes::up_to(&rows, date(2026, 12, 1));
        assert_eq!(sizes.on(date(2026, 4, 30), |r| r.membranes), Some(1));
        assert_eq!(sizes.on(date(2026, 5, 1), |r| r.membranes), Some(2));
        assert_eq!(sizes.on(date(2026, 5, 1), |r| r.tank_litres), Some(400.0));
        let earlier = Sizes::up_to(&rows, date(2026, 4, 30));
        assert_eq!(earlier.on(date(2026, 4, 30), |r| r.membranes), Some(1));
    }

    #[test]
    fn a_van_put_back_into_service_is_in_service() {
        let row = |from, put_in, out| Van {
            van: "QV-1".into(),
            from,
            base_postcode: None,
            tank_litres: None,
            membranes: None,
            resin_litres: None,
            in_service_on: put_in,
            out_of_service_on: out,
        };
        let rows = [
            row(None, Some(date(2024, 1, 1)), Some(date(2025, 1, 1))),
            row(Some(date(2025, 6, 1)), Some(date(2025, 6, 1)), None),
        ];
        let on = |day| Sizes::up_to(&rows, day).standing(day);
        assert_eq!(on(date(2024, 12, 31)), Standing::InService);
        assert_eq!(on(date(2025, 1, 1)), Standing::Retired(date(2025, 1, 1)));
        assert_eq!(on(date(2025, 7, 1)), Standing::InService);
        assert_eq!(on(date(2023, 12, 31)), Standing::NotYet);
    }
}
