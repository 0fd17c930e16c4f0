//! What can stand in a layout's file, and whether it makes sense.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fmt;
use std::ops::Range;

use curvary_record::{Key, Technique, Unit, interpret, known_field};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde_json::json;
use toml::Spanned;

use super::recognise::Recognise;
use super::table::{ColumnMeaning, TableDescription};
use crate::Assumptions;
use crate::assume::{AnswerForm, is_word, nearest};
use crate::readers::text_table;
use crate::vocabulary::WordKind;

/// A layout: how one shape of text export is told from all others and what it means, with examples.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
#[schemars(rename = "Layout")]
pub(super) struct Description {
    /// Small letters, digits and hyphens; the reader is called `layout/NAME`.
    #[schemars(with = "String")]
    pub(super) name: Spanned<String>,
    /// What it reads, in a line.
    pub(super) title: String,
    /// To be changed whenever the same file may be read differently.
    pub(super) version: String,
    /// How its files are told from all others.
    pub(super) recognise: Recognise,
    /// What the built-in reader would have to ask.
    #[serde(default)]
    pub(super) settle: Settle,
    /// Where the table stands, and what stands in it for missing values.
    #[serde(default)]
    pub(super) table: TableDescription,
    /// What columns are of; a table without one of them is not read.
    #[serde(default)]
    pub(super) column: Vec<ColumnMeaning>,
    /// The kind of measurement, where it is not what the axes say.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub(super) technique: Option<Spanned<String>>,
    /// This export does not end its last line, so a file that stops there is not cut off.
    #[serde(default)]
    pub(super) open_end: bool,
    /// Keys of the export, and the known fields that they mean.
    #[serde(default)]
    pub(super) key: Vec<KeyMeaning>,
    /// What the export never says, by known field: words, or a number with its unit as a person writes it.
    #[serde(default)]
    #[schemars(with = "BTreeMap<String, ExpectedWords>")]
    pub(super) fields: BTreeMap<String, Spanned<toml::Value>>,
    /// At least one.
    #[serde(default)]
    pub(super) example: Vec<LayoutExample>,
}

/// What the built-in reader would have to ask; each answer as `--assume` takes it.
///
/// Whatever is asked about tables of text can stand here, and local words too (`"unit:Grd" = "Cel"`). What can is not listed
/// a second time: it is what `text_table::asked` says.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(transparent)]
pub(super) struct Settle(BTreeMap<String, Spanned<String>>);

impl JsonSchema for Settle {
    fn schema_name() -> Cow<'static, str> {
        "Settle".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let mut properties = serde_json::Map::new();
        for asked in text_table::asked() {
            let mut one = json!({ "type": "string" });
            if let Some(says) = wording(asked.about) {
                one["description"] = says.into();
            }
            if let AnswerForm::OneOf(answers) = &asked.answers {
                one["enum"] = json!(answers);
            }
            properties.insert(asked.about.to_owned(), one);
        }
        let kinds: Vec<&str> = WordKind::ALL.into_iter().map(WordKind::name).collect();
        let words = format!("^({}):.+$", kinds.join("|"));
        json_schema!({
            "description": "What the built-in reader would have to ask; each answer as `--assume` takes it.",
            "type": "object",
            "properties": properties,
            "patternProperties": {
                words: { "description": "What a word of this house means, as `curvary vocabulary` takes it.", "type": "string" }
            },
            "additionalProperties": false
        })
    }
}

/// What a question is about, for those who read the schema.
fn wording(about: &str) -> Option<&'static str> {
    Some(match about {
        "columns" => {
            "Where a comma separates cells and is the decimal sign too: the pieces of each cell, such as `2+2`."
        }
        "date" => "The order of day, month and year in dates.",
        "decimal" => "The decimal sign.",
        "foot" => {
            "Whether a name and one number at the foot of a table are a row of it, or a key and its value."
        }
        "heads" => "Whether two headers were interchanged: each stands over numbers that suit the other one.",
        "measurement" => "Whether tables without any header, unit or word are measurements.",
        "parentheses" => "What numbers in parentheses are: negative, or marked as doubtful and so left out.",
        "ranges" => "Where in a range of x, such as `400-410`, its reading belongs.",
        "rows" => "Whether lines apart from a table that have the cells of its rows belong to it.",
        "shape" => {
            "`columns`: the first column runs and each other one is a curve, and rows and headers that do not fit are left out; `packed`: a row goes on with the readings that follow its first one."
        }
        "times" => {
            "How times are counted: from which moment, over midnight, or as minutes and seconds around a point."
        }
        "wavelength" => "Which of two wavelengths holds: that of the header or that of the words above.",
        "x" => "What runs: `QUANTITY:UNIT` with a UCUM unit, such as `time:s`.",
        "y" => "What was measured: `QUANTITY:UNIT` with a UCUM unit, such as `transmittance:%`.",
        _ => return None,
    })
}

/// Whether files of a layout can ask this, so that an answer to it can stand in `[settle]`.
pub(super) fn can_settle(about: &str) -> bool {
    is_word(about) || text_table::asked().any(|asked| asked.about == about)
}

/// A key of the export that means a known field.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(super) struct KeyMeaning {
    /// The key as the export spells it; capitals make no difference.
    #[schemars(with = "String")]
    pub(super) key: Spanned<String>,
    /// The field, by its name in the open schema.
    #[schemars(with = "String")]
    pub(super) field: Spanned<String>,
    /// The unit of a value that stands without one: a UCUM code.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub(super) unit: Option<Spanned<String>>,
}

/// A file of this shape with what must come out of it.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
#[schemars(rename = "Example")]
pub struct LayoutExample {
    /// A file, by its path from the layout's folder; either this or `text`.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub(super) file: Option<Spanned<String>>,
    /// The content itself.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub(super) text: Option<Spanned<String>>,
    /// The path under which `text` is met, where the name of a file tells something.
    #[serde(default)]
    pub(super) path: Option<String>,
    /// How many runs there are.
    #[serde(default = "one")]
    #[schemars(with = "usize")]
    pub(super) runs: Spanned<usize>,
    /// How many points all curves have together.
    #[schemars(with = "usize")]
    pub(super) points: Spanned<usize>,
    /// The first point of the first curve: x and y.
    #[schemars(with = "[f64; 2]")]
    pub(super) first: Spanned<[f64; 2]>,
    /// The last point of the last curve of the last run: x and y.
    #[schemars(with = "[f64; 2]")]
    pub(super) last: Spanned<[f64; 2]>,
    /// What runs along the first curve: `QUANTITY:UNIT`.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub(super) x: Option<Spanned<String>>,
    /// What the first curve is of: `QUANTITY:UNIT`.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub(super) y: Option<Spanned<String>>,
    /// The kind of measurement of the first run.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub(super) technique: Option<Spanned<String>>,
    /// What is known of the first run: words, or a number with its unit as a person writes it.
    #[serde(default)]
    #[schemars(with = "BTreeMap<String, ExpectedWords>")]
    pub(super) fields: BTreeMap<String, Spanned<toml::Value>>,
}

/// What a field can be given as.
#[derive(JsonSchema)]
#[schemars(untagged, rename = "Words")]
#[expect(dead_code, reason = "only the schema needs it")]
enum ExpectedWords {
    Text(String),
    Number(f64),
}

fn one() -> Spanned<usize> {
    Spanned::new(0..0, 1)
}

/// The schema of layout files, as pretty JSON.
#[must_use]
pub fn schema() -> String {
    curvary_record::schema::schema_of::<Description>("layout-v1.json", "A layout: one shape of text export.")
}

/// What is wrong with a layout, and where.
pub(crate) struct LayoutFault {
    pub(crate) span: Option<Range<usize>>,
    pub(crate) message: String,
}

impl LayoutFault {
    pub(crate) fn at<T>(value: &Spanned<T>, message: impl fmt::Display) -> Self {
        Self {
            span: Some(value.span()),
            message: message.to_string(),
        }
    }
}

impl Description {
    /// Whether it makes sense; what it settles.
    pub(super) fn check(&self) -> Result<Assumptions, LayoutFault> {
        let name = self.name.get_ref();
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if name.is_empty() || name.len() > 60 || !name.chars().all(plain) {
            let message =
                format!("`{name}` is no name of a layout: expected small letters, digits and hyphens");
            return Err(LayoutFault::at(&self.name, message));
        }
        self.recognise.check()?;
        let settled = self.settle.check()?;
        if let Some(technique) = &self.technique {
            check_technique(technique)?;
        }
        self.table.check()?;
        for column in &self.column {
            column.meaning()?;
        }
        for key in &self.key {
            key.check()?;
        }
        for (field, value) in &self.fields {
            check_field(field, value)?;
        }
        if self.example.is_empty() {
            return Err(LayoutFault {
                span: None,
                message: "a layout needs an example: `[[example]]` with `file` or `text`, and what must come out of it"
                    .to_owned(),
            });
        }
        for example in &self.example {
            example.check()?;
        }
        Ok(settled)
    }
}

impl Settle {
    fn check(&self) -> Result<Assumptions, LayoutFault> {
        let mut settled = Assumptions::none();
        for (about, answer) in &self.0 {
            if !can_settle(about) {
                return Err(LayoutFault::at(answer, not_asked(about)));
            }
            settled
                .add(&format!("{about}={}", answer.get_ref()))
                .map_err(|message| LayoutFault::at(answer, message))?;
            if matches!(about.as_str(), "x" | "y") {
                let unit = settled.axis(about).and_then(|(_, unit)| unit);
                if unit.is_none() && answer.get_ref() != "index" {
                    let message = format!(
                        "`{}` has no unit: expected QUANTITY:UNIT, such as `time:s` or `absorbance:{{AU}}`",
                        answer.get_ref()
                    );
                    return Err(LayoutFault::at(answer, message));
                }
            }
        }
        Ok(settled)
    }
}

fn not_asked(about: &str) -> String {
    let mut known: Vec<&str> = text_table::asked().map(|asked| asked.about).collect();
    known.sort_unstable();
    let near = nearest(about, known.iter().copied())
        .map(|near| format!("; did you mean `{near}`?"))
        .unwrap_or_default();
    format!(
        "nothing called `{about}` is asked about tables of text: expected {}, or a word of this house, such as `\"unit:Grd\"`{near}",
        known.join(", ")
    )
}

impl KeyMeaning {
    fn check(&self) -> Result<(), LayoutFault> {
        let field = self.field.get_ref();
        if known_field(field).is_none() {
            let message = format!("`{field}` is no known field");
            return Err(LayoutFault::at(&self.field, message));
        }
        let Some(code) = &self.unit else { return Ok(()) };
        let unit = Unit::ucum(code.get_ref())
            .map_err(|_| LayoutFault::at(code, format!("`{}` is no UCUM unit", code.get_ref())))?;
        if !interpret::accepts_unit(&Key::new(field), &unit) {
            let message = format!("`{field}` cannot be in `{}`", code.get_ref());
            return Err(LayoutFault::at(code, message));
        }
        Ok(())
    }
}

impl LayoutExample {
    /// The file it is in, from the layout's folder.
    #[must_use]
    pub fn file(&self) -> Option<&str> {
        self.file.as_ref().map(|file| file.get_ref().as_str())
    }

    /// Its content, where the layout holds it.
    #[must_use]
    pub fn text(&self) -> Option<&str> {
        self.text.as_ref().map(|text| text.get_ref().as_str())
    }

    /// The path under which it is met.
    #[must_use]
    pub fn path(&self) -> &str {
        self.path.as_deref().or(self.file()).unwrap_or("example.txt")
    }

    pub(crate) fn check(&self) -> Result<(), LayoutFault> {
        match (&self.file, &self.text) {
            (Some(_), None) | (None, Some(_)) => {}
            (Some(file), Some(_)) => {
                return Err(LayoutFault::at(
                    file,
                    "an example has either `file` or `text`, and not both",
                ));
            }
            (None, None) => {
                return Err(LayoutFault::at(
                    &self.points,
                    "this example has neither `file` nor `text`",
                ));
            }
        }
        if let Some(technique) = &self.technique {
            check_technique(technique)?;
        }
        for (field, value) in &self.fields {
            check_field(field, value)?;
        }
        Ok(())
    }
}

fn check_technique(technique: &Spanned<String>) -> Result<(), LayoutFault> {
    if Technique::ALL
        .iter()
        .any(|known| known.as_str() == technique.get_ref())
    {
        return Ok(());
    }
    let all: Vec<&str> = Technique::ALL.iter().map(Technique::as_str).collect();
    let message = format!(
        "`{}` is no technique: expected {}",
        technique.get_ref(),
        all.join(", ")
    );
    Err(LayoutFault::at(technique, message))
}

/// Whether a value is one of a known field.
pub(super) fn check_field(field: &str, value: &Spanned<toml::Value>) -> Result<(), LayoutFault> {
    if known_field(field).is_none() {
        return Err(LayoutFault::at(value, format!("`{field}` is no known field")));
    }
    let Some(raw) = raw_of(value.get_ref()) else {
        return Err(LayoutFault::at(
            value,
            format!("`{field}` takes words or a number"),
        ));
    };
    let found = interpret::interpret(&Key::new(field), &raw, None);
    if !found.fits {
        return Err(LayoutFault::at(value, format!("`{raw}` is no {field}")));
    }
    if let Some(question) = found.question {
        return Err(LayoutFault::at(value, question.message));
    }
    Ok(())
}

/// A field's value as a person writes it.
pub(super) fn raw_of(value: &toml::Value) -> Option<String> {
    match value {
        toml::Value::String(text) => Some(text.clone()),
        toml::Value::Integer(number) => Some(number.to_string()),
        toml::Value::Float(number) if number.is_finite() => Some(number.to_string()),
        _ => None,
    }
}
