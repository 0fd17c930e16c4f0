//! The terminal: where output goes, how wide it is, and whether it has colours.
//!
//! Answers go to standard output; progress and complaints go to standard error. Colours are left out when the
//! output is no terminal or `NO_COLOR` is set.

use std::fmt;
use std::io::{self, BufWriter, IsTerminal, Write};
use std::process::{Command, Stdio};
use std::time::Duration;

use anstyle::{AnsiColor, Style};
use clap::ValueEnum;
use curvary_record::Diagnostic;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::drawing::{self, Texts};

/// How diagnostics are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Errors {
    /// With the lines they are about
    Full,
    /// One line each: `file:line:column: error[code]: message`
    Short,
    /// One JSON object a line
    Json,
}

/// Headings and names.
pub(crate) const STRONG: Style = Style::new().bold();
/// What matters less.
pub(crate) const FAINT: Style = Style::new().dimmed();
/// What went well.
pub(crate) const GOOD: Style = AnsiColor::Green.on_default();
/// What needs a person.
pub(crate) const ASKED: Style = AnsiColor::Yellow.on_default();
/// What went wrong.
pub(crate) const BAD: Style = AnsiColor::Red.on_default();

/// A text in a style.
pub(crate) struct StyledText<T>(pub(crate) Style, pub(crate) T);

impl<T: fmt::Display> fmt::Display for StyledText<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}{}", self.0, self.1, self.0.render_reset())
    }
}

/// Where a command writes.
pub(crate) struct Screen {
    out: BufWriter<anstream::AutoStream<io::StdoutLock<'static>>>,
    errors: Option<Errors>,
    quiet: bool,
    /// What is held back until it is known whether it needs a pager.
    held: Option<Vec<u8>>,
    /// What is to be said of the safety of people when the command ends, each once.
    cautions: Vec<String>,
    /// Complaints that are kept for later, where that was asked for.
    later: Option<String>,
}

impl Screen {
    /// The process's own standard output and standard error.
    pub(crate) fn new(errors: Option<Errors>, quiet: bool) -> Self {
        let out = anstream::AutoStream::auto(io::stdout().lock());
        Self {
            out: BufWriter::with_capacity(1 << 16, out),
            errors,
            quiet,
            held: None,
            cautions: Vec::new(),
            later: None,
        }
    }

    /// Holds back what is printed, so that it can be read page by page where it is longer than the screen. Does nothing where
    /// no person sees it.
    pub(crate) fn page(&mut self) {
        if io::stdout().is_terminal() && io::stderr().is_terminal() && pager().is_some() {
            self.held = Some(Vec::new());
        }
    }

    /// Keeps complaints for later, until they are taken.
    pub(crate) fn complain_later(&mut self) {
        self.later = Some(String::new());
    }

    /// Whether complaints are kept for later.
    pub(crate) fn complains_later(&self) -> bool {
        self.later.is_some()
    }

    /// The complaints that were kept for later.
    pub(crate) fn complaints(&mut self) -> String {
        self.later.take().unwrap_or_default()
    }

    /// Keeps what remarks say of the safety of people, to be said once when the command ends.
    pub(crate) fn caution(&mut self, remarks: &[Diagnostic]) {
        for remark in remarks.iter().filter(|remark| crate::telling::is_caution(remark)) {
            if !self.cautions.contains(&remark.message) {
                self.cautions.push(remark.message.clone());
            }
        }
    }

    /// Says what is to be said of the safety of people.
    pub(crate) fn print_cautions(&mut self) -> io::Result<()> {
        for caution in std::mem::take(&mut self.cautions) {
            let text = StyledText(ASKED, crate::table::one_line(&caution));
            writeln!(self, "{text}")?;
        }
        Ok(())
    }

    /// Prints what was held back.
    fn release(&mut self) -> io::Result<()> {
        let Some(held) = self.held.take() else {
            return Ok(());
        };
        let rows = terminal_size::terminal_size().map_or(24, |(_, rows)| usize::from(rows.0));
        let lines = held.iter().filter(|byte| **byte == b'\n').count();
        if lines >= rows
            && let Some(pager) = pager()
            && through(&pager, &held)
        {
            return Ok(());
        }
        self.out.write_all(&held)
    }

    /// How wide the terminal is; `None` when the output is no terminal, and nothing need be cut.
    pub(crate) fn width(&self) -> Option<usize> {
        // Whoever sets it wants that width, in a file too.
        let asked = std::env::var("COLUMNS")
            .ok()
            .and_then(|width| width.parse::<usize>().ok());
        if let Some(width) = asked.filter(|width| *width > 0) {
            return Some(width.max(40));
        }
        if !io::stdout().is_terminal() {
            return None;
        }
        let width = terminal_size::terminal_size().map_or(80, |(width, _)| usize::from(width.0));
        Some(width.max(40))
    }

    /// How diagnostics were asked to be drawn, unless it was left to us.
    pub(crate) fn errors(&self) -> Option<Errors> {
        self.errors
    }

    /// Whether only errors are wanted on standard error.
    pub(crate) fn quiet(&self) -> bool {
        self.quiet
    }

    /// Draws a diagnostic on standard error, in full unless another way was asked for.
    pub(crate) fn complain(&mut self, path: Option<&str>, diagnostic: &Diagnostic, texts: &dyn Texts) {
        let text = drawing::draw(path, diagnostic, texts, self.errors.unwrap_or(Errors::Full));
        self.message_drawn(&text);
    }

    /// Writes to standard error what was drawn elsewhere.
    pub(crate) fn message_drawn(&mut self, text: &str) {
        if let Some(later) = &mut self.later {
            later.push_str(text);
            return;
        }
        self.message_now(text);
    }

    fn message_now(&mut self, text: &str) {
        if let Some(held) = &mut self.held {
            held.extend_from_slice(text.as_bytes());
            return;
        }
        // The two streams often end on one terminal: what was answered so far comes first.
        let _ = self.out.flush();
        // A closed standard error leaves nobody to tell.
        let _ = anstream::stderr().write_all(text.as_bytes());
    }

    /// Says something on standard error, unless silence was asked for.
    pub(crate) fn say(&mut self, text: impl fmt::Display) {
        if !self.quiet {
            self.message_now(&format!("{text}\n"));
        }
    }

    /// Writes one value as pretty JSON.
    pub(crate) fn json(&mut self, value: &impl serde::Serialize) -> io::Result<()> {
        serde_json::to_writer_pretty(&mut *self, value)?;
        self.write_all(b"\n")
    }
}

impl Write for Screen {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match &mut self.held {
            Some(held) => held.write(bytes),
            None => self.out.write(bytes),
        }
    }

    /// Prints everything; what was held back is read page by page where it is long.
    fn flush(&mut self) -> io::Result<()> {
        self.release()?;
        self.out.flush()
    }
}

/// The command that shows long texts page by page: `$PAGER`, else `less`; none where it is empty or `cat`.
fn pager() -> Option<Vec<String>> {
    let named = std::env::var("PAGER").unwrap_or_else(|_| "less".to_owned());
    let words: Vec<String> = named.split_whitespace().map(str::to_owned).collect();
    words.first().is_some_and(|first| first != "cat").then_some(words)
}

/// Shows a text in a pager; whether there was one.
fn through(pager: &[String], text: &[u8]) -> bool {
    let Some((program, arguments)) = pager.split_first() else {
        return false;
    };
    let mut command = Command::new(program);
    command.args(arguments).stdin(Stdio::piped());
    if std::env::var_os("LESS").is_none() {
        // Colours as they are, nothing cut off, and what was shown stays on the screen.
        command.env("LESS", "FRX");
    }
    let Ok(mut child) = command.spawn() else {
        return false;
    };
    if let Some(input) = child.stdin.take() {
        let choice = anstream::AutoStream::choice(&io::stdout());
        // A person may leave the pager before its end.
        let _ = anstream::AutoStream::new(Box::new(input) as Box<dyn Write + Send>, choice).write_all(text);
    }
    child.wait().is_ok()
}

/// A progress bar over a number of files that is found out while the work goes on.
pub(crate) struct Progress(ProgressBar);

impl Progress {
    /// A bar on standard error, when that is a terminal.
    pub(crate) fn new(quiet: bool) -> Self {
        if quiet || !io::stderr().is_terminal() {
            return Self(ProgressBar::hidden());
        }
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr_with_hz(8));
        bar.enable_steady_tick(Duration::from_millis(250));
        bar.set_style(ProgressStyle::default_spinner());
        Self(bar)
    }

    /// Whether anybody sees it.
    pub(crate) fn visible(&self) -> bool {
        !self.0.is_hidden()
    }

    /// A handle through which another thread may tell the total.
    pub(crate) fn total(&self) -> impl Fn(u64) + Send + 'static {
        let bar = self.0.clone();
        move |total| {
            bar.set_length(total);
            let shape = "{bar:24.cyan/dim} {human_pos} of {human_len} files  {msg}  {eta} left";
            if let Ok(style) = ProgressStyle::with_template(shape) {
                bar.set_style(style.progress_chars("━╸─"));
            }
        }
    }

    /// So many files are done, with so many bytes in so many seconds.
    pub(crate) fn at(&self, files: u64, bytes: u64, seconds: f64) {
        if self.visible() {
            self.0.set_position(files);
            let rate = bytes as f64 / 1e6 / seconds.max(1e-3);
            self.0
                .set_message(format!("{}, {rate:.0} MB/s", megabytes(bytes)));
        }
    }

    /// All runs are gone through once more.
    pub(crate) fn pass(&self, number: u64, runs: u64) {
        if self.visible() {
            self.0.set_length(runs);
            self.0.set_position(0);
            self.0.set_message(format!("pass {number}"));
            let shape = "{bar:24.cyan/dim} {human_pos} of {human_len} runs  {msg}";
            if let Ok(style) = ProgressStyle::with_template(shape) {
                self.0.set_style(style.progress_chars("━╸─"));
            }
        }
    }

    /// One more is done.
    pub(crate) fn step(&self) {
        self.0.inc(1);
    }

    /// So many of so many bytes are done.
    pub(crate) fn bytes(&self, done: u64, of: u64) {
        if self.visible() {
            self.0.set_length(of);
            self.0.set_position(done);
            self.0
                .set_message(format!("{} of {}", megabytes(done), megabytes(of)));
        }
    }

    /// Takes the bar away.
    pub(crate) fn end(&self) {
        self.0.finish_and_clear();
    }
}

/// A count with thin groups of three: `1,240`.
pub(crate) fn count(n: u64) -> String {
    let digits = n.to_string();
    let mut text = String::with_capacity(digits.len() + digits.len() / 3);
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

/// A count and its noun: `1 run`, `1,240 runs`.
pub(crate) fn plural(n: u64, noun: &str) -> String {
    format!("{} {noun}{}", count(n), if n == 1 { "" } else { "s" })
}

/// A size in bytes, kB or MB (powers of ten), to three digits.
pub(crate) fn megabytes(bytes: u64) -> String {
    let size = bytes as f64;
    match size {
        _ if size < 1e3 => format!("{bytes} B"),
        _ if size < 1e6 => format!("{:.1} kB", size / 1e3),
        _ if size < 1e9 => format!("{:.1} MB", size / 1e6),
        _ => format!("{:.1} GB", size / 1e9),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_are_grouped() {
        assert_eq!(count(0), "0");
        assert_eq!(count(999), "999");
        assert_eq!(count(1_000), "1,000");
        assert_eq!(count(1_234_567), "1,234,567");
        assert_eq!(plural(1, "run"), "1 run");
        assert_eq!(plural(0, "run"), "0 runs");
    }

    #[test]
    fn sizes_have_three_digits() {
        assert_eq!(megabytes(12), "12 B");
        assert_eq!(megabytes(1_250), "1.2 kB");
        assert_eq!(megabytes(83_400_000), "83.4 MB");
    }
}
