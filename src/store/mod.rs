//! The tables on disk: schema, append, snapshot, history, the set-aside list.

pub mod records;
