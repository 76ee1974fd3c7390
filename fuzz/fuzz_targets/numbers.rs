//! One number as somebody typed it.
#![no_main]

use libfuzzer_sys::fuzz_target;
use litrewise_fuzz::ingest::doors;

fuzz_target!(|cell: &str| doors::amount(cell));
