//! Rules for work done on a van.

use std::sync::Arc;

use crate::store::records::{Item, Record, Service, When};

use super::columns::Column;
use super::judge::Records;
use super::refusal::{Fault, Refusal};
use super::remarks::{Tick, says_no_work, tick, work_in, work_named};
use super::row::Row;
use super::text::{is_no_value, plain};
use super::units::Unit;

/// More than any vessel takes or any shelf holds.
const MOST: f64 = 1000.0;

pub(super) fn service(row: &mut Row<'_>) -> Result<Records, Refusal> {
    let van = row.van()?;
    let done_at = done_at(row)?;
    let items = work(row)?;
    let part = row.text(Column::Part)?;
    let note = row.text(Column::Note)?;
    let cost = cost(row)?;
    let make = |item, quantity, cost, note| {
        Record::Service(Service {
            van: van.clone(),
            done_at,
            item,
            quantity,
            cost,
            part: part.clone(),
            note,
        })
    };
    match items.as_slice() {
        [] if !row.layout().jobs.is_empty() => Err(Refusal::NoRecord),
        [] => Err(row.empty(Column::Item)),
        [item] => {
            let quantity = quantity(row, Some(*item))?;
            Ok(Records::One(make(*item, quantity, cost, note)))
        }
        several => {
            // what belongs to both together can be given to neither
            quantity(row, None)?;
            let column = match is_no_value(row.cell(Column::Item)) {
                true => Column::Note,
                false => Column::Item,
            };
            row.repair(
                column,
                "several items: kept as one service each, quantity and cost in the note",
            );
            let note = together(row, note);
            let each = |item: &Item| make(*item, None, None, note.clone());
            Ok(Records::Several(several.iter().map(each).collect()))
        }
    }
}

/// Whether a service of one item and plain numbers is taken as it is.
pub(super) fn is_sound_service(quantity: Option<f64>) -> bool {
    quantity.is_none_or(|quantity| quantity <= MOST)
}

/// When the work was done; the day that was said for all that is only ticked.
fn done_at(row: &mut Row<'_>) -> Result<When, Refusal> {
    let is_of_list = !row.layout().ticked.is_empty();
    if is_of_list && tick(row.cell(Column::DoneAt)) != Tick::Other {
        let day = row.context.done_on;
        return day
            .map(When::Day)
            .ok_or_else(|| row.fault(Column::DoneAt, Fault::NoDayDone));
    }
    let settled = row.happened(Column::DoneAt)?;
    Ok(settled.at.map_or(When::Day(settled.date), When::At))
}

/// What was worked on: by the column of jobs, by those that are ticked, and in a
/// sheet of several kinds by what the notes say plainly.
fn work(row: &mut Row<'_>) -> Result<Vec<Item>, Refusal> {
    let cell = row.cell(Column::Item);
    let is_empty = is_no_value(cell) || says_no_work(cell) && row.context.sheet.is_mixed();
    let mut found = match is_empty {
        true => Vec::new(),
        false => work_named(cell),
    };
    if found.is_empty() && !is_empty {
        return Err(row.fault(Column::Item, Fault::NoItem));
    }
    for job in &row.layout().jobs {
        let cell = plain(row.cells.at(job.cell));
        match tick(cell) {
            Tick::Yes if !found.contains(&job.item) => found.push(job.item),
            Tick::Yes | Tick::No => {}
            Tick::Other => {
                let header = row.layout().headers.get(job.cell).map_or("", |h| plain(h));
                return Err(Refusal::NoTick {
                    header: header.to_owned(),
                    cell: cell.to_owned(),
                });
            }
        }
    }
    if row.context.sheet.is_mixed() {
        for item in work_in(row.cell(Column::Note)) {
            if !found.contains(&item) {
                found.push(item);
                row.repair(Column::Note, taken_as(item));
            }
        }
    }
    Ok(found)
}

/// What is said of work that only a remark tells of.
fn taken_as(item: Item) -> &'static str {
    match item {
        Item::Prefilter => "taken as pre-filters changed",
        Item::Membrane => "taken as a membrane changed",
        Item::Resin => "taken as resin changed",
        Item::Flush => "taken as a flush",
        Item::Probe => "taken as work on the meter",
        Item::Tank => "taken as work on the tank",
    }
}

fn quantity(row: &mut Row<'_>, item: Option<Item>) -> Result<Option<f64>, Refusal> {
    let Some(number) = row.number(Column::Quantity)? else {
        return Ok(None);
    };
    if number.value < 0.0 {
        return Err(row.fault(Column::Quantity, Fault::Negative));
    }
    if number.value > MOST {
        return Err(row.fault(Column::Quantity, Fault::MostQuantity));
    }
    let stated = row.layout().unit_of(Column::Quantity).unwrap_or(Unit::Own);
    let unit = match number.unit {
        "" => stated,
        text => Unit::named(text, Column::Quantity.measure())
            .ok_or_else(|| row.fault(Column::Quantity, Fault::NoUnitOfQuantity))?,
    };
    match unit {
        Unit::Bags => {
            row.repair(Column::Quantity, "bags of unknown size: left out");
            Ok(None)
        }
        Unit::Kilograms if item == Some(Item::Resin) => {
            row.repair(Column::Quantity, "resin in kg: litres at 0.735 kg/L");
            Ok(Some(unit.convert(number.value)))
        }
        Unit::Kilograms => {
            row.repair(
                Column::Quantity,
                "kg of something other than resin: left out",
            );
            Ok(None)
        }
        _ => Ok(Some(number.value)),
    }
}

/// Money, with or without its sign; negative for a credit.
fn cost(row: &mut Row<'_>) -> Result<Option<f64>, Refusal> {
    let cell = row.cell(Column::Cost);
    if is_no_value(cell) {
        return Ok(None);
    }
    row.money(Column::Cost)
}

fn together(row: &mut Row<'_>, note: Option<Arc<str>>) -> Option<Arc<str>> {
    let mut words = Vec::new();
    if let Some(note) = note {
        words.push(note.to_string());
    }
    let item = row.cell(Column::Item);
    if !is_no_value(item) {
        words.push(format!("done together: {item}"));
    }
    for column in [Column::Quantity, Column::Cost] {
        let cell = row.cell(column);
        if !is_no_value(cell) {
            words.push(format!("{} of all: {cell}", column.name()));
        }
    }
    Some(words.join("; ").into())
}
