//! JSON Schema (draft 2020-12) of scenario and rig files, made from the same tables as the checks.
//!
//! In: nothing. Out: a schema for editors. Never: narrower than the checks; what needs two values to be seen (an axis
//! that is listed or has a step, a range in its order) is left to them.

use super::role::Role;
use super::shape::rig::RIG;
use super::shape::scenario::SCENARIO;
use super::shape::{Field, Kind, Measure, Need, Shape, Use};
use crate::quantity::Dimension;
use crate::verdict::catalogue::{CATALOGUE, Entry, Giver, Members};
use serde_json::{Map, Value, json};

/// The schema of a scenario file.
#[must_use]
pub fn scenario() -> Value {
    Schema { parameters: true, shapes: Map::new() }.document(&SCENARIO)
}

/// The schema of a rig file.
#[must_use]
pub fn rig() -> Value {
    Schema { parameters: false, shapes: Map::new() }.document(&RIG)
}

/// What a parameter looks like where a value is expected.
const PARAMETER: &str = "^\\$[a-z][a-z0-9_-]*$";

struct Schema {
    /// Whether `$name` may stand for any value.
    parameters: bool,
    /// Shapes met so far, by name.
    shapes: Map<String, Value>,
}

impl Schema {
    fn document(mut self, root: &'static Shape) -> Value {
        let root_ref = self.shape(root, false);
        json!({
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "title": format!("dutycup {}", root.name),
            "$ref": root_ref["$ref"],
            "$defs": self.shapes,
        })
    }

    /// A reference to a shape, which is added where it has not been met yet.
    fn shape(&mut self, shape: &'static Shape, one_of: bool) -> Value {
        let name = shape.name.replace(' ', "_");
        // Two shapes of one name (limits of rig and of scenario) never stand in one document.
        if !self.shapes.contains_key(&name) {
            self.shapes.insert(name.clone(), Value::Null);
            let mut properties = Map::new();
            for field in shape.fields {
                properties.insert(field.name.to_owned(), self.field(field));
            }
            let mut object = json!({
                "type": "object",
                "description": shape.doc,
                "properties": properties,
                "additionalProperties": false,
            });
            if one_of {
                object["minProperties"] = json!(1);
                object["maxProperties"] = json!(1);
            } else {
                let required: Vec<&str> =
                    shape.fields.iter().filter(|f| f.need == Need::Required).map(|f| f.name).collect();
                object["required"] = json!(required);
            }
            self.shapes.insert(name.clone(), object);
        }
        json!({ "$ref": format!("#/$defs/{name}") })
    }

    fn field(&mut self, field: &'static Field) -> Value {
        let mut value = self.kind(&field.kind);
        value["description"] = json!(field.doc);
        if let Need::Default(text) = field.need {
            value["description"] = json!(format!("{}; {text} where not given", field.doc));
        }
        value
    }

    fn kind(&mut self, kind: &'static Kind) -> Value {
        match kind {
            Kind::Map(shape) => self.shape(shape, false),
            Kind::OneOf(shape) => self.shape(shape, true),
            Kind::Either(kind, shape) => {
                let (single, map) = (self.kind(kind), self.shape(shape, false));
                json!({ "anyOf": [single, map] })
            }
            Kind::List(kind, least, most) => {
                let items = self.kind(kind);
                let list = json!({ "type": "array", "items": items, "minItems": least, "maxItems": most });
                self.or_parameter(list)
            }
            Kind::Named(kind) => {
                let values = self.kind(kind);
                json!({
                    "type": "object",
                    "propertyNames": { "pattern": "^[a-z][a-z0-9_-]{0,47}$" },
                    "additionalProperties": values,
                })
            }
            Kind::Settings => self.settings(),
            Kind::Raw => json!({}),
            Kind::Scalars => json!({
                "type": ["string", "number", "boolean", "array"],
                "items": { "type": ["string", "number", "boolean"] },
            }),
            single => {
                let single = self.single(single);
                self.or_parameter(single)
            }
        }
    }

    fn single(&mut self, kind: &'static Kind) -> Value {
        match kind {
            Kind::Quantity(dimension, low, high) => quantity(*dimension, Some((low, high))),
            Kind::Difference(dimension, low, high) => quantity(*dimension, Some((low, high))),
            Kind::OnOff => json!({ "enum": ["on", "off"] }),
            Kind::Number(low, high) => json!({ "type": "number", "minimum": low, "maximum": high }),
            Kind::Whole(low, high) => json!({ "type": "integer", "minimum": low, "maximum": high }),
            // A text that looks like a number is still a text here.
            Kind::Text(longest) => json!({ "type": ["string", "number", "boolean"], "maxLength": longest }),
            Kind::Prose => json!({ "type": "string" }),
            Kind::Name => json!({ "type": "string", "pattern": "^[a-z][a-z0-9_-]{0,47}$" }),
            Kind::Date => json!({ "type": "string", "format": "date" }),
            Kind::Word(words) => json!({
                "oneOf": words.iter().map(|(w, doc)| json!({ "const": w, "description": doc })).collect::<Vec<_>>(),
            }),
            Kind::Role(usage) => role(*usage),
            Kind::Item => json!({
                "oneOf": CATALOGUE.iter().filter(|e| matches!(e.giver, Giver::Runs(_))).map(expectable).collect::<Vec<_>>(),
            }),
            Kind::Of("item", Measure::Value) => {
                let quantity = any_quantity("a value in the unit of the item, as people write it");
                json!({ "anyOf": [quantity, { "type": "number", "title": "a plain number, for an item without a unit" }] })
            }
            Kind::Of(on, Measure::Value | Measure::Wire) => {
                any_quantity(&format!("a value of what `{on}` names"))
            }
            Kind::Of(on, _) => any_quantity(&format!("a difference of what `{on}` names")),
            other => unreachable!("{other:?} is not a single value"),
        }
    }

    fn settings(&mut self) -> Value {
        let value = self.or_parameter(any_quantity("a value of this role"));
        let names = role(Use::Set);
        json!({
            "type": "object",
            "minProperties": 1,
            "propertyNames": names,
            "additionalProperties": value,
        })
    }

    fn or_parameter(&self, value: Value) -> Value {
        if self.parameters {
            json!({ "anyOf": [value, { "type": "string", "pattern": PARAMETER }] })
        } else {
            value
        }
    }
}

/// An item that a scenario may expect something of, with its members where it has any.
fn expectable(entry: &Entry) -> Value {
    if entry.members == Members::One {
        return json!({ "const": entry.id, "description": entry.line() });
    }
    let id = entry.id.replace('.', "\\.");
    json!({ "pattern": format!("^{id}(\\..+)?$"), "title": entry.id, "description": entry.line() })
}

/// A number and a unit in one text; a bare number is none.
const WITH_UNIT: &str = "^\\s*[-+]?[0-9.][^\\s]*\\s*[A-Za-z%\u{b0}].*$";

fn quantity(dimension: Dimension, range: Option<(&str, &str)>) -> Value {
    if dimension == Dimension::Switch {
        return json!({ "enum": ["on", "off"] });
    }
    let mut value = json!({ "type": "string", "pattern": WITH_UNIT, "examples": [dimension.example()] });
    if let Some((low, high)) = range {
        value["title"] = json!(format!("{} from {low} to {high}", dimension.noun()));
    }
    value
}

fn any_quantity(title: &str) -> Value {
    json!({ "title": title, "type": "string", "pattern": format!("{WITH_UNIT}|^(on|off)$") })
}

fn role(usage: Use) -> Value {
    let plain: Vec<&str> =
        Role::words().filter(|word| Role::parse(word).is_some_and(|role| usage.allows(&role))).collect();
    let kinds: Vec<&str> = ["switched", "analogue", "duty_output", "sensor", "relay"]
        .into_iter()
        .filter(|kind| Role::parse(&format!("{kind}.a")).is_some_and(|role| usage.allows(&role)))
        .collect();
    json!({ "anyOf": [
        { "enum": plain },
        { "type": "string", "pattern": format!("^({})\\.[a-z0-9_]{{1,32}}$", kinds.join("|")) },
    ] })
}
