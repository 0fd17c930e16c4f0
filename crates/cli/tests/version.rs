//! The program says its own version. Beside that, this test has a second purpose: a test of this package makes cargo
//! build the program with the dependencies of the tests, so that the black-box tests need no second build of them.
#![allow(clippy::expect_used)]

use std::process::Command;

#[test]
fn the_program_says_its_version() {
    let output = Command::new(env!("CARGO_BIN_EXE_curvary"))
        .arg("--version")
        .output()
        .expect("the program starts");
    let said = String::from_utf8_lossy(&output.stdout);
    assert_eq!(said.trim(), format!("curvary {}", env!("CARGO_PKG_VERSION")));
}
