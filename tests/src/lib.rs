//! Shared pieces of the black-box tests.
