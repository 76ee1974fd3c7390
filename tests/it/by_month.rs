//! Each district's months, of a fleet small enough to sum up by hand.

use crate::run::Yard;

#[test]
fn a_districts_month_is_what_its_vans_read_made_and_had_changed() {
    let yard = Yard::new();
    yard.write(
        "in/vans.csv",
        "van,base_postcode,tank_litres,membranes,resin_litres,from\n\
         QV-1,QA1 2AB,400,1,11,\n\
         QV-2,QA1 9ZZ,400,1,11,\n\
         QV-2,QB6 1AA,400,1,11,2026-05-01\n",
    );
    yard.write(
        "in/readings.csv",
        "van,taken_at,feed_ppm,permeate_ppm,product_ppm\n\
         QV-1,2026-04-03T08:00:00,200,10,1\n\
         QV-1,2026-04-10T08:00:00,210,21,2\n\
         QV-2,2026-04-11T08:00:00,190,,6\n\
         QV-2,2026-05-02T08:00:00,300,15,0\n\
         QV-1,2026-04-30T23:30:00,220,11,\n\
         QV-1,2026-05-01T00:30:00,230,,3\n",
    );
    yard.write(
        "in/fills.csv",
        "van,started_at,litres,reject_litres,meter_litres,source\n\
         QV-1,2026-04-03T16:00:00,300,600,1000,mains\n\
         QV-1,2026-04-10T16:00:00,,,1320,mains\n\
         QV-2,2026-04-10T16:00:00,310,,,mains\n\
         QV-2,2026-05-02T16:00:00,290,,,bought_in\n\
         QV-2,2026-05-03T16:00:00,280,400,,mains\n",
    );
    yard.write(
        "in/services.csv",
        "van,done_at,item,quantity\n\
         QV-1,2026-04-20,resin,11\n\
         QV-2,2026-04-21,resin,11\n\
         QV-2,2026-05-02,membrane,1\n\
         QV-2,2026-05-02,prefilter,1\n",
    );
    yard.good(&["ingest", "in"]);
    let told = yard.good(&["export", "--by-month", "--out", "out"]);
    assert!(told.out.contains("months-by-district.csv"), "{}", told.out);
    let lines: Vec<String> = yard
        .read("out/months-by-district.csv")
        .lines()
        .map(str::to_owned)
        .collect();
    assert_eq!(
        lines,
        [
            "district,month,vans,readings,feed_ppm_median,permeate_ppm_median,product_ppm_median,rejection_percent_median,litres_made,litres_to_drain,membrane_changes,resin_changes",
            // 190 200 210 220; 10 11 21; 1 2 6; 90 95 95; 300 + 320 by the water meter + 310
            "QA1,2026-04,2,4,205.0,11.0,2.0,95.0,930,600,0,2",
            "QA1,2026-05,1,1,230.0,,3.0,,0,,0,0",
            // bought-in water is not made; of the fills one says what went to drain
            "QB6,2026-05,1,1,300.0,15.0,0.0,95.0,280,400,1,0",
        ]
    );
    // as of April nothing of May is seen
    yard.good(&[
        "export",
        "--by-month",
        "--out",
        "april",
        "--as-of",
        "2026-04-30",
    ]);
    let april = yard.read("april/months-by-district.csv");
    assert_eq!(april.lines().count(), 2, "{april}");
}
