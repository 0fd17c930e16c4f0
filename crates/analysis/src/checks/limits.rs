use std::fmt;

use serde::{Deserialize, Serialize};

/// The limits of all checks, each with its source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CheckLimits {
    /// Cautions that go with every check.
    pub cautions: Vec<String>,
    /// Solutions and lamps.
    #[serde(default)]
    pub solutions: Vec<ReferenceSolution>,
    /// Wavelength standards.
    #[serde(default)]
    pub wavelength: Vec<WavelengthStandard>,
    /// Absorbance standards by specific absorbance.
    #[serde(default)]
    pub absorbance: Vec<AbsorbanceStandard>,
    /// How far a reading may lie from a certified absorbance.
    pub certified_tolerance: Option<CertifiedTolerance>,
    /// Specific absorbances that depend on the concentration.
    #[serde(default)]
    pub reference_tables: Vec<ReferenceTable>,
    /// The laboratory's filters, each with the values of its certificate.
    #[serde(default)]
    pub filters: Vec<CertifiedFilter>,
    /// Stray light filters.
    #[serde(default)]
    pub stray_light: Vec<StrayLightStandard>,
    /// Resolution standards.
    #[serde(default)]
    pub resolution: Vec<ResolutionStandard>,
    /// Absorbance of a solvent in its cell.
    pub blank: Option<BlankLimit>,
    /// The laboratory's own limits for noise, drift and flatness.
    #[serde(default)]
    pub local: LocalLimits,
}

/// A solution or a lamp, and what can hurt.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReferenceSolution {
    /// Its id, by which standards name it.
    pub id: String,
    /// What it is.
    pub name: String,
    /// Where its composition comes from.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
    /// The usual cautions.
    pub cautions: Vec<String>,
}

/// Where bands or lines lie, and how far off they may be found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WavelengthStandard {
    /// Its id.
    pub id: String,
    /// The standard.
    pub standard: String,
    /// The id of its solution or lamp.
    pub solution: String,
    /// The positions.
    pub bands: BandLimits,
    /// Expanded (k = 2) uncertainty of the positions.
    pub band_uncertainty: Option<Sourced>,
    /// The bandwidths for which the positions hold, where they depend on it that much.
    pub bandwidth: Option<BandwidthRange>,
    /// Tolerances by wavelength.
    pub tolerance: Vec<ToleranceRange>,
}

/// Positions of bands or lines.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BandLimits {
    /// Positions in nm.
    pub nm: Vec<f64>,
    /// Where they come from.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
}

/// A length in nm with its source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sourced {
    /// The value in nm.
    pub nm: f64,
    /// Where it comes from.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
}

/// Spectral bandwidths for which positions hold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BandwidthRange {
    /// Smallest, in nm.
    pub from_nm: f64,
    /// Largest, in nm.
    pub to_nm: f64,
    /// Where it comes from.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
}

/// A wavelength tolerance for a stretch of the spectrum, its upper end excluded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ToleranceRange {
    /// Beginning in nm.
    pub from_nm: f64,
    /// End in nm.
    pub to_nm: f64,
    /// Largest distance from the expected position, in nm.
    pub nm: f64,
    /// Where it comes from.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
}

/// Specific absorbances A(1 %, 1 cm) of a weighed solution.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AbsorbanceStandard {
    /// Its id.
    pub id: String,
    /// The standard.
    pub standard: String,
    /// The id of its solution.
    pub solution: String,
    /// Where the numbers come from.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
    /// The temperatures for which the values hold.
    pub temperature: Option<TemperatureRange>,
    /// The wavelengths.
    pub bands: Vec<AbsorbanceBand>,
}

/// Temperatures for which values hold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TemperatureRange {
    /// Lowest, in degrees Celsius.
    pub from_celsius: f64,
    /// Highest, in degrees Celsius.
    pub to_celsius: f64,
    /// Where it comes from.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
}

/// One wavelength of an [`AbsorbanceStandard`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AbsorbanceBand {
    /// Wavelength in nm.
    pub nm: f64,
    /// Expected A(1 %, 1 cm) in 100 mL/(g cm).
    pub value: f64,
    /// Lowest that passes.
    pub low: f64,
    /// Highest that passes.
    pub high: f64,
    /// Lowest concentration for which this holds, in mg/L.
    pub from_mg_per_l: f64,
    /// Highest concentration for which this holds, in mg/L.
    pub to_mg_per_l: f64,
}

/// How far a reading may lie from a certified absorbance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CertifiedTolerance {
    /// In absorbance, for expected values up to `up_to`.
    pub absolute: f64,
    /// As a part of the expected value, above that.
    pub relative: f64,
    /// Where the rule changes, in absorbance.
    pub up_to: f64,
    /// Where it comes from.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
}

/// Apparent specific absorbances in kg/(g cm) by concentration.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReferenceTable {
    /// Its id.
    pub id: String,
    /// The standard.
    pub standard: String,
    /// The id of its solution.
    pub solution: String,
    /// Where the numbers come from.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
    /// The temperatures for which the values hold.
    pub temperature: Option<TemperatureRange>,
    /// The wavelengths in nm.
    pub nm: Vec<f64>,
    /// Expanded (k = 2) uncertainty at each wavelength.
    pub uncertainty: Vec<f64>,
    /// Largest spectral bandwidth at each wavelength, in nm.
    pub bandwidth_max_nm: Vec<f64>,
    /// The rows, by rising concentration.
    pub rows: Vec<TableRow>,
}

/// One row of a [`ReferenceTable`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TableRow {
    /// Concentration in g/kg.
    pub g_per_kg: f64,
    /// A value for each wavelength.
    pub values: Vec<f64>,
}

/// A filter of glass, or of a liquid in a sealed cell, with the absorbances of its certificate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CertifiedFilter {
    /// Its id, by which a person names it.
    pub id: String,
    /// What it is.
    pub standard: String,
    /// The id of its solution, for a liquid.
    pub solution: Option<String>,
    /// The certificate.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
    /// The last day on which the certificate holds, as 2026-03-31.
    pub valid_until: Option<String>,
    /// The wavelengths.
    pub bands: Vec<FilterBand>,
}

impl CertifiedFilter {
    /// Whether the certificate held on the day that a date such as `2026-02-03T10:20` begins with; nothing where it has no
    /// end, or the date no day.
    pub fn held_on(&self, date: &str) -> Option<bool> {
        let last = self.valid_until.as_deref()?;
        let day = date.get(..10).filter(|day| is_day(day))?;
        Some(day <= last)
    }
}

/// One wavelength of a [`CertifiedFilter`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FilterBand {
    /// Wavelength in nm.
    pub nm: f64,
    /// Certified absorbance.
    pub absorbance: f64,
    /// Its expanded (k = 2) uncertainty.
    pub uncertainty: f64,
    /// Largest spectral bandwidth for which it holds, in nm.
    pub bandwidth_max_nm: Option<f64>,
}

/// An absorbance that a filter solution must reach.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StrayLightStandard {
    /// Its id.
    pub id: String,
    /// The standard.
    pub standard: String,
    /// The id of its solution.
    pub solution: String,
    /// Where to read, in nm.
    pub nm: Vec<f64>,
    /// The absorbance to reach.
    pub absorbance_min: f64,
    /// Where it comes from.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
}

/// A ratio that a maximum and the minimum beside it must reach.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ResolutionStandard {
    /// Its id.
    pub id: String,
    /// The standard.
    pub standard: String,
    /// The id of its solution.
    pub solution: String,
    /// About where the maximum lies, in nm.
    pub maximum_nm: f64,
    /// About where the minimum lies, in nm.
    pub minimum_nm: f64,
    /// The ratio to reach.
    pub ratio_min: f64,
    /// Where it comes from.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
}

/// Limit of the absorbance of a solvent in its cell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BlankLimit {
    /// Highest absorbance.
    pub absorbance_max: f64,
    /// Below this is better.
    pub preferred_max: f64,
    /// Where it comes from.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
}

/// A laboratory's own limit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LocalLimit {
    /// Highest value that passes.
    pub max: f64,
    /// Where it comes from.
    pub source: String,
    /// Whether from memory.
    pub from_memory: bool,
}

/// Limits that no public standard known to us gives; absent until a laboratory states its own.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LocalLimits {
    /// Rms noise in absorbance.
    pub noise_rms: Option<LocalLimit>,
    /// Peak-to-peak noise in absorbance.
    pub noise_peak_to_peak: Option<LocalLimit>,
    /// Drift in absorbance per hour, either way.
    pub drift_per_hour: Option<LocalLimit>,
    /// Largest distance of the baseline from zero, in absorbance.
    pub flatness: Option<LocalLimit>,
    /// Largest distance from zero of a reading with nothing, or the same, in both beams, in absorbance.
    pub zero: Option<LocalLimit>,
}

/// Why a text is not a limits file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LimitsError {
    /// Line of the text, counted from 1, where it is known.
    pub line: Option<usize>,
    /// Column in bytes, counted from 1, where it is known.
    pub column: Option<usize>,
    /// What is wrong and what was expected.
    pub words: String,
}

impl LimitsError {
    /// What is wrong with the file as a whole.
    fn of_file(words: String) -> Self {
        Self {
            line: None,
            column: None,
            words,
        }
    }
}

impl fmt::Display for LimitsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.line, self.column) {
            (Some(line), Some(column)) => write!(f, "line {line}, column {column}: {}", self.words),
            _ => f.write_str(&self.words),
        }
    }
}

impl std::error::Error for LimitsError {}

const BUILT_IN: &str = include_str!("limits.toml");

impl CheckLimits {
    /// The limits that come with the program.
    ///
    /// # Errors
    /// Never in a tested build: the file is part of the program, and a test reads it.
    pub fn built_in() -> Result<Self, LimitsError> {
        Self::parse(BUILT_IN)
    }

    /// The text of [`CheckLimits::built_in`], to start one's own file from.
    pub fn built_in_text() -> &'static str {
        BUILT_IN
    }

    /// Reads a limits file.
    ///
    /// # Errors
    /// [`LimitsError`] for text that is not TOML of this form, and for numbers that cannot be limits.
    pub fn parse(text: &str) -> Result<Self, LimitsError> {
        let limits: Self = toml::from_str(text).map_err(|error| {
            let before = error.span().and_then(|span| text.get(..span.start));
            LimitsError {
                line: before.map(|t| t.matches('\n').count() + 1),
                column: before.map(|t| t.len() - t.rfind('\n').map_or(0, |i| i + 1) + 1),
                words: error.message().to_owned(),
            }
        })?;
        limits.check()?;
        Ok(limits)
    }

    fn check(&self) -> Result<(), LimitsError> {
        let solution = |id: &str, of: &str| {
            if self.solutions.iter().any(|s| s.id == id) {
                Ok(())
            } else {
                Err(LimitsError::of_file(format!(
                    "{of} names the solution {id:?}, which the file does not list"
                )))
            }
        };
        for w in &self.wavelength {
            solution(&w.solution, &w.id)?;
            all_positive(&w.id, &w.bands.nm)?;
            for t in &w.tolerance {
                all_positive(&w.id, &[t.from_nm, t.to_nm, t.nm])?;
            }
            let extra = [
                w.band_uncertainty.as_ref().map(|u| u.nm),
                w.bandwidth.as_ref().map(|b| b.from_nm),
                w.bandwidth.as_ref().map(|b| b.to_nm),
            ];
            all_positive(&w.id, &extra.into_iter().flatten().collect::<Vec<_>>())?;
        }
        for a in &self.absorbance {
            solution(&a.solution, &a.id)?;
            for b in &a.bands {
                all_positive(
                    &a.id,
                    &[b.nm, b.value, b.low, b.high, b.from_mg_per_l, b.to_mg_per_l],
                )?;
                if !(b.low <= b.value && b.value <= b.high && b.from_mg_per_l <= b.to_mg_per_l) {
                    return Err(LimitsError::of_file(format!(
                        "{}: the limits at {} nm are out of order",
                        a.id, b.nm
                    )));
                }
            }
        }
        for t in &self.reference_tables {
            solution(&t.solution, &t.id)?;
            let n = t.nm.len();
            if t.uncertainty.len() != n
                || t.bandwidth_max_nm.len() != n
                || t.rows.iter().any(|r| r.values.len() != n)
                || t.rows.is_empty()
            {
                return Err(LimitsError::of_file(format!(
                    "{}: each column needs {n} values and the table a row",
                    t.id
                )));
            }
            if t.rows.windows(2).any(|p| p[0].g_per_kg >= p[1].g_per_kg) {
                return Err(LimitsError::of_file(format!(
                    "{}: the concentrations must rise from row to row",
                    t.id
                )));
            }
            for values in [&t.nm, &t.uncertainty, &t.bandwidth_max_nm] {
                all_positive(&t.id, values)?;
            }
            for row in &t.rows {
                all_positive(&t.id, &row.values)?;
                all_positive(&t.id, &[row.g_per_kg])?;
            }
        }
        for f in &self.filters {
            if let Some(id) = &f.solution {
                solution(id, &f.id)?;
            }
            if let Some(day) = f.valid_until.as_deref().filter(|day| !is_day(day)) {
                return Err(LimitsError::of_file(format!(
                    "{}: {day:?} is no day; expected one such as 2026-03-31",
                    f.id
                )));
            }
            if f.bands.is_empty() {
                return Err(LimitsError::of_file(format!(
                    "{}: a filter needs at least one band",
                    f.id
                )));
            }
            for b in &f.bands {
                all_positive(&f.id, &[b.nm, b.absorbance, b.uncertainty])?;
                all_positive(&f.id, &b.bandwidth_max_nm.into_iter().collect::<Vec<_>>())?;
            }
        }
        self.ids_differ()?;
        for s in &self.stray_light {
            solution(&s.solution, &s.id)?;
            all_positive(&s.id, &s.nm)?;
            all_positive(&s.id, &[s.absorbance_min])?;
        }
        for r in &self.resolution {
            solution(&r.solution, &r.id)?;
            all_positive(&r.id, &[r.maximum_nm, r.minimum_nm, r.ratio_min])?;
        }
        if let Some(t) = &self.certified_tolerance {
            all_positive("certified_tolerance", &[t.absolute, t.relative, t.up_to])?;
        }
        if let Some(b) = &self.blank {
            all_positive("blank", &[b.absorbance_max, b.preferred_max])?;
        }
        let local = &self.local;
        for limit in [
            &local.noise_rms,
            &local.noise_peak_to_peak,
            &local.drift_per_hour,
            &local.flatness,
            &local.zero,
        ] {
            all_positive("local", &limit.iter().map(|l| l.max).collect::<Vec<_>>())?;
        }
        Ok(())
    }

    /// A check is named by its id, so no two may share one.
    fn ids_differ(&self) -> Result<(), LimitsError> {
        let mut seen: Vec<&str> = Vec::new();
        for id in self.ids() {
            if seen.contains(&id) {
                return Err(LimitsError::of_file(format!(
                    "two checks are called {id:?}; each needs a name of its own"
                )));
            }
            seen.push(id);
        }
        Ok(())
    }

    /// The id of every standard, and the names of the checks that need none.
    fn ids(&self) -> impl Iterator<Item = &str> {
        self.names().map(|(id, _)| id)
    }

    /// Every check that can be named, with the word or words that a sample's name must hold for it: the id of its
    /// solution, or the filter's own id. The checks without a standard come last and have none.
    pub fn names(&self) -> impl Iterator<Item = (&str, Option<&str>)> {
        let wavelength = self.wavelength.iter().map(|s| (&s.id, &s.solution));
        let absorbance = self.absorbance.iter().map(|s| (&s.id, &s.solution));
        let tables = self.reference_tables.iter().map(|s| (&s.id, &s.solution));
        let filters = self.filters.iter().map(|s| (&s.id, &s.id));
        let stray_light = self.stray_light.iter().map(|s| (&s.id, &s.solution));
        let resolution = self.resolution.iter().map(|s| (&s.id, &s.solution));
        wavelength
            .chain(absorbance)
            .chain(tables)
            .chain(filters)
            .chain(stray_light)
            .chain(resolution)
            .map(|(id, words)| (id.as_str(), Some(words.as_str())))
            .chain(WITHOUT_STANDARD.map(|name| (name, None)))
    }
}

/// Checks that need no standard, but a blank, or nothing in the beam.
const WITHOUT_STANDARD: [&str; 4] = ["stability", "flatness", "zero", "blank"];

/// Four, two and two digits with hyphens between, so that days compare as texts.
fn is_day(text: &str) -> bool {
    text.len() == 10
        && text.bytes().enumerate().all(|(at, byte)| match at {
            4 | 7 => byte == b'-',
            _ => byte.is_ascii_digit(),
        })
}

fn all_positive(id: &str, values: &[f64]) -> Result<(), LimitsError> {
    match values.iter().find(|v| !(v.is_finite() && **v > 0.0)) {
        Some(v) => Err(LimitsError::of_file(format!(
            "{id}: {v} cannot be a limit; a finite number above zero was expected"
        ))),
        None => Ok(()),
    }
}
