use serde::{Deserialize, Serialize};

use super::{Measured, Remark, all_finite, below_ceiling, non_negative, positive};
use crate::refusal::{Refusal, require_finite};

/// What kind of nucleic acid is taken to be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NucleicAcidKind {
    /// Double-stranded DNA: 50 µg/mL for A260 = 1 at 1 cm.
    DoubleStrandedDna,
    /// Single-stranded DNA: 33 µg/mL.
    SingleStrandedDna,
    /// RNA: 40 µg/mL.
    Rna,
}

/// Absorbances of a nucleic acid solution, blank taken off.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NucleicAcidReadings {
    /// At 260 nm.
    pub a260: f64,
    /// At 280 nm.
    pub a280: f64,
    /// At 230 nm, if measured.
    pub a230: Option<f64>,
    /// At 320 nm, if measured: taken off all others as background.
    pub a320: Option<f64>,
    /// Standard deviation of a single reading, if known.
    pub reading_sd: Option<f64>,
    /// Optical path in cm.
    pub path_cm: f64,
    /// Total over sample volume.
    pub dilution: f64,
    /// End of the trusted absorbance range.
    pub ceiling: Option<f64>,
}

/// Purity ratios and a concentration by the usual factors.
///
/// All of it is common practice and not a standard: the factors and the customary ratios depend on
/// sequence, pH and ionic strength, and a good ratio does not prove purity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NucleicAcid {
    /// A260/A280.
    pub ratio_260_280: Measured,
    /// What is customary for pure samples of this kind: about 1.8 for DNA, 2.0 for RNA.
    pub customary_260_280: f64,
    /// A260/A230, if A230 was given; 2.0 to 2.2 is customary.
    pub ratio_260_230: Option<Measured>,
    /// Concentration in µg/mL.
    pub micrograms_per_ml: Measured,
    /// The factor used: µg/mL for A260 = 1 at 1 cm.
    pub factor: f64,
    /// Whether A320 was taken off.
    pub background_taken_off: bool,
    /// Always true: see the type.
    pub common_practice: bool,
    /// What a reader must know.
    pub remarks: Vec<Remark>,
}

/// Ratios and concentration of a nucleic acid. Factors and customary ratios are from memory of
/// laboratory practice.
///
/// # Errors
/// `not-finite`; `out-of-range` for a reading above the ceiling, a path or dilution that is not
/// positive, or a denominator that is not above zero.
pub fn nucleic_acid(readings: &NucleicAcidReadings, kind: NucleicAcidKind) -> Result<NucleicAcid, Refusal> {
    let NucleicAcidReadings {
        a260,
        a280,
        a230,
        a320,
        reading_sd,
        path_cm,
        dilution,
        ceiling,
    } = *readings;
    for value in [Some(a260), Some(a280), a230, a320].into_iter().flatten() {
        require_finite("the absorbances", &[value])?;
        below_ceiling("the absorbance", value, ceiling)?;
    }
    positive("the path length", path_cm)?;
    positive("the dilution", dilution)?;
    if let Some(sd) = reading_sd {
        non_negative("the standard deviation of a reading", sd)?;
    }
    let (factor, customary_260_280) = match kind {
        NucleicAcidKind::DoubleStrandedDna => (50.0, 1.8),
        NucleicAcidKind::SingleStrandedDna => (33.0, 1.8),
        NucleicAcidKind::Rna => (40.0, 2.0),
    };
    let background = a320.unwrap_or(0.0);
    let scale = factor * dilution / path_cm;
    let micrograms_per_ml = Measured {
        value: (a260 - background) * scale,
        standard_error: reading_sd.map(|s| s * scale * if a320.is_some() { 2f64.sqrt() } else { 1.0 }),
    };
    let ratio = |other: f64, what: &str| ratio(a260, other, a320, reading_sd, what);
    let mut remarks = vec![Remark::new(
        "common-practice",
        "factors and customary ratios are laboratory practice, not a standard; a good ratio does not prove purity",
    )];
    if a320.is_none() {
        remarks.push(Remark::new(
            "no-background",
            "A320 was not given, so turbidity would raise the result unseen",
        ));
    }
    if micrograms_per_ml.value < 0.0 {
        remarks.push(Remark::new(
            "negative-concentration",
            "A260 lies below the background",
        ));
    }
    let found = NucleicAcid {
        ratio_260_280: ratio(a280, "A280 above background")?,
        customary_260_280,
        ratio_260_230: a230.map(|a| ratio(a, "A230 above background")).transpose()?,
        micrograms_per_ml,
        factor,
        background_taken_off: a320.is_some(),
        common_practice: true,
        remarks,
    };
    all_finite(&[found.micrograms_per_ml.value, found.ratio_260_280.value])?;
    Ok(found)
}

/// (above - background)/(below - background) with its error from independent readings:
/// σ/D·√(1 + r² + (1 - r)²), the last term only where a background was read.
fn ratio(
    above: f64,
    below: f64,
    background: Option<f64>,
    sd: Option<f64>,
    what: &str,
) -> Result<Measured, Refusal> {
    let b = background.unwrap_or(0.0);
    positive(what, below - b)?;
    let r = (above - b) / (below - b);
    let shared = if background.is_some() {
        (1.0 - r).powi(2)
    } else {
        0.0
    };
    Ok(Measured {
        value: r,
        standard_error: sd.map(|s| s / (below - b) * (1.0 + r * r + shared).sqrt()),
    })
}

/// A protein concentration by A280 and A260.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Protein {
    /// Concentration in mg/mL: (1.55·A280 - 0.76·A260)·D/l.
    pub milligrams_per_ml: Measured,
    /// A260/A280; about 0.6 is customary for protein without nucleic acid.
    pub ratio_260_280: Measured,
    /// Always true: the formula stands for an average protein.
    pub common_practice: bool,
    /// What a reader must know.
    pub remarks: Vec<Remark>,
}

/// Protein beside nucleic acid by the formula of Warburg & Christian (Biochem. Z. 310, 384 (1942)),
/// whose coefficients are given here from memory. Common practice: it holds for one protein mixture
/// and is off by tens of percent for others.
///
/// # Errors
/// As for [`nucleic_acid`].
pub fn protein(
    a280: f64,
    a260: f64,
    reading_sd: Option<f64>,
    path_cm: f64,
    dilution: f64,
    ceiling: Option<f64>,
) -> Result<Protein, Refusal> {
    require_finite("the absorbances", &[a280, a260])?;
    below_ceiling("the absorbance", a280.max(a260), ceiling)?;
    positive("the path length", path_cm)?;
    positive("the dilution", dilution)?;
    if let Some(sd) = reading_sd {
        non_negative("the standard deviation of a reading", sd)?;
    }
    let scale = dilution / path_cm;
    let value = (1.55 * a280 - 0.76 * a260) * scale;
    let ratio_260_280 = ratio(a260, a280, None, reading_sd, "A280")?;
    all_finite(&[value, ratio_260_280.value])?;
    let mut remarks = vec![Remark::new(
        "common-practice",
        "1.55·A280 - 0.76·A260 stands for an average protein; with a known absorption coefficient use the Beer-Lambert law instead",
    )];
    if value < 0.0 {
        remarks.push(Remark::new(
            "negative-concentration",
            "mostly nucleic acid: the formula gives no protein",
        ));
    }
    Ok(Protein {
        milligrams_per_ml: Measured {
            value,
            standard_error: reading_sd.map(|s| s * scale * 1.55f64.hypot(0.76)),
        },
        ratio_260_280,
        common_practice: true,
        remarks,
    })
}
