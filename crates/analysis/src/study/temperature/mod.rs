//! Rate constants of several runs against their temperatures.

mod constants;
mod lines;

use std::collections::BTreeMap;

use curvary_record::{Outcome, OutcomeKind, RunId};
use serde::{Deserialize, Serialize};

use super::spectrum::as_settings;
use super::{BY, PlotData, TraceResult, told};
pub use constants::{AtTemperature, RunConstants, rate_constants};
use lines::fitted;

/// What is asked of rate constants at several temperatures, in a form that is kept with the result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct TemperaturePlan {
    /// The parameter that is taken.
    pub of: String,
    /// The model whose kept fits are taken, and which is fitted where none is kept; any if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fitted: Option<String>,
    /// Of runs, by name, the traces (from 0) that are taken; all of a run that is not named.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub traces_of: BTreeMap<String, Vec<u32>>,
    /// Standard error of each temperature, K, independent from run to run; not known if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_error: Option<f64>,
}

/// The Arrhenius and the Eyring line through rate constants of several runs, coldest first whatever their order.
pub fn temperature_series(plan: &TemperaturePlan, points: &[AtTemperature]) -> Vec<TraceResult> {
    let mut points = points.to_vec();
    points.sort_by(|a, b| a.kelvin.total_cmp(&b.kelvin).then_with(|| a.run.cmp(&b.run)));
    vec![line(plan, &points, "arrhenius"), line(plan, &points, "eyring")]
}

fn line(plan: &TemperaturePlan, points: &[AtTemperature], model: &str) -> TraceResult {
    let mut runs: Vec<RunId> = Vec::new();
    for point in points {
        if !runs.contains(&point.run) {
            runs.push(point.run.clone());
        }
    }
    let mut settings = as_settings(plan);
    let kept: Vec<serde_json::Value> = points
        .iter()
        .map(|point| {
            serde_json::json!([
                point.run,
                point.kelvin,
                point.rate.0,
                point.rate.1,
                point.rate.2.code()
            ])
        })
        .collect();
    settings.insert("points".to_owned(), serde_json::json!(kept));
    let mut outcome = Outcome {
        id: String::new(),
        kind: OutcomeKind::Temperature,
        runs,
        trace: None,
        model: model.to_owned(),
        by: BY.into(),
        settings,
        termination: String::new(),
        parameters: Vec::new(),
        covariance: Vec::new(),
        statistics: BTreeMap::new(),
        remarks: Vec::new(),
    };
    let drawn = match fitted(plan, points, model, &mut outcome) {
        Ok(drawn) => drawn,
        Err(refusal) => {
            outcome.parameters.clear();
            outcome.termination = told(&refusal);
            PlotData::default()
        }
    };
    TraceResult {
        trace: None,
        label: String::new(),
        outcome: outcome.identified(),
        drawn,
    }
}

/// What stands in the unit of a constant per unit of absorbance.
const ABSORBANCE: &str = "{AU}";
