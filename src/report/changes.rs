//! What changed since last month, what the jobs did and what they cost, in
//! sentences.

use super::answers::{at_most, named};
use super::due;
use super::words;
use crate::advise::{Effect, Item, Moved, Rank, Since, State, Turn, Work};
use crate::calendar::DateExt;

const NO_MONTH_BEFORE: &str = "There is no month before this one to compare with.";
/// So many dates that moved are told one by one.
const MOVED: usize = 3;
/// So many jobs are told one by one.
const TOLD: usize = 6;

/// States that turned, dates that left their span, vans that came and went.
pub fn changed(since: Option<&Since>) -> Vec<String> {
    let Some(since) = since else {
        return vec![NO_MONTH_BEFORE.to_owned()];
    };
    let mut said = Vec::new();
    for (now, starts) in [
        (State::FailingEarly, "Now failing early"),
        (State::Overdue, "Now overdue"),
        (State::Due, "Now due"),
        (State::Watch, "Now to watch"),
        (State::Unknown, "No forecast any more"),
    ] {
        let turned = since
            .turned
            .iter()
            .filter(|t| t.now == now && worse(t))
            .map(|t| of(&t.van, t.item));
        push_list(&mut said, starts, turned.collect());
    }
    for (starts, early) in [
        ("Wearing faster than forecast last month", true),
        ("Lasting longer than forecast last month", false),
    ] {
        let moves = since.moved.iter().filter(|m| sooner(m) == early);
        let moves: Vec<String> = moves.map(move_in_words).collect();
        if !moves.is_empty() {
            said.push(format!("{starts}: {}.", at_most(&moves, MOVED)));
        }
    }
    let better = since
        .turned
        .iter()
        .filter(|t| !worse(t))
        .map(|t| of(&t.van, t.item));
    push_list(&mut said, "Back to normal", better.collect());
    push_list(&mut said, "New in the fleet", since.joined.clone());
    push_list(&mut said, "Out of service", since.left.clone());
    if said.is_empty() {
        said.push(format!("No change since {}.", words::day(since.from)));
    }
    said
}

fn worse(turn: &Turn) -> bool {
    Rank::from(turn.now) < Rank::from(turn.was)
}

fn sooner(moved: &Moved) -> bool {
    let late = crate::calendar::Date::MAX;
    moved.now.p50.unwrap_or(late) < moved.was.p50.unwrap_or(late)
}

fn of(van: &str, item: Item) -> String {
    format!("{van} {}", words::item(item))
}

fn move_in_words(moved: &Moved) -> String {
    let when = match moved.now.p50 {
        Some(day) => format!(
            "now around {}",
            words::date_at(day, words::grain(&moved.now))
        ),
        None => "now not within ten years".to_owned(),
    };
    format!("{} ({when})", of(&moved.van, moved.item))
}

fn push_list(said: &mut Vec<String>, starts: &str, names: Vec<String>) {
    if !names.is_empty() {
        said.push(format!("{starts}: {}.", named(&names)));
    }
}

/// What last month's work did to the water.
pub fn helped(since: Option<&Since>) -> Vec<String> {
    let Some(since) = since else {
        return vec![NO_MONTH_BEFORE.to_owned()];
    };
    if since.work.is_empty() {
        let mut said = vec![format!(
            "No jobs recorded since {}.",
            words::day(since.from)
        )];
        if !since.list.is_empty() {
            said.extend(due::last_list(&since.list, since.from));
        }
        return said;
    }
    let judged = |w: &&Work| {
        matches!(
            w.effect,
            Effect::Helped { .. } | Effect::NoBetter { .. } | Effect::WasGood { .. }
        )
    };
    let all = since.work.iter().filter(judged).count();
    let good = count(since, |e| matches!(e, Effect::Helped { .. }));
    let mut said = Vec::new();
    if all > 0 {
        said.push(match (good, all) {
            (1, 1) => "The one job that readings can check worked.".to_owned(),
            (_, 1) => "The one job that readings can check did not help.".to_owned(),
            (good, all) if good == all => {
                let worked = since.work.iter().filter(judged);
                let worked: Vec<String> = worked.map(|w| of(&w.van, w.item)).collect();
                let worked = at_most(&worked, MOVED + 1);
                format!("All {all} jobs that readings can check worked: {worked}.")
            }
            _ => format!("{good} of the {all} jobs that readings can check worked."),
        });
    }
    if !since.list.is_empty() {
        said.extend(due::last_list(&since.list, since.from));
    }
    // what did not help is what somebody has to look at
    let mut told: Vec<&Work> = since.work.iter().filter(judged).collect();
    told.sort_by_key(|w| match w.effect {
        // a flush that changes nothing is no alarm
        Effect::NoBetter { .. } if w.item != Item::Flush => 0,
        Effect::Helped { .. } => 1,
        _ => 2,
    });
    said.extend(told.iter().take(TOLD).filter_map(|w| work_in_words(w)));
    let early = since.work.iter().filter_map(|w| Some((w, w.given_up?)));
    let early: Vec<String> = early
        .map(|(w, litres)| {
            let litres = words::thousands(words::two_figures(litres));
            format!("{} ({litres} L or more were left)", of(&w.van, w.item))
        })
        .collect();
    push_list(&mut said, "Changed early", early);
    if told.len() > TOLD {
        said.push(format!("And {} more.", told.len() - TOLD));
    }
    let waiting: Vec<String> = since
        .work
        .iter()
        .filter(|w| w.effect == Effect::NotReadSince)
        .map(|w| of(&w.van, w.item))
        .collect();
    push_list(&mut said, "Not tested since the job", waiting);
    let before = count(since, |e| *e == Effect::NotReadBefore);
    let unseen = count(since, |e| *e == Effect::CannotBeSeen);
    if before > 0 {
        said.push(format!(
            "{} cannot be checked: no reading in the weeks before.",
            words::count(before, "job", "jobs")
        ));
    }
    if unseen > 0 {
        said.push(format!(
            "{} on pre-filters, TDS meters and tanks cannot be checked from TDS readings.",
            words::count(unseen, "job", "jobs")
        ));
    }
    said
}

fn count(since: &Since, kind: impl Fn(&Effect) -> bool) -> usize {
    since.work.iter().filter(|w| kind(&w.effect)).count()
}

/// One job with what the readings were before and after.
pub fn work_in_words(work: &Work) -> Option<String> {
    let say = |value: f64| match work.item {
        Item::Resin => format!("{} ppm", words::figures(value.round())),
        _ => words::percent(1.0 - value, 1),
    };
    let what = match work.item {
        Item::Membrane => "new RO membrane",
        Item::Resin => "new DI resin",
        other => words::item(other),
    };
    let of_what = match work.item {
        Item::Resin => words::PRODUCT_TDS,
        _ => "rejection",
    };
    let (before, after, judged) = match work.effect {
        Effect::Helped { before, after } => (before, after, "worked"),
        Effect::NoBetter { before, after } => (before, after, "no better"),
        Effect::WasGood { before, after } => (before, after, "was fine before too"),
        Effect::NotReadBefore | Effect::NotReadSince | Effect::CannotBeSeen => return None,
    };
    let said = if say(before) == say(after) {
        format!("{of_what} {} before and after", say(after))
    } else {
        format!("{of_what} {} before, {} now", say(before), say(after))
    };
    Some(format!("{}, {what}: {judged} ({said}).", work.van))
}

/// The month's recorded costs beside the usual ones.
pub fn cost(since: Option<&Since>, currency: Option<&str>) -> Vec<String> {
    let Some(since) = since else {
        return vec![NO_MONTH_BEFORE.to_owned()];
    };
    let spent = since.cost;
    let mut said = Vec::new();
    match spent.month {
        Some(sum) => {
            said.push(format!(
                "{}: about {}{}{}.",
                words::month(spent.from),
                words::money(sum, currency),
                if currency.is_none() {
                    " (no currency set)"
                } else {
                    ""
                },
                if spent.to == spent.to.last_of_month() {
                    String::new()
                } else {
                    format!(" up to {}", words::day(spent.to))
                }
            ));
            if let Some(usual) = spent.usual {
                // What is left out must be said: it makes the past look cheap.
                let left_out = match spent.usual_without_cost {
                    0 => String::new(),
                    n => format!(
                        " ({n} of {} jobs have no cost recorded and are not counted)",
                        spent.usual_work
                    ),
                };
                said.push(format!(
                    "The 12 months before: {} a month{left_out}.",
                    words::money(usual, currency)
                ));
            }
        }
        None if spent.without_cost == 0 => {
            said.push(format!("No jobs recorded in {}.", words::month(spent.from)));
        }
        None => said.push(
            "The month's jobs have no cost recorded: use the cost column of services.".to_owned(),
        ),
    }
    if spent.month.is_some() && spent.without_cost > 0 {
        said.push(format!(
            "{} no cost recorded.",
            words::count(spent.without_cost, "job has", "jobs have")
        ));
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advise::{MonthCost, Span};
    use crate::calendar::date;

    fn empty() -> Since {
        Since {
            from: date(2026, 9, 30),
            to: date(2026, 10, 31),
            turned: vec![],
            moved: vec![],
            joined: vec![],
            left: vec![],
            work: vec![],
            cost: MonthCost {
                from: date(2026, 10, 1),
                to: date(2026, 10, 31),
                month: None,
                without_cost: 0,
                usual: None,
                usual_work: 0,
                usual_without_cost: 0,
            },
            list: vec![],
        }
    }

    fn work(van: &str, item: Item, effect: Effect) -> Work {
        Work {
            van: van.to_owned(),
            item,
            on: date(2026, 10, 5),
            inferred: false,
            effect,
            given_up: None,
        }
    }

    #[test]
    fn a_quiet_month_says_so_and_a_first_month_compares_with_nothing() {
        assert_eq!(changed(Some(&empty())), ["No change since 30 Sep 2026."]);
        assert_eq!(
            helped(Some(&empty())),
            ["No jobs recorded since 30 Sep 2026."]
        );
        assert_eq!(
            cost(Some(&empty()), None),
            ["No jobs recorded in October 2026."]
        );
        for said in [changed(None), helped(None), cost(None, None)] {
            assert_eq!(said, [NO_MONTH_BEFORE]);
        }
    }

    #[test]
    fn what_got_worse_is_told_before_what_got_better() {
        let turn = |van: &str, was, now| Turn {
            van: van.to_owned(),
            item: Item::Membrane,
            was,
            now,
        };
        let day = |y| Some(date(y, 6, 1));
        let since = Since {
            turned: vec![
                turn("QV-001", State::Overdue, State::OnCourse),
                turn("QV-002", State::OnCourse, State::FailingEarly),
                turn("QV-003", State::Watch, State::Due),
            ],
            moved: vec![Moved {
                van: "QV-004".to_owned(),
                item: Item::Membrane,
                was: Span {
                    p10: day(2028),
                    p50: day(2029),
                    p90: day(2030),
                },
                now: Span {
                    p10: day(2026),
                    p50: day(2027),
                    p90: day(2029),
                },
            }],
            ..empty()
        };
        assert_eq!(
            changed(Some(&since)),
            [
                "Now failing early: QV-002 RO membrane.",
                "Now due: QV-003 RO membrane.",
                "Wearing faster than forecast last month: QV-004 RO membrane (now around 2027).",
                "Back to normal: QV-001 RO membrane.",
            ]
        );
    }

    #[test]
    fn work_that_did_not_help_is_told_first() {
        let since = Since {
            work: vec![
                work(
                    "QV-001",
                    Item::Membrane,
                    Effect::Helped {
                        before: 0.098,
                        after: 0.021,
                    },
                ),
                work(
                    "QV-002",
                    Item::Resin,
                    Effect::NoBetter {
                        before: 12.0,
                        after: 12.0,
                    },
                ),
                work("QV-003", Item::Resin, Effect::NotReadSince),
                work("QV-004", Item::Prefilter, Effect::CannotBeSeen),
            ],
            ..empty()
        };
        assert_eq!(
            helped(Some(&since)),
            [
                "1 of the 2 jobs that readings can check worked.",
                "QV-002, new DI resin: no better (product TDS 12 ppm before and after).",
                "QV-001, new RO membrane: worked (rejection 90.2 % before, 97.9 % now).",
                "Not tested since the job: QV-003 DI resin.",
                "1 job on pre-filters, TDS meters and tanks cannot be checked from TDS readings.",
            ]
        );
    }

    #[test]
    fn money_has_two_figures_and_says_what_is_missing() {
        let since = Since {
            cost: MonthCost {
                from: date(2026, 10, 1),
                to: date(2026, 10, 31),
                month: Some(1234.0),
                without_cost: 2,
                usual: Some(987.0),
                usual_work: 40,
                usual_without_cost: 0,
            },
            ..empty()
        };
        assert_eq!(
            cost(Some(&since), Some("£")),
            [
                "October 2026: about £1,200.",
                "The 12 months before: £990 a month.",
                "2 jobs have no cost recorded."
            ]
        );
    }
}
