//! Columns of rows being written, as numbers that stand for their values.

use std::collections::HashMap;
use std::hash::Hash;

use super::super::packed::{self, NONE, VAN, real};
use super::super::pages::{Column, How, NULL, Value};
use super::{Names, Words};

/// Rows being written, in order.
pub(in crate::store) struct Lines<'l, T> {
    /// Words of all of them, also where they stand for a record.
    pub(super) words: Vec<u32>,
    pub(super) width: usize,
    /// Records, and their places among the rows.
    pub(super) records: Vec<(usize, u32, &'l T)>,
}

impl<T> Lines<'_, T> {
    pub(super) fn all_words(&self) -> impl Iterator<Item = Words<'_>> {
        self.words.chunks_exact(self.width.max(1)).map(Words)
    }
}

/// Numbers from here on stand for values of records that were not packed.
const EXTRA: u64 = 1 << 32;

/// Values of records, numbered.
struct Extra<K, V> {
    numbers: HashMap<K, u64>,
    values: Vec<V>,
}

impl<K: Eq + Hash, V> Extra<K, V> {
    fn new() -> Self {
        Extra {
            numbers: HashMap::new(),
            values: Vec::new(),
        }
    }

    fn number(&mut self, key: K, value: V) -> u64 {
        let next = EXTRA + self.values.len() as u64;
        *self.numbers.entry(key).or_insert_with(|| {
            self.values.push(value);
            next
        })
    }
}

fn extra<V: Copy>(values: &[V], code: u64) -> Option<V> {
    let at = usize::try_from(code.checked_sub(EXTRA)?).ok()?;
    values.get(at).copied()
}

fn code_of(word: u32) -> u64 {
    match word {
        NONE => NULL,
        word => u64::from(word),
    }
}

/// A column of reals.
pub(in crate::store) fn reals<'l, T>(
    lines: &'l Lines<'l, T>,
    word: usize,
    of: impl Fn(&T) -> Option<f64>,
    how: How,
) -> Option<Column<'l>> {
    let mut others = Extra::new();
    let mut other = |value: f64| match packed::pack_real(value) {
        Some(word) => u64::from(word),
        None => others.number(value.to_bits(), value),
    };
    let codes = codes_of(
        lines,
        |words| code_of(words.get(word)),
        |record| of(record).map_or(NULL, &mut other),
    );
    let others = others.values;
    let value = move |code: u64| {
        let word = u32::try_from(code).ok().and_then(real);
        Value::Real(word.or_else(|| extra(&others, code)).unwrap_or(f64::NAN))
    };
    Some(Column {
        codes,
        value: Box::new(value),
        how,
    })
}

/// A column of whole numbers, or of instants in microseconds.
pub(in crate::store) fn wholes<'l, T>(
    lines: &'l Lines<'l, T>,
    packed: impl Fn(Words<'l>) -> Option<i64>,
    of: impl Fn(&'l T) -> Option<i64>,
) -> Option<Column<'l>> {
    Some(Column {
        codes: codes_of(
            lines,
            |words| whole_code(packed(words)),
            |record| whole_code(of(record)),
        ),
        value: Box::new(|code| Value::Whole(code.cast_signed())),
        how: How::Dictionary,
    })
}

/// The same for small ones, and for days.
pub(in crate::store) fn smalls<'l, T>(
    lines: &'l Lines<'l, T>,
    packed: impl Fn(Words<'l>) -> Option<i32>,
    of: impl Fn(&'l T) -> Option<i32>,
) -> Option<Column<'l>> {
    let as_wholes = wholes(
        lines,
        move |words| packed(words).map(i64::from),
        move |record| of(record).map(i64::from),
    )?;
    Some(Column {
        value: Box::new(|code| Value::Small(i32::try_from(code.cast_signed()).unwrap_or_default())),
        ..as_wholes
    })
}

/// A code for every line.
fn codes_of<'l, T>(
    lines: &'l Lines<'l, T>,
    packed: impl Fn(Words<'l>) -> u64,
    mut of: impl FnMut(&'l T) -> u64,
) -> Vec<u64> {
    let mut codes: Vec<u64> = lines.all_words().map(packed).collect();
    for (at, _, record) in &lines.records {
        if let Some(code) = codes.get_mut(*at) {
            *code = of(record);
        }
    }
    codes
}

fn whole_code(number: Option<i64>) -> u64 {
    number.map_or(NULL, i64::cast_unsigned)
}

/// The column of the vans' names.
pub(in crate::store) fn vans<'l, T>(
    lines: &'l Lines<'l, T>,
    names: &'l Names,
) -> Option<Column<'l>> {
    let mut codes: Vec<u64> = lines
        .all_words()
        .map(|words| code_of(words.get(VAN)))
        .collect();
    for (at, van, _) in &lines.records {
        if let Some(code) = codes.get_mut(*at) {
            *code = code_of(*van);
        }
    }
    Some(Column {
        codes,
        value: Box::new(|code| Value::Text(names.van_at(code as usize))),
        how: How::Dictionary,
    })
}

/// A column of other texts.
pub(in crate::store) fn texts<'l, T>(
    lines: &'l Lines<'l, T>,
    word: usize,
    of: impl Fn(&'l T) -> Option<&'l str>,
    names: &'l Names,
) -> Option<Column<'l>> {
    let mut others = Extra::new();
    let mut other = |text: &'l str| match names.number_of_text(text) {
        Some(number) => number as u64,
        None => others.number(text, text),
    };
    let codes = codes_of(
        lines,
        |words| code_of(words.get(word)),
        |record| of(record).map_or(NULL, &mut other),
    );
    let others = others.values;
    let value = move |code: u64| {
        let known = names.texts.get(code as usize).map(|text| &**text);
        Value::Text(known.or_else(|| extra(&others, code)).unwrap_or_default())
    };
    Some(Column {
        codes,
        value: Box::new(value),
        how: How::Dictionary,
    })
}

/// A column of one of a few words, by its place among them.
pub(in crate::store) fn words<'l, T>(
    lines: &'l Lines<'l, T>,
    packed: impl Fn(Words<'l>) -> u32,
    of: impl Fn(&'l T) -> u32,
    word: fn(usize) -> &'static str,
) -> Option<Column<'l>> {
    Some(Column {
        codes: codes_of(
            lines,
            |words| u64::from(packed(words)),
            |record| u64::from(of(record)),
        ),
        value: Box::new(move |code| Value::Text(word(code as usize))),
        how: How::Dictionary,
    })
}
