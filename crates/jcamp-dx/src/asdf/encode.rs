//! Encodes integers as the lines of an `(X++(Y..Y))` table.
//!
//! The lines are such that any reader can check them: every line of differences ends with a plain difference (never
//! with a DUP count, where readers disagree whether a check value follows), the next line repeats its last ordinate
//! at its X, and the last line of all is followed by one that holds only X and that ordinate.

use super::decode::MISSING;
use super::{DIFFERENCE, DIFFERENCE_NEGATIVE, DUPLICATE, SQUEEZED, SQUEEZED_NEGATIVE};

/// How ordinates are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Form {
    /// Plain numbers with their decimals, separated by blanks: what every reader understands.
    #[default]
    Affn,
    /// Integers whose signs separate them.
    Pac,
    /// Integers whose first digit is a letter.
    Sqz,
    /// Differences of neighbours.
    Dif,
    /// Differences, repeated ones counted: the shortest form.
    DifDup,
}

/// Greatest magnitude of integers written: differences then fit into 32 bits, which older readers may use.
pub(crate) const GREATEST: i64 = (1 << 30) - 1;

/// The columns of a line.
pub(crate) const COLUMNS: usize = 80;

/// Greatest DUP count written. It keeps what a line can expand to within what readers may allow.
const MOST_COPIES: usize = 99;

/// One token, at most 11 characters: a pseudo-digit and up to nine digits.
#[derive(Clone, Copy)]
struct AsdfToken {
    bytes: [u8; 12],
    len: usize,
}

impl AsdfToken {
    const MISSING: Self = Self {
        bytes: [b'?', 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0],
        len: 1,
    };

    /// `value` with its first digit taken from `positive` or `negative`.
    #[inline(always)]
    fn pseudo(value: i64, positive: &[u8; 10], negative: &[u8; 10]) -> Self {
        let table = if value < 0 { negative } else { positive };
        let mut rest = value.unsigned_abs();
        let mut token = Self {
            bytes: [0; 12],
            len: 1,
        };
        if rest < 10 {
            token.bytes[0] = table[rest as usize];
            return token;
        }
        let mut digits = [0u8; 12];
        let mut count = 0;
        while rest > 0 {
            digits[count] = (rest % 10) as u8;
            rest /= 10;
            count += 1;
        }
        token.bytes[0] = table[digits[count - 1] as usize];
        for i in 1..count {
            token.bytes[i] = b'0' + digits[count - 1 - i];
        }
        token.len = count;
        token
    }

    fn squeezed(value: i64) -> Self {
        if value == MISSING {
            Self::MISSING
        } else {
            Self::pseudo(value, SQUEEZED, SQUEEZED_NEGATIVE)
        }
    }

    fn packed(value: i64) -> Self {
        if value == MISSING {
            return Self::MISSING;
        }
        let plain = Self::pseudo(value, b"0123456789", b"0123456789");
        let mut token = Self {
            bytes: [0; 12],
            len: plain.len + 1,
        };
        token.bytes[0] = if value < 0 { b'-' } else { b'+' };
        token.bytes[1..=plain.len].copy_from_slice(&plain.bytes[..plain.len]);
        token
    }

    #[inline]
    fn difference(value: i64) -> Self {
        Self::pseudo(value, DIFFERENCE, DIFFERENCE_NEGATIVE)
    }

    fn copies(count: usize) -> Self {
        Self::pseudo(count as i64, DUPLICATE, DUPLICATE)
    }

    /// Appends the token. Most are one character, for which a general copy would be slow.
    #[inline(always)]
    fn write(&self, out: &mut Vec<u8>) {
        if self.len == 1 {
            out.push(self.bytes[0]);
        } else {
            out.extend_from_slice(&self.bytes[..self.len]);
        }
    }
}

/// Writes the table's lines. `x` writes the X of a point. Values are at most [`GREATEST`] in magnitude, or
/// [`MISSING`]; `form` is not AFFN, which has no integers.
pub(crate) fn encode(values: &[i64], form: Form, x: &mut dyn FnMut(usize, &mut Vec<u8>), out: &mut Vec<u8>) {
    match form {
        Form::Affn | Form::Pac => alone(values, AsdfToken::packed, x, out),
        Form::Sqz => alone(values, AsdfToken::squeezed, x, out),
        Form::Dif => differences(values, false, x, out),
        Form::DifDup => differences(values, true, x, out),
    }
}

fn end_line(out: &mut Vec<u8>) {
    out.extend_from_slice(b"\r\n");
}

/// Lines of values that each stand alone.
fn alone(
    values: &[i64],
    token: impl Fn(i64) -> AsdfToken,
    x: &mut dyn FnMut(usize, &mut Vec<u8>),
    out: &mut Vec<u8>,
) {
    let mut at = 0;
    while at < values.len() {
        let start = out.len();
        x(at, out);
        let first = at;
        while at < values.len() {
            let token = token(values[at]);
            if at > first && out.len() - start + token.len > COLUMNS {
                break;
            }
            token.write(out);
            at += 1;
        }
        end_line(out);
    }
}

/// A difference not yet written, and how often it comes.
#[derive(Clone, Copy)]
struct OpenDifference {
    step: i64,
    token: AsdfToken,
    count: usize,
}

impl OpenDifference {
    /// Room needed if the line has to end after it.
    #[inline]
    fn room(&self) -> usize {
        if self.count == 1 {
            self.token.len
        } else {
            2 * self.token.len + 3
        }
    }

    /// Writes it inside of a line.
    #[inline]
    fn write(&self, out: &mut Vec<u8>) {
        self.token.write(out);
        if self.count > 1 {
            AsdfToken::copies(self.count).write(out);
        }
    }

    /// Writes it so that the line ends in a plain difference.
    fn write_last(&self, out: &mut Vec<u8>) {
        if self.count > 1 {
            Self {
                count: self.count - 1,
                ..*self
            }
            .write(out);
        }
        self.token.write(out);
    }
}

fn differences(
    values: &[i64],
    count_copies: bool,
    x: &mut dyn FnMut(usize, &mut Vec<u8>),
    out: &mut Vec<u8>,
) {
    let n = values.len();
    let most = if count_copies { MOST_COPIES } else { 1 };
    let mut next = 0;
    // The last line ended with a difference, so this one repeats its last ordinate.
    let mut repeat = false;
    while next < n || repeat {
        let start = out.len();
        let first = next - usize::from(repeat);
        x(first, out);
        AsdfToken::squeezed(values[first]).write(out);
        next = first + 1;
        if next == n && repeat {
            end_line(out);
            return;
        }
        let mut previous = values[first];
        if count_copies && first == 0 && previous != MISSING {
            // Only here an absolute value is repeated by count: behind a check value readers might miscount.
            let run = values.iter().take(most).take_while(|v| **v == previous).count();
            // The last point of the table has to come as a difference.
            let run = if run == n { run - 1 } else { run };
            if run > 1 {
                AsdfToken::copies(run).write(out);
                next = run;
            }
        }
        let mut pending: Option<OpenDifference> = None;
        repeat = false;
        while next < n {
            let value = values[next];
            let used = out.len() - start;
            if value == MISSING || previous == MISSING {
                let token = AsdfToken::squeezed(value);
                let before = pending.map_or(0, |p| p.room());
                if used + before + token.len > COLUMNS {
                    break;
                }
                if let Some(p) = pending.take() {
                    p.write(out);
                }
                token.write(out);
                repeat = false;
            } else {
                let step = value - previous;
                match &mut pending {
                    Some(p) if p.step == step && p.count < most => {
                        if used + 2 * p.token.len + 3 > COLUMNS {
                            break;
                        }
                        p.count += 1;
                    }
                    Some(p) => {
                        let token = AsdfToken::difference(step);
                        let inside = p.token.len
                            + if p.count > 1 {
                                1 + usize::from(p.count > 9)
                            } else {
                                0
                            };
                        if used + inside + token.len > COLUMNS {
                            break;
                        }
                        p.write(out);
                        *p = OpenDifference {
                            step,
                            token,
                            count: 1,
                        };
                    }
                    None => {
                        let token = AsdfToken::difference(step);
                        if used + token.len > COLUMNS {
                            break;
                        }
                        pending = Some(OpenDifference {
                            step,
                            token,
                            count: 1,
                        });
                    }
                }
                repeat = true;
            }
            previous = value;
            next += 1;
        }
        if let Some(p) = pending {
            p.write_last(out);
        }
        end_line(out);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(values: &[i64], form: Form, x: &[&str]) -> String {
        let mut out = Vec::new();
        encode(
            values,
            form,
            &mut |i, out| out.extend_from_slice(x[i.min(x.len() - 1)].as_bytes()),
            &mut out,
        );
        String::from_utf8(out).expect("ASCII")
    }

    #[test]
    fn table_vii_b() {
        // McDonald & Wilks, Appl. Spectrosc. 42(1) 151-162 (1988), Table VIIb; there without X and check line, the
        // first ordinate as a plain digit, and the last line ending in a count (`jX`), which is avoided here.
        let values = [1, 2, 3, 3, 2, 1, 0, -1, -2, -3];
        assert_eq!(lines(&values, Form::Pac, &["0"]), "0+1+2+3+3+2+1+0-1-2-3\r\n");
        assert_eq!(lines(&values, Form::Sqz, &["0"]), "0ABCCBA@abc\r\n");
        assert_eq!(lines(&values, Form::Dif, &["0"]), "0AJJ%jjjjjj\r\n0c\r\n");
        assert_eq!(lines(&values, Form::DifDup, &["0"]), "0AJT%jWj\r\n0c\r\n");
    }

    #[test]
    fn table_vi() {
        // Baumbach et al., Pure Appl. Chem. 73(11) 1765-1782 (2001), the example of 53 ordinates, character by
        // character.
        let values = [
            0, 0, 0, 0, 2, 4, 4, 4, 7, 5, 4, 4, 5, 5, 7, 10, 11, 11, 6, 5, 7, 6, 9, 9, 7, 10, 10, 9, 10, 11,
            12, 15, 16, 16, 14, 17, 38, 38, 35, 38, 42, 47, 54, 59, 66, 75, 78, 88, 96, 104, 110, 121, 128,
        ];
        let mut x = vec!["599.860"; 52];
        x.push("700.158");
        let expected = "599.860@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLK1%lLMNPNPRLJ0QTOJ1P\r\n700.158A28\r\n";
        assert_eq!(lines(&values, Form::DifDup, &x), expected);
    }

    #[test]
    fn constants_end_in_a_difference() {
        assert_eq!(lines(&[5; 4], Form::DifDup, &["1"]), "1EU%\r\n1E\r\n");
        assert_eq!(lines(&[5; 2], Form::DifDup, &["1"]), "1E%\r\n1E\r\n");
        assert_eq!(lines(&[5], Form::DifDup, &["1"]), "1E\r\n");
        assert_eq!(
            lines(&[5, MISSING, 6, 7], Form::DifDup, &["1"]),
            "1E?FJ\r\n1G\r\n"
        );
    }
}
