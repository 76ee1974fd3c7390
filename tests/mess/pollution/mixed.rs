//! Sheets of several kinds, and tables of other trades: every part of a row
//! becomes what it means, and nothing of a foreign table becomes anything.

use litrewise::inside::store::records::{Record, line_of};

use super::chance::Chance;
use crate::store::try_read;

/// What an owner heads the columns of one log with.
const HEADERS: &[[&str; 9]] = &[
    [
        "Date", "Van", "Tap", "Membrane", "Resin", "Litres", "Job", "Cost", "Notes",
    ],
    [
        "Week commencing",
        "Reg",
        "Tap ppm",
        "Membrane ppm",
        "Pure ppm",
        "Litres made",
        "Work done",
        "Cost £",
        "Comments",
    ],
    [
        "W/C",
        "Vehicle",
        "TDS in",
        "TDS membrane",
        "TDS out",
        "Volume (L)",
        "Maintenance",
        "Price",
        "Remarks",
    ],
    [
        "date",
        "vanId",
        "feedPpm",
        "permeatePpm",
        "productPpm",
        "litres",
        "item",
        "cost",
        "note",
    ],
    [
        "Datum",
        "Van",
        "Feed, ppm",
        "After RO / ppm",
        "After DI [ppm]",
        "Filled",
        "Job",
        "Paid",
        "Notes",
    ],
];

/// A row as it is meant: readings, litres, a job with its word, and a remark.
struct Meant {
    day: usize,
    meters: Option<[u32; 3]>,
    litres: Option<u32>,
    job: &'static str,
    note: &'static str,
    /// Services that the job and the remark name together.
    services: usize,
}

fn meant(day: usize, c: &mut Chance) -> Meant {
    let meters = (c.below(4) > 0).then(|| {
        let feed = 250 + c.below(100) as u32;
        [feed, 8 + c.below(12) as u32, c.below(3) as u32]
    });
    let litres = (c.below(3) > 0).then(|| 200 + c.below(300) as u32);
    let (job, of_job) = c.one_of(&[
        ("", 0),
        ("", 0),
        ("resin", 1),
        ("Membrane change", 1),
        ("filters", 1),
        ("RO + DI", 2),
    ]);
    let (note, of_note) = c.one_of(&[
        ("", 0),
        ("busy week", 0),
        ("needs new resin soon", 0),
        ("tank cleaned", 1),
        ("membrane looks tired", 0),
    ]);
    Meant {
        day,
        meters,
        litres,
        job,
        note,
        services: of_job + of_note,
    }
}

fn row(meant: &Meant, delimiter: &str) -> String {
    let number = |value: Option<u32>| value.map(|v| v.to_string()).unwrap_or_default();
    let [feed, permeate, product] = [0, 1, 2].map(|i| number(meant.meters.map(|m| m[i])));
    [
        format!("{:02}/{:02}/2026", 1 + meant.day % 28, 1 + meant.day / 28),
        "Quill".to_owned(),
        feed,
        permeate,
        product,
        number(meant.litres),
        meant.job.to_owned(),
        if meant.job.is_empty() {
            String::new()
        } else {
            "25.50".to_owned()
        },
        meant.note.to_owned(),
    ]
    .join(delimiter)
}

#[test]
fn every_part_of_a_row_of_one_sheet_becomes_what_it_means() {
    let mut chance = Chance::new(31);
    for n in 0..200 {
        let header = HEADERS[n % HEADERS.len()];
        let delimiter = [",", ";", "\t"][n % 3];
        let rows: Vec<Meant> = (0..120).map(|day| meant(day, &mut chance)).collect();
        let quoted = header.map(|head| match head.contains(delimiter) {
            true => format!("\"{head}\""),
            false => head.to_owned(),
        });
        let mut text = quoted.join(delimiter) + "\n";
        for meant in &rows {
            text += &(row(meant, delimiter) + "\n");
        }
        let file = try_read(text.as_bytes()).unwrap();
        for (i, meant) in rows.iter().enumerate() {
            let line = i as u64 + 2;
            let of_line: Vec<&Record> = file
                .rows
                .iter()
                .filter(|row| line_of(row.0) == line)
                .map(|row| &row.1)
                .collect();
            let reading = of_line.iter().find_map(|record| match record {
                Record::Reading(r) => Some([r.feed_ppm, r.permeate_ppm, r.product_ppm]),
                _ => None,
            });
            let wanted = meant.meters.map(|m| m.map(|v| Some(f64::from(v))));
            assert_eq!(reading, wanted, "line {line} of\n{text}");
            let litres = of_line.iter().find_map(|record| match record {
                Record::Fill(f) => f.litres,
                _ => None,
            });
            assert_eq!(
                litres,
                meant.litres.map(f64::from),
                "line {line} of\n{text}"
            );
            let services = of_line.iter().filter(|r| matches!(r, Record::Service(_)));
            assert_eq!(services.count(), meant.services, "line {line} of\n{text}");
            // what holds nothing is set aside as a whole, and nothing else is
            let is_aside = file.set_aside.iter().any(|row| row.line == Some(line));
            assert_eq!(is_aside, of_line.is_empty(), "line {line} of\n{text}");
        }
    }
}

/// Tables of other trades that share words with ours.
const FOREIGN: &[&str] = &[
    "Date,Reg,Litres,Price per litre,Mileage\n05/10/2026,QV-01,48.2,1.45,80123\n",
    "Date,Vehicle,Fuel type,Litres,Cost\n05/10/2026,QV-01,Diesel,48.2,70.10\n",
    "Date,Van,Odometer,Litres\n05/10/2026,QV-01,80123,48.2\n",
    "Date,Van,In,Out\n05/10/2026,QV-01,08:00,17:00\n",
    "Date,Van,In,Out,Total\n05/10/2026,QV-01,8,17,9\n",
    "Date,Van,Start,End,Miles\n05/10/2026,QV-01,80120,80160,40\n",
    "Date,Van,Qty,Amount\n05/10/2026,QV-01,3,40.00\n",
    "Date,Van,Total\n05/10/2026,QV-01,140.00\n",
    "Van,Driver,Phone\nQV-01,Max,00000\n",
    "Van,Postcode\nQV-01,QA1 1AA\n",
    "Van,Membrane,Resin\nQV-01,12,1\n",
    "Van,RO,DI\nQV-01,12,1\n",
    "Name,Postcode,Price\nMax,QA1 1AA,12\n",
    "Postcode,Value\nQA1,12\n",
    "Postcode,Customers,Value\nQA1,12,300\n",
    "Date,Van,Front left,Front right,Pressure\n05/10/2026,QV-01,2.4,2.4,2.4\n",
    "Date,Van,Temp\n05/10/2026,QV-01,11\n",
    "van,base,item,date,state,why,own_day,days_early\nQV-01,QA1,resin,2026-10-05,due,old,2026-10-05,0\n",
    "van,postcode,membrane_state,membrane_replace_on,resin_state,resin_replace_on\nQV-01,QA1,on_course,,on_course,\n",
    "file,line,reason,text\na.csv,3,no date,\"QV-01,x\"\n",
];

#[test]
fn nothing_of_a_foreign_table_is_taken_in() {
    for text in FOREIGN {
        for delimiter in [",", ";", "\t"] {
            let text = match text.contains('"') {
                true => (*text).to_owned(),
                false => text.replace(',', delimiter),
            };
            if let Ok(file) = try_read(text.as_bytes()) {
                panic!("{text}\ntaken as {}: {:?}", file.recognised, file.rows);
            }
        }
    }
}
