//! Whether a source is a file of the standard, and a block one of ours to keep.

use curvary_jcamp_dx::normalise_label;
use curvary_record::Technique;

use super::axis::own_name;
use crate::Recognition;

/// Lines end at LF, CR LF or CR alone, as old machines wrote them.
const LINE_ENDS: [char; 2] = ['\n', '\r'];

/// A file of labelled records begins with one.
pub(super) fn recognise(head: &str) -> Recognition {
    let first = head
        .trim_start_matches('\u{feff}')
        .split(LINE_ENDS)
        .map(str::trim)
        .find(|line| !line.is_empty() && !line.starts_with("$$"));
    let Some(first) = first else {
        return Recognition::No("it has no text".to_owned());
    };
    let Some((label, _)) = first.strip_prefix("##").and_then(|rest| rest.split_once('=')) else {
        return Recognition::No("its first line is no labelled record (`##LABEL=`)".to_owned());
    };
    // Remarks in other text files may begin with `##` too, so one such line is not enough.
    let stands = |wanted: &[&str]| {
        head.split(LINE_ENDS).any(|line| {
            let record = line
                .trim()
                .strip_prefix("##")
                .and_then(|rest| rest.split_once('='));
            record.is_some_and(|(label, _)| wanted.contains(&normalise_label(label).as_str()))
        })
    };
    let label = label.trim();
    if stands(&["JCAMPDX", "JCAMP"]) {
        Recognition::Yes("its labelled records state `##JCAMP-DX=`".to_owned())
    } else if stands(&[
        "XYDATA",
        "XYPOINTS",
        "PEAKTABLE",
        "PEAKASSIGNMENTS",
        "NTUPLES",
        "DATATYPE",
        "DATACLASS",
    ]) {
        let reason =
            format!("it begins with the labelled record `##{label}=` and others of the standard follow");
        if normalise_label(label) == "TITLE" {
            Recognition::Yes(reason)
        } else {
            Recognition::Perhaps(reason)
        }
    } else {
        Recognition::No(format!(
            "it begins with `##{label}=`, but neither the version nor a table of the standard follows"
        ))
    }
}

/// The technique of a data type that is no absorption of light: it is kept under its own name, and so are its axes.
pub(super) fn other_technique(data_type: &str) -> Option<Technique> {
    is_other(data_type).then(|| Technique::named(own_name(data_type)))
}

/// Whether a data type names another kind of measurement than light absorbed, transmitted or reflected.
fn is_other(data_type: &str) -> bool {
    let upper = data_type.to_uppercase();
    let mut words = upper.split(|c: char| !c.is_alphanumeric());
    let squeezed = normalise_label(data_type);
    words.any(|word| matches!(word, "NMR" | "EMR" | "ESR" | "EPR" | "IMS" | "MS" | "FID" | "XRD"))
        || [
            "MASSSPECTR",
            "MAGNETICRESONANCE",
            "IONMOBILITY",
            "INTERFEROGRAM",
            "CHROMATOGRAM",
            "DIFFRACT",
            "VOLTAMM",
            "THERMOGRAM",
            "RAMAN",
            "FLUORESCENCE",
            "PHOSPHORESCENCE",
            "LUMINESCENCE",
            "EMISSION",
            "EXCITATION",
        ]
        .iter()
        .any(|part| squeezed.contains(part))
}
