//! Header lines, and what stands around them.
#![no_main]

use libfuzzer_sys::fuzz_target;
use litrewise_fuzz::ingest::doors;

fuzz_target!(|text: &str| doors::header(text));
