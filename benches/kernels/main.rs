//! The kernels one by one, with throughput:
//! `cargo bench --profile dev --bench kernels`.

#![allow(clippy::unwrap_used)]

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use litrewise::inside::calendar::{TimeZone, date};
use litrewise::inside::demo::{QuickPlan, RowOrder, write_quick};
use litrewise::inside::ingest::{Options, read_bytes};
use litrewise::inside::report::{Press, lay_out_van};
use litrewise::inside::settings::Settings;
use litrewise::inside::stats::Passage;
use litrewise::inside::store::Store;
use litrewise::inside::store::records::Instant;
use litrewise::inside::{advise, fit, lives};

/// 60 vans over a year, as CSV and as a store.
struct Fleet {
    folder: tempfile::TempDir,
    store: Store,
}

fn options() -> Options {
    Options::new(TimeZone::LONDON, date(2026, 11, 1))
}

fn fleet() -> Fleet {
    let folder = tempfile::tempdir().unwrap();
    let plan = QuickPlan {
        vans: 60,
        months: 12,
        seed: 7,
        order: RowOrder::ByTime,
        out: folder.path().join("csv"),
        last_month: None,
    };
    write_quick(&plan).unwrap();
    let store = Store::create_or_open(&folder.path().join("store")).unwrap();
    let mut writer = store.writer().unwrap();
    for name in ["vans", "hardness", "readings", "fills", "services"] {
        let bytes = std::fs::read(plan.out.join(format!("{name}.csv"))).unwrap();
        let rows = read_bytes(&bytes, name, &options()).unwrap();
        writer.add(rows, Instant(0)).unwrap();
    }
    drop(writer);
    Fleet { folder, store }
}

fn rows(c: &mut Criterion) {
    let fleet = fleet();
    let path = fleet.folder.path().join("csv/readings.csv");
    let bytes = std::fs::read(&path).unwrap();
    let rows = bytes.iter().filter(|b| **b == b'\n').count() as u64 - 1;
    let mut group = c.benchmark_group("ingest");
    group.throughput(Throughput::Elements(rows));
    group.bench_function("readings read with care, rows", |b| {
        b.iter(|| read_bytes(black_box(&bytes), "readings.csv", &options()).unwrap());
    });
    group.finish();

    let records = fleet.store.fleet().unwrap();
    let vans = records.histories.len() as u64;
    let settings = Settings::default();
    let mut group = c.benchmark_group("vans");
    group.throughput(Throughput::Elements(vans));
    group.bench_function("read from the store, vans", |b| {
        b.iter(|| fleet.store.fleet().unwrap());
    });
    let day = date(2026, 10, 31);
    group.bench_function("exposure of every part, vans", |b| {
        b.iter(|| lives::cut(black_box(&records), day, &settings));
    });
    let cut = lives::cut(&records, day, &settings);
    group.sample_size(10);
    group.bench_function("fit and forecast, vans", |b| {
        b.iter(|| fit::fit(black_box(&cut), &settings));
    });
    let fitted = fit::fit(&cut, &settings);
    group.bench_function("decide, vans", |b| {
        b.iter(|| advise::assess(&cut, black_box(&fitted), &settings));
    });
    group.finish();

    let assessment = advise::assess(&cut, &fitted, &settings);
    let month = date(2026, 10, 1);
    let mut press = Press::default();
    let laid_out = lay_out_van(&assessment, 0, month).unwrap();
    let drawn = press.draw(&laid_out).unwrap();
    let mut group = c.benchmark_group("page");
    group.throughput(Throughput::Elements(1));
    group.bench_function("laid out", |b| {
        b.iter(|| lay_out_van(black_box(&assessment), 0, month).unwrap());
    });
    group.bench_function("drawn", |b| {
        b.iter(|| press.draw(black_box(&laid_out)).unwrap())
    });
    group.bench_function("encoded as PNG", |b| {
        b.iter(|| Press::encode(black_box(&drawn)).unwrap());
    });
    group.bench_function("whole, in memory", |b| {
        b.iter(|| press.van_page(black_box(&assessment), 0, month).unwrap());
    });
    group.finish();
}

/// Growth of 200 units read 36 times each, levels and rates of their own.
fn mathematics(c: &mut Criterion) {
    let mut group = c.benchmark_group("mathematics");
    let passage = Passage::new(1.6, 0.02, 1e-5, 0.01).unwrap();
    let days: Vec<f64> = (1..=1000).map(f64::from).collect();
    group.throughput(Throughput::Elements(days.len() as u64));
    group.bench_function("chance of a crossing by a day, days", |b| {
        b.iter(|| {
            days.iter()
                .map(|day| passage.cdf(black_box(*day)))
                .sum::<f64>()
        });
    });
    group.finish();
}

fn scale() -> Criterion {
    // Shared machines are noisy: a few seconds a kernel tell enough.
    Criterion::default().without_plots()
}

criterion_group! {
    name = kernels;
    config = scale();
    targets = rows, mathematics
}
criterion_main!(kernels);
