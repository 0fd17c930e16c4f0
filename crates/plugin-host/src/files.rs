//! A plugin's files: where they are, whether others may write them, what their digests are.

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};

use curvary_formats::manifest::{FILE, PluginManifest};
use curvary_plugin_abi::raw;
use curvary_record::{Code, Diagnostic, Digest, Place};

/// A manifest is no longer, in bytes.
const LONGEST_MANIFEST: u64 = 1 << 20;
/// A library is no longer, in bytes.
const LONGEST_LIBRARY: u64 = 256 << 20;

/// A plugin's files, as they are now.
#[derive(Clone, Debug)]
pub(crate) struct PluginFiles {
    pub(crate) manifest: PluginManifest,
    pub(crate) manifest_digest: Digest,
    pub(crate) folder: PathBuf,
}

impl PluginFiles {
    /// The manifest in a folder.
    pub(crate) fn open(folder: &Path) -> Result<Self, Box<Diagnostic>> {
        let path = folder.join(FILE);
        let shown = path.display().to_string();
        let bytes = bytes(&path, LONGEST_MANIFEST)?;
        let text = String::from_utf8(bytes).map_err(|_| {
            let why = Diagnostic::error(Code::new("plugin-wrong"), format!("`{shown}` is not UTF-8 text"));
            Box::new(why)
        })?;
        Ok(Self {
            manifest: PluginManifest::parse(&shown, &text)?,
            manifest_digest: Digest::of(text.as_bytes()),
            folder: folder.to_owned(),
        })
    }

    /// The library for this system, whoever may write it: its path and its bytes.
    pub(crate) fn library(&self) -> Result<(PathBuf, Vec<u8>), Box<Diagnostic>> {
        let manifest = &self.manifest;
        let id = &manifest.card().id;
        let unusable = |message: String, at: Place, help: &str| {
            let why = Diagnostic::error(Code::new("plugin-unusable"), message);
            Box::new(why.at(at, "").help(help))
        };
        let (contract, said) = manifest.contract();
        if contract != raw::CONTRACT {
            return Err(unusable(
                format!(
                    "`{id}` keeps version {contract} of the contract, and this program speaks version {}",
                    raw::CONTRACT
                ),
                said,
                "get a build of the plugin for this version, or build it again with the header of this program",
            ));
        }
        let (system, processor) = (std::env::consts::OS, std::env::consts::ARCH);
        let Some((file, said)) = manifest.library(system, processor) else {
            return Err(unusable(
                format!("`{id}` has no library for {system} on {processor}"),
                Place {
                    file: Some(manifest.path().to_owned()),
                    ..Place::default()
                },
                "ask its makers for one, or build it and name it under `[library]`",
            ));
        };
        let path = self.folder.join(file);
        if !path.is_file() {
            return Err(unusable(
                format!("the library of `{id}` is missing: `{}`", path.display()),
                said,
                "build it, or put it beside plugin.toml",
            ));
        }
        for path in [&path, &self.folder.join(FILE)] {
            others_may_not_write(path)?;
        }
        let bytes = bytes(&path, LONGEST_LIBRARY)?;
        Ok((path, bytes))
    }
}

/// The folders with a `plugin.toml`: the folder itself, or those in it.
pub(crate) fn plugin_folders(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    if folder.join(FILE).is_file() {
        return Ok(vec![folder.to_owned()]);
    }
    let mut found = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.join(FILE).is_file() {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

pub(crate) fn bytes(path: &Path, longest: u64) -> Result<Vec<u8>, Box<Diagnostic>> {
    let shown = path.display();
    let failed = |error: std::io::Error| {
        let why = Diagnostic::error(
            Code::new("file-unusable"),
            format!("cannot read `{shown}`: {error}"),
        );
        Box::new(why)
    };
    let mut bytes = Vec::new();
    let file = fs::File::open(path).map_err(failed)?;
    file.take(longest + 1).read_to_end(&mut bytes).map_err(failed)?;
    if bytes.len() as u64 > longest {
        let message = format!("`{shown}` is longer than {longest} bytes");
        return Err(Box::new(Diagnostic::error(Code::new("file-too-large"), message)));
    }
    Ok(bytes)
}

/// Refuses a file that others than its owner and the system may write, or whose folders others may change.
#[cfg(unix)]
pub(crate) fn others_may_not_write(path: &Path) -> Result<(), Box<Diagnostic>> {
    use std::os::unix::fs::MetadataExt;

    // Bits of the mode by POSIX.
    const OTHERS: u32 = 0o002;
    const GROUP: u32 = 0o020;
    const STICKY: u32 = 0o1000;
    let refused = |place: &Path, who: &str, what: &str| {
        let why = Diagnostic::error(
            Code::new("plugin-not-safe"),
            format!(
                "`{}` {who} may {what}, so `{}` is not loaded",
                place.display(),
                path.display()
            ),
        );
        Err(Box::new(why.help(format!(
            "take the right away, as with `chmod go-w {}`, and allow the plugin again",
            place.display()
        ))))
    };
    // SAFETY: asks who this process is, and cannot fail.
    let own = unsafe { libc::geteuid() };
    for (distance, place) in path.ancestors().enumerate() {
        if place.as_os_str().is_empty() {
            break;
        }
        let Ok(facts) = fs::metadata(place) else {
            break;
        };
        let mode = facts.mode();
        // In a folder with the sticky bit others cannot take away what is not theirs.
        let guarded = distance > 1 && mode & STICKY != 0;
        if mode & OTHERS != 0 && !guarded {
            return refused(place, "is a place that everybody", "write");
        }
        if distance <= 1 && mode & GROUP != 0 {
            return refused(place, "is a place that the whole group", "write");
        }
        if facts.uid() != own && facts.uid() != 0 {
            return refused(place, "belongs to another person, who", "write there");
        }
    }
    Ok(())
}

/// On other systems plugins are not run yet.
#[cfg(not(unix))]
pub(crate) fn others_may_not_write(_: &Path) -> Result<(), Box<Diagnostic>> {
    Ok(())
}
