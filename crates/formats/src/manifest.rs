//! What stands beside a plugin's library: who it is, which files are its own, which library is for which system.
//!
//! Listing readers and choosing one needs nothing else, so a library is loaded only when a file is the plugin's. How
//! files are told ([`PluginManifest::recognise`]) and what examples are is the same as in layouts.

use std::collections::BTreeMap;

use curvary_record::{Code, Diagnostic, Place};
use schemars::JsonSchema;
use serde::Deserialize;
use toml::Spanned;

use crate::layout::{DamageTrial, LayoutExample, LayoutFault, Paper, Recognise, place_or_file};
use crate::{Reader, ReaderInfo, Recognition, SourcePreview};

/// The start of every plugin's id.
pub const PREFIX: &str = "plugin/";

/// What the file is called.
pub const FILE: &str = "plugin.toml";

/// What a plugin is handed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Input {
    /// The decoded text, in UTF-8; places are told with lines.
    Text,
    /// The bytes of the file.
    Bytes,
}

/// A plugin: how its files are told from all others and where its library is, with examples.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
#[schemars(rename = "Plugin")]
struct PluginDescription {
    /// The major version of the contract that the library keeps.
    #[schemars(with = "u32")]
    contract: Spanned<u32>,
    /// Small letters, digits and hyphens; the reader is called `plugin/NAME`.
    #[schemars(with = "String")]
    name: Spanned<String>,
    /// What it reads, in a line.
    title: String,
    /// To be changed whenever the same file may be read differently.
    version: String,
    /// What the library is handed: `text` or `bytes`.
    input: Input,
    /// The library's file for each system: `linux`, `macos`, `windows`, or `linux-aarch64` for one kind of processor.
    #[schemars(with = "BTreeMap<String, String>")]
    library: BTreeMap<String, Spanned<String>>,
    /// How its files are told from all others.
    recognise: Recognise,
    /// How much one file may take, where that is less than what is usual.
    #[serde(default)]
    limits: PluginBounds,
    /// At least one.
    #[serde(default)]
    example: Vec<LayoutExample>,
}

/// How much one file may take.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
#[schemars(rename = "Bounds")]
pub struct PluginBounds {
    /// Seconds.
    #[serde(default)]
    pub seconds: Option<u32>,
    /// Memory, in units of 1 048 576 bytes.
    #[serde(default)]
    pub memory_mib: Option<u32>,
}

/// A `plugin.toml` that was understood.
#[derive(Clone, Debug)]
pub struct PluginManifest {
    card: ReaderInfo,
    paper: Paper,
    description: PluginDescription,
}

/// The schema of `plugin.toml`, as pretty JSON.
#[must_use]
pub fn schema() -> String {
    curvary_record::schema::schema_of::<PluginDescription>(
        "plugin-v1.json",
        "A plugin: a reader in a shared library.",
    )
}

impl PluginManifest {
    /// Understands the text of a `plugin.toml`. `path` is what diagnostics call the file.
    ///
    /// # Errors
    /// When the text is no TOML, or says something that no plugin can; the place is in the file.
    pub fn parse(path: &str, text: &str) -> Result<Self, Box<Diagnostic>> {
        let wrong = |span: Option<std::ops::Range<usize>>, message: String| {
            let why = Diagnostic::error(Code::new("plugin-wrong"), message);
            let why = why.at(place_or_file(path, text, span), "");
            Box::new(
                why.help("the plugin is not used until this is put right; other readers are not concerned"),
            )
        };
        let description: PluginDescription =
            toml::from_str(text).map_err(|error| wrong(error.span(), error.message().trim().to_owned()))?;
        description
            .check()
            .map_err(|fault| wrong(fault.span, fault.message))?;
        Ok(Self {
            card: ReaderInfo {
                id: format!("{PREFIX}{}", description.name.get_ref()),
                version: description.version.clone(),
                title: description.title.clone(),
            },
            paper: Paper::new("plugin", path, text),
            description,
        })
    }

    /// Who it is.
    #[must_use]
    pub fn card(&self) -> &ReaderInfo {
        &self.card
    }

    /// Its name, without the word `plugin/`.
    #[must_use]
    pub fn name(&self) -> &str {
        self.description.name.get_ref()
    }

    /// The file, as it was named to [`PluginManifest::parse`].
    #[must_use]
    pub fn path(&self) -> &str {
        &self.paper.path
    }

    /// Its text.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.paper.text
    }

    /// The major version of the contract that the library keeps, and where that is said.
    #[must_use]
    pub fn contract(&self) -> (u32, Place) {
        let contract = &self.description.contract;
        let place = place_or_file(self.path(), self.text(), Some(contract.span()));
        (*contract.get_ref(), place)
    }

    /// What the library is handed.
    #[must_use]
    pub fn input(&self) -> Input {
        self.description.input
    }

    /// How much one file may take.
    #[must_use]
    pub fn bounds(&self) -> PluginBounds {
        self.description.limits
    }

    /// The library's file name for a system (`linux`) and a processor (`x86_64`), with the place that says so.
    #[must_use]
    pub fn library(&self, system: &str, processor: &str) -> Option<(&str, Place)> {
        let of = |key: &str| self.description.library.get(key);
        let file = of(&format!("{system}-{processor}")).or_else(|| of(system))?;
        Some((
            file.get_ref().as_str(),
            place_or_file(self.path(), self.text(), Some(file.span())),
        ))
    }

    /// Its examples; there is at least one.
    #[must_use]
    pub fn examples(&self) -> &[LayoutExample] {
        &self.description.example
    }

    /// Whether a source is one of the plugin's.
    #[must_use]
    pub fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        self.description.recognise.ask(glimpse)
    }

    /// What an example expects and reading its bytes with the plugin did not give; empty when the example holds.
    #[must_use]
    pub fn hold(&self, reader: &dyn Reader, example: &LayoutExample, bytes: Vec<u8>) -> Vec<Diagnostic> {
        self.paper.hold(reader, example, bytes)
    }

    /// Reads damaged copies of an example with the plugin: cut off anywhere, lines dropped, bytes flipped.
    #[must_use]
    pub fn damage(&self, reader: &dyn Reader, example: &LayoutExample, bytes: &[u8]) -> DamageTrial {
        self.paper.damage(reader, example, bytes)
    }
}

impl PluginDescription {
    fn check(&self) -> Result<(), LayoutFault> {
        let name = self.name.get_ref();
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if name.is_empty() || name.len() > 60 || !name.chars().all(plain) {
            let message =
                format!("`{name}` is no name of a plugin: expected small letters, digits and hyphens");
            return Err(LayoutFault::at(&self.name, message));
        }
        if self.library.is_empty() {
            return Err(LayoutFault {
                span: None,
                message: "no library is named: give `linux`, `macos` or `windows` under `[library]`"
                    .to_owned(),
            });
        }
        for (system, file) in &self.library {
            let bare = system.split('-').next().unwrap_or_default();
            if !matches!(bare, "linux" | "macos" | "windows") {
                let message = format!("`{system}` is no system: expected `linux`, `macos` or `windows`");
                return Err(LayoutFault::at(file, message));
            }
            let text = file.get_ref();
            if text.is_empty() || text.contains(['/', '\\', ':']) || text.starts_with('.') {
                let message =
                    format!("`{text}` is no file beside plugin.toml: expected a name without a folder");
                return Err(LayoutFault::at(file, message));
            }
        }
        self.recognise.check()?;
        if self.example.is_empty() {
            return Err(LayoutFault {
                span: None,
                message: "a plugin needs an example: `[[example]]` with `file` or `text`, and what must come out of it"
                    .to_owned(),
            });
        }
        self.example.iter().try_for_each(LayoutExample::check)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = "contract = 1\nname = \"pegs\"\ntitle = \"pegs\"\nversion = \"1\"\ninput = \"text\"\n\
        [library]\nlinux = \"libpegs.so\"\nlinux-aarch64 = \"libpegs-arm.so\"\n[recognise]\ncontains = [\"PEGS\"]\n\
        [[example]]\ntext = \"PEGS\"\npoints = 1\nfirst = [1.0, 2.0]\nlast = [1.0, 2.0]\n";

    #[test]
    fn a_manifest_says_who_and_where() {
        let manifest = PluginManifest::parse("plugin.toml", GOOD).expect("it is sound");
        assert_eq!(manifest.card().id, "plugin/pegs");
        let file = |system: &str, processor: &str| {
            manifest
                .library(system, processor)
                .map(|(file, _)| file.to_owned())
        };
        assert_eq!(file("linux", "x86_64").as_deref(), Some("libpegs.so"));
        assert_eq!(file("linux", "aarch64").as_deref(), Some("libpegs-arm.so"));
        assert_eq!(file("macos", "aarch64"), None);
    }

    #[test]
    fn what_cannot_be_is_told_with_its_line() {
        for (from, to, line) in [
            ("\"libpegs.so\"", "\"../libpegs.so\"", 7),
            ("linux =", "amiga =", 7),
            ("name = \"pegs\"", "name = \"Pegs\"", 2),
            ("\"text\"\n[", "\"words\"\n[", 5),
        ] {
            let text = GOOD.replacen(from, to, 1);
            let why = PluginManifest::parse("plugin.toml", &text).expect_err("it is wrong");
            assert_eq!(why.line(), Some(line), "{why:?}");
        }
    }
}
