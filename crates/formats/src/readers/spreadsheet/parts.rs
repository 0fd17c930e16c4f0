//! The parts of a workbook that is a zip file: how far they unfold, and whether any of them has a formula.

use std::io::{Cursor, Read};

use curvary_record::{Code, Diagnostic};
use zip::ZipArchive;

use crate::container::UnpackLimits;

/// Expansion below this many bytes is harmless at any ratio.
const SMALL: u64 = 1 << 20;

/// Why a workbook is not opened whose parts unfold farther than members of containers may.
pub(super) fn unfold_too_far(bytes: &[u8]) -> Option<Box<Diagnostic>> {
    let UnpackLimits { member, ratio, .. } = UnpackLimits::USUAL;
    let mut archive = ZipArchive::new(Cursor::new(bytes)).ok()?;
    let refused = |code: &'static str, why: String| {
        let why = Diagnostic::error(Code::new(code), why);
        Some(Box::new(
            why.help("save the sheets that hold measurements as CSV"),
        ))
    };
    for index in 0..archive.len() {
        let part = archive.by_index_raw(index).ok()?;
        let (packed, unfolded) = (part.compressed_size(), part.size());
        if unfolded > packed.saturating_mul(ratio).max(SMALL) {
            let why = format!(
                "a part of the workbook unfolds to more than {ratio} times its packed length of {packed} bytes"
            );
            return refused("container-limit", why);
        }
        if unfolded > member {
            let why = format!("a part of the workbook unfolds to more than {member} bytes");
            return refused("file-too-large", why);
        }
    }
    None
}

/// Whether a sheet of an xlsx workbook may have a formula. To look for the tags alone is far quicker than to read them.
pub(super) fn may_have_formulas(bytes: &[u8]) -> bool {
    let Ok(mut archive) = ZipArchive::new(Cursor::new(bytes)) else {
        return true;
    };
    let mut piece = vec![0; 1 << 16];
    for index in 0..archive.len() {
        let Ok(mut part) = archive.by_index(index) else {
            return true;
        };
        if !part.name().is_ok_and(|name| name.starts_with("xl/worksheets/")) {
            continue;
        }
        // The tag may lie across two pieces.
        let mut kept = 0;
        loop {
            let Ok(read) = part.read(&mut piece[kept..]) else {
                return true;
            };
            if read == 0 {
                break;
            }
            let filled = kept + read;
            if has_formula(&piece[..filled]) {
                return true;
            }
            kept = filled.min(TAG);
            piece.copy_within(filled - kept..filled, 0);
        }
    }
    false
}

/// The bytes that may be the beginning of a tag of a formula.
const TAG: usize = 3;

/// `<f>`, `<f t=`, `<f/`, `<x:f>`.
fn has_formula(xml: &[u8]) -> bool {
    let mut found = memchr::memchr_iter(b'f', xml);
    found.any(|at| {
        let before = at.checked_sub(1).and_then(|at| xml.get(at));
        matches!(before, Some(b'<' | b':')) && matches!(xml.get(at + 1), Some(b'>' | b' ' | b'/'))
    })
}

#[cfg(test)]
mod tests {
    use std::io::Write as _;

    use super::*;

    fn book(sheet: &[u8]) -> Vec<u8> {
        let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
        let options =
            zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Deflated);
        zip.start_file("xl/worksheets/sheet1.xml", options)
            .and_then(|()| Ok(zip.write_all(sheet)?))
            .expect("it is written");
        zip.finish().expect("it is written").into_inner()
    }

    #[test]
    fn a_workbook_that_unfolds_too_far_is_refused() {
        let bomb = book(&b" ".repeat(8 << 20));
        let why = unfold_too_far(&bomb).expect("a reason");
        assert_eq!(why.code.as_str(), "container-limit");
        assert!(unfold_too_far(&book(b"<row/>")).is_none());
        // Not a zip file: that is told by who opens it.
        assert!(unfold_too_far(b"nonsense").is_none());
    }

    #[test]
    fn formulas_are_seen_wherever_they_lie() {
        for tag in ["<f>A1</f>", "<f t=\"shared\"/>", "<x:f>A1</x:f>", "<f/>"] {
            for before in [0, 1, 65_533, 65_534, 65_535, 65_536] {
                let sheet = format!("{}{tag}<v>1</v>", ".".repeat(before));
                assert!(
                    may_have_formulas(&book(sheet.as_bytes())),
                    "{tag} behind {before}"
                );
            }
        }
        assert!(!may_have_formulas(&book(
            b"<sheetFormatPr/><c r=\"f1\"><v>1</v></c><font>f</font>"
        )));
    }
}
