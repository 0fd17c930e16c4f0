//! JCAMP-DX sources into runs.
//!
//! Each block with data is a run; the pages of NTUPLES are the traces of one run. Labels become claims under the
//! known fields they speak of, all others under their own spelling. Units and technique come from XUNITS, YUNITS and
//! DATA TYPE; where they leave a choice, the run is in question. What the codec found odd is told by remarks with
//! their places, and of a damaged table the points that are certain are kept.
//!
//! JCAMP-DX also carries other measurements: magnetic resonance, mass spectra, Raman, fluorescence, chromatograms. They
//! are kept under the name of their data type as the technique, with axes under their own quantities and units, so that
//! they are found and handed on and no law of absorption touches them. A unit that is not known keeps its name.

mod axes;
mod axis;
mod choices;
mod claim;
mod curves;
mod explain;
mod fields;
mod gathering;
mod ours;
mod peaks;
mod recognise;
mod told;
mod turn;

pub(crate) use axis::{UnitMeaning, abscissa, is_of_standard, ordinate, written};
pub(crate) use choices::asked;
pub(crate) use claim::{claim, label_of, long_date, only_concentration, private_claim, text};
pub(crate) use ours::OURS;
pub(crate) use told::diagnostic;

use std::collections::BTreeMap;

use curvary_jcamp_dx::{self as dx, ReadOptions};
use curvary_record::{Diagnostic, Run};

use gathering::Gathering;
use recognise::recognise;
use told::{comma_question, span_of};

use crate::{ExplainedLines, Reader, ReaderInfo, Reading, Recognition, Source, SourcePreview};

/// Reads JCAMP-DX 4.24, 5.00 and 5.01, and 6.00 leniently.
pub struct JcampDx {
    card: ReaderInfo,
}

impl Default for JcampDx {
    fn default() -> Self {
        Self {
            card: ReaderInfo {
                id: "built-in/jcamp-dx".to_owned(),
                version: "2".to_owned(),
                title: "JCAMP-DX, the open standard of IUPAC for spectra".to_owned(),
            },
        }
    }
}

impl Reader for JcampDx {
    fn card(&self) -> &ReaderInfo {
        &self.card
    }

    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        recognise(glimpse.head())
    }

    fn explain(&self, source: &Source) -> Vec<ExplainedLines> {
        let document = dx::read(source.text(), &options_of(source));
        explain::parts(source, &document, &self.read(source).runs)
    }

    fn read_each(&self, source: &Source, each: &mut dyn FnMut(Run) -> bool) -> Option<Vec<Diagnostic>> {
        turn::read_each(source, &self.card, each)
    }

    fn read(&self, source: &Source) -> Reading {
        let options = options_of(source);
        let mut document = dx::read(source.text(), &options);
        let undecided = document
            .remarks
            .iter()
            .any(|r| r.code == dx::Code::CommaUndecided);
        let with_comma = ReadOptions {
            decimal_comma: Some(true),
            ..options
        };
        let with_commas = undecided.then(|| dx::read(source.text(), &with_comma));
        let mut gathering = Gathering {
            card: &self.card,
            source,
            runs: Vec::new(),
            remarks: Vec::new(),
            names: Vec::new(),
            blocks: Vec::new(),
            shares: shares(with_commas.as_ref().unwrap_or(&document)),
        };
        let mut remarks = document.remarks.clone();
        match &with_commas {
            None => {
                for block in document.take_blocks() {
                    let asked = choices::questions(source, &options, &remarks, &block);
                    gathering.block(block, asked);
                }
            }
            Some(other) => {
                for (block, other_block) in document.all_blocks().zip(other.all_blocks()) {
                    let lost = points(block) < points(other_block);
                    if lost {
                        // What is odd about the block is told of the reading that is shown.
                        let inside = |remark: &dx::Remark| {
                            (block.span.start..block.span.end).contains(&remark.place.span.start)
                        };
                        remarks.retain(|remark| !inside(remark));
                        remarks.extend(other.remarks.iter().filter(|remark| inside(remark)).cloned());
                    }
                    let (shown, of, options) = if lost {
                        (other_block, &other.remarks, with_comma)
                    } else {
                        (block, &document.remarks, options)
                    };
                    let mut asked = choices::questions(source, &options, of, shown);
                    if lost {
                        let table = choices::tables(shown).next();
                        asked.push(comma_question(
                            table.map(|table| source.place(span_of(table.span))),
                        ));
                    }
                    gathering.block(shown.clone(), asked);
                }
            }
        }
        gathering.finish(remarks)
    }
}

/// For each text of YUNITS that may mean a fraction or percent, the greatest value over all blocks that have it.
fn shares(document: &dx::Document) -> BTreeMap<String, f64> {
    let mut greatest = BTreeMap::new();
    for block in document.all_blocks() {
        share(block, &mut greatest);
    }
    greatest
}

/// The text of a block's YUNITS, where it may mean a fraction or percent.
fn share_units(block: &dx::Block) -> Option<&str> {
    let units = block.value("YUNITS").unwrap_or("").trim();
    matches!(ordinate(units), UnitMeaning::Share(_)).then_some(units)
}

fn share(block: &dx::Block, greatest: &mut BTreeMap<String, f64>) {
    let Some(units) = share_units(block) else {
        return;
    };
    let curves = block.tables.iter().filter_map(|table| table.data.curve());
    let values = curves.flat_map(|curve| curve.y.iter().copied());
    let most = greatest.entry(units.to_owned()).or_insert(f64::NEG_INFINITY);
    *most = values.fold(*most, f64::max);
}

/// How a source is to be read, by what a person has settled about it.
fn options_of(source: &Source) -> ReadOptions {
    let decimal_comma = match source.assume().get("decimal") {
        Some("comma") => Some(true),
        Some("point") => Some(false),
        _ => None,
    };
    ReadOptions {
        decimal_comma,
        choices: choices::settled(source.assume()),
        ..ReadOptions::default()
    }
}

/// The points of a block's own tables.
fn points(block: &dx::Block) -> usize {
    choices::tables(block)
        .map(|table| match &table.data {
            dx::Data::Peaks(peaks) => peaks.rows.len(),
            dx::Data::Assignments(list) => list.rows.len(),
            data => data.curve().map_or(0, dx::Curve::len),
        })
        .sum()
}
