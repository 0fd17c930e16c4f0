//! A rate constant with its uncertainty: `A(t) = A∞ + (A0 − A∞) exp(−k t)` over invented readings.

use std::error::Error;
use std::io::Write;

use curvary_analysis::courses::{Course, Order, Preparation, fit_course};
use curvary_analysis::fit::Options;

fn main() -> Result<(), Box<dyn Error>> {
    // Every 15 s; k = 0.0100 /s, and deviations of about 0.002 that were written down once.
    let deviations = [
        1, -2, 0, 2, -1, 1, 3, -2, -1, 0, 2, -3, 1, 0, -1, 2, -2, 1, 0, -1, 1,
    ];
    let time: Vec<f64> = (0..deviations.len()).map(|n| 15.0 * n as f64).collect();
    let signal: Vec<f64> = time
        .iter()
        .zip(deviations)
        .map(|(t, deviation)| 0.05 + 0.75 * (-0.0100 * t).exp() + 0.001 * f64::from(deviation))
        .collect();
    let law = Course::new(Order::First).with_offset()?;
    let found = fit_course(&law, &time, &signal, &Preparation::default(), &Options::default())?;
    let mut out = std::io::stdout().lock();
    for parameter in &found.fit.parameters {
        writeln!(
            out,
            "{} = {:.5} ± {:.5}",
            parameter.name,
            parameter.value,
            parameter.standard_error.unwrap_or(f64::NAN)
        )?;
    }
    Ok(())
}
