//! The COMBINE archive around an experiment: a zip file with a `manifest.xml` that lists its members.

use std::io::{Cursor, Read};

use zip::ZipArchive;

/// A member longer than this is not unpacked: experiments are small texts.
const LONGEST: u64 = 64 << 20;
/// So many documents are looked into; an experiment has one.
const MOST_DOCUMENTS: usize = 16;
/// The list of members that every COMBINE archive has (Bergmann and others, 2014).
const MANIFEST: &str = "manifest.xml";

/// The archive, with the document of the experiment unpacked.
pub(super) struct CombineArchive<'b> {
    archive: ZipArchive<Cursor<&'b [u8]>>,
    /// The path of the document.
    pub(super) name: String,
    pub(super) document: String,
}

impl<'b> CombineArchive<'b> {
    /// None where the bytes are no such archive, or none of its documents is of an enzymatic experiment.
    pub(super) fn open(bytes: &'b [u8]) -> Option<Self> {
        let mut archive = ZipArchive::new(Cursor::new(bytes)).ok()?;
        archive.index_for_name(MANIFEST)?;
        let names: Vec<String> = archive
            .file_names()
            .filter_map(|name| Some(name.ok()?.into_owned()))
            .filter(|name| name != MANIFEST && (name.ends_with(".xml") || name.ends_with(".sbml")))
            .take(MOST_DOCUMENTS)
            .collect();
        for name in names {
            let Ok(document) = unpacked(&mut archive, &name) else {
                continue;
            };
            if is_experiment(&document) {
                return Some(Self {
                    archive,
                    name,
                    document,
                });
            }
        }
        None
    }

    /// A member that the document names, such as `./data/m0.csv`.
    pub(super) fn member(&mut self, location: &str) -> Result<String, MemberFault> {
        unpacked(&mut self.archive, location.trim().trim_start_matches("./"))
    }
}

/// Why a member of the archive gives no text.
#[derive(Debug, thiserror::Error)]
pub(super) enum MemberFault {
    #[error("it cannot be unpacked ({0})")]
    Unpacking(#[from] zip::result::ZipError),
    #[error("it cannot be unpacked as UTF-8 text ({0})")]
    NoText(std::io::Error),
    #[error("it is longer than {} MiB", LONGEST >> 20)]
    TooLong,
}

fn unpacked(archive: &mut ZipArchive<Cursor<&[u8]>>, name: &str) -> Result<String, MemberFault> {
    let member = archive.by_name(name)?;
    let mut text = String::new();
    let count = member
        .take(LONGEST + 1)
        .read_to_string(&mut text)
        .map_err(MemberFault::NoText)?;
    if count as u64 > LONGEST {
        return Err(MemberFault::TooLong);
    }
    Ok(text)
}

/// Whether a text is a document of the Systems Biology Markup Language with notes of EnzymeML.
fn is_experiment(text: &str) -> bool {
    text.contains("<sbml") && text.contains("http://sbml.org/enzymeml/")
}
