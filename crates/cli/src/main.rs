//! The program `curvary`.
fn main() {}
