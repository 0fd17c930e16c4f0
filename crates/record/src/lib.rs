//! What a measurement is: runs, traces, claims with origins, results, diagnostics and units.
