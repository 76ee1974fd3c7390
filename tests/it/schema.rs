//! The published schema of `assessment.json`, held against what is written.

use serde_json::Value;

use crate::run::Yard;

/// Checks a value against the words of JSON Schema that our schema uses; any
/// other word is a fault, so that nothing is passed over.
fn check(value: &Value, schema: &Value, whole: &Value, at: &str, faults: &mut Vec<String>) {
    for (word, means) in schema.as_object().expect("a schema is an object") {
        let fits = match word.as_str() {
            "$schema" | "$id" | "$defs" | "title" | "description" | "format" => true,
            "$ref" => {
                let name = means.as_str().and_then(|r| r.strip_prefix("#/$defs/"));
                let target = &whole["$defs"][name.expect("a reference within")];
                check(value, target, whole, at, faults);
                target.is_object()
            }
            "type" => {
                let names = means.as_array().cloned().unwrap_or(vec![means.clone()]);
                names
                    .iter()
                    .any(|n| n.as_str().is_some_and(|n| is(value, n)))
            }
            "const" => value == means,
            "enum" => means.as_array().is_some_and(|list| list.contains(value)),
            "minimum" => value.as_f64() >= means.as_f64(),
            "required" => {
                let mut names = means.as_array().expect("names").iter();
                names.all(|n| value.get(n.as_str().expect("a name")).is_some())
            }
            "properties" => {
                // a key that is written without being described is no promise
                for name in value.as_object().into_iter().flat_map(|o| o.keys()) {
                    if means.get(name).is_none() {
                        faults.push(format!(
                            "{at}.{name} is not described in src/report/assessment.schema.json"
                        ));
                    }
                }
                for (name, part) in means.as_object().expect("parts") {
                    if let Some(inner) = value.get(name) {
                        check(inner, part, whole, &format!("{at}.{name}"), faults);
                    }
                }
                true
            }
            "items" => {
                for (i, inner) in value.as_array().into_iter().flatten().enumerate() {
                    check(inner, means, whole, &format!("{at}[{i}]"), faults);
                }
                true
            }
            other => panic!("{at}: this test does not know {other}"),
        };
        if !fits {
            faults.push(format!("{at}: {word} {means} does not fit {value}"));
        }
    }
}

fn is(value: &Value, name: &str) -> bool {
    match name {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "number" => value.is_number(),
        "integer" => value.as_u64().is_some(),
        "boolean" => value.is_boolean(),
        "null" => value.is_null(),
        other => panic!("unknown type {other}"),
    }
}

#[test]
fn what_is_written_is_what_the_published_schema_says() {
    let yard = Yard::new();
    yard.good(&["simulate", "--vans", "4", "--months", "7", "--out", "in"]);
    yard.good(&["ingest", "in"]);
    yard.good(&["report", "--quiet", "--out", "report"]);
    let read = |name: &str| -> Value {
        serde_json::from_str(&yard.read(&format!("report/{name}"))).expect(name)
    };
    let (schema, written) = (read("assessment.schema.json"), read("assessment.json"));
    let faults = |value: &Value| {
        let mut faults = Vec::new();
        check(value, &schema, &schema, "$", &mut faults);
        faults
    };
    assert_eq!(faults(&written), Vec::<String>::new());
    // and it does refuse what is wrong
    for (path, wrong) in [
        ("/schema", Value::from("litrewise/assessment/2")),
        ("/vans/0/membrane/state", Value::from("fine")),
        ("/vans/0/resin/litres_left/p50", Value::from("many")),
        ("/rows/read", Value::from(-1)),
        ("/areas", Value::Null),
    ] {
        let mut broken = written.clone();
        *broken.pointer_mut(path).expect(path) = wrong;
        assert!(!faults(&broken).is_empty(), "{path} passes");
    }
    let mut broken = written.clone();
    broken["vans"][0]
        .as_object_mut()
        .expect("a van")
        .remove("resin");
    assert!(!faults(&broken).is_empty(), "a van without resin passes");
}
