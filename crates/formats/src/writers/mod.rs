//! Runs into files.
