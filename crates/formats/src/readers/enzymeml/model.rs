//! What the document of an experiment says: units, substances, conditions, measurements and the columns of their files.

use std::collections::BTreeMap;

use crate::readers::xml::XmlElement;

/// What a column of a data file is of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct DescribedColumn {
    /// `time`, `conc`, `abs` and others.
    pub(super) kind: String,
    /// As people write it; empty where none is said.
    pub(super) unit: String,
    /// The name of the substance.
    pub(super) substance: String,
    /// The name of the repetition.
    pub(super) replica: String,
    /// From 0.
    pub(super) index: usize,
    pub(super) is_calculated: bool,
}

/// A data file and its columns.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct DataFile {
    pub(super) location: String,
    pub(super) columns: Vec<DescribedColumn>,
}

/// A key and its value.
pub(super) type KeyValue = (String, String);

/// A measurement: what is said of it, and its file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Measurement {
    pub(super) pairs: Vec<KeyValue>,
    pub(super) file: DataFile,
}

pub(super) struct EnzymeModel {
    pub(super) measurements: Vec<Measurement>,
    /// What is told of the document as a whole.
    pub(super) remarks: Vec<String>,
}

struct Substance {
    name: String,
    is_protein: bool,
}

impl EnzymeModel {
    pub(super) fn of(root: &XmlElement) -> Self {
        let units = units(root);
        let substances = substances(root);
        let files = files(root, &units, &substances);
        let mut remarks = Vec::new();
        let common = common(root, &units, &substances, &mut remarks);
        let mut measurements: Vec<Measurement> = root
            .every("measurement")
            .into_iter()
            .map(|node| {
                let mut pairs = common.clone();
                pairs.extend(own(node, &units, &substances));
                Measurement {
                    pairs,
                    file: node
                        .attribute("file")
                        .and_then(|file| files.get(file).cloned())
                        .unwrap_or_default(),
                }
            })
            .collect();
        for file in files.values() {
            if !measurements
                .iter()
                .any(|known| known.file.location == file.location)
            {
                measurements.push(Measurement {
                    pairs: common.clone(),
                    file: file.clone(),
                });
            }
        }
        Self {
            measurements,
            remarks,
        }
    }
}

/// Units by their identifiers, as people write them (SBML Level 3 Version 2, 4.4: each part is
/// (multiplier · 10^scale · kind)^exponent).
fn units(root: &XmlElement) -> BTreeMap<String, String> {
    root.every("unitDefinition")
        .into_iter()
        .filter_map(|node| {
            let id = node.attribute("id")?.to_owned();
            let parts: Vec<&XmlElement> = node.every("unit");
            let written: Option<Vec<(String, i32)>> = parts.iter().map(|part| written(part)).collect();
            let named = || node.attribute("name").unwrap_or(&id).to_owned();
            Some((id.clone(), written.map_or_else(named, |parts| joined(&parts))))
        })
        .collect()
}

/// A part of a unit and its exponent; none where it has no name of its own here.
fn written(part: &XmlElement) -> Option<(String, i32)> {
    let number = |name: &str, usual: f64| {
        part.attribute(name)
            .map_or(Some(usual), |text| text.trim().parse::<f64>().ok())
    };
    let (multiplier, scale, exponent) = (
        number("multiplier", 1.0)?,
        number("scale", 0.0)?,
        number("exponent", 1.0)?,
    );
    let symbol = match part.attribute("kind")? {
        "mole" => "mol",
        "litre" | "liter" => "L",
        "second" => "s",
        "gram" => "g",
        "metre" | "meter" => "m",
        "kelvin" => "K",
        "celsius" | "Celsius" => "Cel",
        "katal" => "kat",
        "dimensionless" => "",
        _ => return None,
    };
    let is_one = |value: f64, of: f64| (value - of).abs() < 1e-9 * of;
    let symbol = match (symbol, scale) {
        (symbol, 0.0) if is_one(multiplier, 1.0) => symbol.to_owned(),
        ("s", 0.0) if is_one(multiplier, 60.0) => "min".to_owned(),
        ("s", 0.0) if is_one(multiplier, 3600.0) => "h".to_owned(),
        (symbol, scale) if is_one(multiplier, 1.0) && !symbol.is_empty() => {
            let prefixes = [
                (-12.0, "p"),
                (-9.0, "n"),
                (-6.0, "u"),
                (-3.0, "m"),
                (-2.0, "c"),
                (-1.0, "d"),
                (3.0, "k"),
            ];
            let (_, prefix) = prefixes.into_iter().find(|(power, _)| *power == scale)?;
            format!("{prefix}{symbol}")
        }
        _ => return None,
    };
    let whole = [-3, -2, -1, 1, 2, 3]
        .into_iter()
        .find(|power| f64::from(*power) == exponent)?;
    Some((symbol, whole))
}

fn joined(parts: &[(String, i32)]) -> String {
    let power = |exponent: i32| match exponent.abs() {
        1 => String::new(),
        more => more.to_string(),
    };
    let above: Vec<String> = parts
        .iter()
        .filter(|(symbol, exponent)| *exponent > 0 && !symbol.is_empty())
        .map(|(symbol, exponent)| format!("{symbol}{}", power(*exponent)))
        .collect();
    let below: String = parts
        .iter()
        .filter(|(symbol, exponent)| *exponent < 0 && !symbol.is_empty())
        .map(|(symbol, exponent)| format!("/{symbol}{}", power(*exponent)))
        .collect();
    match above.join(".") {
        above if above.is_empty() && below.is_empty() => "1".to_owned(),
        above => above + &below,
    }
}

fn substances(root: &XmlElement) -> BTreeMap<String, Substance> {
    root.every("species")
        .into_iter()
        .filter_map(|node| {
            let id = node.attribute("id")?.to_owned();
            let name = node.attribute("name").filter(|name| !name.trim().is_empty());
            Some((
                id.clone(),
                Substance {
                    name: name.unwrap_or(&id).trim().to_owned(),
                    is_protein: !node.every("protein").is_empty(),
                },
            ))
        })
        .collect()
}

fn files(
    root: &XmlElement,
    units: &BTreeMap<String, String>,
    substances: &BTreeMap<String, Substance>,
) -> BTreeMap<String, DataFile> {
    let formats: BTreeMap<&str, Vec<DescribedColumn>> = root
        .every("format")
        .into_iter()
        .filter_map(|node| {
            let columns = node
                .all("column")
                .filter_map(|column| described(column, units, substances));
            Some((node.attribute("id")?, columns.collect()))
        })
        .collect();
    root.every("file")
        .into_iter()
        .filter_map(|node| {
            let location = node.attribute("file").or_else(|| node.attribute("location"))?;
            let columns = node.attribute("format").and_then(|format| formats.get(format));
            Some((
                node.attribute("id")?.to_owned(),
                DataFile {
                    location: location.to_owned(),
                    columns: columns.cloned().unwrap_or_default(),
                },
            ))
        })
        .collect()
}

fn described(
    column: &XmlElement,
    units: &BTreeMap<String, String>,
    substances: &BTreeMap<String, Substance>,
) -> Option<DescribedColumn> {
    let said = |name: &str| column.attribute(name).unwrap_or("").trim().to_owned();
    let (species, unit) = (said("species"), said("unit"));
    Some(DescribedColumn {
        kind: said("type"),
        unit: units.get(&unit).cloned().unwrap_or(unit),
        substance: substances
            .get(&species)
            .map_or(species, |substance| substance.name.clone()),
        replica: said("replica"),
        index: column.attribute("index")?.trim().parse().ok()?,
        is_calculated: said("isCalculated").eq_ignore_ascii_case("true"),
    })
}

/// A value with its unit, as `311.15 K`.
fn quantity(node: &XmlElement, value: &str, unit: &str, units: &BTreeMap<String, String>) -> Option<String> {
    let value = node.attribute(value)?.trim();
    let unit = node.attribute(unit).unwrap_or("").trim();
    let unit = units.get(unit).map_or(unit, String::as_str);
    let unit = if unit == "1" { "" } else { unit };
    Some(format!("{value} {unit}").trim().to_owned())
}

/// What is said of all measurements.
fn common(
    root: &XmlElement,
    units: &BTreeMap<String, String>,
    substances: &BTreeMap<String, Substance>,
    remarks: &mut Vec<String>,
) -> Vec<KeyValue> {
    let mut pairs = Vec::new();
    let mut push = |key: &str, value: Option<String>| {
        if let Some(value) = value.filter(|value| !value.trim().is_empty()) {
            pairs.push((key.to_owned(), value.trim().to_owned()));
        }
    };
    let model = root.one("model");
    push(
        "title",
        model.and_then(|model| model.attribute("name")).map(str::to_owned),
    );
    for creator in root.every("creator") {
        let part = |name: &str| creator.one(name).map_or("", |node| node.text.trim());
        push(
            "author",
            Some(format!("{} {}", part("givenName"), part("familyName"))),
        );
    }
    for (name, key) in [("doi", "DOI"), ("url", "URL"), ("pubmedID", "PubMed")] {
        push(key, root.every(name).first().map(|node| node.text.clone()));
    }
    let vessels = root.every("compartment");
    if let [vessel] = vessels.as_slice() {
        push("volume", quantity(vessel, "size", "units", units));
    }
    let proteins: Vec<&Substance> = substances
        .values()
        .filter(|substance| substance.is_protein)
        .collect();
    if let [protein] = proteins.as_slice() {
        push("enzyme", Some(protein.name.clone()));
        let notes = root.every("protein");
        for (name, key) in [
            ("ECnumber", "EC number"),
            ("organism", "organism"),
            ("uniprotID", "UniProt"),
        ] {
            let said = notes.iter().find_map(|node| node.one(name));
            push(key, said.map(|node| node.text.clone()));
        }
    }
    let reactions = root.every("reaction");
    let reactions: Vec<&&XmlElement> = reactions
        .iter()
        .filter(|node| node.attribute("id").is_some())
        .collect();
    for reaction in &reactions {
        push("reaction", reaction.attribute("name").map(str::to_owned));
    }
    let conditions: Vec<Vec<KeyValue>> = root
        .every("conditions")
        .into_iter()
        .map(|node| conditions(node, units))
        .collect();
    match conditions.split_first() {
        Some((first, others)) if others.iter().all(|other| other == first) => pairs.extend(first.iter().cloned()),
        Some(_) => remarks.push(
            "its reactions have different temperatures or pH, and it is not said which of them was measured: \
             neither is given to a run"
                .to_owned(),
        ),
        None => {}
    }
    pairs
}

fn conditions(node: &XmlElement, units: &BTreeMap<String, String>) -> Vec<KeyValue> {
    let mut pairs = Vec::new();
    let temperature = node
        .one("temperature")
        .and_then(|node| quantity(node, "value", "unit", units));
    pairs.extend(temperature.map(|value| ("temperature".to_owned(), value)));
    let ph = node.one("ph").and_then(|node| node.attribute("value"));
    pairs.extend(ph.map(|value| ("pH".to_owned(), value.to_owned())));
    pairs
}

/// What is said of one measurement.
fn own(
    node: &XmlElement,
    units: &BTreeMap<String, String>,
    substances: &BTreeMap<String, Substance>,
) -> Vec<KeyValue> {
    let mut pairs = Vec::new();
    if let Some(name) = node.attribute("name").filter(|name| !name.trim().is_empty()) {
        pairs.push(("measurement".to_owned(), name.to_owned()));
    }
    let proteins = node
        .all("initConc")
        .filter(|start| start.attribute("protein").is_some())
        .count();
    for start in node.all("initConc") {
        let Some(value) = quantity(start, "value", "unit", units) else {
            continue;
        };
        let (protein, other) = (start.attribute("protein"), start.attribute("reactant"));
        let Some(id) = protein.or(other) else { continue };
        let name = substances.get(id).map_or(id, |substance| substance.name.as_str());
        if protein.is_some() && proteins == 1 {
            pairs.push(("enzyme concentration".to_owned(), value));
        } else {
            pairs.push((format!("initial concentration of {name}"), value));
        }
    }
    pairs
}
