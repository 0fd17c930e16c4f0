//! The science: rate laws, enzyme models, calibration, spectra and instrument checks.
