//! Fleets of any size, written as they are invented: for sizes and speeds, not
//! for accuracy. Simple physics with even habits; nothing is held but each
//! van's state, and every value is written as whole numbers of its last digit.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use crate::calendar::{Date, DateExt, Datelike};

use super::random::{Random, Stream};
use super::simulate::Plan;

/// In which order readings and fills are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RowOrder {
    /// Van by van, each one's oldest first.
    ByVan,
    /// Oldest first, all vans together.
    ByTime,
}

/// A fleet to be written at once.
#[derive(Debug, Clone)]
pub struct QuickPlan {
    pub vans: u32,
    /// The last one ends on 2026-10-31.
    pub months: u32,
    pub seed: u64,
    pub order: RowOrder,
    pub out: PathBuf,
    /// The last month's readings, fills and services go here instead.
    pub last_month: Option<PathBuf>,
}

/// Rows that were written.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct QuickCount {
    pub readings: u64,
    pub fills: u64,
    pub services: u64,
}

/// A file of a quick fleet could not be written.
#[derive(Debug, thiserror::Error)]
#[error("cannot write below {}", path.display())]
pub struct QuickError {
    pub path: PathBuf,
    pub source: io::Error,
}

/// Postcode district, hardness in mg/L CaCO3.
const DISTRICTS: [(&str, u32); 12] = [
    ("QA1", 24),
    ("QA3", 285),
    ("QA4", 340),
    ("QB1", 62),
    ("QB2", 118),
    ("QB6", 410),
    ("QC2", 205),
    ("QC5", 163),
    ("QD1", 88),
    ("QD7", 251),
    ("QE3", 312),
    ("QE9", 38),
];

const HEADERS: [&str; 3] = [
    "van,taken_at,postcode,feed_ppm,permeate_ppm,product_ppm,water_c,feed_bar,permeate_lpm,concentrate_lpm\n",
    "van,started_at,ended_at,postcode,litres,meter_litres,reject_litres,source\n",
    "van,done_at,item,quantity,cost,part,note\n",
];
const NAMES: [&str; 3] = ["readings.csv", "fills.csv", "services.csv"];

/// Share of working days on which a van is filled: 16 a month.
const FILLED: f64 = 0.735;
const SALT_PASSAGE_CHANGED_AT: f64 = 0.105;
const PRODUCT_CHANGED_AT_PPM: f64 = 9.0;

/// Writes `readings.csv`, `fills.csv`, `services.csv`, `vans.csv` and
/// `hardness.csv`. The same plan gives the same bytes; the order of rows
/// changes no row.
///
/// # Errors
/// [`QuickError`] names the folder and carries the cause.
pub fn write_quick(plan: &QuickPlan) -> Result<QuickCount, QuickError> {
    let failed = |source| QuickError {
        path: plan.out.clone(),
        source,
    };
    let mut vans: Vec<Van> = (0..plan.vans).map(|n| Van::new(plan.seed, n)).collect();
    let days = Day::all(Plan::start_for(plan.months), plan.months);
    let parted = plan.last_month.as_ref();
    let first_of_last = days
        .iter()
        .rposition(|day| day.of_month == 1)
        .filter(|_| parted.is_some())
        .unwrap_or(days.len());
    let mut count = QuickCount::default();
    std::fs::create_dir_all(&plan.out).map_err(failed)?;
    lists(plan, &vans).map_err(failed)?;
    let mut whole = Files::create(&plan.out).map_err(failed)?;
    let (before, last) = days.split_at(first_of_last.min(days.len()));
    whole
        .write(&mut vans, before, plan.order, &mut count)
        .map_err(failed)?;
    if let Some(folder) = parted {
        let failed = |source| QuickError {
            path: folder.clone(),
            source,
        };
        std::fs::create_dir_all(folder).map_err(failed)?;
        let mut month = Files::create(folder).map_err(failed)?;
        month
            .write(&mut vans, last, plan.order, &mut count)
            .map_err(failed)?;
    }
    Ok(count)
}

/// The list of vans and the supplier's table.
fn lists(plan: &QuickPlan, vans: &[Van]) -> io::Result<()> {
    let mut out = BufWriter::new(File::create(plan.out.join("vans.csv"))?);
    out.write_all(
        b"van,base_postcode,tank_litres,membranes,resin_litres,in_service_on,out_of_service_on,from\n",
    )?;
    for van in vans {
        let (name, postcode) = (van.name(), van.postcode());
        writeln!(out, "{name},{postcode},400,1,{},,,", van.resin_litres)?;
    }
    out.flush()?;
    let mut out = BufWriter::new(File::create(plan.out.join("hardness.csv"))?);
    out.write_all(b"postcode,hardness,unit,source,as_of\n")?;
    for (district, hardness) in DISTRICTS {
        writeln!(
            out,
            "{district},{hardness},mg_l_caco3,water quality report,2023-01-01"
        )?;
    }
    out.flush()
}

/// A day of the calendar.
struct Day {
    /// `2026-10-31`
    text: [u8; 10],
    of_month: u32,
    is_working: bool,
    /// Mean temperature of the tap, tenths of a degree.
    tap_c: f64,
}

impl Day {
    fn all(start: Date, months: u32) -> Vec<Day> {
        let end = start.plus_months(months as i32);
        start
            .iter_days()
            .take_while(|day| *day < end)
            .map(|day| {
                let mut text = [b'-'; 10];
                for (to, from) in text.iter_mut().zip(day.to_string().bytes()) {
                    *to = from;
                }
                let year = f64::from(day.day_of_year()) / 365.25 * std::f64::consts::TAU;
                Day {
                    text,
                    of_month: day.day(),
                    is_working: day.weekday().number_from_monday() <= 5,
                    tap_c: 11.5 - 5.5 * (year - 0.6).cos(),
                }
            })
            .collect()
    }
}

/// What happened at one filling.
struct Filling {
    van: u32,
    minute: u32,
    litres: u32,
    reject_litres: u32,
    meter_litres: u64,
    minutes: u32,
    feed_ppm: f64,
    permeate_ppm: f64,
    product_ppm: f64,
    water_c: f64,
    feed_bar: f64,
    permeate_lpm: f64,
}

/// A part that was changed.
struct Change {
    item: &'static str,
    quantity: u32,
    cost: u32,
}

struct Van {
    number: u32,
    random: Random,
    district: usize,
    resin_litres: u32,
    usual_litres: f64,
    usual_bar: f64,
    ln_salt_passage: f64,
    ln_growth_per_litre: f64,
    meter_litres: u64,
    /// Share of the charge's capacity used up.
    resin_used: f64,
    /// What a changed element or charge is like beside others.
    charge_quality: f64,
    prefilter_days: u32,
    last_product_ppm: f64,
}

impl Van {
    fn new(seed: u64, number: u32) -> Van {
        let mut random = Random::stream(seed, Stream::Cast, u64::from(number));
        let mut van = Van {
            number,
            district: (random.next_u64() % DISTRICTS.len() as u64) as usize,
            resin_litres: if random.chance(0.5) { 11 } else { 25 },
            usual_litres: random.between(200.0, 420.0),
            usual_bar: random.between(3.2, 5.5),
            ln_salt_passage: 0.0,
            ln_growth_per_litre: 0.0,
            meter_litres: random.next_u64() % 50_000,
            resin_used: 0.0,
            charge_quality: 1.0,
            prefilter_days: (random.next_u64() % 84) as u32,
            last_product_ppm: 0.0,
            random,
        };
        van.new_element();
        van.new_charge();
        // Somewhere in the life of both on the first day.
        let made = van.random.between(0.0, 150_000.0);
        van.ln_salt_passage += van.ln_growth_per_litre * made;
        van.ln_salt_passage = van.ln_salt_passage.min(0.08f64.ln());
        van.resin_used = van.random.between(0.0, 0.9);
        van
    }

    fn hardness(&self) -> f64 {
        DISTRICTS
            .get(self.district)
            .map_or(200.0, |d| f64::from(d.1))
    }

    fn name(&self) -> String {
        format!("QV-{:05}", self.number + 1)
    }

    fn postcode(&self) -> String {
        let district = DISTRICTS.get(self.district).map_or("QA1", |d| d.0);
        format!("{district} {}XX", 1 + self.number % 9)
    }

    fn new_element(&mut self) {
        self.ln_salt_passage = (0.022 * (0.15 * self.nearly_normal()).exp()).ln();
        let hardness = self.hardness() / 200.0;
        let pace = (0.25 * self.nearly_normal()).exp();
        self.ln_growth_per_litre = 6.0e-6 * (0.4 + hardness) * pace;
    }

    fn new_charge(&mut self) {
        self.resin_used = 0.0;
        self.charge_quality = (0.15 * self.nearly_normal()).exp();
    }

    /// Mean 0, standard deviation 1, within 3 of it: three even draws from one
    /// number.
    fn nearly_normal(&mut self) -> f64 {
        let bits = self.random.next_u64();
        let mask = (1 << 21) - 1;
        let sum = (bits & mask) + (bits >> 21 & mask) + (bits >> 42 & mask);
        (sum as f64 / (1 << 21) as f64 - 1.5) * 2.0
    }

    /// The changes of a working day, then its filling, if there is one.
    fn live(&mut self, day: &Day, changes: &mut Vec<Change>) -> Option<Filling> {
        self.prefilter_days += 1;
        if !day.is_working {
            return None;
        }
        if self.prefilter_days >= 84 && self.random.chance(0.3) {
            self.prefilter_days = 0;
            changes.push(Change {
                item: "prefilter",
                quantity: 1,
                cost: 35,
            });
        }
        if self.last_product_ppm >= PRODUCT_CHANGED_AT_PPM {
            self.new_charge();
            self.last_product_ppm = 0.0;
            changes.push(Change {
                item: "resin",
                quantity: self.resin_litres,
                cost: 6 * self.resin_litres,
            });
        }
        if self.ln_salt_passage >= SALT_PASSAGE_CHANGED_AT.ln() && self.random.chance(0.1) {
            self.new_element();
            changes.push(Change {
                item: "membrane",
                quantity: 1,
                cost: 180,
            });
        }
        self.random.chance(FILLED).then(|| self.fill(day))
    }

    fn fill(&mut self, day: &Day) -> Filling {
        let litres = self.usual_litres * (1.0 + 0.12 * self.nearly_normal());
        let water_c = day.tap_c + 0.8 * self.nearly_normal();
        let feed_ppm = (30.0 + 1.05 * self.hardness()) * (1.0 + 0.05 * self.nearly_normal());
        let warmth = (0.03 * (water_c - 25.0)).exp();
        let passage = (self.ln_salt_passage + 0.02 * (water_c - 25.0)).exp();
        let permeate_ppm = feed_ppm * passage * (1.0 + 0.03 * self.nearly_normal());
        let feed_bar = self.usual_bar + 0.2 * self.nearly_normal();
        let permeate_lpm = 0.75 * feed_bar * warmth;
        let meq = (permeate_ppm * 0.0175 + 0.25) * litres;
        self.resin_used += meq / (460.0 * f64::from(self.resin_litres) * self.charge_quality);
        let beyond = (self.resin_used - 1.0).max(0.0);
        let product_ppm =
            permeate_ppm * (1.0 - (-6.0 * beyond).exp()) + 0.2 + 0.1 * self.nearly_normal();
        self.last_product_ppm = product_ppm.min(permeate_ppm);
        if beyond > 0.3 {
            // Spent behind a membrane whose water stays below the limit.
            self.last_product_ppm = PRODUCT_CHANGED_AT_PPM;
        }
        self.ln_salt_passage += self.ln_growth_per_litre * litres;
        self.meter_litres += litres as u64;
        Filling {
            van: self.number,
            minute: 15 * 60 + (self.random.next_u64() % 210) as u32,
            litres: litres as u32,
            reject_litres: (litres * 2.05) as u32,
            meter_litres: self.meter_litres,
            minutes: (litres / permeate_lpm.max(0.5)) as u32,
            feed_ppm,
            permeate_ppm,
            product_ppm: product_ppm.max(0.0),
            water_c: water_c.max(1.0),
            feed_bar,
            permeate_lpm,
        }
    }
}

/// Readings, fills and services being written.
struct Files {
    files: [BufWriter<File>; 3],
    row: Vec<u8>,
}

impl Files {
    fn create(folder: &Path) -> io::Result<Files> {
        let create = |name: &str, header: &str| {
            let mut file = BufWriter::with_capacity(1 << 20, File::create(folder.join(name))?);
            file.write_all(header.as_bytes())?;
            Ok::<_, io::Error>(file)
        };
        let [readings, fills, services] = NAMES;
        let [of_readings, of_fills, of_services] = HEADERS;
        Ok(Files {
            files: [
                create(readings, of_readings)?,
                create(fills, of_fills)?,
                create(services, of_services)?,
            ],
            row: Vec::with_capacity(256),
        })
    }

    fn write(
        &mut self,
        vans: &mut [Van],
        days: &[Day],
        order: RowOrder,
        count: &mut QuickCount,
    ) -> io::Result<()> {
        let spelt: Vec<(String, String)> = vans
            .iter()
            .map(|van| (van.name(), van.postcode()))
            .collect();
        let mut changes = Vec::new();
        let mut today: Vec<(usize, Filling)> = Vec::new();
        match order {
            RowOrder::ByVan => {
                for (van, spelt) in vans.iter_mut().zip(&spelt) {
                    for day in days {
                        let filling = van.live(day, &mut changes);
                        self.services(spelt, day, &mut changes, count)?;
                        if let Some(filling) = filling {
                            self.filling(spelt, day, &filling, count)?;
                        }
                    }
                }
            }
            RowOrder::ByTime => {
                for day in days {
                    for (i, van) in vans.iter_mut().enumerate() {
                        let filling = van.live(day, &mut changes);
                        if let Some(spelt) = spelt.get(i) {
                            self.services(spelt, day, &mut changes, count)?;
                        }
                        today.extend(filling.map(|filling| (i, filling)));
                    }
                    today.sort_by_key(|(_, filling)| (filling.minute, filling.van));
                    for (i, filling) in today.drain(..) {
                        if let Some(spelt) = spelt.get(i) {
                            self.filling(spelt, day, &filling, count)?;
                        }
                    }
                }
            }
        }
        self.files.iter_mut().try_for_each(Write::flush)
    }

    fn services(
        &mut self,
        (van, _): &(String, String),
        day: &Day,
        changes: &mut Vec<Change>,
        count: &mut QuickCount,
    ) -> io::Result<()> {
        let [_, _, out] = &mut self.files;
        for change in changes.drain(..) {
            count.services += 1;
            out.write_all(van.as_bytes())?;
            out.write_all(b",")?;
            out.write_all(&day.text)?;
            let (item, quantity, cost) = (change.item, change.quantity, change.cost);
            writeln!(out, ",{item},{quantity},{cost},,")?;
        }
        Ok(())
    }

    fn filling(
        &mut self,
        (van, postcode): &(String, String),
        day: &Day,
        filling: &Filling,
        count: &mut QuickCount,
    ) -> io::Result<()> {
        let [readings, fills, _] = &mut self.files;
        let row = &mut self.row;

        row.clear();
        row.extend_from_slice(van.as_bytes());
        time(row, day, filling.minute);
        time(row, day, filling.minute + filling.minutes);
        row.push(b',');
        row.extend_from_slice(postcode.as_bytes());
        whole(row, u64::from(filling.litres));
        whole(row, filling.meter_litres);
        whole(row, u64::from(filling.reject_litres));
        row.extend_from_slice(b",mains\n");
        fills.write_all(row)?;
        count.fills += 1;

        row.clear();
        row.extend_from_slice(van.as_bytes());
        time(row, day, filling.minute + 20);
        row.push(b',');
        row.extend_from_slice(postcode.as_bytes());
        whole(row, filling.feed_ppm.round() as u64);
        decimal(row, filling.permeate_ppm, 1);
        decimal(row, filling.product_ppm, 1);
        decimal(row, filling.water_c, 1);
        decimal(row, filling.feed_bar, 1);
        decimal(row, filling.permeate_lpm, 2);
        decimal(row, filling.permeate_lpm * 2.05, 2);
        row.push(b'\n');
        readings.write_all(row)?;
        count.readings += 1;
        Ok(())
    }
}

/// `,2026-10-31T17:05`; minutes stay within the day.
fn time(row: &mut Vec<u8>, day: &Day, minute: u32) {
    let minute = minute.min(24 * 60 - 1);
    let (hour, minute) = ((minute / 60) as u8, (minute % 60) as u8);
    row.push(b',');
    row.extend_from_slice(&day.text);
    row.extend_from_slice(&[
        b'T',
        b'0' + hour / 10,
        b'0' + hour % 10,
        b':',
        b'0' + minute / 10,
        b'0' + minute % 10,
    ]);
}

/// `,319`
fn whole(row: &mut Vec<u8>, number: u64) {
    row.push(b',');
    digits(row, number);
}

fn digits(row: &mut Vec<u8>, mut number: u64) {
    let start = row.len();
    loop {
        row.push(b'0' + (number % 10) as u8);
        number /= 10;
        if number == 0 {
            break;
        }
    }
    if let Some(written) = row.get_mut(start..) {
        written.reverse();
    }
}

/// `,11.2`, without zeros at the end.
fn decimal(row: &mut Vec<u8>, value: f64, places: u32) {
    let scale = 10u64.pow(places);
    let scaled = (value.max(0.0) * scale as f64).round() as u64;
    whole(row, scaled / scale);
    let mut rest = scaled % scale;
    if rest == 0 {
        return;
    }
    row.push(b'.');
    let mut unit = scale / 10;
    while rest > 0 {
        row.push(b'0' + (rest / unit) as u8);
        rest %= unit;
        unit /= 10;
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn plan(out: &Path, order: RowOrder) -> QuickPlan {
        QuickPlan {
            vans: 5,
            months: 3,
            seed: 7,
            order,
            out: out.join("all"),
            last_month: None,
        }
    }

    fn rows(folder: &Path, name: &str) -> Vec<String> {
        let text = std::fs::read_to_string(folder.join(name)).unwrap();
        text.lines().skip(1).map(str::to_owned).collect()
    }

    #[test]
    fn both_orders_hold_the_same_rows_each_sorted_its_way() {
        let folder = tempfile::tempdir().unwrap();
        let (a, b) = (folder.path().join("a"), folder.path().join("b"));
        let counted = write_quick(&plan(&a, RowOrder::ByVan)).unwrap();
        assert_eq!(write_quick(&plan(&b, RowOrder::ByTime)).unwrap(), counted);
        for name in NAMES {
            let (by_van, by_time) = (rows(&a.join("all"), name), rows(&b.join("all"), name));
            assert!(!by_van.is_empty(), "{name}");
            assert_ne!(by_van, by_time);
            let sorted = |mut rows: Vec<String>| {
                rows.sort();
                rows
            };
            assert_eq!(sorted(by_van), sorted(by_time.clone()), "{name}");
            let at = |row: &String| row.split(',').nth(1).unwrap().to_owned();
            assert!(by_time.is_sorted_by_key(at), "{name}");
        }
    }

    #[test]
    fn the_last_month_apart_is_the_rest_of_the_same_fleet() {
        let folder = tempfile::tempdir().unwrap();
        let whole = plan(&folder.path().join("a"), RowOrder::ByTime);
        let apart = QuickPlan {
            last_month: Some(folder.path().join("month")),
            ..plan(&folder.path().join("b"), RowOrder::ByTime)
        };
        assert_eq!(write_quick(&whole).unwrap(), write_quick(&apart).unwrap());
        for name in NAMES {
            let mut parts = rows(&apart.out, name);
            let month = rows(&folder.path().join("month"), name);
            assert!(month.iter().all(|row| row.contains("2026-10-")), "{name}");
            parts.extend(month);
            assert_eq!(parts, rows(&whole.out, name), "{name}");
        }
    }

    #[test]
    fn numbers_are_written_without_zeros_at_the_end() {
        let mut row = Vec::new();
        for (value, places) in [(11.24, 1), (11.0, 1), (0.06, 2), (3.4, 2), (-1.0, 1)] {
            decimal(&mut row, value, places);
        }
        assert_eq!(String::from_utf8(row).unwrap(), ",11.2,11,0.06,3.4,0");
    }
}
