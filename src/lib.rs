//! `litrewise` turns a fleet's CSV readings into a store, fits how membranes
//! decline and how long resin lasts against the hardness of each van's water,
//! and renders the monthly report a fleet manager acts on.
//!
//! Data flows one way: `ingest` → `store` → `lives` → `fit` → `advise` →
//! `report`; `calendar`, `stats` and `water` are leaves. The program is [`cli`];
//! the folders are the crate's own, so that the compiler names what nothing uses.

pub(crate) mod advise;
pub(crate) mod backtest;
pub(crate) mod calendar;
pub mod cli;
pub(crate) mod demo;
pub(crate) mod fit;
pub(crate) mod ingest;
pub(crate) mod lives;
pub(crate) mod report;
pub(crate) mod settings;
pub(crate) mod stats;
pub(crate) mod store;
pub(crate) mod water;

/// What benches, fuzzing and tests beside the program look at. No promise to others.
#[doc(hidden)]
pub mod inside {
    pub mod advise {
        pub use crate::advise::{
            AlarmKind, AlarmLevel, Assessment, Glance, Suspect, alarm_of, assess, assess_in_turn,
            assess_undrawn, jobs,
        };
    }
    pub mod calendar {
        pub use crate::calendar::{
            Date, DateExt, DateTime, Datelike, TimeDelta, TimeZone, Timelike, Weekday, date, utc,
        };
    }
    pub mod demo {
        pub use crate::demo::{
            Cast, Plan, SimulatedFleet, TRUTH_AHEAD_DAYS, TrueCharge, TrueElement, TrueVan,
            VanHistory, chemistry, fleet, nature, plant, random, simulate_with_history, tap, van,
            write_csv,
        };
    }
    pub mod fit {
        pub use crate::fit::{AreaFit, MembraneForecast, ResinForecast, Span, VanFit, fit};
    }
    pub mod ingest {
        #[cfg(fuzzing)]
        pub use crate::ingest::doors;
        pub use crate::ingest::{
            HEADINGS, Options, ReadError, RecordKind, canonical_header, read_bytes,
        };
    }
    pub mod lives {
        pub use crate::lives::{
            ChargeLife, ElementLife, End, FleetLives, HardnessBasis, VanLives, cut, cut_in_turn,
        };
    }
    pub mod report {
        pub use crate::report::districts;
        pub use crate::report::text;
    }
    pub mod settings {
        pub use crate::settings::Settings;
        #[cfg(fuzzing)]
        pub use crate::settings::{FILE_NAME, Overrides, load};
    }
    pub mod stats {
        pub use crate::stats::passage::Passage;
        pub use crate::stats::random::Rng;
    }
    pub mod store {
        pub use crate::store::{FileOutcome, Store, records};
    }
    pub mod water {
        pub use crate::water::HardnessUnit;
    }
}
