//! States, dates, intervals and money: the finished assessment.

mod assessment;

pub use assessment::*;
