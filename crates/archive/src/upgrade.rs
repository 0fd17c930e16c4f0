//! From an older format of the folder to the newest, when somebody asks for it.

use std::path::Path;

use crate::Error;
use crate::disk::RealDisk;
use crate::lock::Lock;
use crate::manifest::Manifest;
use crate::settings::FORMAT;
use crate::unfinished::restore;

/// See [`crate::Archive::upgrade`].
pub(crate) fn upgrade(root: &Path) -> Result<Option<u32>, Error> {
    let _lock = Lock::take(root, "curvary upgrade")?;
    let mut manifest = Manifest::read(root)?;
    if manifest.format == FORMAT {
        return Ok(None);
    }
    // The tail of a commit that was cut short is explained by the manifest from which it began, and by no other.
    restore(root, &manifest, &RealDisk)?;
    let before = std::mem::replace(&mut manifest.format, FORMAT);
    manifest.commit += 1;
    manifest.write(root, &RealDisk)?;
    Ok(Some(before))
}
