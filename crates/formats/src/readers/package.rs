//! The papers of packages: what bags, data packages, research objects and COMBINE archives say of themselves. They hold no
//! measurement, and nobody need look at them; the measurements lie in the files beside them.

use curvary_record::{Diagnostic, code};

use super::xml::root_name;
use crate::{Reader, ReaderInfo, Reading, Recognition, Source, SourcePreview};

/// The reader of what packages say of themselves.
pub struct Package {
    card: ReaderInfo,
}

impl Default for Package {
    fn default() -> Self {
        Self {
            card: ReaderInfo {
                id: "built-in/package".to_owned(),
                version: "1".to_owned(),
                title: "lists of the files of a bag, data package, research object or COMBINE archive"
                    .to_owned(),
            },
        }
    }
}

impl Reader for Package {
    fn card(&self) -> &ReaderInfo {
        &self.card
    }

    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        match paper(glimpse.path, glimpse.head()) {
            Some(what) => Recognition::Yes(what.to_owned()),
            None => Recognition::No("no list of the files of a package".to_owned()),
        }
    }

    fn read(&self, source: &Source) -> Reading {
        let what = paper(source.path(), source.glimpse().head()).unwrap_or("the description of a package");
        Reading {
            remarks: vec![Diagnostic::note(
                code::PACKAGE_DESCRIPTION,
                format!("{what}: it holds no measurement"),
            )],
            ..Reading::default()
        }
    }
}

/// What a paper of a package is; none for any other file. The name alone says nothing.
pub(super) fn paper(path: &str, head: &str) -> Option<&'static str> {
    let name = path.rsplit('/').next().unwrap_or(path).to_lowercase();
    let head = head.trim_start_matches('\u{FEFF}').trim_start();
    let ending = |what: &str| name.rsplit_once('.').is_some_and(|(_, ending)| ending == what);
    // BagIt (RFC 8493), 2.1.1, 2.1.3, 2.2.1 and 2.2.2.
    if name == "bagit.txt" && head.starts_with("BagIt-Version:") {
        return Some("the declaration of a bag");
    }
    if name == "bag-info.txt" && head.lines().all(is_label) {
        return Some("what is said of a bag");
    }
    if ending("txt")
        && (name.starts_with("manifest-") || name.starts_with("tagmanifest-"))
        && is_list_of_sums(head)
    {
        return Some("the check sums of the files of a bag");
    }
    // Data Package (Frictionless Data), and RO-Crate 1.1, which is JSON-LD.
    if name == "datapackage.json" && head.starts_with('{') && head.contains("\"resources\"") {
        return Some("the description of a data package");
    }
    if name == "ro-crate-metadata.json" && head.starts_with('{') && head.contains("\"@graph\"") {
        return Some("the description of a research object");
    }
    match root_name(head) {
        Some("omexManifest") => Some("the list of the files of a COMBINE archive"),
        Some("RDF") if name == "metadata.rdf" => Some("what is said of a COMBINE archive"),
        _ => None,
    }
}

/// `Label: value`, or the continuation of one behind a blank.
fn is_label(line: &str) -> bool {
    line.is_empty()
        || line.starts_with([' ', '\t'])
        || line.split_once(':').is_some_and(|(label, _)| !label.is_empty())
}

/// A check sum in hexadecimal digits and a path on each line; the last may be cut by the glimpse.
fn is_list_of_sums(head: &str) -> bool {
    let mut lines = head.lines();
    let is_sum = |line: &str| {
        line.split_once([' ', '\t']).is_some_and(|(sum, path)| {
            sum.len() >= 32 && sum.bytes().all(|byte| byte.is_ascii_hexdigit()) && !path.trim().is_empty()
        })
    };
    lines.next().is_some_and(is_sum)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn papers_are_known_by_what_they_say() {
        let sums = "0123456789abcdef0123456789abcdef  data/a.csv\n";
        for (path, head, is_paper) in [
            ("a/bagit.txt", "BagIt-Version: 1.0\n", true),
            ("a/bagit.txt", "time;A\n0;1\n", false),
            ("a/manifest-md5.txt", sums, true),
            ("a/manifest-md5.txt", "1 2\n3 4\n", false),
            ("a/datapackage.json", "{\"resources\": []}", true),
            ("a/datapackage.json", "{\"time\": [0, 1]}", false),
            ("manifest.xml", "<?xml version=\"1.0\"?>\n<omexManifest/>", true),
            ("metadata.rdf", "<rdf:RDF/>", true),
        ] {
            assert_eq!(paper(path, head).is_some(), is_paper, "{path}: {head}");
        }
    }
}
