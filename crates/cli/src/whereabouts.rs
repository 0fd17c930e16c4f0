//! Which archive is meant: `--archive`, else `$CURVARY_ARCHIVE`, else the nearest folder above with an archive.toml.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use clap::Args;
use curvary_archive::Archive;
use curvary_record::{Diagnostic, code};

use crate::ending::Failure;

/// The archive as the command line names it.
#[derive(Clone, Debug, Args)]
pub(crate) struct Whereabouts {
    /// The archive's folder
    #[arg(
        long,
        global = true,
        value_name = "DIR",
        env = "CURVARY_ARCHIVE",
        hide_env_values = true,
        help_heading = "Everywhere"
    )]
    archive: Option<PathBuf>,
}

impl Whereabouts {
    /// The archive's folder, whether it is there or not.
    pub(crate) fn folder(&self) -> Result<PathBuf, Failure> {
        if let Some(archive) = self.archive.as_ref().filter(|path| !path.as_os_str().is_empty()) {
            return Ok(archive.clone());
        }
        let here = std::env::current_dir().map_err(|error| Failure::file("use", Path::new("."), &error))?;
        Archive::nearest(&here).ok_or_else(|| {
            let why = Diagnostic::error(
                code::NO_ARCHIVE,
                "no archive is named, and no folder from here upwards has an `archive.toml`",
            );
            Failure::wrong(
                why.help("name it with `--archive DIR` or CURVARY_ARCHIVE; `curvary add` begins a new one"),
            )
        })
    }

    /// The archive's folder, where there is one.
    pub(crate) fn there(&self) -> Option<PathBuf> {
        self.folder().ok().filter(|folder| folder.is_dir())
    }

    /// The archive, which must be there.
    pub(crate) fn open(&self) -> Result<Archive, Failure> {
        Ok(Archive::open(&self.folder()?)?)
    }

    /// Mends what is damaged from a copy; gives what was done.
    pub(crate) fn mend_from(&self, copy: &Path) -> Result<Vec<String>, Failure> {
        Ok(Archive::mend_from(&self.folder()?, copy)?)
    }

    /// Makes again what the archive cannot be opened without; gives what was done.
    pub(crate) fn rebuild(&self) -> Result<curvary_archive::Mended, Failure> {
        Ok(Archive::rebuild(&self.folder()?)?)
    }

    /// The archive; a new one when the folder has none.
    pub(crate) fn open_or_begin(&self) -> Result<OpenedArchive, Failure> {
        let folder = self.folder()?;
        match Archive::open(&folder) {
            Ok(archive) => Ok(OpenedArchive { archive, new: false }),
            Err(curvary_archive::Error::NoArchive { .. }) => {
                let name = folder
                    .file_name()
                    .and_then(OsStr::to_str)
                    .unwrap_or("archive")
                    .to_owned();
                Ok(OpenedArchive {
                    archive: Archive::create(&folder, &name)?,
                    new: true,
                })
            }
            Err(error) => Err(error.into()),
        }
    }
}

/// An archive that was opened.
pub(crate) struct OpenedArchive {
    /// The archive.
    pub(crate) archive: Archive,
    /// Whether it was begun just now.
    pub(crate) new: bool,
}
