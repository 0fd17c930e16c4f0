//! What a report of enzyme kinetics should state, after the STRENDA guidelines.
//!
//! The guidelines (Standards for Reporting Enzymology Data, level 1A: the experiment, level 1B: the results; Tipton et
//! al., Perspectives in Science 1, 131, 2014) are restated here in our own words and from memory, as a reminder. The
//! text of the guidelines comes first.

use serde::{Deserialize, Serialize};

/// Where an item stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Stated.
    Given,
    /// Not stated.
    Missing,
    /// Said not to apply.
    NotApplicable,
}

/// One item of the checklist.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ChecklistItem {
    /// Level of the guidelines: `1A` (the experiment) or `1B` (the results).
    pub level: String,
    /// What should be stated.
    pub title: String,
    /// Names of the fields any of which states it.
    pub fields: Vec<String>,
    /// Whether it is.
    pub state: State,
}

/// Level, title, fields any of which will do. A line asks for one thing, so that it never says of two that they are given where
/// one is.
const ITEMS: [(&str, &str, &[&str]); 29] = [
    ("1A", "name of the enzyme", &["enzyme"]),
    ("1A", "reaction that it catalyses", &["reaction"]),
    (
        "1A",
        "EC number or sequence accession",
        &["ec-number", "sequence"],
    ),
    ("1A", "organism, tissue or strain", &["organism", "source"]),
    ("1A", "how the enzyme was prepared", &["preparation"]),
    ("1A", "purity of the enzyme", &["purity"]),
    ("1A", "modifications (tags, mutations)", &["modification"]),
    ("1A", "storage of the enzyme", &["storage"]),
    ("1A", "assay temperature", &["temperature"]),
    ("1A", "assay pH", &["ph"]),
    ("1A", "buffer", &["buffer"]),
    (
        "1A",
        "metal salts or other components",
        &["salts", "components", "ionic-strength"],
    ),
    (
        "1A",
        "enzyme concentration in the assay",
        &["enzyme-concentration", "protein"],
    ),
    ("1A", "substrate", &["substrate"]),
    ("1A", "purity of the substrate", &["substrate-purity"]),
    (
        "1A",
        "range of substrate concentrations",
        &["substrate-concentration"],
    ),
    ("1A", "inhibitor or activator", &["inhibitor", "activator"]),
    (
        "1A",
        "concentrations of the inhibitor or activator",
        &["inhibitor-concentration", "activator-concentration"],
    ),
    ("1A", "assay method", &["method"]),
    ("1A", "wavelength", &["wavelength"]),
    ("1A", "what is followed", &["followed"]),
    ("1A", "direction of the reaction", &["reaction", "direction"]),
    ("1A", "molar absorption coefficient", &["absorption-coefficient"]),
    ("1A", "path length", &["path-length"]),
    (
        "1A",
        "how the rate was taken (initial rate, window)",
        &["rate-window", "model"],
    ),
    ("1B", "number of independent experiments", &["replicates"]),
    ("1B", "kinetic constants with units and errors", &["result"]),
    ("1B", "model, software and how the fit was made", &["model"]),
    (
        "1B",
        "how the quality of the fit was judged",
        &["residuals", "result"],
    ),
];

/// The checklist for a run of which `given` fields are stated and `not_applicable` ones are said not to apply.
pub fn checklist<S: AsRef<str>>(given: &[S], not_applicable: &[S]) -> Vec<ChecklistItem> {
    let among = |list: &[S], fields: &[&str]| list.iter().any(|g| fields.contains(&g.as_ref()));
    ITEMS
        .iter()
        .map(|(level, title, fields)| ChecklistItem {
            level: (*level).into(),
            title: (*title).into(),
            fields: fields.iter().map(|f| (*f).into()).collect(),
            state: if among(given, fields) {
                State::Given
            } else if among(not_applicable, fields) {
                State::NotApplicable
            } else {
                State::Missing
            },
        })
        .collect()
}
