//! Tests of the crate as its users see it. Each test names where its expected values come from.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests may fail loudly")]

mod choices;
mod damage;
mod round_trip;
mod standard;
mod traps;
mod writer;

use curvary_jcamp_dx::{Block, Code, Curve, Document, ReadOptions, read};

/// Reads with the usual options.
fn open(text: &str) -> Document {
    read(text, &ReadOptions::default())
}

/// The codes of all remarks.
fn codes(document: &Document) -> Vec<Code> {
    document.remarks.iter().map(|r| r.code).collect()
}

/// The first curve of the first block.
fn curve(document: &Document) -> &Curve {
    block_curve(&document.blocks[0])
}

fn block_curve(block: &Block) -> &Curve {
    block.tables[0].data.curve().expect("a curve")
}

/// A block around a table, with the usual labels in front.
fn file(labels: &str, table: &str) -> String {
    format!(
        "##TITLE= test\n##JCAMP-DX= 4.24\n##DATA TYPE= UV/VIS SPECTRUM\n##ORIGIN= test\n##OWNER= test\n\
         ##XUNITS= NANOMETERS\n##YUNITS= ABSORBANCE\n{labels}\n{table}\n##END=\n"
    )
}

/// The 53 ordinates of JCAMP-DX 4.24, Table VI.
const TABLE_VI: [i32; 53] = [
    0, 0, 0, 0, 2, 4, 4, 4, 7, 5, 4, 4, 5, 5, 7, 10, 11, 11, 6, 5, 7, 6, 9, 9, 7, 10, 10, 9, 10, 11, 12, 15,
    16, 16, 14, 17, 38, 38, 35, 38, 42, 47, 54, 59, 66, 75, 78, 88, 96, 104, 110, 121, 128,
];

/// Labels for the table above.
const LABELS_VI: &str = "##XFACTOR= 1\n##YFACTOR= 1\n##FIRSTX= 599.860\n##LASTX= 700.158\n##FIRSTY= 0\n\
                         ##MAXY= 128\n##MINY= 0\n##NPOINTS= 53\n##DELTAX= 1.928808";
