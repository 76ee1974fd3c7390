//! People's words: the one table that maps the project's terms to what stands
//! on screen and page, and how dates, numbers and likelihoods are said.

use crate::calendar::{Date, DateExt, Datelike};

use crate::advise::{
    Assessment, DOUBTED, HardnessBasis, Item, MeterAssessment, Probe, Span, State, Suspect,
    VanAssessment, meter_name, rounded,
};

use super::axis::day_number;

/// What `feed_ppm` is called.
pub const TAP_TDS: &str = "tap TDS";
/// What `permeate_ppm` is called.
pub const MEMBRANE_TDS: &str = "membrane TDS";
/// What `product_ppm` is called: water as it leaves the DI resin.
pub const PRODUCT_TDS: &str = "product TDS";
/// Words of statistics and turns that say something else than is meant: they
/// never reach a page.
#[cfg(test)]
pub const NEVER_SAID: [&str; 32] = [
    "permeate",
    "posterior",
    "censored",
    "exposure",
    "p10",
    "element",
    "charge of resin",
    "filling of resin",
    "resin filling",
    "lost round",
    "fleets like yours",
    "it cannot be told",
    "cannot be told",
    "cannot tell",
    "pieces of work",
    "piece of work",
    "holds back",
    "of the salts",
    "salts through",
    "at once",
    "of your money",
    "own currency",
    "put right",
    "in little",
    "creeps through",
    "becomes pure",
    "germs",
    "licensed",
    "sewerage undertaker",
    "after the resin",
    "after the membrane",
    "from here",
];
/// Words of the trade that the first page and every van's page use.
#[cfg(test)]
pub const MUST_BE_SAID: [&str; 6] = [
    "RO membrane",
    "DI resin",
    "TDS",
    "rejection",
    "waste ratio",
    "warranty",
];

/// A state in words, to stand beside its shape.
pub fn state(state: State) -> &'static str {
    match state {
        State::Unknown => "no forecast",
        State::FailingEarly => "failing early",
        State::Overdue => "overdue",
        State::Due => "due",
        State::Watch => "watch",
        State::OnCourse => "on course",
    }
}

/// What is worked on, in people's words.
pub fn item(item: Item) -> &'static str {
    match item {
        Item::Prefilter => "pre-filters",
        Item::Membrane => "RO membrane",
        Item::Resin => "DI resin",
        Item::Flush => "flush",
        Item::Probe => "TDS meter",
        Item::Tank => "tank",
    }
}

/// What is worked on, with how many: `both RO membranes`.
pub fn part(what: Item, quantity: f64) -> String {
    match (what, quantity.round()) {
        (Item::Membrane, 2.0) => "both RO membranes".to_owned(),
        (Item::Membrane, n) if n > 2.0 => format!("all {n:.0} RO membranes"),
        _ => item(what).to_owned(),
    }
}

/// The job that an item stands for.
pub fn job(item: Item) -> &'static str {
    match item {
        Item::Prefilter => "Change the pre-filters",
        Item::Membrane => "Change the RO membrane",
        Item::Resin => "Change the DI resin",
        Item::Flush => "Flush",
        Item::Probe => "Check the TDS meter",
        Item::Tank => "Clean the tank",
    }
}

/// What to check first.
pub fn suspect(suspect: Suspect) -> &'static str {
    match suspect {
        Suspect::Membrane => "check the membrane and its O-rings first",
        Suspect::Prefilter => "check the pre-filters first",
        Suspect::Probe => "check the TDS meters first",
        Suspect::Feed => "check the tap water and its pressure first",
    }
}

/// A chance in whole per cent, never sure.
pub fn chance(p: f64) -> String {
    match 100.0 * p {
        x if x > 99.0 => "over 99 %".to_owned(),
        x if x < 1.0 => "under 1 %".to_owned(),
        x => format!("{x:.0} %"),
    }
}

/// A possible cause of an alarm, by name.
pub fn cause(suspect: Suspect) -> &'static str {
    match suspect {
        Suspect::Membrane => "The membrane",
        Suspect::Prefilter => "The pre-filters",
        Suspect::Probe => "A TDS meter",
        Suspect::Feed => "The water at the tap",
    }
}

/// How the hardness is known.
pub fn basis(basis: HardnessBasis) -> &'static str {
    match basis {
        HardnessBasis::Table => "water company",
        HardnessBasis::Estimated => "estimated from tap TDS",
        HardnessBasis::Assumed => "assumed: the middle of the fleet",
    }
}

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// `Oct`; months outside 1..=12 give nothing.
pub fn month_short(month: u32) -> &'static str {
    (month as usize)
        .checked_sub(1)
        .and_then(|i| MONTHS.get(i))
        .map_or("", |name| name.get(..3).unwrap_or(name))
}

/// `October 2026`
pub fn month(day: Date) -> String {
    let name = usize::try_from(day.month() - 1)
        .ok()
        .and_then(|i| MONTHS.get(i))
        .unwrap_or(&"");
    format!("{name} {}", day.year())
}

/// `12 Oct 2026`
pub fn day(day: Date) -> String {
    format!("{} {} {}", day.day(), month_short(day.month()), day.year())
}

/// `12 Oct`, with the year only where half a year or more lies between.
pub fn day_near(date: Date, as_of: Date) -> String {
    if (day_number(date) - day_number(as_of)).abs() < 180.0 {
        format!("{} {}", date.day(), month_short(date.month()))
    } else {
        day(date)
    }
}

/// `Mon 12 Oct`, with the year as in [`day_near`].
pub fn weekday_near(date: Date, as_of: Date) -> String {
    format!("{} {}", weekday(date), day_near(date, as_of))
}

/// `Mon`
pub fn weekday(date: Date) -> &'static str {
    use crate::calendar::Weekday as W;
    match date.weekday() {
        W::Mon => "Mon",
        W::Tue => "Tue",
        W::Wed => "Wed",
        W::Thu => "Thu",
        W::Fri => "Fri",
        W::Sat => "Sat",
        W::Sun => "Sun",
    }
}

/// `autumn 2026`, `winter 2026/27`: seasons of three whole months from March on.
pub fn season(day: Date) -> String {
    let year = day.year();
    match day.month() {
        3..=5 => format!("spring {year}"),
        6..=8 => format!("summer {year}"),
        9..=11 => format!("autumn {year}"),
        12 => format!("winter {year}/{:02}", (year + 1).rem_euclid(100)),
        _ => format!("winter {}/{:02}", year - 1, year.rem_euclid(100)),
    }
}

/// How finely a date can be said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grain {
    Day,
    Month,
    Season,
    Year,
}

/// Spans under three weeks are told by the day, under six months by the month,
/// under eighteen months by the season, else by the year.
pub fn grain(span: &Span<Date>) -> Grain {
    let width = match (span.p10, span.p50, span.p90) {
        (Some(low), _, Some(high)) => day_number(high) - day_number(low),
        // an open end is at least as wide as what is known of it, twice
        (Some(low), Some(middle), None) => 2.0 * (day_number(middle) - day_number(low)).max(183.0),
        _ => f64::INFINITY,
    };
    match width {
        w if w < 21.0 => Grain::Day,
        w if w < 183.0 => Grain::Month,
        w if w < 548.0 => Grain::Season,
        _ => Grain::Year,
    }
}

/// A date, no finer than `grain`.
pub fn date_at(date: Date, grain: Grain) -> String {
    match grain {
        Grain::Day => day(date),
        Grain::Month => month(date),
        Grain::Season => season(date),
        Grain::Year => date.year().to_string(),
    }
}

/// The same in few letters: `12 Oct 2026`, `Oct 2026`, `autumn 2026`, `2026`.
pub fn date_short(date: Date, grain: Grain) -> String {
    match grain {
        Grain::Month => format!("{} {}", month_short(date.month()), date.year()),
        other => date_at(date, other),
    }
}

fn in_or_on(grain: Grain) -> &'static str {
    match grain {
        Grain::Day => "on",
        _ => "in",
    }
}

/// `between May and November 2026`: the year once where both share it.
fn between(low: Date, high: Date, grain: Grain) -> String {
    let high_said = date_at(high, grain);
    let mut low_said = date_at(low, grain);
    if grain != Grain::Year && low.year() == high.year() {
        let year = format!(" {}", low.year());
        if let (Some(bare), true) = (low_said.strip_suffix(&year), high_said.ends_with(&year)) {
            low_said = bare.to_owned();
        }
    }
    format!("between {low_said} and {high_said}")
}

/// When a limit is reached, with how surely: `around March 2028, likely
/// between November 2027 and August 2028`. `known` is false where the state
/// says that there is no forecast.
pub fn when(span: &Span<Date>, known: bool) -> String {
    let grain = grain(span);
    let say = |d: Date| date_at(d, grain);
    match (span.p10, span.p50, span.p90) {
        (None, None, None) if known => "not within ten years".to_owned(),
        (None, None, None) => "no forecast".to_owned(),
        (Some(low), Some(middle), Some(high)) => {
            if say(low) == say(high) {
                format!("{} {}, most likely", in_or_on(grain), say(middle))
            } else {
                format!(
                    "around {}, likely {}",
                    say(middle),
                    between(low, high, grain)
                )
            }
        }
        (Some(low), Some(middle), None) => {
            let (low, middle) = (say(low), say(middle));
            if low == middle {
                format!("around {middle}, perhaps not within ten years")
            } else {
                format!("around {middle}, likely not before {low}, perhaps not within ten years")
            }
        }
        (Some(low), None, _) => format!(
            "likely not before {}, more likely not within ten years",
            say(low)
        ),
        (None, Some(middle), _) => format!("around {}", say(middle)),
        (None, None, Some(high)) => format!("likely before {}", say(high)),
    }
}

/// Gaps of the records told in full.
const GAPS_SHOWN: usize = 3;
/// Records older than this are remarked on (judgement).
const OLD_DAYS: i32 = 14;

/// What the records lack, in sentences; empty where nothing is missing.
pub fn missing(assessment: &Assessment) -> Vec<String> {
    let mut said = Vec::new();
    let (day, newest) = (assessment.as_of, assessment.records_end_on);
    if day.days_since(newest) > OLD_DAYS {
        said.push(format!("The newest record is of {}.", self::day(newest)));
    }
    let gaps = &assessment.fleet.missing;
    let shown: Vec<&str> = gaps.iter().take(GAPS_SHOWN).map(String::as_str).collect();
    if !shown.is_empty() {
        let more = match gaps.len() - shown.len() {
            0 => String::new(),
            n => format!("; and {n} more"),
        };
        said.push(format!("Missing: {}{more}.", shown.join("; ")));
    }
    said
}

/// Within this many days a suggested date is said by the day: work is planned
/// by then. Farther off it is said as coarsely as the forecast behind it.
pub const PLANNED_BY_DAY: f64 = 56.0;

/// The suggested day as a phrase: `was due by Thu 3 Sep, 29 days late`,
/// `by Mon 12 Oct`, `in spring 2028`.
pub fn act(replace_on: Option<Date>, behind: &Span<Date>, as_of: Date, state: State) -> String {
    let Some(date) = replace_on else {
        return match state {
            State::Unknown => "no forecast".to_owned(),
            State::FailingEarly => "check it now".to_owned(),
            _ => "not within ten years".to_owned(),
        };
    };
    let ahead = day_number(date) - day_number(as_of);
    if ahead < 0.0 {
        format!(
            "was due by {}, {} late",
            weekday_near(date, as_of),
            count(-ahead as usize, "day", "days")
        )
    } else if ahead <= PLANNED_BY_DAY {
        format!("by {}", weekday_near(date, as_of))
    } else {
        // a suggestion without a forecast behind it is said by the month
        let known = behind.p10.or(behind.p50).is_some();
        let grain = if known { grain(behind) } else { Grain::Month };
        match grain {
            Grain::Day => format!("by {}", weekday_near(date, as_of)),
            coarse => format!("in {}", date_at(date, coarse)),
        }
    }
}

/// A whole number with thousands commas.
pub fn thousands(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut out = String::new();
    if value < 0.0 && digits != "0" {
        out.push('−');
    }
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i) % 3 == 0 {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

/// `value` to two figures.
pub fn two_figures(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let unit = 10_f64.powf(value.abs().log10().floor() - 1.0);
    (value / unit).round() * unit
}

/// Litres with how surely: `about 3,300 L, likely between 2,500 and 4,200 L`.
pub fn litres(span: &Span<f64>) -> Option<String> {
    let middle = span.p50?;
    Some(match (span.p10, span.p90) {
        (Some(low), Some(high)) => {
            let width = high - low;
            let say = |v: f64| thousands(rounded(v, width));
            if say(low) == say(high) {
                format!("about {} L", say(middle))
            } else {
                format!(
                    "about {} L, likely between {} and {} L",
                    say(middle),
                    say(low),
                    say(high)
                )
            }
        }
        (Some(low), None) => {
            let say = |v: f64| thousands(rounded(v, 2.0 * (middle - low)));
            format!("about {} L, likely at least {} L", say(middle), say(low))
        }
        _ => format!("about {} L", thousands(two_figures(middle))),
    })
}

/// Litres in thousands for tables: `82,000`, rounded to what is known.
pub fn litres_short(span: &Span<f64>) -> String {
    match (span.p10, span.p50, span.p90) {
        (Some(low), Some(middle), Some(high)) => {
            format!("{} L", thousands(rounded(middle, high - low)))
        }
        (Some(low), Some(middle), None) => {
            format!("{} L", thousands(rounded(middle, 2.0 * (middle - low))))
        }
        (_, Some(middle), _) => format!("{} L", thousands(two_figures(middle))),
        (Some(low), None, _) => format!("over {} L", thousands(two_figures(low))),
        _ => UNKNOWN.to_owned(),
    }
}

pub const UNKNOWN: &str = "unknown";

/// Decimals of a percentage whose likely range is `width` wide (a fraction).
fn percent_decimals(width: f64) -> usize {
    usize::from(width < 0.02)
}

/// A fraction as a percentage: `4.1 %`.
pub fn percent(fraction: f64, decimals: usize) -> String {
    format!("{:.decimals$} %", fraction * 100.0)
}

/// Whether a text names that day itself, and not one that ends like it (`21 Oct 2026`
/// for `1 Oct 2026`).
pub fn names(text: &str, day: &str) -> bool {
    let before = |at: usize| text.get(..at).unwrap_or_default();
    text.match_indices(day)
        .any(|(at, _)| !before(at).ends_with(|c: char| c.is_ascii_digit()))
}

/// A part by its make or size, where that is known: `RO membrane, 4040 low pressure`.
pub fn named(item: Item, part: Option<&str>) -> String {
    let kind = match item {
        Item::Membrane => "RO membrane",
        Item::Resin => "DI resin",
        Item::Prefilter => "pre-filter set",
        Item::Flush | Item::Probe | Item::Tank => self::item(item),
    };
    match part {
        Some(part) => format!("{kind}, {part}"),
        None => kind.to_owned(),
    }
}

/// `1 day`, `12 days`, before or after.
pub fn days(n: i32) -> String {
    count(n.unsigned_abs() as usize, "day", "days")
}

/// What is thought of a van's doubtful meter: `tap TDS meter reads about 26 % low since
/// April 2026`.
pub fn meter_to_check(van: &VanAssessment) -> Option<String> {
    let membrane = &van.membrane;
    let wanted = membrane.check_meter_first || membrane.suspect == Some(Suspect::Probe);
    let is_asked = |m: &&MeterAssessment| m.doubt >= DOUBTED || wanted && m.probe != Probe::Product;
    let meters = van.meters.iter().filter(is_asked);
    let meter = meters.max_by(|a, b| a.doubt.total_cmp(&b.doubt));
    let Some(meter) = meter else {
        return wanted.then(|| "check its TDS meters".to_owned());
    };
    let off = match meter.off_by.p50.map(|by| 100.0 * (by - 1.0)) {
        Some(off) if meter.doubt >= DOUBTED && off.abs() >= 1.5 => format!(
            "reads about {:.0} % {}",
            off.abs(),
            if off > 0.0 { "high" } else { "low" }
        ),
        _ => "may be off".to_owned(),
    };
    let since = meter
        .since
        .map_or(String::new(), |day| format!(" since {}", self::month(day)));
    let name = meter_name(meter.probe);
    Some(format!("{name} {off}{since}"))
}

/// A remark with its day before it, where it does not name the day itself.
pub fn dated(day: Option<Date>, text: &str) -> String {
    let day = day.map(self::day).filter(|day| !names(text, day));
    match day {
        Some(day) => format!("{day}: {text}"),
        None => capital(text),
    }
}

/// Salt passage as people say it: `rejection 95.9 %, likely between 95.6 and
/// 96.2 %`; nothing where it is unknown.
pub fn rejection(salt_passage: &Span<f64>) -> Option<String> {
    let now = rejection_now(salt_passage)?;
    let mut out = format!("rejection {now}");
    if let (Some(low), Some(high)) = (salt_passage.p10, salt_passage.p90) {
        let decimals = percent_decimals(high - low);
        let (worst, best) = (percent(1.0 - high, decimals), percent(1.0 - low, decimals));
        if worst != best {
            let worst = worst.trim_end_matches(" %");
            out.push_str(&format!(", likely between {worst} and {best}"));
        }
    }
    Some(out)
}

/// `95.9 %`: always to a tenth, so that every page says the same figure; how well it is
/// known is said by its range.
pub fn rejection_now(salt_passage: &Span<f64>) -> Option<String> {
    Some(percent(1.0 - salt_passage.p50?, 1))
}

/// `95.9 % (limit 90 %)`.
pub fn rejection_beside(salt_passage: &Span<f64>, limit: f64) -> Option<String> {
    let now = rejection_now(salt_passage)?;
    Some(format!("{now} (limit {})", rejection_limit(limit)))
}

/// The limit of salt passage as a rejection: `90 %`.
pub fn rejection_limit(salt_passage: f64) -> String {
    let whole = (salt_passage * 100.0).fract().abs() < 1e-9;
    percent(1.0 - salt_passage, usize::from(!whole))
}

/// Recovery as the trade says it: `waste ratio 4.6 : 1 (18 % recovery)`.
pub fn waste_ratio(recovery: f64) -> String {
    format!(
        "waste ratio {:.1} : 1 ({} recovery)",
        1.0 / recovery - 1.0,
        percent(recovery, 0)
    )
}

/// Days as whole months (from three months on) or weeks.
pub fn days_as_interval(days: f64) -> String {
    let plural = |n: f64, word: &str| {
        let s = if n == 1.0 { "" } else { "s" };
        format!("{n:.0} {word}{s}")
    };
    if days >= 150.0 {
        plural((days / 30.44).round(), "month")
    } else if days >= 14.0 {
        plural((days / 7.0).round(), "week")
    } else {
        plural(days.round(), "day")
    }
}

/// The first letter large.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}

/// A count with its noun: `1 van`, `7 vans`.
pub fn count(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// Money in two figures with its currency's name or sign.
pub fn money(amount: f64, currency: Option<&str>) -> String {
    money_as_it_is(two_figures(amount), currency)
}

/// Money as rounded before, so that sums and differences of what is shown hold.
pub fn money_as_it_is(amount: f64, currency: Option<&str>) -> String {
    let sign = if amount < 0.0 { "−" } else { "" };
    let number = thousands(amount.abs());
    match currency.map(str::trim).filter(|c| !c.is_empty()) {
        Some(unit) if unit.chars().count() == 1 => format!("{sign}{unit}{number}"),
        Some(unit) => format!("{sign}{number} {unit}"),
        None => format!("{sign}{number}"),
    }
}

/// `a`, `a and b`, `a, b and c`.
pub fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// A number in three figures, thousands separated.
pub fn figures(value: f64) -> String {
    let size = value.abs();
    if size >= 1000.0 {
        let step = 10f64.powf(size.log10().floor() - 2.0);
        thousands((value / step).round() * step)
    } else if size >= 100.0 || value.fract() == 0.0 {
        format!("{value:.0}")
    } else if size >= 10.0 {
        format!("{value:.1}")
    } else if size >= 1.0 {
        format!("{value:.2}")
    } else {
        let places = if size > 0.0 {
            (2.0 - size.log10().floor()) as usize
        } else {
            0
        };
        format!("{value:.*}", places.min(6))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::date;

    #[test]
    fn a_day_is_named_by_itself_and_not_by_one_that_ends_like_it() {
        assert!(names("No fill since 1 Oct 2026.", "1 Oct 2026"));
        assert!(names("21 Oct 2026 and 1 Oct 2026", "1 Oct 2026"));
        assert!(!names("No fill since 21 Oct 2026.", "1 Oct 2026"));
        assert_eq!(
            dated(Some(date(2026, 10, 1)), "no fill since 21 Oct 2026"),
            "1 Oct 2026: no fill since 21 Oct 2026"
        );
    }

    fn span(p10: Option<Date>, p50: Option<Date>, p90: Option<Date>) -> Span<Date> {
        Span { p10, p50, p90 }
    }

    #[test]
    fn a_date_is_said_as_coarsely_as_its_span() {
        let low = date(2027, 11, 20);
        for (days, expected) in [
            (
                20,
                "around 30 Nov 2027, likely between 20 Nov and 10 Dec 2027",
            ),
            (
                100,
                "around January 2028, likely between November 2027 and February 2028",
            ),
            (
                400,
                "around summer 2028, likely between autumn 2027 and winter 2028/29",
            ),
            (900, "around 2029, likely between 2027 and 2030"),
        ] {
            let after = |n| super::super::axis::days_after(low, n);
            let told = when(
                &span(Some(low), Some(after(days / 2)), Some(after(days))),
                true,
            );
            assert_eq!(told, expected);
        }
    }

    #[test]
    fn a_missing_quantile_is_put_into_words_by_the_state() {
        let none = span(None, None, None);
        assert_eq!(when(&none, true), "not within ten years");
        assert_eq!(when(&none, false), "no forecast");
        let open = span(Some(date(2030, 5, 1)), None, None);
        assert_eq!(
            when(&open, true),
            "likely not before 2030, more likely not within ten years"
        );
    }

    #[test]
    fn the_near_suggestion_is_a_day_and_the_far_one_is_not() {
        let as_of = date(2026, 10, 31);
        let wide = span(
            Some(date(2027, 11, 20)),
            Some(date(2028, 8, 10)),
            Some(date(2029, 8, 1)),
        );
        let says = |d| act(Some(d), &wide, as_of, State::OnCourse);
        assert_eq!(says(date(2026, 11, 12)), "by Thu 12 Nov");
        assert_eq!(says(date(2026, 9, 3)), "was due by Thu 3 Sep, 58 days late");
        assert_eq!(says(date(2028, 2, 10)), "in 2028");
    }

    #[test]
    fn numbers_are_rounded_to_what_is_known() {
        let left = Span {
            p10: Some(2512.0),
            p50: Some(3347.0),
            p90: Some(4188.0),
        };
        assert_eq!(
            litres(&left).unwrap_or_default(),
            "about 3,300 L, likely between 2,500 and 4,200 L"
        );
        let passage = Span {
            p10: Some(0.038),
            p50: Some(0.041),
            p90: Some(0.044),
        };
        assert_eq!(
            rejection(&passage).unwrap_or_default(),
            "rejection 95.9 %, likely between 95.6 and 96.2 %"
        );
        let wide = Span {
            p10: Some(0.03),
            p50: Some(0.041),
            p90: Some(0.09),
        };
        assert_eq!(
            rejection(&wide).unwrap_or_default(),
            "rejection 95.9 %, likely between 91 and 97 %"
        );
        assert_eq!(thousands(1_234_567.4), "1,234,567");
        assert_eq!(money(-143.0, Some("£")), "−£140");
        assert_eq!(money(1234.0, Some("QD")), "1,200 QD");
    }

    #[test]
    fn winter_belongs_to_two_years() {
        assert_eq!(season(date(2027, 12, 1)), "winter 2027/28");
        assert_eq!(season(date(2028, 2, 28)), "winter 2027/28");
        assert_eq!(season(date(2028, 3, 1)), "spring 2028");
    }
}
