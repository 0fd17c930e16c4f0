use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{
    Axis, Baseline, BaselineFound, Curve, Grids, Interpolation, Ordinate, SavitzkyGolay, Spectrum,
    SpectrumRefusal, Uneven, Window, point_noise, resample, subtract_baseline, subtract_blank,
};

/// One step of a chain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "step", rename_all = "kebab-case")]
pub enum Step {
    /// `saturation(above=3)`: leaves out points above the trusted range.
    Saturation {
        /// Points with a larger y are left out.
        above: f64,
    },
    /// `crop(220..400)`: keeps a window.
    Crop {
        /// The window.
        to: Window,
    },
    /// `ordinate(absorbance)`: absorbance, transmittance or percent-transmittance.
    Ordinate {
        /// The wanted ordinate.
        to: Ordinate,
    },
    /// `axis(cm-1)`: nm, cm-1 or eV.
    Axis {
        /// The wanted axis.
        to: Axis,
    },
    /// `blank(RUN)` or `blank(RUN, resample=cubic)`.
    Blank {
        /// The name of the blank, resolved when the chain is applied.
        reference: String,
        /// What to do where the x values differ.
        grids: Grids,
    },
    /// `baseline(offset, 680..700)`, `baseline(line, 240..250, 340..350)` or
    /// `baseline(scatter, 350..500, exponent=4)`.
    Baseline {
        /// Which.
        baseline: Baseline,
    },
    /// `smooth(window=11, order=3)` or `derivative(2, window=11, order=3)`, both also with
    /// `uneven=fit`.
    Filter {
        /// The moving polynomial.
        filter: SavitzkyGolay,
    },
    /// `resample(cubic, 200..800, every=1)`.
    Resample {
        /// How.
        how: Interpolation,
        /// First and last x.
        over: Window,
        /// Distance of the new points.
        every: f64,
    },
}

/// A written, repeatable sequence of steps, in text `blank(R7) | baseline(offset, 680..700)`.
///
/// `Display` writes the text and `FromStr` reads it; each chain that [`Chain::apply`] accepts reads
/// back as itself.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Chain {
    /// The steps, first to last.
    pub steps: Vec<Step>,
}

/// What one step did.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LogEntry {
    /// The step as text.
    pub step: String,
    /// What was assumed, left out or found.
    pub notes: Vec<String>,
    /// The baseline, for a baseline step.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub baseline: Option<BaselineFound>,
}

/// A spectrum after a chain, and how it came about.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Processed {
    /// The result.
    pub spectrum: Spectrum,
    /// One entry a step.
    pub log: Vec<LogEntry>,
    /// Noise of the points just before the first step that correlated neighbours (a filter or
    /// resampling), as [`point_noise`] finds it; absent without such a step, or where it cannot be told.
    pub noise_before_smoothing: Option<f64>,
}

/// The step of a chain that could not be done, and why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChainRefused {
    /// Which step, counted from 0.
    pub index: usize,
    /// The step as text.
    pub step: String,
    /// Why.
    pub refusal: SpectrumRefusal,
}

impl fmt::Display for ChainRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "step {}, {}: {}", self.index + 1, self.step, self.refusal)
    }
}

impl std::error::Error for ChainRefused {}

impl Chain {
    /// Applies the steps in order. `reference` finds the blanks by the names in the steps; a blank is
    /// used as it is handed over.
    ///
    /// # Errors
    /// The first step that cannot be done: a chain is done whole or not at all.
    pub fn apply(
        &self,
        spectrum: &Spectrum,
        reference: impl Fn(&str) -> Option<Spectrum>,
    ) -> Result<Processed, ChainRefused> {
        let mut spectrum = spectrum.clone();
        let mut log = Vec::with_capacity(self.steps.len());
        let mut noise_before_smoothing = None;
        for (index, step) in self.steps.iter().enumerate() {
            if step.correlates() && !self.steps[..index].iter().any(Step::correlates) {
                noise_before_smoothing = point_noise(spectrum.curve.y()).ok();
            }
            let (next, notes, baseline) =
                step.apply(&spectrum, &reference)
                    .map_err(|refusal| ChainRefused {
                        index,
                        step: step.to_string(),
                        refusal,
                    })?;
            spectrum = next;
            log.push(LogEntry {
                step: step.to_string(),
                notes,
                baseline,
            });
        }
        Ok(Processed {
            spectrum,
            log,
            noise_before_smoothing,
        })
    }
}

type Done = (Spectrum, Vec<String>, Option<BaselineFound>);

impl Step {
    /// Whether neighbouring points are no longer independent after the step.
    fn correlates(&self) -> bool {
        matches!(self, Self::Filter { .. } | Self::Resample { .. })
    }

    fn apply(
        &self,
        spectrum: &Spectrum,
        reference: &impl Fn(&str) -> Option<Spectrum>,
    ) -> Result<Done, SpectrumRefusal> {
        let curve = &spectrum.curve;
        let with = |curve: Curve| Spectrum { curve, ..*spectrum };
        match self {
            Self::Saturation { above } => {
                if !above.is_finite() {
                    return Err(SpectrumRefusal::setting("above", above, "a finite number"));
                }
                let kept: Vec<usize> = (0..curve.len()).filter(|i| curve.y()[*i] <= *above).collect();
                if kept.is_empty() {
                    let refusal = crate::refusal::Refusal::AllSaturated {
                        limit: *above,
                        count: curve.len(),
                    };
                    return Err(refusal.into());
                }
                let note = format!(
                    "{} of {} points lie above {above} and were left out",
                    curve.len() - kept.len(),
                    curve.len()
                );
                Ok((with(curve.pick(&kept)?), vec![note], None))
            }
            Self::Crop { to } => {
                to.points(curve, "crop", 1)?;
                let kept: Vec<usize> = curve.indices_in(*to).collect();
                let note = format!("{} of {} points kept", kept.len(), curve.len());
                Ok((with(curve.pick(&kept)?), vec![note], None))
            }
            Self::Ordinate { to } => spectrum.to_ordinate(*to).map(|(s, notes)| (s, notes, None)),
            Self::Axis { to } => spectrum.to_axis(*to).map(|(s, notes)| (s, notes, None)),
            Self::Blank {
                reference: name,
                grids,
            } => {
                let blank = reference(name)
                    .ok_or_else(|| SpectrumRefusal::UnknownReference { name: name.clone() })?;
                if let Ordinate::Transmittance | Ordinate::PercentTransmittance = spectrum.ordinate {
                    return Err(SpectrumRefusal::WrongOrdinate {
                        found: spectrum.ordinate.to_string(),
                        wanted: "absorbance: put ordinate(absorbance) before".into(),
                    });
                }
                let (blank, mut notes) = like(spectrum, blank)?;
                let (result, used) = subtract_blank(curve, &blank.curve, *grids)?;
                notes.push(match used.resampled {
                    Some(how) => format!(
                        "the blank ({} points) was resampled ({}) at the sample's x values",
                        used.points,
                        how.name()
                    ),
                    None => format!("the blank ({} points) has every x of the sample", used.points),
                });
                Ok((with(result), notes, None))
            }
            Self::Baseline { baseline } => {
                subtract_baseline(spectrum, *baseline).map(|(s, found, notes)| (s, notes, Some(found)))
            }
            Self::Filter { filter } => {
                let smoothed = filter.apply(curve)?;
                let ordinate = derived(spectrum.ordinate, filter.derivative)?;
                let mut notes = vec![format!(
                    "independent noise is multiplied by {:.4}; neighbouring points are correlated now",
                    smoothed.noise_gain
                )];
                if smoothed.edge_points > 0 {
                    notes.push(format!(
                        "{} points at each end come from the polynomial of the first and last full window",
                        smoothed.edge_points
                    ));
                }
                if !smoothed.even {
                    notes.push("the steps are uneven: each window has its own polynomial".into());
                }
                Ok((
                    Spectrum {
                        curve: smoothed.curve,
                        axis: spectrum.axis,
                        ordinate,
                    },
                    notes,
                    None,
                ))
            }
            Self::Resample { how, over, every } => {
                over.check()?;
                if !(every.is_finite() && *every > 0.0) {
                    return Err(SpectrumRefusal::setting("every", every, "a positive number"));
                }
                let count = ((over.to - over.from) / every + 1e-9).floor();
                if count > 1e6 {
                    return Err(SpectrumRefusal::setting(
                        "every",
                        every,
                        "large enough for a million points at most",
                    ));
                }
                let x: Vec<f64> = (0..=count as usize)
                    .map(|i| over.from + i as f64 * every)
                    .collect();
                let result = resample(curve, &x, *how)?;
                let note = format!(
                    "{} measured points were resampled ({}) to {}: these are interpolated values, not measurements",
                    curve.len(),
                    how.name(),
                    result.len()
                );
                Ok((with(result), vec![note], None))
            }
        }
    }
}

/// The blank with the sample's axis and ordinate, converted where that is exact.
fn like(sample: &Spectrum, blank: Spectrum) -> Result<(Spectrum, Vec<String>), SpectrumRefusal> {
    let mut notes = Vec::new();
    let mut blank = blank;
    if blank.ordinate != sample.ordinate {
        let photometric = matches!(
            blank.ordinate,
            Ordinate::Transmittance | Ordinate::PercentTransmittance
        );
        if !(photometric && sample.ordinate == Ordinate::Absorbance) {
            return Err(SpectrumRefusal::WrongOrdinate {
                found: format!("{} in the blank", blank.ordinate),
                wanted: format!("{}, as in the sample", sample.ordinate),
            });
        }
        let (converted, said) = blank.to_ordinate(Ordinate::Absorbance)?;
        blank = converted;
        notes.extend(said);
    }
    if blank.axis != sample.axis {
        let (converted, said) = blank.to_axis(sample.axis)?;
        blank = converted;
        notes.extend(said);
    }
    Ok((
        blank,
        notes.into_iter().map(|note| format!("blank: {note}")).collect(),
    ))
}

fn derived(ordinate: Ordinate, order: usize) -> Result<Ordinate, SpectrumRefusal> {
    if order == 0 {
        return Ok(ordinate);
    }
    let before = match ordinate {
        Ordinate::Absorbance => 0,
        Ordinate::Derivative(n) => n,
        Ordinate::Transmittance | Ordinate::PercentTransmittance | Ordinate::Other => {
            return Ok(Ordinate::Other);
        }
    };
    u8::try_from(order)
        .ok()
        .and_then(|n| before.checked_add(n))
        .map(Ordinate::Derivative)
        .ok_or_else(|| SpectrumRefusal::setting("derivative", order, "at most 255 in all"))
}

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
        let mut cursor = Cursor {
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

struct Cursor {
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
    given: std::collections::VecDeque<Argument>,
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

impl Cursor {
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
        let mut given = std::collections::VecDeque::new();
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
