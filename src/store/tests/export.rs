use super::*;

#[test]
fn an_export_holds_every_value_as_it_was_and_no_formula() {
    let (dir, store) = store();
    add(&store, file("all.csv", every_kind()));
    let out = dir.path().join("out");
    let tz = TimeZone::LONDON;
    store.export(&out, &tz).unwrap();
    let text = |name: &str| std::fs::read_to_string(out.join(name)).unwrap();
    assert_eq!(
        text("readings.csv"),
        "van,taken_at,postcode,feed_ppm,permeate_ppm,product_ppm,water_c,feed_bar,permeate_lpm,concentrate_lpm,note\r\n\
         QV-1,2026-09-21T15:13:20+01:00,QA3,203.5,8.25,,,,,,\r\n"
    );
    assert_eq!(
        text("fills.csv"),
        "van,started_at,ended_at,postcode,litres,meter_litres,reject_litres,source\r\n\
         QV-1,2026-09-21,,,350,,0.30000000000000004,bought_in\r\n\
         QV-1,2026-09-21,,,20,,0.30000000000000004,bought_in\r\n"
    );
    assert_eq!(
        text("services.csv"),
        "van,done_at,item,quantity,cost,part,note\r\n\
         QV-1,2026-03-02,resin,11,-4.5,\"'=batch \"\"7\"\", fresh\",\"''+1 sack\nleft over\"\r\n\
         QV-1,2026-09-21T15:13:20.000001+01:00,resin,11,-4.5,\"'=batch \"\"7\"\", fresh\",\"''+1 sack\nleft over\"\r\n"
    );
    assert_eq!(
        text("vans.csv"),
        "van,base_postcode,tank_litres,membranes,resin_litres,in_service_on,out_of_service_on,from\r\n\
         QV-1,QA3,400,1,11,,,\r\n"
    );
    assert_eq!(
        text("hardness.csv"),
        "postcode,hardness,unit,source,as_of\r\nQA3,19.8,clark,,2026-01-01\r\n"
    );
}
