//! Choices between two readings of a table that give different numbers.
//!
//! Where the block itself decides, nothing is asked and a remark tells what was found. Where it does not, the table
//! says so in its [`doubts`](crate::Table::doubts), and [`Choices`] in the options settle it.

/// A choice between two readings of a table. One of them follows the standard to the letter, the other takes a
/// common deviation for granted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum Choice {
    /// FIRSTX, LASTX and their kin hold the X as printed, without XFACTOR. Either the labels forgot the factor
    /// (standard: printed X times XFACTOR), or the X are printed true and the factor is left over (other).
    XFactor,
    /// FIRSTY, MAXY and MINY ask for another factor than YFACTOR. Either the labels are wrong (standard: printed
    /// ordinate times YFACTOR), or YFACTOR is, and the labels tell the right one (other).
    YFactor,
    /// An `E` without sign and two digits stands behind a digit: a squeezed digit 5 (standard) or an exponent (other).
    Exponent,
    /// Each line of an `(X++(Y..Y))` table holds one ordinate, and the X are uneven: misprints, and the points are
    /// evenly spaced as the form says (standard), or pairs (other).
    Form,
    /// The spacing by the labels (standard) is not that of the X at the line starts (other).
    Spacing,
    /// The first ordinate of a line behind differences repeats the last one of the line before (standard) or is a new
    /// point (other).
    YChecks,
}

impl Choice {
    /// All choices, in the order of declaration.
    pub const ALL: [Self; 6] = [
        Self::XFactor,
        Self::YFactor,
        Self::Exponent,
        Self::Form,
        Self::Spacing,
        Self::YChecks,
    ];
}

/// What has been settled about tables in doubt. Tables that tell by themselves are not touched by it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Choices([Option<bool>; Choice::ALL.len()]);

impl Choices {
    /// Settles a choice: `true` for the reading of the standard, `false` for the other one.
    #[must_use]
    pub fn with(mut self, choice: Choice, standard: bool) -> Self {
        self.0[choice as usize] = Some(standard);
        self
    }

    /// What was settled: `true` for the reading of the standard.
    #[must_use]
    pub fn get(&self, choice: Choice) -> Option<bool> {
        self.0[choice as usize]
    }
}
