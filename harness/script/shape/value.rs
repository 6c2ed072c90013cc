//! Checked values: what a node is, once the shape has had its say.
//!
//! In: filled by `check`. Out: values by name, typed. Never: a value that was not checked, or a name the shape does
//! not have (that is a bug of ours and panics, so that a test finds it).

use crate::script::role::Role;
use crate::script::yaml::{Mark, Node};
use std::sync::Arc;

/// A checked value and where it stands.
#[derive(Clone, Debug)]
pub struct Item {
    /// The value.
    pub value: Value,
    /// Where it stands.
    pub mark: Mark,
    /// As it was written, for messages and exact decimals; empty for lists and maps.
    pub text: String,
    /// The parameter it came from.
    pub from: Option<Arc<str>>,
}

/// A checked value.
#[derive(Clone, Debug)]
pub enum Value {
    /// What was there was wrong; a problem has been told.
    Wrong,
    /// A number: internal unit, plain or whole; 1 or 0 for on and off.
    Number(f64),
    /// Text, a name or a date.
    Text,
    /// One of the words of the table.
    Word(&'static str),
    /// A role.
    Role(Role),
    /// A map with named values.
    Fields(Fields),
    /// A list.
    List(Vec<Item>),
    /// A map of freely chosen names.
    Named(Vec<(String, Item)>),
    /// Roles and what they are set to, role units.
    Settings(Vec<(Role, Item)>),
    /// Not looked at.
    Raw(Node),
}

/// The values of a map, defaults filled in.
#[derive(Clone, Debug)]
pub struct Fields {
    /// Values in the order of the shape.
    pub items: Vec<(&'static str, Item)>,
    /// Names the shape has, to tell a missing value from a slip of ours.
    pub known: &'static [super::Field],
    /// Where the map stands.
    pub mark: Mark,
}

impl Item {
    /// The number.
    #[must_use]
    pub fn number(&self) -> f64 {
        match self.value {
            Value::Number(n) => n,
            _ => panic!("no number at {:?}: {:?}", self.mark, self.value),
        }
    }

    /// The role.
    #[must_use]
    pub fn role(&self) -> &Role {
        match &self.value {
            Value::Role(role) => role,
            _ => panic!("no role at {:?}: {:?}", self.mark, self.value),
        }
    }

    /// The map.
    #[must_use]
    pub fn fields(&self) -> &Fields {
        match &self.value {
            Value::Fields(fields) => fields,
            _ => panic!("no map at {:?}: {:?}", self.mark, self.value),
        }
    }

    /// The map, where it is one and not a single value.
    #[must_use]
    pub fn value_fields(&self) -> Option<&Fields> {
        match &self.value {
            Value::Fields(fields) => Some(fields),
            _ => None,
        }
    }

    /// The list.
    #[must_use]
    pub fn list(&self) -> &[Item] {
        match &self.value {
            Value::List(items) => items,
            _ => panic!("no list at {:?}: {:?}", self.mark, self.value),
        }
    }

    /// The settings.
    #[must_use]
    pub fn settings(&self) -> &[(Role, Item)] {
        match &self.value {
            Value::Settings(settings) => settings,
            _ => panic!("no settings at {:?}: {:?}", self.mark, self.value),
        }
    }
}

impl Fields {
    /// The value of a name, where it was given or has a default.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&Item> {
        assert!(self.known.iter().any(|f| f.name == name), "the table has no name {name}");
        self.items.iter().find(|(n, _)| *n == name).map(|(_, item)| item)
    }

    /// The value of a name that is required or has a default.
    #[must_use]
    pub fn item(&self, name: &str) -> &Item {
        match self.get(name) {
            Some(item) => item,
            None => panic!("{name} is neither required nor has it a default"),
        }
    }

    /// A number that is required or has a default.
    #[must_use]
    pub fn number(&self, name: &str) -> f64 {
        self.item(name).number()
    }

    /// A number that may be missing.
    #[must_use]
    pub fn maybe(&self, name: &str) -> Option<f64> {
        self.get(name).map(Item::number)
    }

    /// A whole number that is required or has a default; its range is in the table.
    #[must_use]
    pub fn whole(&self, name: &str) -> usize {
        self.number(name) as usize
    }

    /// Whether a switch is on.
    #[must_use]
    pub fn flag(&self, name: &str) -> bool {
        self.number(name) > 0.5
    }

    /// A text that is required or has a default.
    #[must_use]
    pub fn text(&self, name: &str) -> String {
        self.item(name).text.clone()
    }

    /// A text that may be missing.
    #[must_use]
    pub fn maybe_text(&self, name: &str) -> Option<String> {
        self.get(name).map(|item| item.text.clone())
    }

    /// A word of the table that is required or has a default.
    #[must_use]
    pub fn word(&self, name: &str) -> &'static str {
        match self.item(name).value {
            Value::Word(word) => word,
            _ => panic!("{name} is no word"),
        }
    }

    /// A map that is required or has a default.
    #[must_use]
    pub fn fields(&self, name: &str) -> &Fields {
        self.item(name).fields()
    }

    /// The one value of a map that holds exactly one.
    #[must_use]
    pub fn only(&self) -> (&'static str, &Item) {
        match self.items.as_slice() {
            [(name, item)] => (name, item),
            _ => panic!("not exactly one value at {:?}", self.mark),
        }
    }
}
