//! One date or time as somebody typed it.
#![no_main]

use std::sync::LazyLock;

use jiff::tz::TimeZone;
use libfuzzer_sys::fuzz_target;
use litrewise_fuzz::TODAY;
use litrewise_fuzz::ingest::doors;

static LONDON: LazyLock<TimeZone> =
    LazyLock::new(|| TimeZone::get("Europe/London").expect("a bundled time zone"));

fuzz_target!(|cell: &str| doors::date(cell, &LONDON, TODAY));
