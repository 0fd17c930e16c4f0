//! The words of the trade in several languages, from a data file.
