//! Layout files on disk: found, understood, and tried on their examples before they are used.

use std::collections::BTreeMap;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};

use curvary_formats::Layout;
use curvary_formats::layout::LayoutExample;
use curvary_record::{Code, Diagnostic, Place};

use crate::limits::IngestLimits;
use crate::trouble::{Trouble, unusable};

/// A layout or plugin that cannot be used, with the text that its places lie in.
pub struct Misfit {
    /// Why.
    pub why: Diagnostic,
    /// The layout's file and its text.
    pub text: LayoutText,
}

impl Misfit {
    /// A misfit of which no text is shown.
    pub(crate) fn without_text(why: Diagnostic) -> Self {
        Self {
            why,
            text: LayoutText::default(),
        }
    }
}

/// The text of a layout's file, for drawing.
#[derive(Default)]
pub struct LayoutText {
    path: String,
    text: String,
}

impl LayoutText {
    /// The text, when a place names the layout's file.
    #[must_use]
    pub fn text_in(&self, file: Option<&str>) -> Option<&str> {
        (file == Some(self.path.as_str()) && !self.text.is_empty()).then_some(self.text.as_str())
    }

    /// The text of a layout that was understood.
    #[must_use]
    pub fn of(layout: &Layout) -> Self {
        Self {
            path: layout.path().to_owned(),
            text: layout.text().to_owned(),
        }
    }
}

/// The layouts of some folders, by their files' names.
#[derive(Default)]
pub struct LayoutSet {
    /// Those that were understood.
    pub layouts: Vec<Layout>,
    /// Those that were not.
    pub misfits: Vec<Misfit>,
}

impl LayoutSet {
    /// The layouts of `named`, which must be there, and then those of the archive's own folder `layouts`.
    pub fn open(named: &[PathBuf], archive: Option<&Path>) -> Result<Self, Trouble> {
        let mut shelf = Self::default();
        for folder in named {
            shelf.folder(folder)?;
        }
        if let Some(own) = archive
            .map(|root| root.join("layouts"))
            .filter(|own| own.is_dir())
            && !named.contains(&own)
        {
            shelf.folder(&own)?;
        }
        shelf.refuse_namesakes();
        Ok(shelf)
    }

    fn folder(&mut self, folder: &Path) -> Result<(), Trouble> {
        let listed = fs::read_dir(folder).and_then(|entries| {
            let paths = entries.map(|entry| entry.map(|entry| entry.path()));
            paths.collect::<Result<Vec<PathBuf>, _>>()
        });
        let mut paths = listed.map_err(|error| Trouble::file("read", folder, &error))?;
        paths.retain(|path| is_layout(path));
        paths.sort();
        for path in paths {
            match understood(&path) {
                Ok(layout) => self.layouts.push(layout),
                Err(trouble) => self.misfits.push(*trouble),
            }
        }
        Ok(())
    }

    /// Of two layouts of one name the first stays; which one was meant is not ours to say, so it is told.
    fn refuse_namesakes(&mut self) {
        let mut known: BTreeMap<String, String> = BTreeMap::new();
        let mut kept = Vec::with_capacity(self.layouts.len());
        for layout in self.layouts.drain(..) {
            let Some(first) = known.get(layout.name()) else {
                known.insert(layout.name().to_owned(), layout.path().to_owned());
                kept.push(layout);
                continue;
            };
            let message = format!("a layout is called `{}` already: {first}", layout.name());
            let place = Place {
                file: Some(layout.path().to_owned()),
                ..Place::default()
            };
            self.misfits.push(Misfit {
                why: Diagnostic::error(Code::new("layout-wrong"), message)
                    .at(place, "")
                    .help("give one of them another name"),
                text: LayoutText::of(&layout),
            });
        }
        self.layouts = kept;
    }

    /// Puts aside the layouts of which an example does not hold.
    pub(crate) fn try_examples(&mut self) {
        let mut kept = Vec::with_capacity(self.layouts.len());
        for layout in self.layouts.drain(..) {
            let mut complaints = layout
                .examples()
                .iter()
                .flat_map(|example| hold(&layout, example));
            let Some(mut why) = complaints.next() else {
                drop(complaints);
                kept.push(layout);
                continue;
            };
            let more = complaints.count();
            if more > 0 {
                why = why.with_note(format!(
                    "and {more} more; `curvary readers check` shows all of them"
                ));
            }
            let help =
                "the layout is not used while its example does not hold; other readers are not concerned";
            self.misfits.push(Misfit {
                why: if why.help.is_none() {
                    why.help(help)
                } else {
                    why.with_note(help)
                },
                text: LayoutText::of(&layout),
            });
        }
        self.layouts = kept;
    }
}

fn is_layout(path: &Path) -> bool {
    let hidden = path
        .file_name()
        .is_none_or(|name| name.to_string_lossy().starts_with('.'));
    !hidden && path.extension().is_some_and(|ending| ending == "toml") && path.is_file()
}

/// The layout in a file.
pub fn understood(path: &Path) -> Result<Layout, Box<Misfit>> {
    let name = path.display().to_string();
    let trouble = |why: Diagnostic, text: String| {
        Box::new(Misfit {
            why,
            text: LayoutText {
                path: name.clone(),
                text,
            },
        })
    };
    let bytes = bytes(path).map_err(|why| trouble(*why, String::new()))?;
    let text = String::from_utf8(bytes).map_err(|_| {
        let place = Place {
            file: Some(name.clone()),
            ..Place::default()
        };
        let why = Diagnostic::error(
            Code::new("layout-wrong"),
            "a layout is UTF-8 text, and this file is not",
        );
        trouble(why.at(place, ""), String::new())
    })?;
    Layout::parse(&name, &text).map_err(|why| trouble(*why, text))
}

/// What an example expects and reading it does not give.
pub fn hold(layout: &Layout, example: &LayoutExample) -> Vec<Diagnostic> {
    match content(layout, example) {
        Ok(bytes) => layout.hold(example, bytes),
        Err(why) => vec![*why],
    }
}

/// The bytes of an example.
pub fn content(layout: &Layout, example: &LayoutExample) -> Result<Vec<u8>, Box<Diagnostic>> {
    content_beside(Path::new(layout.path()), example)
}

/// The bytes of an example that is described in a file.
pub fn content_beside(described: &Path, example: &LayoutExample) -> Result<Vec<u8>, Box<Diagnostic>> {
    match (example.text(), example.file()) {
        (Some(text), _) => Ok(text.as_bytes().to_vec()),
        (None, file) => {
            let folder = described.parent().unwrap_or(Path::new(""));
            bytes(&folder.join(file.unwrap_or("")))
        }
    }
}

fn bytes(path: &Path) -> Result<Vec<u8>, Box<Diagnostic>> {
    let name = path.display().to_string();
    let failed = |error: std::io::Error| Box::new(unusable("read", &name, &error));
    let (file, _) = crate::piece::opened(path).map_err(failed)?;
    let mut bytes = Vec::new();
    file.take(IngestLimits::USUAL.layout + 1)
        .read_to_end(&mut bytes)
        .map_err(failed)?;
    if bytes.len() as u64 > IngestLimits::USUAL.layout {
        let message = format!("`{name}` is longer than {} bytes", IngestLimits::USUAL.layout);
        return Err(Box::new(Diagnostic::error(Code::new("file-too-large"), message)));
    }
    Ok(bytes)
}
