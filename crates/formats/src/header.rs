//! Lines that say something about a run: keys and values.
