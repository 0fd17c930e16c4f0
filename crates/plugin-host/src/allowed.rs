//! The plugins that a person has allowed: a list on disk, with the digests of what was allowed.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use curvary_formats::manifest::PREFIX;
use curvary_record::{Code, Diagnostic, Digest};
use serde::{Deserialize, Serialize};

use crate::files::{self, PluginFiles, plugin_folders};

/// The list of allowed plugins.
#[derive(Clone, Debug, Default)]
pub struct AllowedPlugins {
    file: Option<PathBuf>,
    entries: Vec<AllowedPlugin>,
}

/// A plugin as it was when it was allowed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AllowedPlugin {
    /// Its name.
    pub name: String,
    /// The folder of its `plugin.toml`.
    pub folder: PathBuf,
    /// The digest of `plugin.toml`.
    pub manifest: Digest,
    /// The digest of the library.
    pub library: Digest,
}

#[derive(Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct AllowList {
    #[serde(default)]
    plugin: Vec<AllowedPlugin>,
}

/// The list is no longer, in bytes.
const LONGEST: u64 = 1 << 20;

const HEADING: &str =
    "# Plugins that may be loaded. `curvary readers allow` and `forget` write this file.\n\n";

impl AllowedPlugins {
    /// The list in a file; nothing is allowed where there is none.
    ///
    /// # Errors
    /// When the file cannot be read, is no such list, or others may write it.
    pub fn read(file: &Path) -> Result<Self, Box<Diagnostic>> {
        let mut allowed = Self {
            file: Some(file.to_owned()),
            entries: Vec::new(),
        };
        if !file.exists() {
            return Ok(allowed);
        }
        files::others_may_not_write(file)?;
        let text = String::from_utf8_lossy(&files::bytes(file, LONGEST)?).into_owned();
        let list: AllowList = toml::from_str(&text).map_err(|error| {
            let message = format!(
                "`{}` is no list of plugins: {}",
                file.display(),
                error.message().trim()
            );
            let why = Diagnostic::error(Code::new("plugin-list-wrong"), message);
            Box::new(why.help("take the file away and allow the plugins again"))
        })?;
        allowed.entries = list.plugin;
        Ok(allowed)
    }

    /// What is allowed, by name.
    #[must_use]
    pub fn entries(&self) -> &[AllowedPlugin] {
        &self.entries
    }

    /// Allows the plugin in a folder, or those in its folders, as they are now. Gives what was allowed.
    ///
    /// # Errors
    /// When there is none, one of them is wrong or others may write it, or the list cannot be written.
    pub fn allow(&mut self, folder: &Path) -> Result<Vec<AllowedPlugin>, Box<Diagnostic>> {
        let shown = folder.display();
        let whole = fs::canonicalize(folder).map_err(|error| unusable("read", folder, &error))?;
        let found = plugin_folders(&whole).map_err(|error| unusable("read", folder, &error))?;
        if found.is_empty() {
            let message = format!("there is no plugin.toml in `{shown}`, nor in a folder in it");
            let why = Diagnostic::error(Code::new("plugin-wrong"), message);
            return Err(Box::new(
                why.help("name the folder that holds the plugin and its plugin.toml"),
            ));
        }
        let mut new = Vec::new();
        for folder in found {
            let files = PluginFiles::open(&folder)?;
            let (_, library) = files.library()?;
            new.push(AllowedPlugin {
                name: files.manifest.name().to_owned(),
                folder,
                manifest: files.manifest_digest.clone(),
                library: Digest::of(&library),
            });
        }
        for (at, entry) in new.iter().enumerate() {
            let others = self.entries.iter().chain(&new[..at]);
            if let Some(other) = others
                .filter(|other| other.name == entry.name)
                .find(|other| other.folder != entry.folder)
            {
                let message = format!(
                    "a plugin called `{}` is allowed already: {}",
                    entry.name,
                    other.folder.display()
                );
                let why = Diagnostic::error(Code::new("plugin-wrong"), message);
                return Err(Box::new(
                    why.help(format!("`curvary readers forget {}` takes it out", entry.name)),
                ));
            }
        }
        self.entries
            .retain(|old| new.iter().all(|new| new.folder != old.folder));
        self.entries.extend(new.iter().cloned());
        self.entries.sort_by(|a, b| a.name.cmp(&b.name));
        self.write()?;
        Ok(new)
    }

    /// Takes plugins out of the list, by name, id or folder. Gives what was taken out.
    ///
    /// # Errors
    /// When none is called so, or the list cannot be written.
    pub fn forget(&mut self, which: &str) -> Result<Vec<AllowedPlugin>, Box<Diagnostic>> {
        let name = which.strip_prefix(PREFIX).unwrap_or(which);
        let folder = fs::canonicalize(which).unwrap_or_else(|_| PathBuf::from(which));
        let meant = |entry: &AllowedPlugin| entry.name == name || entry.folder.starts_with(&folder);
        let (gone, kept) = self.entries.drain(..).partition(meant);
        self.entries = kept;
        let gone: Vec<AllowedPlugin> = gone;
        if gone.is_empty() {
            let names: Vec<&str> = self.entries.iter().map(|entry| entry.name.as_str()).collect();
            let why = Diagnostic::error(
                Code::new("no-reader"),
                format!("no plugin is allowed as `{which}`"),
            );
            let help = if names.is_empty() {
                "no plugin is allowed".to_owned()
            } else {
                format!("there are {}", names.join(", "))
            };
            return Err(Box::new(why.help(help)));
        }
        self.write()?;
        Ok(gone)
    }

    fn write(&self) -> Result<(), Box<Diagnostic>> {
        let Some(file) = &self.file else { return Ok(()) };
        let failed = |error: std::io::Error| unusable("write", file, &error);
        let folder = file.parent().unwrap_or(Path::new("."));
        fs::create_dir_all(folder).map_err(failed)?;
        let list = AllowList {
            plugin: self.entries.clone(),
        };
        let text = toml::to_string_pretty(&list).map_err(|error| failed(std::io::Error::other(error)))?;
        // A private file that takes the old one's place at once.
        let mut new = tempfile::NamedTempFile::new_in(folder).map_err(failed)?;
        new.write_all(HEADING.as_bytes())
            .and_then(|()| new.write_all(text.as_bytes()))
            .and_then(|()| new.as_file().sync_all())
            .map_err(failed)?;
        new.persist(file).map_err(|error| failed(error.error))?;
        Ok(())
    }
}

fn unusable(doing: &str, path: &Path, error: &std::io::Error) -> Box<Diagnostic> {
    let message = format!("cannot {doing} `{}`: {error}", path.display());
    Box::new(Diagnostic::error(Code::new("file-unusable"), message))
}
