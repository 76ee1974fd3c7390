//! One date or time as somebody typed it.
#![no_main]

use libfuzzer_sys::fuzz_target;
use litrewise::inside::calendar::TimeZone;
use litrewise_fuzz::TODAY;
use litrewise_fuzz::ingest::doors;

fuzz_target!(|cell: &str| doors::date(cell, &TimeZone::LONDON, TODAY));
