//! Labels of records and how they are compared.

use std::borrow::Cow;

use smol_str::SmolStr;

/// What a record is by the form of its label.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LabelKind {
    /// A label of the core standard: `##TITLE=`.
    Core,
    /// A private label: `##$NAME=`.
    User,
    /// A label of one technique (from 5.00): `##.NAME=`.
    Technique,
    /// A comment record: `##=`.
    Comment,
}

/// The form in which labels are compared: upper case, without blanks, hyphens, slashes and underscores.
/// A leading `$` or `.` stays, because it makes another label.
///
/// ```
/// use curvary_jcamp_dx::normalise_label;
/// assert_eq!(normalise_label("Data-Type"), "DATATYPE");
/// assert_eq!(normalise_label("SPECTROMETER/DATA SYSTEM"), "SPECTROMETERDATASYSTEM");
/// assert_eq!(normalise_label("$Lamp_Hours"), "$LAMPHOURS");
/// ```
#[must_use]
pub fn normalise_label(spelled: &str) -> String {
    if spelled.is_ascii() {
        let kept = |b: &u8| b.is_ascii_graphic() && !matches!(b, b'-' | b'/' | b'_');
        let mut label = String::with_capacity(spelled.len());
        let signs = spelled.bytes().filter(kept);
        label.extend(signs.map(|b| char::from(b.to_ascii_uppercase())));
        return label;
    }
    spelled
        .chars()
        .filter(|c| !c.is_whitespace() && !c.is_control() && !matches!(c, '-' | '/' | '_'))
        .flat_map(char::to_uppercase)
        .collect()
}

/// The same of few bytes, without room of its own.
pub(crate) fn short_label(spelled: &str) -> SmolStr {
    match normal(spelled) {
        Cow::Borrowed(label) => SmolStr::new(label),
        Cow::Owned(label) => SmolStr::from(label),
    }
}

/// The same, without a copy of a label that is in this form already.
pub(crate) fn normal(spelled: &str) -> Cow<'_, str> {
    let is_normal = |b: u8| b.is_ascii_uppercase() || b.is_ascii_digit() || matches!(b, b'$' | b'.');
    if spelled.bytes().all(is_normal) {
        Cow::Borrowed(spelled)
    } else {
        Cow::Owned(normalise_label(spelled))
    }
}

/// The kind of a label that [`normalise_label`] returned.
pub(crate) fn kind_of(normalised: &str) -> LabelKind {
    match normalised.as_bytes().first() {
        None => LabelKind::Comment,
        Some(b'$') => LabelKind::User,
        Some(b'.') => LabelKind::Technique,
        Some(_) => LabelKind::Core,
    }
}

/// Whether a label, normalised, belongs to a table or to the structure of a file, and not to the measurement.
#[must_use]
pub fn describes_table(normalised: &str) -> bool {
    is_table(normalised)
        || matches!(
            normalised,
            "JCAMPDX"
                | "DATACLASS"
                | "XUNITS"
                | "YUNITS"
                | "XFACTOR"
                | "YFACTOR"
                | "FIRSTX"
                | "LASTX"
                | "FIRSTY"
                | "MAXX"
                | "MINX"
                | "MAXY"
                | "MINY"
                | "NPOINTS"
                | "DELTAX"
                | "BLOCKS"
                | "BLOCKID"
                | "END"
                | "NTUPLES"
                | "ENDNTUPLES"
                | "VARNAME"
                | "SYMBOL"
                | "VARTYPE"
                | "VARFORM"
                | "VARDIM"
                | "UNITS"
                | "FIRST"
                | "LAST"
                | "MIN"
                | "MAX"
                | "FACTOR"
                | "PAGE"
        )
}

/// Labels that stand for a table of data.
pub(crate) fn is_table(normalised: &str) -> bool {
    matches!(
        normalised,
        "XYDATA" | "XYPOINTS" | "PEAKTABLE" | "PEAKASSIGNMENTS" | "ASSIGNMENTS" | "RADATA" | "DATATABLE"
    )
}
