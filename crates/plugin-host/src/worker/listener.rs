//! What the plugin says, taken from its memory and put on its way to the host.
//!
//! Pointers cannot be tried; a wrong one ends the process, and that is what the process is for. Everything else is
//! looked at: sizes, lengths, UTF-8, the thread, the time.

use std::ffi::c_void;
use std::fmt;
use std::fs::File;
use std::io::{self, Write};
use std::ptr;
use std::slice::from_raw_parts;
use std::thread::{self, ThreadId};

use curvary_formats::sink::SourceLimits;
use curvary_plugin_abi::raw;

use crate::wire::{WireCells, WireColumn, WireCoordinate, WireSpan, WireText, WorkerReport, put};

/// So much is gathered before it is sent.
const GATHERED: usize = 256 << 10;

/// More than so many coordinates, claims or answers of one call are a lie.
const MOST: usize = 100_000;

/// Hears one plugin.
pub(super) struct PluginListener {
    reports: File,
    buffer: Vec<u8>,
    /// Where the body lies, and whether it is text.
    body: (usize, usize),
    text: bool,
    /// The thread of `read`, while it runs.
    reading: Option<ThreadId>,
    breach: Option<ContractBreach>,
}

/// How a call of a plugin breaks the contract. The worker's report carries it as a sentence; the host adds which plugin it was.
#[derive(Debug)]
pub(super) enum ContractBreach {
    /// What it said cannot be put on its way.
    Unsendable,
    PlaceBeyondBody {
        place: raw::Span,
        body: usize,
    },
    TooManyValues(usize),
    UnknownDecimalSign(u32),
    TextsTooLong,
    TooManyParts {
        coordinates: usize,
        claims: usize,
    },
    TooManyAnswers(usize),
    UnknownSeverity(u32),
    /// A text with a length and no address.
    TextNowhere(usize),
    TextTooLong {
        length: usize,
        longest: usize,
    },
    NoUtf8 {
        valid: usize,
        shown: String,
    },
    /// A list with a count and no address.
    ListNowhere {
        count: usize,
        what: &'static str,
    },
    NoStruct(&'static str),
    ShortStruct {
        name: &'static str,
        own: usize,
        expected: usize,
    },
}

impl fmt::Display for ContractBreach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unsendable => write!(f, "what it said could not be passed on"),
            Self::PlaceBeyondBody { place, body } => write!(
                f,
                "it named the place {}..{} in a body of {body} bytes",
                place.start, place.end
            ),
            Self::TooManyValues(count) => write!(
                f,
                "it said that a column has {count} values; at most {} are taken",
                SourceLimits::USUAL.points
            ),
            Self::UnknownDecimalSign(sign) => write!(f, "it said that the decimal sign is {sign}"),
            Self::TextsTooLong => write!(f, "the texts of one column are too long"),
            Self::TooManyParts { coordinates, claims } => {
                write!(
                    f,
                    "it said that a curve has {coordinates} coordinates and {claims} claims"
                )
            }
            Self::TooManyAnswers(count) => write!(f, "it said that a question has {count} answers"),
            Self::UnknownSeverity(severity) => write!(f, "it made a remark of severity {severity}"),
            Self::TextNowhere(length) => {
                write!(f, "it handed over a text of {length} bytes that is nowhere")
            }
            Self::TextTooLong { length, longest } => write!(
                f,
                "it handed over a text of {length} bytes; at most {longest} are taken"
            ),
            Self::NoUtf8 { valid, shown } => write!(
                f,
                "it handed over a text that is no UTF-8 at byte {valid}: `{shown}`"
            ),
            Self::ListNowhere { count, what } => {
                write!(f, "it said that there are {count} {what}, and there are none")
            }
            Self::NoStruct(name) => write!(f, "it handed over no {name}"),
            Self::ShortStruct { name, own, expected } => write!(
                f,
                "its {name} says that it has {own} bytes, and version {} has {expected}",
                raw::CONTRACT
            ),
        }
    }
}

type ListenResult<T> = Result<T, ContractBreach>;

impl PluginListener {
    pub(super) fn new(reports: File) -> Self {
        Self {
            reports,
            buffer: Vec::new(),
            body: (0, 0),
            text: false,
            reading: None,
            breach: None,
        }
    }

    pub(super) fn buffer(&mut self) -> &mut Vec<u8> {
        &mut self.buffer
    }

    pub(super) fn flush(&mut self) -> io::Result<()> {
        self.reports.write_all(&self.buffer)?;
        self.buffer.clear();
        Ok(())
    }

    /// Lets the plugin read a body.
    pub(super) fn read(
        &mut self,
        reader: &raw::Reader,
        name: &str,
        body: &[u8],
        text: bool,
        settled: &[(&str, &str)],
    ) -> i32 {
        let Some(read) = reader.read else { return -1 };
        let settled: Vec<raw::SettledQuestion> = settled
            .iter()
            .map(|(about, answer)| raw::SettledQuestion {
                about: raw::Text::of(about),
                answer: raw::Text::of(answer),
            })
            .collect();
        let source = raw::Source {
            size: size_of::<raw::Source>() as u32,
            reserved: 0,
            name: raw::Text::of(name),
            body: raw::Text {
                at: body.as_ptr().cast(),
                len: body.len(),
            },
            settled: settled.as_ptr(),
            settled_count: settled.len(),
        };
        self.body = (body.as_ptr() as usize, body.len());
        self.text = text;
        self.breach = None;
        self.reading = Some(thread::current().id());
        let sink = raw::Sink {
            size: size_of::<raw::Sink>() as u32,
            reserved: 0,
            host: ptr::from_mut(self).cast(),
            begin_run,
            claim,
            axis,
            curve,
            remark,
            question,
            end_run,
        };
        // SAFETY: the function of a reader that the contract describes, called as the contract says.
        let status = unsafe { read(&raw const source, &raw const sink) };
        self.reading = None;
        status
    }

    /// Ends the report on a body.
    pub(super) fn done(&mut self, status: i32) -> io::Result<()> {
        if let Some(why) = self.breach.take() {
            put(&mut self.buffer, &WorkerReport::Breach(&why.to_string())).map_err(io::Error::other)?;
        }
        put(&mut self.buffer, &WorkerReport::Done(status)).map_err(io::Error::other)?;
        self.flush()
    }

    fn report(&mut self, report: &WorkerReport<'_>) -> ListenResult<()> {
        put(&mut self.buffer, report).map_err(|_| ContractBreach::Unsendable)?;
        if self.buffer.len() < GATHERED {
            return Ok(());
        }
        // Without a host there is nothing left to do.
        self.flush().map_err(|_| ContractBreach::Unsendable)
    }

    /// The part of the body that a text is, where it is one.
    fn part(&self, text: raw::Text) -> Option<WireSpan> {
        let start = (text.at as usize).checked_sub(self.body.0)?;
        let end = start.checked_add(text.len)?;
        if text.len == 0 || end > self.body.1 {
            return None;
        }
        Some((u32::try_from(start).ok()?, u32::try_from(end).ok()?))
    }

    /// # Safety
    /// What the plugin calls a text must be one.
    unsafe fn word<'a>(&self, text: raw::Text, place: raw::Span) -> ListenResult<WireText<'a>> {
        let part = self.part(text);
        if let Some(part) = part.filter(|_| self.text && place.start >= place.end) {
            return Ok(WireText::Here(part));
        }
        // SAFETY: the caller's promise.
        let text = unsafe { str_of(text) }?;
        let place = self.place(place)?;
        Ok(WireText::Made(
            text,
            if place.0 < place.1 {
                place
            } else {
                part.unwrap_or((0, 0))
            },
        ))
    }

    fn place(&self, place: raw::Span) -> ListenResult<WireSpan> {
        if place.start >= place.end {
            return Ok((0, 0));
        }
        let beyond = place.end > self.body.1 as u64;
        match (u32::try_from(place.start), u32::try_from(place.end)) {
            (Ok(start), Ok(end)) if !beyond => Ok((start, end)),
            _ => Err(ContractBreach::PlaceBeyondBody {
                place,
                body: self.body.1,
            }),
        }
    }

    /// # Safety
    /// The column must be what the contract says.
    unsafe fn column<'a>(
        &self,
        column: *const raw::Column,
        gathered: &'a mut String,
    ) -> ListenResult<WireColumn<'a>> {
        // SAFETY: the caller's promise, here and below.
        let said = unsafe { structure(column, "curvary_column", |column| &raw const (*column).size) }?;
        if said.count > SourceLimits::USUAL.points {
            return Err(ContractBreach::TooManyValues(said.count));
        }
        let comma = match char::from_u32(said.decimal) {
            Some('\0' | '.') => false,
            Some(',') => true,
            _ => return Err(ContractBreach::UnknownDecimalSign(said.decimal)),
        };
        let places = if said.places.is_null() {
            &[]
        } else {
            // SAFETY: as above.
            unsafe { slice(said.places, said.count, "places") }?
        };
        let stretches = || {
            places
                .iter()
                .map(|place| self.place(*place))
                .collect::<ListenResult<Vec<WireSpan>>>()
        };
        let cells = if said.count == 0 {
            WireCells::Here(Vec::new())
        } else if !said.cells.is_null() {
            // SAFETY: as above.
            let cells = unsafe { slice(said.cells, said.count, "cells") }?;
            let places = stretches()?;
            // SAFETY: as above.
            unsafe { self.cells(cells, places, gathered) }?
        } else {
            // SAFETY: as above.
            let numbers = unsafe { slice(said.numbers, said.count, "cells or numbers") }?;
            WireCells::Numbers(numbers.to_vec(), stretches()?)
        };
        // SAFETY: as above.
        unsafe {
            Ok(WireColumn {
                header: self.word(said.header, raw::Span::default())?,
                quantity: str_of(said.quantity)?,
                unit: str_of(said.unit)?,
                comma,
                cells,
            })
        }
    }

    /// # Safety
    /// What the plugin calls texts must be texts.
    unsafe fn cells<'a>(
        &self,
        cells: &[raw::Text],
        places: Vec<WireSpan>,
        gathered: &'a mut String,
    ) -> ListenResult<WireCells<'a>> {
        if self.text && places.is_empty() {
            let parts: Option<Vec<WireSpan>> = cells
                .iter()
                .map(|cell| {
                    if cell.len == 0 {
                        Some((0, 0))
                    } else {
                        self.part(*cell)
                    }
                })
                .collect();
            if let Some(parts) = parts {
                return Ok(WireCells::Here(parts));
            }
        }
        let mut lengths = Vec::with_capacity(cells.len());
        let mut stretches = Vec::with_capacity(cells.len());
        for (at, cell) in cells.iter().enumerate() {
            // SAFETY: the caller's promise.
            let text = unsafe { str_of(*cell) }?;
            gathered.push_str(text);
            lengths.push(u32::try_from(text.len()).unwrap_or(u32::MAX));
            let named = places.get(at).copied().filter(|place| place.0 < place.1);
            stretches.push(named.or_else(|| self.part(*cell)).unwrap_or((0, 0)));
            if gathered.len() > SourceLimits::USUAL.texts {
                return Err(ContractBreach::TextsTooLong);
            }
        }
        Ok(WireCells::Made(gathered, lengths, stretches))
    }
}

/// Does what a call of the plugin says; other than 0 is "stop".
///
/// # Safety
/// `host` must be what the sink holds.
unsafe fn with(host: *mut c_void, act: impl FnOnce(&mut PluginListener) -> ListenResult<()>) -> i32 {
    let listener: *mut PluginListener = host.cast();
    if listener.is_null() || !listener.is_aligned() {
        return 1;
    }
    // SAFETY: the caller's promise; a call from another thread is found out before anything is touched.
    let reading = unsafe { (&raw const (*listener).reading).read() };
    if reading != Some(thread::current().id()) {
        // Told by the end of the process, since nothing can be told from here without disturbing the reading thread.
        std::process::abort();
    }
    // SAFETY: as above.
    let listener = unsafe { &mut *listener };
    if listener.breach.is_some() {
        return 1;
    }
    match act(listener) {
        Ok(()) => 0,
        Err(why) => {
            listener.breach = Some(why);
            1
        }
    }
}

/// The bytes of a text.
///
/// # Safety
/// What the plugin calls a text must be one.
pub(super) unsafe fn bytes<'a>(text: raw::Text, longest: usize) -> ListenResult<&'a [u8]> {
    if text.len == 0 {
        return Ok(&[]);
    }
    if text.at.is_null() {
        return Err(ContractBreach::TextNowhere(text.len));
    }
    if text.len > longest {
        return Err(ContractBreach::TextTooLong {
            length: text.len,
            longest,
        });
    }
    // SAFETY: the caller's promise.
    Ok(unsafe { from_raw_parts(text.at.cast(), text.len) })
}

/// # Safety
/// As [`bytes`].
unsafe fn str_of<'a>(text: raw::Text) -> ListenResult<&'a str> {
    // SAFETY: the caller's promise.
    let bytes = unsafe { bytes(text, SourceLimits::USUAL.text) }?;
    std::str::from_utf8(bytes).map_err(|error| ContractBreach::NoUtf8 {
        valid: error.valid_up_to(),
        shown: String::from_utf8_lossy(&bytes[..bytes.len().min(40)]).into_owned(),
    })
}

/// # Safety
/// The pointer must be good for so many.
unsafe fn slice<'a, T>(pointer: *const T, count: usize, what: &'static str) -> ListenResult<&'a [T]> {
    if count == 0 {
        return Ok(&[]);
    }
    if pointer.is_null() || !pointer.is_aligned() {
        return Err(ContractBreach::ListNowhere { count, what });
    }
    // SAFETY: the caller's promise.
    Ok(unsafe { from_raw_parts(pointer, count) })
}

/// A struct that says its size.
///
/// # Safety
/// The pointer must be to such a struct, as long as it says.
unsafe fn structure<T: Copy>(
    pointer: *const T,
    name: &'static str,
    size: impl FnOnce(*const T) -> *const u32,
) -> ListenResult<T> {
    if pointer.is_null() || !pointer.is_aligned() {
        return Err(ContractBreach::NoStruct(name));
    }
    // SAFETY: the caller's promise; the rest is read only when it is there.
    let own = unsafe { size(pointer).read() } as usize;
    if own < size_of::<T>() {
        return Err(ContractBreach::ShortStruct {
            name,
            own,
            expected: size_of::<T>(),
        });
    }
    // SAFETY: as above.
    Ok(unsafe { pointer.read() })
}

unsafe extern "C" fn begin_run(host: *mut c_void, technique: raw::Text, place: raw::Span) -> i32 {
    // SAFETY: the contract's; so in all functions below.
    unsafe {
        with(host, |listener| {
            let place = listener.place(place)?;
            listener.report(&WorkerReport::BeginRun(str_of(technique)?, place))
        })
    }
}

unsafe extern "C" fn claim(host: *mut c_void, key: raw::Text, value: raw::Text, place: raw::Span) -> i32 {
    // SAFETY: see `begin_run`.
    unsafe {
        with(host, |listener| {
            let key = listener.word(key, raw::Span::default())?;
            let value = listener.word(value, place)?;
            listener.report(&WorkerReport::Claim(key, value))
        })
    }
}

unsafe extern "C" fn axis(host: *mut c_void, column: *const raw::Column) -> i32 {
    // SAFETY: see `begin_run`.
    unsafe {
        with(host, |listener| {
            let mut gathered = String::new();
            let column = listener.column(column, &mut gathered)?;
            listener.report(&WorkerReport::Axis(column))
        })
    }
}

unsafe extern "C" fn curve(host: *mut c_void, curve: *const raw::Curve) -> i32 {
    // SAFETY: see `begin_run`.
    unsafe {
        with(host, |listener| {
            let said = structure(curve, "curvary_curve", |curve| &raw const (*curve).size)?;
            if said.held_count > MOST || said.claim_count > MOST {
                return Err(ContractBreach::TooManyParts {
                    coordinates: said.held_count,
                    claims: said.claim_count,
                });
            }
            let mut held: Vec<WireCoordinate<'_>> = Vec::new();
            for one in slice(said.held, said.held_count, "coordinates")? {
                let value = listener.word(one.value, one.place)?;
                held.push((str_of(one.quantity)?, str_of(one.unit)?, value));
            }
            let mut claims = Vec::new();
            for one in slice(said.claims, said.claim_count, "claims")? {
                let key = listener.word(one.key, raw::Span::default())?;
                claims.push((key, listener.word(one.value, one.place)?));
            }
            let mut gathered = String::new();
            let report = WorkerReport::Curve {
                label: str_of(said.label)?,
                column: listener.column(said.column, &mut gathered)?,
                held,
                claims,
            };
            listener.report(&report)
        })
    }
}

unsafe extern "C" fn remark(
    host: *mut c_void,
    severity: u32,
    code: raw::Text,
    message: raw::Text,
    place: raw::Span,
) -> i32 {
    // SAFETY: see `begin_run`.
    unsafe {
        with(host, |listener| {
            let place = listener.place(place)?;
            if severity > raw::ERROR {
                return Err(ContractBreach::UnknownSeverity(severity));
            }
            listener.report(&WorkerReport::Remark(
                severity,
                str_of(code)?,
                str_of(message)?,
                place,
            ))
        })
    }
}

unsafe extern "C" fn question(host: *mut c_void, question: *const raw::Question) -> i32 {
    // SAFETY: see `begin_run`.
    unsafe {
        with(host, |listener| {
            let said = structure(question, "curvary_question", |question| {
                &raw const (*question).size
            })?;
            if said.answer_count > MOST {
                return Err(ContractBreach::TooManyAnswers(said.answer_count));
            }
            let mut answers = Vec::new();
            for one in slice(said.answers, said.answer_count, "answers")? {
                answers.push((str_of(one.answer)?, str_of(one.says)?));
            }
            let report = WorkerReport::Question {
                about: str_of(said.about)?,
                message: str_of(said.message)?,
                answers,
                place: listener.place(said.place)?,
            };
            listener.report(&report)
        })
    }
}

unsafe extern "C" fn end_run(host: *mut c_void) -> i32 {
    // SAFETY: see `begin_run`.
    unsafe { with(host, |listener| listener.report(&WorkerReport::EndRun)) }
}
