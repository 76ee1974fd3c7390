//! From the store to the finished assessment, as every looking command needs it.

use crate::calendar::{Date, DateExt, TimeZone};

use super::context::Context;
use super::error::CliError;
use super::van_names;
use crate::advise::what_if::{Change, WhatIf, what_if};
use crate::advise::{self, Assessment, DistrictMonth, Glance, KnownPrices, Since};
use crate::backtest::{self, Backtest};
use crate::lives::{FleetLives, VanLives};
use crate::settings::Settings;
use crate::store::records::{Fleet, History};
use crate::store::{Input, Read, Store};
use crate::{fit, lives};

/// What takes long.
const ASSESSING: &str = "working out how membranes and resin decline";

/// What the store holds, and the settings it is looked at with.
pub(super) struct Looking {
    pub fleet: Fleet,
    pub settings: Settings,
    /// First and last day of any reading, fill or service.
    pub first_day: Date,
    pub newest_day: Date,
}

impl Looking {
    /// Opens the store of the context and reads everything current.
    ///
    /// # Errors
    /// Where there is no store, or nothing in it to look at.
    pub(super) fn open(context: &Context) -> Result<Looking, CliError> {
        let store = context.open_store()?;
        Looking::at(&store, context.settings(&context.store)?)
    }

    /// The same from vans summed up before.
    ///
    /// # Errors
    /// As for [`Looking::open`], or where the summaries cannot be read.
    pub(super) fn from_summaries(context: &Context, from: &[Input]) -> Result<Looking, CliError> {
        let store = context.open_store()?;
        let settings = context.settings(&context.store)?;
        Looking::of(store.fleet_of_summaries(from)?, &store, settings)
    }

    pub(super) fn at(store: &Store, settings: Settings) -> Result<Looking, CliError> {
        Looking::of(store.fleet()?, store, settings)
    }

    fn of(fleet: Fleet, store: &Store, settings: Settings) -> Result<Looking, CliError> {
        let Some((first_day, newest_day)) = days(&fleet, &settings.time_zone) else {
            return Err(CliError::NothingStored {
                store: store.path().to_owned(),
            });
        };
        Ok(Looking {
            fleet,
            settings,
            first_day,
            newest_day,
        })
    }

    /// The day that was asked for, else the day of the newest row, said aloud.
    pub(super) fn as_of(&self, context: &Context) -> Date {
        said(context, self.newest_day)
    }

    /// For pages, with all that they draw.
    fn assess(&self, as_of: Date) -> Assessment {
        let lives = lives::cut(&self.fleet, as_of, &self.settings);
        advise::assess(&lives, &fit::fit(&lives, &self.settings), &self.settings)
    }

    /// For whoever only holds it against another day's.
    fn assess_undrawn(&self, as_of: Date) -> Assessment {
        undrawn(
            &lives::cut(&self.fleet, as_of, &self.settings),
            &self.settings,
        )
    }

    /// For whoever draws nothing and looks no further: the rows go once they are cut.
    fn assess_and_leave(self, as_of: Date) -> Assessment {
        let lives = lives::cut(&self.fleet, as_of, &self.settings);
        drop(self.fleet);
        undrawn(&lives, &self.settings)
    }

    /// Prices from the settings and the services up to the newest row.
    pub(super) fn known_prices(&self) -> KnownPrices {
        let lives = lives::cut(&self.fleet, self.newest_day, &self.settings);
        KnownPrices::of(&self.settings, &lives)
    }

    /// Each question answered beside today's answers.
    ///
    /// # Errors
    /// A question that cannot be answered.
    pub(super) fn what_if(
        &self,
        as_of: Date,
        questions: &[(String, Vec<Change>)],
    ) -> Result<Vec<WhatIf>, CliError> {
        let lives = lives::cut(&self.fleet, as_of, &self.settings);
        let fitted = fit::fit(&lives, &self.settings);
        let today = advise::assess_undrawn(&lives, &fitted, &self.settings);
        questions
            .iter()
            .map(|(asked, changes)| {
                let names = || lives.vans.iter().map(|van| &*van.van);
                let mut changes = changes.clone();
                for named in changes.iter_mut().filter_map(Change::van_mut) {
                    *named = van_names::named(named, names())?;
                }
                Ok(what_if(
                    asked,
                    &changes,
                    &self.fleet,
                    &lives,
                    &self.settings,
                    &today,
                )?)
            })
            .collect()
    }
    /// The assessment with what changed since a month before, and with how
    /// good earlier forecasts were where that is asked for.
    ///
    /// # Errors
    /// Where the rows cannot be summed up.
    pub(super) fn month(
        &self,
        as_of: Date,
        with_past: bool,
        context: &Context,
    ) -> Result<Month, CliError> {
        let before = month_before(as_of).filter(|day| *day >= self.first_day);
        let busy = context.busy(ASSESSING);
        let (assessment, before) = rayon::join(
            || self.assess(as_of),
            || before.map(|day| self.assess_undrawn(day)),
        );
        drop(busy);
        Ok(Month {
            since: before.map(|before| advise::since(&before, &assessment)),
            backtest: with_past.then(|| self.backtest(as_of, context)),
            by_month: self.by_month(as_of)?,
            assessment,
        })
    }

    /// What each district's vans read, made and had changed, month by month.
    ///
    /// # Errors
    /// Where the rows cannot be summed up.
    pub(super) fn by_month(&self, as_of: Date) -> Result<Vec<DistrictMonth>, CliError> {
        let months = lives::by_district_and_month(&self.fleet, as_of, &self.settings);
        Ok(months?)
    }

    /// How good earlier forecasts were, with progress on the terminal.
    pub(super) fn backtest(&self, as_of: Date, context: &Context) -> Backtest {
        let progress = context.progress("months forecast again");
        let days = (self.first_day, as_of);
        backtest::run(&self.fleet, days, &self.settings, &|done, all| {
            progress.at(done, all);
        })
    }
}

/// Where every van of the store stands, for whoever draws nothing and looks no
/// further: vans of a large fleet are gone through some at a time.
///
/// # Errors
/// As for [`Looking::open`]; and where a large fleet's lives cannot be laid down.
pub(super) fn standing(context: &Context) -> Result<Assessment, CliError> {
    /// Some 400 MB of rows and what is made of them.
    const MOST_ROWS_HELD: u64 = 1_500_000;
    const ROWS_AT_ONCE: u64 = 200_000;
    let store = context.open_store()?;
    let settings = context.settings(&context.store)?;
    let mut chunks = match store.fleet_up_to(MOST_ROWS_HELD, ROWS_AT_ONCE)? {
        Read::Whole(fleet) => {
            let looking = Looking::of(fleet, &store, settings)?;
            let as_of = looking.as_of(context);
            let _busy = context.busy(ASSESSING);
            return Ok(looking.assess_and_leave(as_of));
        }
        Read::InTurn(chunks) => chunks,
    };
    let newest = chunks.newest_day(&settings.time_zone)?;
    let newest = newest.ok_or_else(|| CliError::NothingStored {
        store: store.path().to_owned(),
    })?;
    let as_of = said(context, newest);
    let _busy = context.busy(ASSESSING);
    let glance = |van: &VanLives| Glance::of(van, &settings);
    let lives = lives::cut_in_turn(&mut chunks, as_of, &settings, glance)?;
    drop(chunks);
    Ok(advise::assess_in_turn(&lives, &settings)?)
}

/// The same beside where every van stood a month before.
///
/// # Errors
/// As for [`Looking::open`], and where the store holds nothing so old.
pub(super) fn standing_and_before(context: &Context) -> Result<(Assessment, Assessment), CliError> {
    let looking = Looking::open(context)?;
    let as_of = looking.as_of(context);
    let before = month_before(as_of).filter(|day| *day >= looking.first_day);
    let before = before.ok_or(CliError::NoMonthBefore {
        as_of,
        first: looking.first_day,
    })?;
    let _busy = context.busy(ASSESSING);
    Ok(rayon::join(
        || looking.assess_undrawn(as_of),
        || looking.assess_undrawn(before),
    ))
}

/// The same from vans summed up before.
///
/// # Errors
/// As for [`Looking::open`], or where the summaries cannot be read.
pub(super) fn standing_of_summaries(
    context: &Context,
    from: &[Input],
) -> Result<Assessment, CliError> {
    let looking = Looking::from_summaries(context, from)?;
    let as_of = looking.as_of(context);
    Ok(looking.assess_and_leave(as_of))
}

/// The day that was asked for, else the day of the newest row, said aloud.
fn said(context: &Context, newest: Date) -> Date {
    context.as_of.unwrap_or_else(|| {
        context.say(format_args!("as of {newest}, the day of the newest row"));
        newest
    })
}

/// What a month's report tells.
pub(super) struct Month {
    pub assessment: Assessment,
    pub since: Option<Since>,
    pub backtest: Option<Backtest>,
    pub by_month: Vec<DistrictMonth>,
}

/// The last day of the month before: reports of two months share no day.
fn month_before(day: Date) -> Option<Date> {
    day.first_of_month().checked_plus_days(-1)
}

fn undrawn(lives: &FleetLives, settings: &Settings) -> Assessment {
    advise::assess_undrawn(lives, &fit::fit(lives, settings), settings)
}

/// First and last day on which something was read, filled or done.
fn days(fleet: &Fleet, zone: &TimeZone) -> Option<(Date, Date)> {
    let of_van = |history: &History| {
        // Oldest first, so the ends tell.
        let readings = [history.readings.first(), history.readings.last()];
        let readings = readings.map(|r| r.and_then(|r| r.taken_at.date_in(zone)));
        let fills = [history.fills.first(), history.fills.last()];
        let fills = fills.map(|f| f.and_then(|f| f.started_at.date_in(zone)));
        let services = history.services.iter();
        let services: Vec<Option<Date>> = services.map(|s| s.done_at.date_in(zone)).collect();
        readings.into_iter().chain(fills).chain(services).flatten()
    };
    let mut days = fleet.histories.iter().flat_map(of_van);
    let first = days.next()?;
    let span = (first, first);
    Some(days.fold(span, |(a, b), day| (a.min(day), b.max(day))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::date;

    #[test]
    fn the_month_before_ends_where_this_one_begins() {
        assert_eq!(month_before(date(2026, 10, 31)), Some(date(2026, 9, 30)));
        assert_eq!(month_before(date(2026, 9, 30)), Some(date(2026, 8, 31)));
        assert_eq!(month_before(date(2026, 3, 30)), Some(date(2026, 2, 28)));
        assert_eq!(month_before(date(2026, 10, 14)), Some(date(2026, 9, 30)));
    }
}
