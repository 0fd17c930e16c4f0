//! Where the list of allowed plugins is: a file of the person, never one of a shared folder or of an archive.

use std::env;
use std::ffi::OsString;
use std::path::PathBuf;

use curvary_plugin_host::AllowedPlugins;

use crate::ending::Failure;

/// The plugins that this person has allowed.
pub(crate) fn allowed() -> Result<AllowedPlugins, Failure> {
    match list() {
        Some(file) => AllowedPlugins::read(&file).map_err(|why| Failure::wrong(*why)),
        None => Ok(AllowedPlugins::default()),
    }
}

/// The file of the list, in the folder in which this system keeps the settings of programs.
pub(crate) fn list() -> Option<PathBuf> {
    let of = |name: &str| {
        env::var_os(name)
            .filter(|value: &OsString| !value.is_empty())
            .map(PathBuf::from)
    };
    let folder = if cfg!(windows) {
        of("APPDATA")
    } else {
        of("XDG_CONFIG_HOME")
            .filter(|folder| folder.is_absolute())
            .or_else(|| of("HOME").map(|home| home.join(".config")))
    };
    folder.map(|folder| folder.join("curvary").join("plugins.toml"))
}
