//! Plots that are not fits: the direct linear plot as a robust second opinion, and the classical straight lines.

use serde::{Deserialize, Serialize};

use crate::refusal::{Refusal, require_finite, require_length};

/// Medians of the direct linear plot.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DirectLinear {
    /// Median of the pairs' Vmax; absent where half of the pairs or more give none.
    pub vmax: Option<f64>,
    /// Median of the pairs' Km; absent where half of the pairs or more give none.
    pub km: Option<f64>,
    /// Pairs of observations whose lines cross.
    pub pairs: usize,
}

/// The direct linear plot (Eisenthal and Cornish-Bowden, Biochem. J. 139, 715, 1974): each pair of observations gives
/// one Km and one Vmax, and the medians are taken. Pairs whose lines cross at a negative Km and Vmax stand for very
/// large ones (the same authors, Biochim. Biophys. Acta 523, 268, 1978). Needs no assumption about the errors.
///
/// # Errors
/// [`Refusal::TooFewPoints`] with fewer than three observations at different concentrations above zero.
pub fn direct_linear(substrate: &[f64], rate: &[f64]) -> Result<DirectLinear, Refusal> {
    let points = usable(substrate, rate)?;
    let (mut kms, mut vmaxs) = (Vec::new(), Vec::new());
    for (i, (s1, v1)) in points.iter().enumerate() {
        for (s2, v2) in &points[i + 1..] {
            if s1 == s2 {
                continue;
            }
            // v = V - Km v/S for both.
            let gap = v1 / s1 - v2 / s2;
            let km = (v2 - v1) / gap;
            let vmax = v1 + km * v1 / s1;
            if !km.is_finite() || (km < 0.0 && vmax < 0.0) {
                kms.push(f64::INFINITY);
                vmaxs.push(f64::INFINITY);
            } else {
                kms.push(km);
                vmaxs.push(vmax);
            }
        }
    }
    if kms.len() < 3 {
        return Err(Refusal::TooFewPoints {
            what: "pairs of observations".into(),
            found: kms.len(),
            needed: 3,
        });
    }
    let pairs = kms.len();
    let median = |mut list: Vec<f64>| {
        list.sort_by(f64::total_cmp);
        let middle = list.len() / 2;
        let value = if list.len() % 2 == 1 {
            list[middle]
        } else {
            0.5 * (list[middle - 1] + list[middle])
        };
        value.is_finite().then_some(value)
    };
    Ok(DirectLinear {
        vmax: median(vmaxs),
        km: median(kms),
        pairs,
    })
}

/// Points of the three classical plots, for pictures. Observations at zero substrate or zero rate have no place in
/// some of them and are left out there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LinearPlots {
    /// Lineweaver and Burk: `1/S`, `1/v`.
    pub double_reciprocal: Vec<(f64, f64)>,
    /// Hanes: `S`, `S/v`.
    pub hanes: Vec<(f64, f64)>,
    /// Eadie and Hofstee: `v/S`, `v`.
    pub eadie_hofstee: Vec<(f64, f64)>,
}

/// The classical linear plots of rates against concentrations.
///
/// # Errors
/// Unequal lengths and values that are not finite.
pub fn linear_plots(substrate: &[f64], rate: &[f64]) -> Result<LinearPlots, Refusal> {
    require_length("rate", rate, substrate.len())?;
    require_finite("substrate concentration", substrate)?;
    require_finite("rate", rate)?;
    let points = || substrate.iter().zip(rate).map(|(s, v)| (*s, *v));
    Ok(LinearPlots {
        double_reciprocal: points()
            .filter(|(s, v)| *s > 0.0 && *v != 0.0)
            .map(|(s, v)| (1.0 / s, 1.0 / v))
            .collect(),
        hanes: points()
            .filter(|(_, v)| *v != 0.0)
            .map(|(s, v)| (s, s / v))
            .collect(),
        eadie_hofstee: points()
            .filter(|(s, _)| *s > 0.0)
            .map(|(s, v)| (v / s, v))
            .collect(),
    })
}

fn usable(substrate: &[f64], rate: &[f64]) -> Result<Vec<(f64, f64)>, Refusal> {
    require_length("rate", rate, substrate.len())?;
    require_finite("substrate concentration", substrate)?;
    require_finite("rate", rate)?;
    if let Some(index) = substrate.iter().position(|s| *s < 0.0) {
        return Err(Refusal::Negative {
            what: "substrate concentration".into(),
            index,
            value: substrate[index],
        });
    }
    Ok(substrate
        .iter()
        .copied()
        .zip(rate.iter().copied())
        .filter(|(s, _)| *s > 0.0)
        .collect())
}
