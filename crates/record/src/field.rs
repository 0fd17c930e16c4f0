//! Fields are claims: a value, the text that stood there, and who said so. Nothing is overwritten.

use std::borrow::{Borrow, Cow};
use std::collections::BTreeMap;
use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::{Place, Unit};

/// The name of a field: one of [`known_fields`], or the source's own spelling.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Key(Cow<'static, str>);

impl Key {
    /// The field of this name.
    #[must_use]
    pub fn new(name: impl Into<String>) -> Self {
        let name = name.into();
        match known_field(&name) {
            Some(known) => Self(Cow::Borrowed(known.key)),
            None => Self(Cow::Owned(name)),
        }
    }

    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// What is known about the field, unless it is one of the source's own.
    #[must_use]
    pub fn known(&self) -> Option<&'static KnownField> {
        known_field(&self.0)
    }
}

impl Borrow<str> for Key {
    fn borrow(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl From<&str> for Key {
    fn from(name: &str) -> Self {
        Self::new(name)
    }
}

/// What kind of value a known field holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ValueKind {
    /// Words.
    Text,
    /// A number; a bare one is in this unit (a UCUM code) by custom of the trade.
    Number(&'static str),
    /// Two numbers, from and to, in this unit.
    Range(&'static str),
    /// A civil date, ISO 8601.
    Date,
    /// A civil time of day, ISO 8601.
    TimeOfDay,
}

/// A field that curvary knows by name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KnownField {
    /// Its name.
    pub key: &'static str,
    /// What it holds.
    pub kind: ValueKind,
    /// One sentence.
    pub about: &'static str,
}

/// All known fields, by name.
#[must_use]
pub fn known_fields() -> &'static [KnownField] {
    KNOWN
}

/// The known field of this name.
#[must_use]
pub fn known_field(key: &str) -> Option<&'static KnownField> {
    KNOWN
        .binary_search_by(|known| known.key.cmp(key))
        .ok()
        .map(|index| &KNOWN[index])
}

const fn text(key: &'static str, about: &'static str) -> KnownField {
    KnownField {
        key,
        kind: ValueKind::Text,
        about,
    }
}

const fn number(key: &'static str, unit: &'static str, about: &'static str) -> KnownField {
    KnownField {
        key,
        kind: ValueKind::Number(unit),
        about,
    }
}

const fn range(key: &'static str, unit: &'static str, about: &'static str) -> KnownField {
    KnownField {
        key,
        kind: ValueKind::Range(unit),
        about,
    }
}

/// Sorted by name, which a test holds.
static KNOWN: &[KnownField] = &[
    text(
        "accessory",
        "Cell changer, sphere or other attachment in the light path.",
    ),
    number(
        "activity",
        "U/mL",
        "Catalytic activity concentration of the enzyme.",
    ),
    number("bandwidth", "nm", "Spectral bandwidth of the light."),
    text("baseline", "What the instrument's baseline was taken with."),
    text(
        "blank",
        "What the blank or reference cell held, or which run is the blank.",
    ),
    text("buffer", "Buffer, with its composition."),
    text("cas-number", "CAS registry number of the substance."),
    text("cell", "Kind and number of the cell."),
    text("comment", "Free remarks."),
    number(
        "concentration",
        "mol/L",
        "Concentration of the sample in the cell.",
    ),
    number("cycle", "1", "Number of the scan within a repeated series."),
    text("data-type", "What the source itself called the kind of data."),
    KnownField {
        key: "date",
        kind: ValueKind::Date,
        about: "Day of the measurement.",
    },
    number("dead-time", "s", "Time between mixing and the first reading."),
    text("detector", "Detector."),
    number(
        "dilution",
        "1",
        "Dilution factor of the sample, final volume over sample volume.",
    ),
    number("duration", "s", "How long the measurement took."),
    text("ec-number", "EC number of the enzyme."),
    text("enzyme", "Enzyme or other catalyst."),
    number(
        "enzyme-concentration",
        "mol/L",
        "Concentration of the enzyme in the cell.",
    ),
    number("first-wavelength", "nm", "Wavelength at which the scan began."),
    number(
        "heating-rate",
        "K/min",
        "Change of temperature during the measurement.",
    ),
    text("inhibitor", "Inhibitor or other effector."),
    number(
        "inhibitor-concentration",
        "mol/L",
        "Concentration of the inhibitor in the cell.",
    ),
    text("instrument", "The instrument, as the source names it."),
    number("integration-time", "s", "How long each reading was averaged."),
    number("interval", "s", "Time between readings or scans."),
    number("ionic-strength", "mol/L", "Ionic strength of the solution."),
    text("lamp", "Light source and the wavelength at which it changes."),
    number("last-wavelength", "nm", "Wavelength at which the scan ended."),
    text("lot", "Lot or batch of the substance."),
    text("method", "Name of the method or protocol."),
    number(
        "molar-absorption-coefficient",
        "L/mol/cm",
        "Decadic molar absorption coefficient.",
    ),
    number("molar-mass", "g/mol", "Molar mass of the substance."),
    text("operator", "Who measured."),
    text("organism", "Organism and strain the enzyme is from."),
    text("origin", "Laboratory or institute."),
    text("owner", "Owner of the data."),
    number("path-length", "cm", "Optical path length of the cell."),
    number("ph", "[pH]", "pH of the sample."),
    number("points", "1", "Number of points, as the source states it."),
    text("preparation", "How the sample was prepared."),
    number("pressure", "bar", "Pressure."),
    text(
        "processing",
        "What was done to the data before they were exported.",
    ),
    text("project", "Project or course the run belongs to."),
    text(
        "recovered-from",
        "What the numbers were recovered from, where no file of them was left: print.",
    ),
    text("reference", "What stood in the reference beam."),
    text("replicate", "Which repetition the run is."),
    text("sample", "Name of the sample."),
    text("sample-id", "Number or code of the sample."),
    number("scan-speed", "nm/min", "Scan speed."),
    text("serial-number", "Serial number of the instrument."),
    text("software", "Program that wrote the source, as it names itself."),
    text("solvent", "Solvent."),
    text("state", "Physical state of the sample."),
    number("step", "nm", "Distance of neighbouring points."),
    number("stirring", "/min", "Stirring speed."),
    text("substrate", "Substrate of the reaction."),
    number(
        "substrate-concentration",
        "mol/L",
        "Concentration of the substrate in the cell.",
    ),
    text(
        "tag",
        "Words by which a person groups runs, with commas between them.",
    ),
    number("temperature", "Cel", "Temperature of the sample."),
    KnownField {
        key: "time",
        kind: ValueKind::TimeOfDay,
        about: "Time of day at which the measurement began.",
    },
    text("title", "Title of the measurement."),
    number("volume", "mL", "Volume in the cell."),
    number(
        "wavelength",
        "nm",
        "Wavelength at which a time course or a reading was taken.",
    ),
    range("wavelength-range", "nm", "First and last wavelength of the scan."),
];

/// The value of a claim.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Value {
    /// A number in the claim's unit.
    Number(f64),
    /// From and to, in the claim's unit.
    Range {
        /// The first value, as the source gave it.
        from: f64,
        /// The last value.
        to: f64,
    },
    /// Words, or a date or time in ISO 8601 form.
    Text(String),
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number(number) => write!(f, "{number}"),
            Self::Range { from, to } => write!(f, "{from}..{to}"),
            Self::Text(text) => f.write_str(text),
        }
    }
}

/// Who said it. The order of the variants is the order of weight: a person's note weighs most.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Origin {
    /// A person wrote it.
    Note {
        /// When it was written, RFC 3339.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        at: Option<String>,
        /// Who wrote it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        author: Option<String>,
    },
    /// It stood in the measured file.
    Source(Place),
    /// A rule for file or folder names caught it.
    Name {
        /// The rule, by its name.
        rule: String,
        /// The part of the path it was taken from.
        part: String,
    },
    /// The layout states it, since the export never does.
    Layout {
        /// The layout, by its name.
        layout: String,
    },
    /// Reckoned from other values.
    Derived {
        /// What was done.
        step: String,
        /// The fields or columns it was reckoned from.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        from: Vec<String>,
    },
}

impl Origin {
    /// The weight: 0 is strongest.
    #[must_use]
    pub fn rank(&self) -> u8 {
        match self {
            Self::Note { .. } => 0,
            Self::Source(_) => 1,
            Self::Name { .. } => 2,
            Self::Layout { .. } => 3,
            Self::Derived { .. } => 4,
        }
    }
}

/// A value and who said it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Claim {
    /// The value.
    pub value: Value,
    /// Its unit, a UCUM code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// The uncertainty that stood beside it (`37.0 ± 0.1`), in the same unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plus_minus: Option<f64>,
    /// The text that stood there.
    pub raw: String,
    /// The key as it was spelled there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spelled: Option<String>,
    /// Who said it.
    pub origin: Origin,
}

impl Claim {
    /// A claim of words.
    #[must_use]
    pub fn text(value: impl Into<String>, origin: Origin) -> Self {
        let value = value.into();
        Self {
            raw: value.clone(),
            value: Value::Text(value),
            unit: None,
            plus_minus: None,
            spelled: None,
            origin,
        }
    }

    /// A claim of a number with its unit.
    #[must_use]
    pub fn number(value: f64, unit: Option<Unit>, raw: impl Into<String>, origin: Origin) -> Self {
        Self {
            value: Value::Number(value),
            unit,
            plus_minus: None,
            raw: raw.into(),
            spelled: None,
            origin,
        }
    }

    /// The same claim with the key as it was spelled.
    #[must_use]
    pub fn spelled(mut self, key: impl Into<String>) -> Self {
        self.spelled = Some(key.into());
        self
    }

    /// Whether both say the same, whatever their units, spelling and origin.
    #[must_use]
    pub fn agrees(&self, other: &Self) -> bool {
        let si = |claim: &Self, value: f64| claim.unit.as_ref().map_or(value, |unit| unit.to_si(value));
        let close = |a: f64, b: f64| (a - b).abs() <= 1e-9 * a.abs().max(b.abs());
        match (&self.value, &other.value) {
            (Value::Number(a), Value::Number(b)) => close(si(self, *a), si(other, *b)),
            (Value::Range { from: a, to: b }, Value::Range { from: c, to: d }) => {
                close(si(self, *a), si(other, *c)) && close(si(self, *b), si(other, *d))
            }
            (Value::Text(a), Value::Text(b)) => a.trim().to_lowercase() == b.trim().to_lowercase(),
            _ => false,
        }
    }
}

/// What is known of a run: for each key its claims, strongest first.
///
/// In JSON each key holds its strongest claim, with the weaker ones under `also`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Fields(BTreeMap<Key, FieldClaims>);

/// The claims of one key, in the shape of the JSON record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(from = "EntryShape", into = "EntryShape")]
#[schemars(with = "EntryShape")]
struct FieldClaims(Vec<Claim>);

#[derive(Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Field")]
struct EntryShape {
    value: Value,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    unit: Option<Unit>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    plus_minus: Option<f64>,
    raw: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    spelled: Option<String>,
    origin: Origin,
    /// Weaker claims, strongest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    also: Vec<Claim>,
}

impl From<EntryShape> for FieldClaims {
    fn from(shape: EntryShape) -> Self {
        let EntryShape {
            value,
            unit,
            plus_minus,
            raw,
            spelled,
            origin,
            also,
        } = shape;
        let mut claims = vec![Claim {
            value,
            unit,
            plus_minus,
            raw,
            spelled,
            origin,
        }];
        claims.extend(also);
        Self(claims)
    }
}

impl From<FieldClaims> for EntryShape {
    fn from(entry: FieldClaims) -> Self {
        let mut claims = entry.0.into_iter();
        // An entry is made by its first claim, and taken away whole, so that it is never empty.
        let Claim {
            value,
            unit,
            plus_minus,
            raw,
            spelled,
            origin,
        } = claims
            .next()
            .unwrap_or_else(|| Claim::text("", Origin::Source(Place::default())));
        Self {
            value,
            unit,
            plus_minus,
            raw,
            spelled,
            origin,
            also: claims.collect(),
        }
    }
}

impl Fields {
    /// Adds a claim behind those of equal or greater weight; nothing is overwritten.
    ///
    /// Among notes the newest is strongest, since a later note corrects an earlier one; everywhere else the first
    /// said is, and what is said under a key before what was found in passing. A claim that says the same as another from the
    /// same kind of origin and place is not kept twice.
    pub fn claim(&mut self, key: impl Into<Key>, claim: Claim) {
        let claims = &mut self
            .0
            .entry(key.into())
            .or_insert_with(|| FieldClaims(Vec::new()))
            .0;
        // Where they stand tells most claims apart, and is compared first: thousands of lines may state one key.
        let line = |claim: &Claim| match &claim.origin {
            Origin::Source(place) => Some(place.line),
            _ => None,
        };
        if claims
            .iter()
            .any(|other| line(other) == line(&claim) && *other == claim)
        {
            return;
        }
        if claims.is_empty() {
            // Most keys have one claim, and room for four of them would be most of the memory of a run.
            claims.reserve_exact(1);
        }
        let rank = claim.origin.rank();
        let at = if rank == 0 {
            0
        } else {
            // What is said under a key outranks what was found in passing, such as a date in the head of a page.
            claims.partition_point(|other| {
                let later = other.origin.rank() > rank
                    || other.origin.rank() == rank && other.spelled.is_none() && claim.spelled.is_some();
                !later
            })
        };
        claims.insert(at, claim);
    }

    /// The strongest claim of a key.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&Claim> {
        self.0.get(key).and_then(|entry| entry.0.first())
    }

    /// All claims of a key, strongest first.
    #[must_use]
    pub fn all(&self, key: &str) -> &[Claim] {
        self.0.get(key).map_or(&[], |entry| entry.0.as_slice())
    }

    /// Every key with its claims, by name.
    pub fn iter(&self) -> impl Iterator<Item = (&Key, &[Claim])> {
        self.0.iter().map(|(key, entry)| (key, entry.0.as_slice()))
    }

    /// Every claim, to be changed in place: the ranks must stay as they are.
    pub fn claims_mut(&mut self) -> impl Iterator<Item = &mut Claim> {
        self.0.values_mut().flat_map(|entry| entry.0.iter_mut())
    }

    /// The keys whose claims do not all say the same. Comments add to one another and never dispute.
    pub fn disputes(&self) -> impl Iterator<Item = (&Key, &[Claim])> {
        self.iter()
            .filter(|(key, _)| key.as_str() != "comment")
            .filter(|(_, claims)| claims.iter().skip(1).any(|claim| !claims[0].agrees(claim)))
    }

    /// Takes every claim out of a key.
    pub fn remove(&mut self, key: &str) -> Vec<Claim> {
        self.0.remove(key).map(|entry| entry.0).unwrap_or_default()
    }

    /// How many keys there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether nothing is known.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The strongest claim of a key as words.
    #[must_use]
    pub fn text(&self, key: &str) -> Option<&str> {
        match &self.get(key)?.value {
            Value::Text(text) => Some(text),
            _ => None,
        }
    }

    /// The strongest claim of a key as a number in the SI unit of its dimension.
    #[must_use]
    pub fn si(&self, key: &str) -> Option<f64> {
        let claim = self.get(key)?;
        match claim.value {
            Value::Number(number) => Some(claim.unit.as_ref().map_or(number, |unit| unit.to_si(number))),
            _ => None,
        }
    }
}

impl From<String> for Key {
    fn from(name: String) -> Self {
        Self::new(name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(line: usize) -> Origin {
        Origin::Source(Place::line(line))
    }

    #[test]
    fn known_fields_are_sorted_and_have_units() {
        assert!(KNOWN.windows(2).all(|pair| pair[0].key < pair[1].key));
        for known in KNOWN {
            if let ValueKind::Number(unit) | ValueKind::Range(unit) = known.kind {
                assert!(Unit::ucum(unit).is_ok(), "{}: {unit}", known.key);
            }
        }
    }

    #[test]
    fn what_is_said_under_a_key_outranks_what_was_found_in_passing() {
        let mut fields = Fields::default();
        let keyed = Claim {
            spelled: Some("Measured".into()),
            ..Claim::text("2014-11-27", source(3))
        };
        fields.claim("date", Claim::text("2014-11-29", source(1)));
        fields.claim("date", keyed);
        assert_eq!(fields.text("date"), Some("2014-11-27"));
        assert_eq!(fields.all("date").len(), 2);
    }

    #[test]
    fn the_strongest_speaks_and_nothing_is_lost() {
        let mut fields = Fields::default();
        let cel = Unit::ucum("Cel").ok();
        let name = Origin::Name {
            rule: "house".into(),
            part: "37C".into(),
        };
        fields.claim("temperature", Claim::number(37.0, cel.clone(), "37C", name));
        fields.claim(
            "temperature",
            Claim::number(25.0, cel.clone(), "25 °C", source(3)),
        );
        assert_eq!(fields.get("temperature").map(|c| c.raw.as_str()), Some("25 °C"));
        let note = Origin::Note {
            at: None,
            author: None,
        };
        fields.claim("temperature", Claim::number(37.0, cel, "37", note));
        assert_eq!(fields.all("temperature").len(), 3);
        assert_eq!(
            fields.get("temperature").map(|c| &c.value),
            Some(&Value::Number(37.0))
        );
        assert_eq!(fields.disputes().count(), 1);
    }

    #[test]
    fn equal_values_in_other_units_are_no_dispute() {
        let mut fields = Fields::default();
        fields.claim(
            "temperature",
            Claim::number(310.15, Unit::ucum("K").ok(), "310.15 K", source(1)),
        );
        fields.claim(
            "temperature",
            Claim::number(37.0, Unit::ucum("Cel").ok(), "37", source(2)),
        );
        assert_eq!(fields.disputes().count(), 0);
    }

    #[test]
    fn json_shows_the_strongest_claim_first() {
        let mut fields = Fields::default();
        fields.claim("sample", Claim::text("betanin", source(1)));
        fields.claim(
            "sample",
            Claim::text(
                "beet",
                Origin::Name {
                    rule: "r".into(),
                    part: "beet".into(),
                },
            ),
        );
        let json = serde_json::to_value(&fields).expect("it serialises");
        assert_eq!(json["sample"]["value"], "betanin");
        assert_eq!(json["sample"]["origin"]["kind"], "source");
        assert_eq!(json["sample"]["also"][0]["value"], "beet");
        assert_eq!(serde_json::from_value::<Fields>(json).expect("it reads"), fields);
    }
}
