//! From the words of a source to values: numbers with units, ranges, dates.
