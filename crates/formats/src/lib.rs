//! Sources into runs and runs into files.
