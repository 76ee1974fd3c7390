//! The tables, as they stand in DEVELOPERS.md.

use crate::driven::Water;

use crate::drive::Account;
use crate::{Asked, Compared, NAMES};

fn mean(accounts: &[Account], of: impl Fn(&Account) -> f64) -> f64 {
    accounts.iter().map(of).sum::<f64>() / accounts.len().max(1) as f64
}

fn word(water: Option<Water>) -> &'static str {
    match water {
        Some(Water::Soft) => "soft",
        Some(Water::Medium) => "medium",
        Some(Water::Hard) => "hard",
        None => "all",
    }
}

pub fn print(all: &[Compared], asked: &Asked) {
    println!(
        "{} vans in each of {} worlds, {} years; money per van-year, membranes, resin and lost rounds\n",
        asked.vans,
        asked.seeds.clone().count(),
        asked.years
    );
    println!(
        "| failure | water | {} | saving over the rule | share of the saving of one who knows all | of one who knows all but luck | failures per 10 van-years (plan, rule, limit) | days past the limit per van-year (plan, rule, limit) |",
        NAMES.join(" | ")
    );
    println!("|{}", " --- |".repeat(12));
    for compared in all {
        let waters = [None].into_iter().chain(Water::ALL.map(Some));
        for water in waters {
            let of: Vec<Vec<Account>> = compared
                .accounts
                .iter()
                .map(|list| {
                    list.iter()
                        .copied()
                        .filter(|a| water.is_none_or(|w| w == a.water))
                        .collect()
                })
                .collect();
            let cost: Vec<f64> = of.iter().map(|l| mean(l, Account::per_year)).collect();
            let failures: Vec<String> = of[..3]
                .iter()
                .map(|l| format!("{:.1}", 10.0 * mean(l, |a| a.failures as f64 / a.years)))
                .collect();
            let spotted: Vec<String> = of[..3]
                .iter()
                .map(|l| format!("{:.2}", mean(l, |a| a.spotted_days as f64 / a.years)))
                .collect();
            println!(
                "| x {} | {} | {} | {:.1} ({:.0} %) | {:.0} % | {:.0} % | {} | {} |",
                compared.failure,
                word(water),
                cost.iter()
                    .map(|c| format!("{c:.1}"))
                    .collect::<Vec<_>>()
                    .join(" | "),
                cost[1] - cost[0],
                100.0 * (cost[1] - cost[0]) / cost[1],
                100.0 * (cost[1] - cost[0]) / (cost[1] - cost[3]),
                100.0 * (cost[1] - cost[0]) / (cost[1] - cost[4]),
                failures.join(", "),
                spotted.join(", "),
            );
        }
    }
    println!(
        "\n| failure | planner | membranes | resin | lost rounds | replaced at a salt passage of |"
    );
    println!("|{}", " --- |".repeat(6));
    for compared in all {
        for (name, list) in NAMES.iter().zip(&compared.accounts) {
            let sum = |of: fn(&Account) -> f64| list.iter().map(of).sum::<f64>();
            println!(
                "| x {} | {name} | {:.1} | {:.1} | {:.1} | {:.1} % |",
                compared.failure,
                mean(list, |a| a.membranes / a.years),
                mean(list, |a| a.resin / a.years),
                mean(list, |a| a.lost_rounds / a.years),
                100.0 * sum(|a| a.passage_sum) / sum(|a| a.replaced as f64).max(1.0),
            );
        }
    }
    for compared in all {
        let mut moves = compared.moves.clone();
        moves.sort_by(f64::total_cmp);
        let at = |p: f64| {
            moves
                .get((p * moves.len().saturating_sub(1) as f64) as usize)
                .copied()
                .unwrap_or(f64::NAN)
        };
        println!(
            "\nfailure x {}: monthly move of the suggested day over the time left, {} months: median {:.1} %, p90 {:.1} %",
            compared.failure,
            moves.len(),
            100.0 * at(0.5),
            100.0 * at(0.9)
        );
    }
}
