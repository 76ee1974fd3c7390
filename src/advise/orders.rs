//! What to order for the jobs of the coming weeks: parts by make and size, less
//! what is on the shelf, and by when.

use std::collections::BTreeMap;

use crate::calendar::Date;
use serde::Serialize;

use super::due::{Job, Task};
use super::{Assessment, Item, add_days};

/// One line of an order.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Order {
    pub item: Item,
    /// Make and size, as the services name it; `None` where none does.
    pub part: Option<String>,
    /// Pieces or sets, of resin litres.
    pub needed: f64,
    pub on_shelf: f64,
    pub to_order: f64,
    /// Bags of resin, where there is any to order.
    pub bags: Option<Bags>,
    /// Vans that it is for, each with its quantity, by the day of their visit.
    pub vans: Vec<OrderedFor>,
    /// The day of the first visit that the shelf does not serve.
    pub needed_on: Option<Date>,
    /// The last working day on which to order it; one that has passed is now.
    pub order_by: Option<Date>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Bags {
    pub litres_each: f64,
    pub bags: u32,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OrderedFor {
    pub van: String,
    pub on: Date,
    pub quantity: f64,
}

/// The order for these jobs: membranes, resin, pre-filters, each by make.
pub fn orders<'j>(assessment: &Assessment, jobs: impl IntoIterator<Item = &'j Job>) -> Vec<Order> {
    let mut by_part: BTreeMap<(Item, Option<String>), Vec<&Job>> = BTreeMap::new();
    for job in jobs.into_iter().filter(|job| job.task == Task::Change) {
        let key = (job.item, job.part.clone());
        by_part.entry(key).or_default().push(job);
    }
    // What the shelf holds under a kind's name is for whichever make comes first.
    let mut shelf = assessment.ordering.stock.clone();
    let orders = by_part.into_iter();
    orders
        .map(|((item, part), jobs)| order(item, part, &jobs, &mut shelf, assessment))
        .collect()
}

fn order(
    item: Item,
    part: Option<String>,
    jobs: &[&Job],
    shelf: &mut BTreeMap<String, f64>,
    assessment: &Assessment,
) -> Order {
    let needed: f64 = jobs.iter().map(|job| job.quantity).sum();
    let mut on_shelf = 0.0;
    for name in part.iter().map(String::as_str).chain([item.word()]) {
        let kept = shelf.iter_mut();
        for (_, kept) in kept.filter(|(kind, _)| kind.eq_ignore_ascii_case(name)) {
            let taken = kept.min(needed - on_shelf).max(0.0);
            on_shelf += taken;
            *kept -= taken;
        }
    }
    // The first job that the shelf does not serve.
    let mut served = 0.0;
    let needed_on = jobs.iter().find_map(|job| {
        served += job.quantity;
        (served > on_shelf + 1e-9).then_some(job.date)
    });
    let ordering = &assessment.ordering;
    let to_order = needed - on_shelf;
    let bags = (item == Item::Resin && to_order > 0.0).then(|| Bags {
        litres_each: ordering.resin_bag_litres,
        bags: (to_order / ordering.resin_bag_litres - 1e-9).ceil() as u32,
    });
    let days = f64::from(ordering.order_days);
    Order {
        item,
        part,
        needed,
        on_shelf,
        to_order,
        bags,
        vans: jobs
            .iter()
            .map(|job| OrderedFor {
                van: job.van.clone(),
                on: job.date,
                quantity: job.quantity,
            })
            .collect(),
        needed_on,
        order_by: needed_on.map(|day| assessment.work.days.on_or_before(add_days(day, -days))),
    }
}

/// Names in the stock that no job of those weeks uses.
pub fn unused_stock(assessment: &Assessment, orders: &[Order]) -> Vec<String> {
    let is_used = |name: &str| {
        orders.iter().any(|order| {
            let part = order.part.as_deref();
            order.item.word().eq_ignore_ascii_case(name)
                || part.is_some_and(|part| part.eq_ignore_ascii_case(name))
        })
    };
    let stock = assessment.ordering.stock.keys();
    stock.filter(|name| !is_used(name)).cloned().collect()
}
