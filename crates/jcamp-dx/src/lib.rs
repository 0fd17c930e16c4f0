//! The JCAMP-DX open standard, read leniently and written strictly.
