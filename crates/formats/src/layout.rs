//! Layouts: one shape of text export, told in TOML.
