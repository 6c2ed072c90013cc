//! The JSON Schemas: made from the tables, true of every shipped file, not true of bad ones.

use dutycup::door::script::schema;
use serde_json::Value;
use std::path::Path;

/// The part of JSON Schema draft 2020-12 that our schemas use, without `format` and annotations; of `pattern`
/// only whether a text is a parameter, `$name`.
/// Source: draft-bhutton-json-schema-validation-01, sections 6.1 to 6.5, and -core-01, sections 8.2 and 10.2.
fn holds(root: &Value, schema: &Value, value: &Value) -> bool {
    let Some(rules) = schema.as_object() else {
        return schema.as_bool() != Some(false);
    };
    rules.iter().all(|(rule, arg)| match rule.as_str() {
        "$ref" => {
            let at = arg.as_str().and_then(|r| r.strip_prefix('#')).and_then(|p| root.pointer(p));
            holds(root, at.unwrap_or_else(|| panic!("{arg} leads nowhere")), value)
        }
        "type" => match arg {
            Value::Array(types) => types.iter().any(|t| is(t, value)),
            one => is(one, value),
        },
        "enum" => arg.as_array().is_some_and(|all| all.contains(value)),
        "const" => arg == value,
        "anyOf" => options(arg).filter(|s| holds(root, s, value)).count() >= 1,
        "oneOf" => options(arg).filter(|s| holds(root, s, value)).count() == 1,
        "minimum" => value.as_f64().is_none_or(|v| arg.as_f64().is_some_and(|a| v >= a)),
        "maximum" => value.as_f64().is_none_or(|v| arg.as_f64().is_some_and(|a| v <= a)),
        "maxLength" => {
            value.as_str().is_none_or(|v| arg.as_u64().is_some_and(|a| v.chars().count() as u64 <= a))
        }
        "items" => value.as_array().is_none_or(|all| all.iter().all(|v| holds(root, arg, v))),
        "minItems" => value.as_array().is_none_or(|all| arg.as_u64().is_some_and(|a| all.len() as u64 >= a)),
        "maxItems" => value.as_array().is_none_or(|all| arg.as_u64().is_some_and(|a| all.len() as u64 <= a)),
        "required" => value.as_object().is_none_or(|map| {
            options(arg).all(|name| name.as_str().is_some_and(|name| map.contains_key(name)))
        }),
        "minProperties" => {
            value.as_object().is_none_or(|m| arg.as_u64().is_some_and(|a| m.len() as u64 >= a))
        }
        "maxProperties" => {
            value.as_object().is_none_or(|m| arg.as_u64().is_some_and(|a| m.len() as u64 <= a))
        }
        "properties" => value
            .as_object()
            .is_none_or(|map| map.iter().all(|(name, v)| arg.get(name).is_none_or(|s| holds(root, s, v)))),
        "additionalProperties" => value.as_object().is_none_or(|map| {
            let known = |name: &str| rules.get("properties").is_some_and(|p| p.get(name).is_some());
            map.iter().all(|(name, v)| known(name) || holds(root, arg, v))
        }),
        "propertyNames" => value
            .as_object()
            .is_none_or(|map| map.keys().all(|name| holds(root, arg, &Value::String(name.clone())))),
        "pattern" => match (arg.as_str(), value.as_str()) {
            (Some(pattern), Some(text)) if pattern.starts_with("^\\$") => text.starts_with('$'),
            _ => true,
        },
        "format" | "$schema" | "$defs" | "title" | "description" | "examples" => true,
        other => panic!("the schema uses {other}, which this check does not know"),
    })
}

fn options(list: &Value) -> impl Iterator<Item = &Value> {
    list.as_array().into_iter().flatten()
}

fn is(kind: &Value, value: &Value) -> bool {
    match kind.as_str() {
        Some("object") => value.is_object(),
        Some("array") => value.is_array(),
        Some("string") => value.is_string(),
        Some("number") => value.is_number(),
        Some("integer") => value.is_i64() || value.is_u64(),
        Some("boolean") => value.is_boolean(),
        other => panic!("a type {other:?}"),
    }
}

fn json(text: &str) -> Value {
    serde_yaml::from_str(text).unwrap_or_else(|e| panic!("{e}"))
}

fn files(folder: &str) -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let entries = std::fs::read_dir(folder).unwrap_or_else(|e| panic!("{e}"));
    let paths =
        entries.filter_map(|e| Some(e.ok()?.path())).filter(|p| p.extension().is_some_and(|e| e == "yaml"));
    paths.map(|p| (p.display().to_string(), std::fs::read_to_string(&p).unwrap_or_default())).collect()
}

#[test]
fn every_shipped_file_fits_its_schema() {
    for (folder, schema) in [("scenarios", schema::scenario()), ("rigs", schema::rig())] {
        let files = files(folder);
        assert!(files.len() >= 3);
        for (name, text) in files {
            assert!(holds(&schema, &schema, &json(&text)), "{name} does not fit the schema");
        }
    }
}

#[test]
fn bad_files_do_not_fit() {
    let (scenario, rig) = (schema::scenario(), schema::rig());
    let head = "format: 1\nscenario: try\npurpose: record\n";
    assert!(holds(&scenario, &scenario, &json(&format!("{head}steps: [{{hold: 5 s}}]"))));
    for bad in [
        "steps: [{hold: 5}]",
        "steps: [{hold: {from: 1 s}}]",
        "steps: [{hold: 5 s, vent: {}}]",
        "steps: [{settel: {role: line_pressure}}]",
        "steps: []",
        "stops: [{hold: 5 s}]",
        "steps: [{collect: {for: 30 s, weigh_at_rest: maybe}}]",
        "steps: [{cycle: {times: 2.5, do: [{hold: 5 s}]}}]",
    ] {
        assert!(!holds(&scenario, &scenario, &json(&format!("{head}{bad}"))), "{bad} fits");
    }
    let good = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("rigs/by-hand.yaml"))
        .unwrap_or_default();
    for (from, to) in [
        ("watchdog: none", "watchdog: nona"),
        ("format: 1", "format: 2"),
        ("drive_side: low", "drive_side: left"),
        ("limits:", "limit:"),
    ] {
        assert!(good.contains(from));
        assert!(!holds(&rig, &rig, &json(&good.replace(from, to))), "{to} fits");
    }
}

/// The whole of what files may hold, in one place: a change of the tables shows here.
#[test]
fn the_names_are_these() {
    let mut lines = Vec::new();
    for schema in [schema::scenario(), schema::rig()] {
        lines.push(format!("# {}", schema["title"].as_str().unwrap_or_default()));
        for (shape, def) in schema["$defs"].as_object().into_iter().flatten() {
            let names: Vec<&str> =
                def["properties"].as_object().into_iter().flatten().map(|(n, _)| n.as_str()).collect();
            lines.push(format!("{shape}: {}", names.join(", ")));
        }
    }
    insta::assert_snapshot!(lines.join("\n"));
}

/// The schemas beside the shipped files are those that `dutycup schema` prints, and every shipped file names its own on
/// its first line (the convention of the YAML language server). Write them anew with
/// `dutycup schema scenario > scenarios/scenario.schema.json`, and the same for `rig`.
#[test]
fn shipped_schemas_are_current_and_named_by_every_file() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for (folder, file, schema) in [
        ("scenarios", "scenario.schema.json", schema::scenario()),
        ("rigs", "rig.schema.json", schema::rig()),
    ] {
        let shipped = std::fs::read_to_string(root.join(folder).join(file)).expect("a schema");
        assert_eq!(shipped, format!("{schema:#}\n"), "{folder}/{file} is out of date");
        let mut seen = 0;
        for entry in std::fs::read_dir(root.join(folder)).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.extension().is_some_and(|e| e == "yaml") {
                let text = std::fs::read_to_string(&path).expect("text");
                let first = format!("# yaml-language-server: $schema={file}");
                assert_eq!(text.lines().next(), Some(first.as_str()), "{}", path.display());
                seen += 1;
            }
        }
        assert!(seen >= 3, "{folder} holds files");
    }
}
