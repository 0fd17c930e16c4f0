//! Keeps originals and records on disk and finds them again.
