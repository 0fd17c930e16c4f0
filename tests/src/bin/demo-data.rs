//! Writes `demo-data/` anew: `cargo run -p curvary-tests --bin demo-data`.

use std::fs;
use std::io;

use curvary_tests::{laboratory, root};

fn main() -> io::Result<()> {
    let folder = root().join("demo-data");
    if folder.exists() {
        fs::remove_dir_all(&folder)?;
    }
    for (path, bytes) in laboratory::files() {
        let target = folder.join(path);
        if let Some(parent) = target.parent() {
            fs::create_dir_all(parent)?;
        }
        fs::write(target, bytes)?;
    }
    Ok(())
}
