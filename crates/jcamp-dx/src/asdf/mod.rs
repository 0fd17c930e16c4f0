//! The number forms of tables: AFFN (also FIX), PAC, SQZ, DIF and DUP (JCAMP-DX 4.24, section 5).
//!
//! A pseudo-digit replaces the first digit of an ordinate and stands for delimiter, form and sign as well:
//!
//! | digit | 0 | 1 | 2 | 3 | 4 | 5 | 6 | 7 | 8 | 9 |
//! |---|---|---|---|---|---|---|---|---|---|---|
//! | SQZ + | @ | A | B | C | D | E | F | G | H | I |
//! | SQZ - |   | a | b | c | d | e | f | g | h | i |
//! | DIF + | % | J | K | L | M | N | O | P | Q | R |
//! | DIF - |   | j | k | l | m | n | o | p | q | r |
//! | DUP   |   | S | T | U | V | W | X | Y | Z | s |

pub(crate) mod decode;
pub(crate) mod encode;

/// Squeezed positive digits 0 to 9.
pub(crate) const SQUEEZED: &[u8; 10] = b"@ABCDEFGHI";
/// Squeezed negative digits 1 to 9; index 0 is never used.
pub(crate) const SQUEEZED_NEGATIVE: &[u8; 10] = b"@abcdefghi";
/// Positive differences 0 to 9.
pub(crate) const DIFFERENCE: &[u8; 10] = b"%JKLMNOPQR";
/// Negative differences 1 to 9; index 0 is never used.
pub(crate) const DIFFERENCE_NEGATIVE: &[u8; 10] = b"%jklmnopqr";
/// Counts of copies 1 to 9; index 0 is never used.
pub(crate) const DUPLICATE: &[u8; 10] = b"SSTUVWXYZs";
