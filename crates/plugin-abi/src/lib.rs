//! The contract of reader plugins: the C header word for word ([`raw`]), and a safe way to write a plugin in Rust.
//!
//! It is no part of the program's inside: nothing here knows what a run is, and the contract has a number of its own
//! ([`raw::CONTRACT`]) that has nothing to do with the program's version. What a plugin may do, and in which order,
//! stands in `plugins/include/curvary_reader.h`.
//!
//! A plugin is one file and needs no `unsafe` of its own:
//!
//! ```
//! use curvary_plugin_abi::{Column, Curve, Sink, Source, Stop, Text};
//!
//! fn read(source: &Source<'_>, sink: &Sink<'_>) -> Result<(), Stop> {
//!     let rows = source.text().lines().filter_map(|line| line.split_once(" > "));
//!     let (x, y): (Vec<Text<'_>>, Vec<Text<'_>>) =
//!         rows.map(|(x, y)| (Text::from(x), Text::from(y))).unzip();
//!     sink.begin_run("spectrum")?;
//!     sink.axis(&Column { quantity: "wavelength", unit: "nm", cells: &x, ..Column::default() })?;
//!     let column = Column { quantity: "absorbance", cells: &y, ..Column::default() };
//!     sink.curve(&Curve { column, ..Curve::default() })?;
//!     sink.end_run()
//! }
//!
//! curvary_plugin_abi::reader!(name: "arrows", version: "1", read: read);
//! ```
#![no_std]

pub mod raw;

use core::marker::PhantomData;
use core::ptr::null;
use core::slice::from_raw_parts;

pub use raw::Span;

/// The host wants nothing more; hand it on with `?`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stop;

/// A text that is handed over. One that is part of [`Source::text`] carries its place with it.
#[repr(transparent)]
#[derive(Clone, Copy, Debug)]
pub struct Text<'a>(raw::Text, PhantomData<&'a str>);

impl<'a> From<&'a str> for Text<'a> {
    fn from(text: &'a str) -> Self {
        Self(raw::Text::of(text), PhantomData)
    }
}

/// One file.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    name: &'a str,
    body: &'a [u8],
    settled: &'a [raw::SettledQuestion],
}

impl<'a> Source<'a> {
    /// The path, with `/` between folders. It need not exist.
    #[must_use]
    pub fn name(&self) -> &'a str {
        self.name
    }

    /// The text, for a plugin with `input = "text"`.
    #[must_use]
    pub fn text(&self) -> &'a str {
        core::str::from_utf8(self.body).unwrap_or("")
    }

    /// The bytes of the file, for a plugin with `input = "bytes"`.
    #[must_use]
    pub fn bytes(&self) -> &'a [u8] {
        self.body
    }

    /// Where a part of the text stands, for remarks; no place for a text that is no part of it.
    #[must_use]
    pub fn place(&self, part: &str) -> Span {
        let start = (part.as_ptr() as usize).wrapping_sub(self.body.as_ptr() as usize);
        match start.checked_add(part.len()) {
            Some(end) if end <= self.body.len() => Span {
                start: start as u64,
                end: end as u64,
            },
            _ => Span::default(),
        }
    }

    /// What a person answered to a question of this plugin.
    #[must_use]
    pub fn settled(&self, about: &str) -> Option<&'a str> {
        let pair = |settled: &raw::SettledQuestion| {
            // SAFETY: the host keeps these texts for as long as `read` runs, which is the life of `'a`.
            unsafe { Some((str_of(settled.about)?, str_of(settled.answer)?)) }
        };
        self.settled
            .iter()
            .filter_map(pair)
            .find(|(own, _)| *own == about)
            .map(|(_, answer)| answer)
    }
}

/// A column as it stood; give either `cells` or `numbers`.
#[derive(Clone, Copy, Debug, Default)]
pub struct Column<'a> {
    /// What stands above it, as it is spelled.
    pub header: &'a str,
    /// What it is of: `wavelength`, `time`, `absorbance`, …, or `new:NAME`. Empty: the header says it, or it is asked.
    pub quantity: &'a str,
    /// As it is spelled, or a UCUM code. Empty: the header says it, or it is asked.
    pub unit: &'a str,
    /// Whether the decimal sign of the cells is a comma.
    pub comma: bool,
    /// As written, one a point; an empty one is no value.
    pub cells: &'a [Text<'a>],
    /// Numbers of a form that holds binary ones; NaN is no value.
    pub numbers: &'a [f64],
    /// The place of each, as many as there are values; empty: cells that are part of the text say it themselves. Where they are
    /// another number, none of them is used and a warning says so.
    pub places: &'a [Span],
}

impl Column<'_> {
    fn count(&self) -> usize {
        if self.cells.is_empty() {
            self.numbers.len()
        } else {
            self.cells.len()
        }
    }

    fn raw(&self) -> raw::Column {
        let pointer = |places: &[Span]| {
            if places.is_empty() {
                null()
            } else {
                places.as_ptr()
            }
        };
        let numbers = self.cells.is_empty() && !self.numbers.is_empty();
        let count = self.count();
        raw::Column {
            size: size_of::<raw::Column>() as u32,
            decimal: if self.comma { ',' } else { '.' } as u32,
            header: raw::Text::of(self.header),
            quantity: raw::Text::of(self.quantity),
            unit: raw::Text::of(self.unit),
            count,
            cells: if numbers {
                null()
            } else {
                self.cells.as_ptr().cast()
            },
            numbers: if numbers { self.numbers.as_ptr() } else { null() },
            // Places that are not as many as the values would be read past their end.
            places: if self.places.len() == count {
                pointer(self.places)
            } else {
                null()
            },
        }
    }
}

/// A coordinate that stays the same along a curve.
#[repr(transparent)]
#[derive(Clone, Copy, Debug)]
pub struct FixedCoordinate<'a>(raw::FixedCoordinate, PhantomData<&'a str>);

impl<'a> FixedCoordinate<'a> {
    /// A quantity, its unit and its value as it was written.
    #[must_use]
    pub fn new(quantity: &'a str, unit: &'a str, value: &'a str) -> Self {
        let held = raw::FixedCoordinate {
            quantity: raw::Text::of(quantity),
            unit: raw::Text::of(unit),
            value: raw::Text::of(value),
            place: Span::default(),
        };
        Self(held, PhantomData)
    }
}

/// A key and its value.
#[repr(transparent)]
#[derive(Clone, Copy, Debug)]
pub struct Pair<'a>(raw::Pair, PhantomData<&'a str>);

impl<'a> Pair<'a> {
    /// A key and its value, as they were spelled.
    #[must_use]
    pub fn new(key: &'a str, value: &'a str) -> Self {
        let pair = raw::Pair {
            key: raw::Text::of(key),
            value: raw::Text::of(value),
            place: Span::default(),
        };
        Self(pair, PhantomData)
    }
}

/// A curve over the axis that was given last.
#[derive(Clone, Copy, Debug, Default)]
pub struct Curve<'a> {
    /// Its name.
    pub label: &'a str,
    /// Its values, as many as the axis has.
    pub column: Column<'a>,
    /// What stays the same along it.
    pub held: &'a [FixedCoordinate<'a>],
    /// What is said of this curve alone.
    pub claims: &'a [Pair<'a>],
}

/// How much a remark weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Something was left out or is doubtful; what was read is right.
    Warning,
    /// Something could not be read.
    Error,
}

/// Where a plugin puts what it finds.
///
/// Every function gives [`Stop`] when the host wants nothing more, because the plugin broke a rule of the contract or a limit is
/// reached; the host knows why and says it. Hand it on with `?`.
#[derive(Clone, Copy, Debug)]
pub struct Sink<'a>(&'a raw::Sink);

fn go_on(status: i32) -> Result<(), Stop> {
    if status == 0 { Ok(()) } else { Err(Stop) }
}

impl Sink<'_> {
    /// A run begins. `technique`: `spectrum`, `time-course`, …; empty: the axes say it.
    pub fn begin_run(&self, technique: &str) -> Result<(), Stop> {
        // SAFETY: the host gave this sink with its functions, and the text lives for the call; so below.
        go_on(unsafe { (self.0.begin_run)(self.0.host, raw::Text::of(technique), Span::default()) })
    }

    /// A key with its value, said of the run.
    pub fn claim(&self, key: &str, value: &str) -> Result<(), Stop> {
        self.claim_at(key, value, Span::default())
    }

    /// The same with the place of a value that is no part of the text.
    pub fn claim_at(&self, key: &str, value: &str, place: Span) -> Result<(), Stop> {
        let (key, value) = (raw::Text::of(key), raw::Text::of(value));
        // SAFETY: as above.
        go_on(unsafe { (self.0.claim)(self.0.host, key, value, place) })
    }

    /// The axis that the next curves run over.
    pub fn axis(&self, column: &Column<'_>) -> Result<(), Stop> {
        self.check_places(column)?;
        let column = column.raw();
        // SAFETY: as above.
        go_on(unsafe { (self.0.axis)(self.0.host, &raw const column) })
    }

    /// A curve over the last axis.
    pub fn curve(&self, curve: &Curve<'_>) -> Result<(), Stop> {
        self.check_places(&curve.column)?;
        let column = curve.column.raw();
        let raw = raw::Curve {
            size: size_of::<raw::Curve>() as u32,
            reserved: 0,
            label: raw::Text::of(curve.label),
            column: &raw const column,
            held: curve.held.as_ptr().cast(),
            held_count: curve.held.len(),
            claims: curve.claims.as_ptr().cast(),
            claim_count: curve.claims.len(),
        };
        // SAFETY: as above; `FixedCoordinate` and `Pair` are transparent.
        go_on(unsafe { (self.0.curve)(self.0.host, &raw const raw) })
    }

    fn check_places(&self, column: &Column<'_>) -> Result<(), Stop> {
        if column.places.is_empty() || column.places.len() == column.count() {
            return Ok(());
        }
        self.remark(
            Severity::Warning,
            "places-not-usable",
            "the plugin gave a column another number of places than of values: where its values stood is not known",
            Span::default(),
        )
    }

    /// Something odd, with its place: bytes of the body, or none.
    pub fn remark(&self, severity: Severity, code: &str, message: &str, place: Span) -> Result<(), Stop> {
        let severity = match severity {
            Severity::Note => raw::NOTE,
            Severity::Warning => raw::WARNING,
            Severity::Error => raw::ERROR,
        };
        let (code, message) = (raw::Text::of(code), raw::Text::of(message));
        // SAFETY: as above.
        go_on(unsafe { (self.0.remark)(self.0.host, severity, code, message, place) })
    }

    /// What only a person can decide; each answer with what the file says under it, two to twenty. The host refuses a question
    /// with more, or with fewer, and the file with it.
    pub fn question(&self, about: &str, message: &str, answers: &[(&str, &str)]) -> Result<(), Stop> {
        // Room for one more than there may be, so that the host sees that there are too many.
        let mut all = [raw::Answer {
            answer: raw::Text::EMPTY,
            says: raw::Text::EMPTY,
        }; MOST_ANSWERS + 1];
        for (slot, (answer, says)) in all.iter_mut().zip(answers) {
            *slot = raw::Answer {
                answer: raw::Text::of(answer),
                says: raw::Text::of(says),
            };
        }
        let question = raw::Question {
            size: size_of::<raw::Question>() as u32,
            reserved: 0,
            about: raw::Text::of(about),
            message: raw::Text::of(message),
            answers: all.as_ptr(),
            answer_count: answers.len().min(all.len()),
            place: Span::default(),
        };
        // SAFETY: as above.
        go_on(unsafe { (self.0.question)(self.0.host, &raw const question) })
    }

    /// The run ends.
    pub fn end_run(&self) -> Result<(), Stop> {
        // SAFETY: as above.
        go_on(unsafe { (self.0.end_run)(self.0.host) })
    }
}

/// A question has at most so many answers.
const MOST_ANSWERS: usize = 20;

/// What `read` returns to the host after a panic.
const PANICKED: i32 = 101;

/// The text of a pointer and a length; `None` where it is no UTF-8.
///
/// # Safety
/// The pointer must be good for the length, for as long as the text is used, or the length zero.
unsafe fn str_of<'a>(text: raw::Text) -> Option<&'a str> {
    // SAFETY: the caller's promise.
    core::str::from_utf8(unsafe { bytes_of(text) }).ok()
}

/// # Safety
/// As [`str_of`].
unsafe fn bytes_of<'a>(text: raw::Text) -> &'a [u8] {
    if text.len == 0 || text.at.is_null() {
        return &[];
    }
    // SAFETY: the caller's promise.
    unsafe { from_raw_parts(text.at.cast(), text.len) }
}

/// Calls a plugin's function with what the host gave. For the macro [`reader!`].
///
/// `guarded` calls it so that a panic comes back as its message.
///
/// # Safety
/// Both pointers must be those that the host called with.
#[doc(hidden)]
pub unsafe fn call<M: AsRef<str>>(
    source: *const raw::Source,
    sink: *const raw::Sink,
    guarded: impl FnOnce(&Source<'_>, &Sink<'_>) -> Result<Result<(), Stop>, M>,
) -> i32 {
    // SAFETY: the caller's promise.
    let (Some(raw), Some(sink)) = (unsafe { source.as_ref() }, unsafe { sink.as_ref() }) else {
        return PANICKED;
    };
    // SAFETY: the host keeps all of it for as long as `read` runs.
    let source = unsafe {
        Source {
            name: str_of(raw.name).unwrap_or(""),
            body: bytes_of(raw.body),
            settled: if raw.settled_count == 0 {
                &[]
            } else {
                from_raw_parts(raw.settled, raw.settled_count)
            },
        }
    };
    let sink = Sink(sink);
    match guarded(&source, &sink) {
        // Why it had to stop is known to the host.
        Ok(Ok(()) | Err(Stop)) => raw::DONE,
        Err(message) => {
            let _ = sink.remark(
                Severity::Error,
                "plugin-panicked",
                message.as_ref(),
                Span::default(),
            );
            PANICKED
        }
    }
}

/// Makes a function the plugin of this library: `reader!(name: "…", version: "…", read: function)`.
///
/// Name and version are those of `plugin.toml`. The function is called once for each file; a panic in it costs that file
/// alone.
#[macro_export]
macro_rules! reader {
    (name: $name:expr, version: $version:expr, read: $read:path $(,)?) => {
        const _: () = {
            extern crate std;

            unsafe extern "C" fn __curvary_read(
                source: *const $crate::raw::Source,
                sink: *const $crate::raw::Sink,
            ) -> i32 {
                // SAFETY: the host calls with its own pointers.
                unsafe {
                    $crate::call(source, sink, |source, sink| {
                        let read = std::panic::AssertUnwindSafe(|| $read(source, sink));
                        std::panic::catch_unwind(read).map_err(|payload| {
                            let text = payload
                                .downcast_ref::<&str>()
                                .map(|text| std::string::String::from(*text));
                            text.or_else(|| payload.downcast_ref::<std::string::String>().cloned())
                                .unwrap_or_default()
                        })
                    })
                }
            }

            static READER: $crate::raw::Reader = $crate::raw::Reader {
                size: size_of::<$crate::raw::Reader>() as u32,
                contract: $crate::raw::CONTRACT,
                name: $crate::raw::Text::of($name),
                version: $crate::raw::Text::of($version),
                read: Some(__curvary_read),
            };

            #[unsafe(no_mangle)]
            extern "C" fn curvary_reader_v1() -> *const $crate::raw::Reader {
                &raw const READER
            }
        };
    };
}

#[cfg(test)]
mod tests {
    extern crate std;

    use core::ffi::c_void;
    use std::vec::Vec;

    use super::*;

    /// What a host would have heard: counts of answers, and codes of remarks.
    #[derive(Default)]
    struct HostRecord {
        answers: Vec<usize>,
        remarks: Vec<std::string::String>,
    }

    unsafe extern "C" fn begin_run(_: *mut c_void, _: raw::Text, _: Span) -> i32 {
        0
    }
    unsafe extern "C" fn claim(_: *mut c_void, _: raw::Text, _: raw::Text, _: Span) -> i32 {
        0
    }
    unsafe extern "C" fn axis(_: *mut c_void, _: *const raw::Column) -> i32 {
        0
    }
    unsafe extern "C" fn curve(_: *mut c_void, _: *const raw::Curve) -> i32 {
        0
    }
    unsafe extern "C" fn end_run(_: *mut c_void) -> i32 {
        0
    }
    unsafe extern "C" fn remark(host: *mut c_void, _: u32, code: raw::Text, _: raw::Text, _: Span) -> i32 {
        // SAFETY: the host below is a `HostRecord`, and the texts live for the call.
        let (heard, code) = unsafe { (&mut *host.cast::<HostRecord>(), str_of(code)) };
        heard.remarks.push(code.unwrap_or("").into());
        0
    }
    unsafe extern "C" fn question(host: *mut c_void, question: *const raw::Question) -> i32 {
        // SAFETY: as above.
        let (heard, question) = unsafe { (&mut *host.cast::<HostRecord>(), &*question) };
        // SAFETY: the question holds as many answers as it says.
        let answers = unsafe { from_raw_parts(question.answers, question.answer_count) };
        for one in answers {
            // SAFETY: the texts live for the call.
            assert_eq!(unsafe { str_of(one.answer) }, Some("a"));
        }
        heard.answers.push(answers.len());
        0
    }

    fn with(tell: impl FnOnce(&Sink<'_>) -> Result<(), Stop>) -> HostRecord {
        let mut heard = HostRecord::default();
        let raw = raw::Sink {
            size: size_of::<raw::Sink>() as u32,
            reserved: 0,
            host: (&raw mut heard).cast(),
            begin_run,
            claim,
            axis,
            curve,
            remark,
            question,
            end_run,
        };
        assert_eq!(tell(&Sink(&raw)), Ok(()));
        heard
    }

    #[test]
    fn a_host_sees_that_there_are_too_many_answers() {
        let all = [("a", "says"); 30];
        let heard = with(|sink| {
            sink.question("which", "which?", &all[..2])?;
            sink.question("which", "which?", &all[..20])?;
            sink.question("which", "which?", &all[..21])?;
            sink.question("which", "which?", &all)
        });
        assert_eq!(heard.answers, [2, 20, 21, 21]);
    }

    #[test]
    fn places_that_are_not_as_many_as_the_values_are_told() {
        let cells = [Text::from("1"), Text::from("2")];
        let places = [Span::default(); 2];
        let column = |places| Column {
            cells: &cells,
            places,
            ..Column::default()
        };
        let heard = with(|sink| {
            sink.axis(&column(&[]))?;
            sink.axis(&column(&places))?;
            sink.axis(&column(&places[..1]))
        });
        assert_eq!(heard.remarks, ["places-not-usable"]);
    }

    #[test]
    fn a_part_of_the_text_has_its_place() {
        let text = "one two";
        let source = Source {
            name: "",
            body: text.as_bytes(),
            settled: &[],
        };
        assert_eq!(source.place(&text[4..]), Span { start: 4, end: 7 });
        assert_eq!(source.place("elsewhere"), Span::default());
    }
}
