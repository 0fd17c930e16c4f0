//! Chains as text: `blank(R7) | baseline(offset, 680..700) | smooth(window=11, order=3)`.
//!
//! ```text
//! chain    = [ step *( "|" step ) ]
//! step     = name "(" [ argument *( "," argument ) ] ")"
//! argument = [ key "=" ] word
//! word     = 1*(any character but blank and ( ) , | = " \\)  |  DQUOTE *( any | "\\" any ) DQUOTE
//! ```

use std::collections::VecDeque;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{Chain, Step};
use crate::spectra::{Axis, Baseline, Grids, Interpolation, Ordinate, SavitzkyGolay, Uneven, Window};

impl fmt::Display for Chain {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, step) in self.steps.iter().enumerate() {
            if i > 0 {
                f.write_str(" | ")?;
            }
            write!(f, "{step}")?;
        }
        Ok(())
    }
}

impl fmt::Display for Window {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}..{}", self.from, self.to)
    }
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Saturation { above } => write!(f, "saturation(above={above})"),
            Self::Crop { to } => write!(f, "crop({to})"),
            Self::Ordinate { to } => write!(f, "ordinate({to})"),
            Self::Axis { to } => write!(f, "axis({to})"),
            Self::Blank { reference, grids } => {
                f.write_str("blank(")?;
                write_name(f, reference)?;
                match grids {
                    Grids::MustMatch => f.write_str(")"),
                    Grids::Resample(how) => write!(f, ", resample={})", how.name()),
                }
            }
            Self::Baseline { baseline } => match baseline {
                Baseline::Offset { over } => write!(f, "baseline(offset, {over})"),
                Baseline::Line { left, right } => write!(f, "baseline(line, {left}, {right})"),
                Baseline::Scatter { over, exponent: None } => write!(f, "baseline(scatter, {over})"),
                Baseline::Scatter {
                    over,
                    exponent: Some(n),
                } => {
                    write!(f, "baseline(scatter, {over}, exponent={n})")
                }
            },
            Self::Filter { filter } => {
                match filter.derivative {
                    0 => f.write_str("smooth(")?,
                    n => write!(f, "derivative({n}, ")?,
                }
                write!(f, "window={}, order={}", filter.window, filter.order)?;
                f.write_str(if filter.uneven == Uneven::Fit {
                    ", uneven=fit)"
                } else {
                    ")"
                })
            }
            Self::Resample { how, over, every } => {
                write!(f, "resample({}, {over}, every={every})", how.name())
            }
        }
    }
}

/// Characters that end a bare word.
const SPECIAL: [char; 7] = ['(', ')', ',', '|', '=', '"', '\\'];

fn write_name(f: &mut fmt::Formatter<'_>, name: &str) -> fmt::Result {
    let bare = !name.is_empty() && !name.chars().any(|c| c.is_whitespace() || SPECIAL.contains(&c));
    if bare {
        return f.write_str(name);
    }
    f.write_str("\"")?;
    for c in name.chars() {
        if c == '"' || c == '\\' {
            f.write_str("\\")?;
        }
        write!(f, "{c}")?;
    }
    f.write_str("\"")
}

/// Why a text is not a chain.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ChainError {
    /// Column of the text, in characters, counted from 1.
    pub column: usize,
    /// What was found there.
    pub found: String,
    /// What can stand there.
    pub expected: String,
}

impl fmt::Display for ChainError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "column {}: found {}, expected {}",
            self.column, self.found, self.expected
        )
    }
}

impl std::error::Error for ChainError {}

impl FromStr for Chain {
    type Err = ChainError;

    fn from_str(text: &str) -> Result<Self, ChainError> {
        let mut cursor = ChainCursor {
            chars: text.chars().collect(),
            at: 0,
        };
        let mut steps = Vec::new();
        cursor.skip_blanks();
        if cursor.peek().is_none() {
            return Ok(Self { steps });
        }
        loop {
            steps.push(cursor.step()?);
            cursor.skip_blanks();
            match cursor.peek() {
                None => return Ok(Self { steps }),
                Some('|') => cursor.at += 1,
                Some(_) => return Err(cursor.error("`|` and another step, or the end")),
            }
        }
    }
}

struct ChainCursor {
    chars: Vec<char>,
    at: usize,
}

struct Argument {
    key: Option<String>,
    value: String,
    column: usize,
}

impl Argument {
    fn error(&self, expected: &str) -> ChainError {
        let found = match &self.key {
            Some(key) => format!("`{key}={}`", self.value),
            None => format!("`{}`", self.value),
        };
        ChainError {
            column: self.column,
            found,
            expected: expected.into(),
        }
    }

    fn number(&self) -> Result<f64, ChainError> {
        self.value
            .parse::<f64>()
            .ok()
            .filter(|v| v.is_finite())
            .ok_or_else(|| self.error("a number, with a point as decimal sign"))
    }

    fn count(&self) -> Result<usize, ChainError> {
        self.value.parse().map_err(|_| self.error("a whole number"))
    }

    fn window(&self) -> Result<Window, ChainError> {
        self.value
            .split_once("..")
            .and_then(|(from, to)| Some((from.parse().ok()?, to.parse().ok()?)))
            .and_then(|(from, to)| Window::new(from, to).ok())
            .ok_or_else(|| self.error("a window such as 680..700, its lower end first"))
    }

    fn interpolation(&self) -> Result<Interpolation, ChainError> {
        match self.value.as_str() {
            "linear" => Ok(Interpolation::Linear),
            "cubic" => Ok(Interpolation::Cubic),
            _ => Err(self.error("`linear` or `cubic`")),
        }
    }
}

/// The arguments of one step; what is asked for is taken out, and the rest is an error.
struct Arguments {
    given: VecDeque<Argument>,
    /// Column of the closing parenthesis.
    end: usize,
}

impl Arguments {
    /// The next argument without a key.
    fn next(&mut self, expected: &str) -> Result<Argument, ChainError> {
        let place = self.given.iter().position(|a| a.key.is_none());
        place
            .and_then(|i| self.given.remove(i))
            .ok_or_else(|| self.missing(expected))
    }

    fn keyed(&mut self, key: &str) -> Option<Argument> {
        let place = self.given.iter().position(|a| a.key.as_deref() == Some(key));
        place.and_then(|i| self.given.remove(i))
    }

    fn needed(&mut self, key: &str) -> Result<Argument, ChainError> {
        self.keyed(key).ok_or_else(|| self.missing(&format!("`{key}=…`")))
    }

    fn missing(&self, expected: &str) -> ChainError {
        ChainError {
            column: self.end,
            found: "the end of the arguments".into(),
            expected: expected.into(),
        }
    }

    fn done(&self) -> Result<(), ChainError> {
        match self.given.front() {
            Some(left) => Err(left.error("no such argument here")),
            None => Ok(()),
        }
    }
}

impl ChainCursor {
    fn peek(&self) -> Option<char> {
        self.chars.get(self.at).copied()
    }

    fn skip_blanks(&mut self) {
        while self.peek().is_some_and(char::is_whitespace) {
            self.at += 1;
        }
    }

    fn error(&self, expected: &str) -> ChainError {
        let found = self
            .peek()
            .map_or_else(|| "the end of the text".to_owned(), |c| format!("`{c}`"));
        ChainError {
            column: self.at + 1,
            found,
            expected: expected.into(),
        }
    }

    fn expect(&mut self, wanted: char) -> Result<(), ChainError> {
        self.skip_blanks();
        if self.peek() == Some(wanted) {
            self.at += 1;
            return Ok(());
        }
        Err(self.error(&format!("`{wanted}`")))
    }

    /// A bare word, or a text in quotation marks.
    fn word(&mut self, expected: &str) -> Result<String, ChainError> {
        self.skip_blanks();
        let mut word = String::new();
        if self.peek() == Some('"') {
            self.at += 1;
            loop {
                match self.peek() {
                    Some('"') => break,
                    Some('\\') => self.at += 1,
                    _ => {}
                }
                word.push(
                    self.peek()
                        .ok_or_else(|| self.error("a closing quotation mark"))?,
                );
                self.at += 1;
            }
            self.at += 1;
            return Ok(word);
        }
        while let Some(c) = self.peek().filter(|c| !c.is_whitespace() && !SPECIAL.contains(c)) {
            word.push(c);
            self.at += 1;
        }
        if word.is_empty() {
            Err(self.error(expected))
        } else {
            Ok(word)
        }
    }

    fn arguments(&mut self) -> Result<Arguments, ChainError> {
        self.expect('(')?;
        let mut given = VecDeque::new();
        loop {
            self.skip_blanks();
            if given.is_empty() && self.peek() == Some(')') {
                break;
            }
            let column = self.at + 1;
            let word = self.word("an argument")?;
            self.skip_blanks();
            let (key, value) = if self.peek() == Some('=') {
                self.at += 1;
                (Some(word), self.word("a value")?)
            } else {
                (None, word)
            };
            given.push_back(Argument { key, value, column });
            self.skip_blanks();
            match self.peek() {
                Some(',') => self.at += 1,
                Some(')') => break,
                _ => return Err(self.error("`,` or `)`")),
            }
        }
        self.at += 1;
        Ok(Arguments { given, end: self.at })
    }

    fn step(&mut self) -> Result<Step, ChainError> {
        const NAMES: &str =
            "a step: saturation, crop, ordinate, axis, blank, baseline, smooth, derivative or resample";
        self.skip_blanks();
        let column = self.at + 1;
        let name = self.word(NAMES)?;
        if !matches!(
            name.as_str(),
            "saturation"
                | "crop"
                | "ordinate"
                | "axis"
                | "blank"
                | "baseline"
                | "smooth"
                | "derivative"
                | "resample"
        ) {
            return Err(ChainError {
                column,
                found: format!("`{name}`"),
                expected: NAMES.into(),
            });
        }
        let mut arguments = self.arguments()?;
        let a = &mut arguments;
        let step = match name.as_str() {
            "saturation" => Step::Saturation {
                above: a.needed("above")?.number()?,
            },
            "crop" => Step::Crop {
                to: a.next("a window")?.window()?,
            },
            "ordinate" => {
                let wanted = "`absorbance`, `transmittance` or `percent-transmittance`";
                let to = a.next(wanted)?;
                Step::Ordinate {
                    to: match to.value.as_str() {
                        "absorbance" => Ordinate::Absorbance,
                        "transmittance" => Ordinate::Transmittance,
                        "percent-transmittance" => Ordinate::PercentTransmittance,
                        _ => return Err(to.error(wanted)),
                    },
                }
            }
            "axis" => {
                let wanted = "`nm`, `cm-1` or `eV`";
                let to = a.next(wanted)?;
                let axis = [Axis::Nanometre, Axis::PerCentimetre, Axis::ElectronVolt]
                    .into_iter()
                    .find(|axis| axis.name() == to.value);
                Step::Axis {
                    to: axis.ok_or_else(|| to.error(wanted))?,
                }
            }
            "blank" => Step::Blank {
                reference: a.next("the name of the blank")?.value,
                grids: match a.keyed("resample") {
                    None => Grids::MustMatch,
                    Some(how) => Grids::Resample(how.interpolation()?),
                },
            },
            "baseline" => {
                let wanted = "`offset`, `line` or `scatter`";
                let kind = a.next(wanted)?;
                let baseline = match kind.value.as_str() {
                    "offset" => Baseline::Offset {
                        over: a.next("a window")?.window()?,
                    },
                    "line" => Baseline::Line {
                        left: a.next("a window")?.window()?,
                        right: a.next("a second window")?.window()?,
                    },
                    "scatter" => Baseline::Scatter {
                        over: a.next("a window")?.window()?,
                        exponent: a.keyed("exponent").map(|n| n.number()).transpose()?,
                    },
                    _ => return Err(kind.error(wanted)),
                };
                Step::Baseline { baseline }
            }
            "resample" => Step::Resample {
                how: a.next("`linear` or `cubic`")?.interpolation()?,
                over: a.next("a window")?.window()?,
                every: a.needed("every")?.number()?,
            },
            smooth_or_derivative => {
                let derivative = if smooth_or_derivative == "smooth" {
                    0
                } else {
                    let n = a.next("the order of the derivative")?;
                    n.count()?
                        .checked_sub(1)
                        .map(|k| k + 1)
                        .ok_or_else(|| n.error("1 or more"))?
                };
                let uneven = match a.keyed("uneven") {
                    None => Uneven::Refuse,
                    Some(how) if how.value == "fit" => Uneven::Fit,
                    Some(how) => return Err(how.error("`uneven=fit`, or nothing")),
                };
                Step::Filter {
                    filter: SavitzkyGolay {
                        window: a.needed("window")?.count()?,
                        order: a.needed("order")?.count()?,
                        derivative,
                        uneven,
                    },
                }
            }
        };
        arguments.done()?;
        Ok(step)
    }
}
