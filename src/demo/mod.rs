//! The invented fleet: vans, taps and habits simulated with simple physics
//! (solution–diffusion, saturation of the concentrate, chlorine behind a spent
//! carbon filter, a resin bed that fills in two steps), so that what is fitted
//! later is never the model that made the data.

mod cast;
pub mod chemistry;
mod crew;
mod districts;
pub mod fleet;
mod meters;
pub mod nature;
mod observer;
pub mod plant;
mod proving;
pub mod random;
mod simulate;
pub mod tap;
pub mod van;
mod write;

pub use fleet::{SimulatedFleet, TrueCharge, TrueElement, TrueVan};
pub use observer::VanHistory;
pub use simulate::{Cast, Plan, TRUTH_AHEAD_DAYS, simulate, simulate_with_history};
pub use write::{WriteError, write_csv, write_truth};

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn bytes(plan: &Plan) -> Vec<Vec<u8>> {
        let folder = tempfile::tempdir().unwrap();
        write_csv(&simulate(plan), folder.path()).unwrap();
        ["readings", "fills", "services", "vans", "hardness"]
            .iter()
            .map(|name| std::fs::read(folder.path().join(format!("{name}.csv"))).unwrap())
            .collect()
    }

    #[test]
    fn the_same_seed_gives_the_same_bytes_and_another_seed_others() {
        let plan = Plan {
            vans: 4,
            months: 6,
            ..Plan::default()
        };
        let other = Plan {
            seed: plan.seed + 1,
            ..plan.clone()
        };
        assert_eq!(bytes(&plan), bytes(&plan));
        assert_ne!(bytes(&plan), bytes(&other));
    }

    #[test]
    fn another_van_changes_nothing_for_the_first_ones() {
        let few = simulate(&Plan {
            vans: 3,
            months: 6,
            ..Plan::default()
        });
        let more = simulate(&Plan {
            vans: 20,
            months: 6,
            ..Plan::default()
        });
        let first = |fleet: &SimulatedFleet| -> Vec<f64> {
            fleet
                .fills
                .iter()
                .filter(|f| f.van.as_str() <= "QV-003")
                .filter_map(|f| f.litres)
                .collect()
        };
        assert_eq!(first(&few), first(&more));
    }

    #[test]
    fn the_sample_tells_its_stories() {
        let fleet = simulate(&Plan::default());
        assert_eq!(fleet.truth.len(), 12);
        assert_eq!(fleet.last_day, crate::calendar::date(2026, 10, 31));
        let van = |name: &str| fleet.truth.iter().find(|t| t.van == name).unwrap();
        // The seal leaks in a membrane that is still below the limit.
        let failing = van("QV-011").elements.last().unwrap();
        assert!(failing.limit_on.is_none() && failing.salt_passage > 0.05);
        // Resin only: no membrane, charges that reach 10 ppm.
        assert!(van("QV-002").elements.is_empty());
        assert!(
            van("QV-002")
                .charges
                .iter()
                .any(|c| c.limit_at_litres.is_some())
        );
        // Moved: two rows in the list.
        assert_eq!(fleet.vans.iter().filter(|v| v.van == "QV-010").count(), 2);
        // Soft water outlasts very hard water.
        assert_eq!(van("QV-001").elements.len(), 1);
        assert!(van("QV-007").elements.len() > 1);
        // A membrane change that nobody wrote down.
        let noted = |name: &str| {
            fleet
                .services
                .iter()
                .filter(|s| s.van == name && s.item == "membrane")
                .count()
        };
        assert_eq!(noted("QV-007") + 2, van("QV-007").elements.len());
        assert!(fleet.fills.iter().any(|f| f.bought_in));
    }
}
