//! A table's description beside it: Table Schema of the Frictionless Data Package standard, version 2 (2024-06-26).
//!
//! The standard allows further keys, so each field that is a quantity carries its UCUM code under `unit`.
//! `fieldsMatch` is left out on purpose: the text of the standard says it is a string, its published JSON profile an
//! array, and the default is what we mean.

use serde::{Deserialize, Serialize};

/// The columns of one table.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "camelCase")]
pub struct TableSchema {
    /// The profile the description follows.
    #[serde(rename = "$schema")]
    pub profile: String,
    /// The columns, from left to right.
    pub fields: Vec<TableField>,
    /// The cells that mean that there is no value.
    pub missing_values: Vec<String>,
}

/// The type of a column, of those that the standard names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ColumnType {
    /// Words.
    String,
    /// A decimal number with a point.
    Number,
    /// A whole number.
    Integer,
    /// `true` or `false`.
    Boolean,
    /// A day, ISO 8601.
    Date,
}

/// One column.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TableField {
    /// The column's head.
    pub name: String,
    /// Its type.
    #[serde(rename = "type")]
    pub kind: ColumnType,
    /// Its name for people.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// What it is.
    pub description: String,
    /// Its unit, a UCUM code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
}

impl TableSchema {
    /// A description of these columns, whose empty cells mean that there is no value.
    #[must_use]
    pub fn new(fields: Vec<TableField>) -> Self {
        Self {
            profile: "https://datapackage.org/profiles/2.0/tableschema.json".to_owned(),
            fields,
            missing_values: vec![String::new()],
        }
    }

    /// The text of the `.schema.json` file, which ends with a line end.
    #[must_use]
    pub fn to_json(&self) -> String {
        // Plain structs of texts always serialise.
        let mut text = serde_json::to_string_pretty(self).unwrap_or_default();
        text.push('\n');
        text
    }
}
