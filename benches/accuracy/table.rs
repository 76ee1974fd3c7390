//! The table that is printed.

use std::io::Write;

use crate::cases::{Case, Cases, MEMBRANE_NAMES, RESIN_NAMES};
use crate::plan::Plan;
use crate::score::{Pair, both_capped, pairs, ratio, scores};

pub fn print(cases: &Cases, plan: &Plan) {
    println!(
        "{} fleets of {} vans, {} months, seeds {}-{}, {} as-of days each",
        plan.seeds.clone().count(),
        plan.vans,
        plan.months,
        plan.seeds.start(),
        plan.seeds.end(),
        plan.observations
    );
    println!(
        "parts with a reading: {} answered, {} not",
        cases.answered - cases.unanswered,
        cases.unanswered
    );
    block(
        "membrane, days to limit",
        &cases.membrane,
        &MEMBRANE_NAMES,
        false,
    );
    block("resin, litres left", &cases.resin, &RESIN_NAMES, true);
    block("resin, days to limit", &cases.resin, &RESIN_NAMES, false);
    levels(cases);
    for (name, errors) in ["membrane litres", "membrane days", "resin litres"]
        .iter()
        .zip(&cases.districts)
    {
        let mut sorted = errors.clone();
        sorted.sort_by(f64::total_cmp);
        if let Some(middle) = sorted.get(sorted.len() / 2) {
            println!(
                "district lives, {name}: median error {:.0} % of {} districts",
                100.0 * middle,
                sorted.len()
            );
        }
    }
    let mut remarks = cases.remarks.clone();
    remarks.sort();
    remarks.dedup();
    for remark in remarks {
        println!("remark: {remark}");
    }
    if let Some(path) = &plan.cases {
        write_cases(path, cases).expect("the cases are written");
    }
}

fn block(title: &str, all: &[Case], names: &[&str], in_litres: bool) {
    let capped = all.iter().filter(|c| both_capped(c)).count();
    let cases: Vec<&Case> = all.iter().filter(|c| !both_capped(c)).collect();
    println!(
        "\n{title}: {} cases ({capped} more with truth and p50 beyond ten years)",
        cases.len()
    );
    println!(
        "{:<24} {:>6} {:>8} {:>7} {:>9} {:>7} {:>7}   ours/theirs (90 % interval)",
        "", "cases", "|err|", "early", "pinball", "cover", "α-λ"
    );
    line_block(&cases, names, in_litres);
    let quiet: Vec<&Case> = cases.iter().copied().filter(|c| c.quiet).collect();
    println!("  no move or leak ahead, no drifting probe");
    line_block(&quiet, names, in_litres);
    for (name, low, high) in [
        ("< 10 readings", 0, 9),
        ("10-29", 10, 29),
        (">= 30", 30, usize::MAX),
    ] {
        let part: Vec<&Case> = cases
            .iter()
            .copied()
            .filter(|c| (low..=high).contains(&c.readings))
            .collect();
        println!("  {name}");
        line_block(&part, names, in_litres);
    }
}

fn line_block(cases: &[&Case], names: &[&str], in_litres: bool) {
    for (who, name) in names.iter().enumerate() {
        let theirs = pairs(cases.iter().copied(), who, in_litres);
        if theirs.is_empty() {
            continue;
        }
        let s = scores(&theirs);
        let compared = if who == 0 {
            String::new()
        } else {
            let both: Vec<&Case> = cases
                .iter()
                .copied()
                .filter(|c| {
                    c.forecasts.get(who).copied().flatten().is_some()
                        && c.forecasts.first().copied().flatten().is_some()
                })
                .collect();
            let ours: Vec<Pair> = pairs(both.iter().copied(), 0, in_litres);
            let theirs: Vec<Pair> = pairs(both.iter().copied(), who, in_litres);
            let (middle, low, high) = ratio(&ours, &theirs);
            format!("{middle:.2} ({low:.2}-{high:.2})")
        };
        println!(
            "  {:<22} {:>6} {:>7.0}% {:>6.0}% {:>9.1} {:>7.3} {:>7.2}   {compared}",
            name,
            s.n,
            100.0 * s.relative_error,
            100.0 * s.early,
            s.pinball,
            s.coverage,
            s.alpha_lambda
        );
    }
}

fn levels(cases: &Cases) {
    println!(
        "\nsalt passage at fixed distances (median error, share below p50, coverage of p10-p90; last reading's error)"
    );
    for days in [0, 90, 180] {
        let part: Vec<_> = cases
            .levels
            .iter()
            .filter(|l| l.days_ahead == days)
            .collect();
        let n = part.len().max(1);
        let middle = |mut v: Vec<f64>| {
            v.sort_by(f64::total_cmp);
            v.get(v.len() / 2).copied().unwrap_or(f64::NAN)
        };
        let error = middle(
            part.iter()
                .map(|l| (l.forecast[1] / l.truth - 1.0).abs())
                .collect(),
        );
        let naive = middle(
            part.iter()
                .map(|l| (l.naive / l.truth - 1.0).abs())
                .collect(),
        );
        let below = part.iter().filter(|l| l.truth < l.forecast[1]).count() as f64 / n as f64;
        let covered = part
            .iter()
            .filter(|l| l.forecast[0] <= l.truth && l.truth <= l.forecast[2])
            .count() as f64
            / n as f64;
        println!(
            "  {days:>3} days ahead: {:>5} cases, {:.1} %, {:.2}, {:.3}; {:.1} %",
            part.len(),
            100.0 * error,
            below,
            covered,
            100.0 * naive
        );
    }
}

fn write_cases(path: &str, cases: &Cases) -> std::io::Result<()> {
    let mut out = std::io::BufWriter::new(std::fs::File::create(path)?);
    writeln!(
        out,
        "kind,readings,elapsed,truth,p10,p50,p90,pinball,bound50,bound_pinball,quiet,seed,van,as_of,start,more"
    )?;
    for (kind, list) in [("membrane", &cases.membrane), ("resin", &cases.resin)] {
        for case in list {
            let one = std::iter::once(case);
            let ours = pairs(one.clone(), 0, false);
            let bound = pairs(one, 4 - usize::from(kind == "resin"), false);
            let Some(p) = ours.first() else { continue };
            writeln!(
                out,
                "{kind},{},{:.3},{:.0},{:.0},{:.0},{:.0},{:.1},{:.0},{:.1},{},{}",
                case.readings,
                case.elapsed,
                case.truth,
                p.forecast[0],
                p.forecast[1],
                p.forecast[2],
                crate::score::pinball(p),
                bound.first().map_or(f64::NAN, |b| b.forecast[1]),
                bound.first().map_or(f64::NAN, crate::score::pinball),
                case.quiet,
                case.tags
            )?;
        }
    }
    out.flush()
}
