//! The table of alarms that is printed.

use litrewise::inside::advise::{AlarmKind, Suspect};
use litrewise::inside::calendar::{Date, DateExt};
use statrs::distribution::{Beta, ContinuousCDF};

use crate::alarms::{Blame, Class, Story};

fn days(from: Date, to: Date) -> f64 {
    f64::from(to.days_since(from))
}

/// Limits at 90 % of the share that `hits` of `of` tell (Clopper & Pearson 1934,
/// Biometrika 26:404).
fn share_between(hits: f64, of: f64) -> (f64, f64) {
    let quantile =
        |a: f64, b: f64, p: f64| Beta::new(a, b).map_or(f64::NAN, |beta| beta.inverse_cdf(p));
    let low = if hits > 0.0 {
        quantile(hits, of - hits + 1.0, 0.05)
    } else {
        0.0
    };
    let high = if hits < of {
        quantile(hits + 1.0, of - hits, 0.95)
    } else {
        1.0
    };
    (low, high)
}

/// `12 of 20 = 0.60 (0.36-0.81)`.
fn part(hits: usize, of: usize) -> String {
    let (low, high) = share_between(hits as f64, of.max(1) as f64);
    format!(
        "{hits} of {of} = {:.2} ({low:.2}-{high:.2})",
        hits as f64 / of.max(1) as f64
    )
}

/// When 60 % of a failing element's shortened life had gone by.
fn due(story: &Story) -> Option<Date> {
    let (from, to) = (story.fitted_on?, story.limit_on?);
    Some(from.plus_days((0.6 * days(from, to)) as i64))
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

pub fn print(stories: &[Story]) {
    let of = |class: Class| stories.iter().filter(move |s| s.class == class);
    println!("\nalarms of membranes failing early, looked at every 30 days; 90 % intervals");
    for class in [
        Class::Failing,
        Class::Leak,
        Class::Between,
        Class::Healthy,
        Class::Unplaced,
    ] {
        let all = of(class).count();
        let raised = of(class).filter(|s| s.raised.is_some()).count();
        println!(
            "  {:<10} {all:>5} elements, {raised:>4} with an alarm",
            format!("{class:?}")
        );
    }
    // An alarm that says the probe or the tap is wrong, where it is, is no false one.
    let rightly_elsewhere = |s: &Story| {
        s.raised.as_ref().is_some_and(|r| {
            (s.blame == Blame::Probe && r.suspect == Suspect::Probe)
                || (s.blame == Blame::Feed && r.suspect == Suspect::Feed)
        })
    };
    let years: f64 = of(Class::Healthy).map(|s| s.years).sum();
    let early = |s: &&Story| {
        s.raised
            .as_ref()
            .is_some_and(|r| s.limit_on.is_none_or(|l| r.since < l))
    };
    let false_alarms = of(Class::Healthy)
        .filter(early)
        .filter(|s| !rightly_elsewhere(s))
        .count();
    let (low, high) = share_between(false_alarms as f64, (years * 365.25).floor());
    println!(
        "  false alarms: {false_alarms} in {years:.0} healthy van-years = {:.2} per 100 ({:.2}-{:.2}); {} by a step",
        100.0 * false_alarms as f64 / years,
        100.0 * 365.25 * low,
        100.0 * 365.25 * high,
        of(Class::Healthy)
            .filter(early)
            .filter(|s| s.raised.as_ref().is_some_and(|r| r.kind == AlarmKind::Step))
            .count()
    );
    let true_alarms = stories
        .iter()
        .filter(|s| matches!(s.class, Class::Failing | Class::Leak) && s.raised.is_some())
        .count();
    println!(
        "  precision: {}",
        part(true_alarms, true_alarms + false_alarms)
    );

    let creeping: Vec<(&Story, Date)> = of(Class::Failing)
        .filter_map(|s| Some((s, due(s)?)))
        .filter(|(s, due)| s.until >= *due)
        .collect();
    let told = |s: &Story, by: Date| s.raised.as_ref().is_some_and(|r| r.since <= by);
    let recall = |pick: &dyn Fn(&Story) -> bool| {
        let these: Vec<&(&Story, Date)> = creeping.iter().filter(|(s, _)| pick(s)).collect();
        part(
            these.iter().filter(|(s, due)| told(s, *due)).count(),
            these.len(),
        )
    };
    println!(
        "  creeping failure told by 60 % of its life: {}",
        recall(&|_| true)
    );
    println!("    read weekly {}", recall(&|s| s.readings_a_month > 3.0));
    println!("    less often  {}", recall(&|s| s.readings_a_month <= 3.0));
    println!(
        "    life below 45 % of typical {}",
        recall(&|s| s.share < 0.45)
    );
    let ever = creeping
        .iter()
        .filter(|(s, _)| told(s, s.limit_on.unwrap_or(s.until)))
        .count();
    println!("    before the limit {}", part(ever, creeping.len()));
    let leaks: Vec<&Story> = of(Class::Leak)
        .filter(|s| s.third_reading.is_some_and(|d| d <= s.last_look))
        .collect();
    let in_time = |s: &&&Story| {
        let (Some(leak), Some(third)) = (s.leaks_from, s.third_reading) else {
            return false;
        };
        let by = third.max(leak.plus_days(30));
        s.raised
            .as_ref()
            .is_some_and(|r| r.since <= by && r.since >= leak)
            || s.raised.as_ref().is_some_and(|r| r.since < leak)
    };
    println!(
        "  leak told within 3 readings or 30 days: {}",
        part(leaks.iter().filter(in_time).count(), leaks.len())
    );
    let large: Vec<&Story> = leaks
        .iter()
        .copied()
        .filter(|s| s.leak_ratio >= 1.5)
        .collect();
    println!(
        "    that raise salt passage by half or more {}",
        part(large.iter().filter(in_time).count(), large.len())
    );
    let later = leaks.iter().filter(|s| s.raised.is_some()).count();
    println!("    ever {}", part(later, leaks.len()));

    bound(stories);

    println!("  causes of the true alarms, and of alarms where only probe or tap is wrong");
    println!(
        "    {:<28} {:>9} {:>10} {:>6} {:>5} {:>6}",
        "really", "membrane", "prefilter", "probe", "feed", "none"
    );
    for (name, blame, failing) in [
        ("membrane (failing, leak)", Blame::Membrane, true),
        ("pre-filters late", Blame::Prefilter, true),
        ("probe wrong only", Blame::Probe, false),
        ("moved only", Blame::Feed, false),
        ("nothing (healthy)", Blame::Nothing, false),
    ] {
        let these: Vec<&Story> = stories
            .iter()
            .filter(|s| s.blame == blame && s.class != Class::Between && s.class != Class::Unplaced)
            .filter(|s| !failing || s.raised.is_some())
            .collect();
        let count = |suspect: Option<Suspect>| {
            these
                .iter()
                .filter(|s| s.raised.as_ref().map(|r| r.suspect) == suspect)
                .count()
        };
        println!(
            "    {name:<28} {:>9} {:>10} {:>6} {:>5} {:>6}",
            count(Some(Suspect::Membrane)),
            count(Some(Suspect::Prefilter)),
            count(Some(Suspect::Probe)),
            count(Some(Suspect::Feed)),
            count(None)
        );
    }
    let right = stories
        .iter()
        .filter(|s| matches!(s.class, Class::Failing | Class::Leak))
        .filter_map(|s| Some((s.blame, s.raised.as_ref()?.suspect)))
        .map(|(blame, suspect)| {
            matches!(
                (blame, suspect),
                (Blame::Membrane, Suspect::Membrane) | (Blame::Prefilter, Suspect::Prefilter)
            )
        })
        .collect::<Vec<bool>>();
    println!(
        "    right in true alarms: {}",
        part(right.iter().filter(|r| **r).count(), right.len())
    );
    let elsewhere: Vec<&Story> = stories
        .iter()
        .filter(|s| matches!(s.blame, Blame::Probe | Blame::Feed) && s.class == Class::Healthy)
        .collect();
    let spared = elsewhere
        .iter()
        .filter(|s| {
            s.raised
                .as_ref()
                .is_none_or(|r| r.suspect != Suspect::Membrane)
        })
        .count();
    println!(
        "    membrane not blamed where only probe or tap is wrong: {}",
        part(spared, elsewhere.len())
    );

    let ahead = |other: &dyn Fn(&Story) -> Option<Date>| {
        let gained: Vec<f64> = stories
            .iter()
            .filter(|s| s.class == Class::Failing)
            .filter_map(|s| Some(days(s.raised.as_ref()?.since, other(s)?)))
            .collect();
        (gained.len(), median(gained))
    };
    let thumb = ahead(&|s| Some(s.fitted_on?.plus_days(639)));
    let product = ahead(&|s| s.product_told_on);
    let limit = ahead(&|s| s.limit_on);
    println!(
        "  days ahead, the middle: of the rule of thumb {:.0} ({} elements), of product water at 10 ppm {:.0} ({}), of the limit {:.0} ({})",
        thumb.1, thumb.0, product.1, product.0, limit.1, limit.0
    );
    let flickers: usize = stories.iter().map(|s| s.flickers).sum();
    let raised = stories.iter().filter(|s| s.raised.is_some()).count();
    println!("  alarms that fell again between two looks: {flickers} of {raised}");
}

/// The detector that knows the world, set to as many false alarms as allowed.
fn bound(stories: &[Story]) {
    let watched: Vec<&Story> = stories.iter().filter(|s| !s.bound.is_empty()).collect();
    if watched.is_empty() {
        return;
    }
    let odds = |b: &(Date, f64, f64)| (b.1 + 0.003) / (b.2 + 0.003);
    let healthy: Vec<&&Story> = watched
        .iter()
        .filter(|s| s.class == Class::Healthy)
        .collect();
    let years: f64 = healthy.iter().map(|s| s.years).sum();
    let mut peaks: Vec<f64> = healthy
        .iter()
        .map(|s| s.bound.iter().map(odds).fold(0.0, f64::max))
        .collect();
    peaks.sort_by(|a, b| b.total_cmp(a));
    let Some(&threshold) = peaks.get((0.01 * years) as usize) else {
        return;
    };
    let failing: Vec<(&&Story, Date)> = watched
        .iter()
        .filter(|s| s.class == Class::Failing)
        .filter_map(|s| Some((s, due(s)?)))
        .filter(|(s, due)| s.until >= *due)
        .collect();
    // Looks are a month apart: one just after the moment counts, as the tool's own alarm has its day.
    let hits = failing
        .iter()
        .filter(|(s, due)| {
            let by = due.plus_days(15);
            s.bound.iter().any(|b| odds(b) > threshold && b.0 <= by)
        })
        .count();
    println!(
        "    bound that knows the world, at 1 false alarm in 100 of its {years:.0} healthy van-years: {}",
        part(hits, failing.len())
    );
}
