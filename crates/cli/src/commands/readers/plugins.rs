//! Plugins allowed, forgotten, and tried.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use curvary_formats::Reader;
use curvary_plugin_host::Plugin;
use curvary_record::{Code, Diagnostic};

use super::ReaderTrial;
use crate::drawing::{NoTexts, Texts};
use crate::ending::{CommandResult, Ending, Failure};
use crate::plugins;
use crate::screen::{Screen, count, plural};

/// Allow the plugins of a folder to be loaded, as they are now
///
/// A plugin has all your rights: it can read, write and delete whatever you can. It runs in a process of its own so that
/// its mistakes do no harm; that is no protection against bad intent. Allow only what you built yourself or what comes
/// from people you trust. When its files change, it is not loaded until it is allowed again.
#[derive(Debug, Args)]
pub(super) struct Allow {
    /// The folder of a plugin.toml, or a folder of such folders
    #[arg(value_name = "DIR")]
    folder: PathBuf,
}

/// Take plugins out of the list of what may be loaded
#[derive(Debug, Args)]
pub(super) struct Forget {
    /// A plugin's name, or a folder
    #[arg(value_name = "NAME|DIR")]
    which: String,
}

impl Allow {
    pub(super) fn run(&self, screen: &mut Screen) -> CommandResult {
        if plugins::list().is_none() {
            let why = Diagnostic::error(
                Code::new("plugin-list-wrong"),
                "there is no folder for settings: neither XDG_CONFIG_HOME nor HOME is set",
            );
            return Err(Failure::wrong(why));
        }
        let mut allowed = plugins::allowed()?;
        let new = allowed.allow(&self.folder).map_err(|why| Failure::wrong(*why))?;
        for entry in new {
            writeln!(
                screen,
                "plugin/{} is allowed: {}",
                entry.name,
                entry.folder.display()
            )?;
        }
        Ok(Ending::Done)
    }
}

impl Forget {
    pub(super) fn run(&self, screen: &mut Screen) -> CommandResult {
        let mut allowed = plugins::allowed()?;
        let gone = allowed.forget(&self.which).map_err(|why| Failure::wrong(*why))?;
        for entry in gone {
            writeln!(screen, "plugin/{} is not loaded any more", entry.name)?;
        }
        Ok(Ending::Done)
    }
}

/// The text of a plugin.toml, for drawing.
struct PluginText<'a>(&'a Plugin);

impl Texts for PluginText<'_> {
    fn text(&self, file: Option<&str>) -> Option<&str> {
        let manifest = self.0.manifest();
        (file == Some(manifest.path())).then(|| manifest.text())
    }
}

/// Tells of allowed plugins that cannot be loaded now; gives how many there are.
pub(super) fn report_unusable(screen: &mut Screen) -> Result<usize, Failure> {
    let mut unusable = 0;
    for entry in plugins::allowed()?.entries() {
        // One whose description is wrong is told of with the misfits.
        let Ok(plugin) = Plugin::of_entry(entry) else {
            continue;
        };
        if let Some(why) = plugin.obstacle() {
            screen.complain(None, why, &PluginText(&plugin));
            unusable += 1;
        }
    }
    Ok(unusable)
}

/// Tries the plugin of a folder on its examples and on damaged copies of them.
pub(super) fn attempt(folder: &Path) -> ReaderTrial {
    let plugin = match Plugin::of_folder(folder) {
        Ok(plugin) => plugin,
        Err(why) => {
            return ReaderTrial {
                path: folder.display().to_string(),
                complaints: vec![*why],
                ..ReaderTrial::default()
            };
        }
    };
    let manifest = plugin.manifest();
    let mut tried = ReaderTrial {
        id: Some(plugin.card().id.clone()),
        path: manifest.path().to_owned(),
        examples: manifest.examples().len(),
        ..ReaderTrial::default()
    };
    if let Some(why) = plugin.obstacle() {
        tried.complaints.push(why.clone());
        return tried;
    }
    for example in manifest.examples() {
        let bytes = match curvary_ingest::content_beside(Path::new(manifest.path()), example) {
            Ok(bytes) => bytes,
            Err(why) => {
                tried.complaints.push(*why);
                continue;
            }
        };
        let complaints = manifest.hold(&plugin, example, bytes.clone());
        if !complaints.is_empty() {
            tried.complaints.extend(complaints);
            continue;
        }
        let damage = manifest.damage(&plugin, example, &bytes);
        tried.copies += damage.copies;
        tried.held += damage.held;
        tried.told += damage.told;
        tried.complaints.extend(damage.complaints);
    }
    tried.holds = tried.complaints.is_empty();
    tried
}

/// Tells what came of one plugin.
pub(super) fn print_trial(tried: &ReaderTrial, screen: &mut Screen) -> Result<(), Failure> {
    for complaint in &tried.complaints {
        screen.complain(None, complaint, &NoTexts);
    }
    let verdict = if tried.holds { "holds" } else { "does not hold" };
    writeln!(
        screen,
        "{} {verdict}: {}, {} damaged copies: {} gave fewer points or the same, {} gave a complaint",
        tried.id.as_deref().unwrap_or(&tried.path),
        plural(tried.examples as u64, "example"),
        count(tried.copies as u64),
        count(tried.held as u64),
        count(tried.told as u64),
    )?;
    Ok(())
}
