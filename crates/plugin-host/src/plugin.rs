//! A plugin as an ordinary reader: its workers, its failures, and what it said made into runs.

use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::{Duration, Instant};

#[cfg(unix)]
use curvary_formats::manifest::Input;
use curvary_formats::manifest::PluginManifest;
use curvary_formats::{Reader, ReaderInfo, Reading, Recognition, Source, SourcePreview};
use curvary_record::{Code, Diagnostic, Digest, Place};

use crate::allowed::AllowedPlugin;
use crate::files::PluginFiles;
#[cfg(unix)]
use crate::process::WorkerProcess;

/// What one file may take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PluginLimits {
    /// The time.
    pub time: Duration,
    /// Memory beside that of the worker and the file, in bytes.
    pub memory: u64,
}

impl PluginLimits {
    /// The limits of every plugin that does not set smaller ones.
    pub const USUAL: Self = Self {
        time: Duration::from_secs(20),
        memory: 1 << 30,
    };
}

/// After so many failures a plugin is put aside.
const MOST_FALLS: u32 = 2;

/// A plugin, shown as a reader.
pub struct Plugin {
    files: PluginFiles,
    /// What the digests were when it was allowed; nothing where it was named for this once.
    allowed: Option<AllowedPlugin>,
    limits: PluginLimits,
    /// A copy of the library in a folder of ours, so that what was looked at is what is loaded.
    staged: OnceLock<Result<StagedLibrary, Box<Diagnostic>>>,
    idle: Mutex<Vec<WorkerProcess>>,
    falls: AtomicU32,
    passed_over: AtomicU32,
}

struct StagedLibrary {
    folder: tempfile::TempDir,
    library: PathBuf,
}

#[cfg(not(unix))]
type WorkerProcess = std::convert::Infallible;

impl Plugin {
    /// A plugin that was allowed. Its library is looked at when a file is its own, not before.
    ///
    /// # Errors
    /// When its `plugin.toml` cannot be read any more or is wrong.
    pub fn of_entry(entry: &AllowedPlugin) -> Result<Self, Box<Diagnostic>> {
        let files = PluginFiles::open(&entry.folder)?;
        if files.manifest.name() != entry.name {
            let message = format!(
                "`plugin/{}` is not allowed: the plugin in `{}` was called `{}`",
                files.manifest.name(),
                entry.folder.display(),
                entry.name
            );
            return Err(Box::new(changed(message, &entry.folder.display().to_string())));
        }
        Ok(Self::new(files, Some(entry.clone())))
    }

    /// The plugin of a folder that a person names for this once.
    ///
    /// # Errors
    /// When there is no `plugin.toml`, or it is wrong.
    pub fn of_folder(folder: &std::path::Path) -> Result<Self, Box<Diagnostic>> {
        Ok(Self::new(PluginFiles::open(folder)?, None))
    }

    fn new(files: PluginFiles, allowed: Option<AllowedPlugin>) -> Self {
        let bounds = files.manifest.bounds();
        let usual = PluginLimits::USUAL;
        let limits = PluginLimits {
            time: bounds.seconds.map_or(usual.time, |seconds| {
                Duration::from_secs(u64::from(seconds.max(1))).min(usual.time)
            }),
            memory: bounds.memory_mib.map_or(usual.memory, |mib| {
                (u64::from(mib.max(16)) << 20).min(usual.memory)
            }),
        };
        Self {
            files,
            allowed,
            limits,
            staged: OnceLock::new(),
            idle: Mutex::default(),
            falls: AtomicU32::new(0),
            passed_over: AtomicU32::new(0),
        }
    }

    /// Its description.
    #[must_use]
    pub fn manifest(&self) -> &PluginManifest {
        &self.files.manifest
    }

    /// The folder of its `plugin.toml`.
    #[must_use]
    pub fn folder(&self) -> &std::path::Path {
        &self.files.folder
    }

    /// Why its library cannot be loaded, as far as that shows without loading it.
    #[must_use]
    pub fn obstacle(&self) -> Option<&Diagnostic> {
        self.staged().err()
    }

    fn staged(&self) -> Result<&StagedLibrary, &Diagnostic> {
        let staged = self.staged.get_or_init(|| self.stage());
        staged.as_ref().map_err(|why| &**why)
    }

    fn stage(&self) -> Result<StagedLibrary, Box<Diagnostic>> {
        let id = &self.card().id;
        let (path, library) = self.files.library()?;
        if let Some(entry) = &self.allowed {
            let folder = entry.folder.display().to_string();
            if entry.manifest != self.files.manifest_digest {
                let message = format!("plugin.toml of `{id}` is another one than when it was allowed");
                return Err(Box::new(changed(message, &folder)));
            }
            if entry.library != Digest::of(&library) {
                let message = format!("the library of `{id}` is another one than when it was allowed");
                return Err(Box::new(changed(message, &folder)));
            }
        }
        let folder = tempfile::Builder::new()
            .prefix("curvary-plugin-")
            .tempdir()
            .map_err(|error| unusable(id, &format!("no folder can be made for it: {error}")))?;
        let name = path.file_name().unwrap_or_default();
        let copy = folder.path().join(name);
        std::fs::write(&copy, library)
            .map_err(|error| unusable(id, &format!("its library cannot be copied: {error}")))?;
        Ok(StagedLibrary {
            library: copy,
            folder,
        })
    }

    fn idle(&self) -> MutexGuard<'_, Vec<WorkerProcess>> {
        self.idle.lock().unwrap_or_else(PoisonError::into_inner)
    }

    #[cfg(not(unix))]
    fn read_aside(&self, _: &Source) -> Reading {
        let why = unusable(&self.card().id, "plugins do not run on this system yet");
        Reading::failed(*why)
    }
}

fn changed(message: String, folder: &str) -> Diagnostic {
    Diagnostic::error(Code::new("plugin-changed"), message).help(format!(
        "if the new one is meant, allow it: `curvary readers allow {folder}`"
    ))
}

fn unusable(id: &str, why: &str) -> Box<Diagnostic> {
    let message = format!("`{id}` cannot be used: {why}");
    Box::new(Diagnostic::error(Code::new("plugin-unusable"), message))
}

impl Reader for Plugin {
    fn card(&self) -> &ReaderInfo {
        self.files.manifest.card()
    }

    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        self.files.manifest.recognise(glimpse)
    }

    fn read(&self, source: &Source) -> Reading {
        if self.falls.load(Ordering::Relaxed) >= MOST_FALLS {
            self.passed_over.fetch_add(1, Ordering::Relaxed);
            let message = format!(
                "`{}` failed {MOST_FALLS} times and was put aside, so this file was not read",
                self.card().id
            );
            let why = Diagnostic::error(Code::new("plugin-put-aside"), message);
            return Reading::failed(why.help(
                "see what was said of the files on which it failed; the next command tries the plugin again",
            ));
        }
        self.read_aside(source)
    }

    fn summary(&self) -> Option<Diagnostic> {
        let falls = self.falls.load(Ordering::Relaxed);
        let passed_over = self.passed_over.load(Ordering::Relaxed);
        if falls == 0 {
            return None;
        }
        let id = &self.card().id;
        let files = |count: u32| format!("{count} file{}", if count == 1 { "" } else { "s" });
        let message = if passed_over == 0 {
            format!("`{id}` failed on {}", files(falls))
        } else {
            format!(
                "`{id}` failed on {} and was put aside: {} of its kind not read",
                files(falls),
                if passed_over == 1 {
                    "1 more file was".to_owned()
                } else {
                    format!("{passed_over} more files were")
                }
            )
        };
        let why = Diagnostic::warning(Code::new("plugin-put-aside"), message);
        Some(why.at(
            Place {
                file: Some(self.files.manifest.path().to_owned()),
                ..Place::default()
            },
            "",
        ))
    }
}

#[cfg(unix)]
mod aside {
    //! One file read by a worker.

    use curvary_formats::sink::{
        ColumnInput, CurveInput, FixedCoordinateInput, LocatedText, Sink, SourceLimits as Most, SpanUnit,
        Values,
    };
    use curvary_record::{Severity, Span, code};

    use super::{
        Code, Diagnostic, Input, Instant, Ordering, Plugin, Reader, Reading, Source, StagedLibrary,
        WorkerProcess, unusable,
    };
    use crate::process::{WorkerEnd, WorkerFailure, own_program};
    use crate::wire::{BUILD, HostOrder, WireCells, WireColumn, WireSpan, WireText, WorkerReport, get, put};

    /// How reading went otherwise than well.
    enum PluginFailure {
        /// The worker fell.
        Fell(WorkerFailure),
        /// It did what it may not.
        Breach(String),
        /// It returned this.
        Returned(i32),
    }

    impl From<WorkerFailure> for PluginFailure {
        fn from(fall: WorkerFailure) -> Self {
            Self::Fell(fall)
        }
    }

    impl From<postcard::Error> for PluginFailure {
        fn from(_: postcard::Error) -> Self {
            Self::Fell(WorkerFailure::Garbled)
        }
    }

    impl From<curvary_formats::sink::ContractViolation> for PluginFailure {
        fn from(breach: curvary_formats::sink::ContractViolation) -> Self {
            Self::Breach(breach.why)
        }
    }

    impl Plugin {
        pub(super) fn read_aside(&self, source: &Source) -> Reading {
            let staged = match self.staged() {
                Ok(staged) => staged,
                Err(why) => return Reading::failed(why.clone()),
            };
            let waiting = self.idle().pop();
            let mut worker = match waiting.map_or_else(|| self.hire(staged), Ok) {
                Ok(worker) => worker,
                Err(why) => return Reading::failed(*why),
            };
            // What was printed while nobody listened is none of this file's.
            worker.printed();
            let (mut sink, outcome) = self.exchange(&mut worker, source);
            let printed = worker.printed();
            let outcome = outcome.and_then(|()| {
                let sink = std::mem::replace(&mut sink, self.sink(source));
                Ok(sink.finish()?)
            });
            match outcome {
                Ok(mut reading) => {
                    self.idle().push(worker);
                    if let Some(printed) = printed {
                        let message = format!("`{}` printed while it read: `{printed}`", self.card().id);
                        let note = Diagnostic::note(Code::new("plugin-printed"), message);
                        reading.remarks.push(note);
                    }
                    reading
                }
                Err(PluginFailure::Returned(status)) => {
                    self.idle().push(worker);
                    self.gave_up(status, sink, printed)
                }
                Err(failure) => {
                    // Whatever it is in the middle of, it is of no use any more.
                    worker.end();
                    let printed = printed.or_else(|| worker.printed());
                    self.failed(failure, printed)
                }
            }
        }

        fn sink<'s>(&'s self, source: &'s Source) -> Sink<'s> {
            let counting = match self.manifest().input() {
                Input::Text => SpanUnit::Text,
                Input::Bytes => SpanUnit::Bytes,
            };
            Sink::new(source, self.card(), counting, Most::USUAL)
        }

        /// Starts a worker that has the library loaded.
        fn hire(&self, staged: &StagedLibrary) -> Result<WorkerProcess, Box<Diagnostic>> {
            let id = &self.card().id;
            let program = own_program().map_err(|error| unusable(id, &error.to_string()))?;
            let mut worker = WorkerProcess::start(&program, staged.folder.path())
                .map_err(|error| unusable(id, &format!("its worker cannot be started: {error}")))?;
            let mut order = Vec::new();
            let load = HostOrder::Load {
                build: BUILD,
                library: &staged.library.to_string_lossy(),
                name: self.manifest().name(),
                version: &self.card().version,
                memory: self.limits.memory,
            };
            put(&mut order, &load).map_err(|error| unusable(id, &error.to_string()))?;
            let heard = worker.next(&mut order.as_slice(), Instant::now() + self.limits.time);
            let frame = match heard {
                Ok(frame) => frame,
                Err(fall) => {
                    worker.end();
                    let printed = worker.printed();
                    self.falls.fetch_add(1, Ordering::Relaxed);
                    return Err(Box::new(self.fell(fall, printed, "while it was loaded")));
                }
            };
            match get(&frame) {
                Ok(WorkerReport::Ready) => Ok(worker),
                Ok(WorkerReport::Unusable(why)) => Err(Box::new((*unusable(id, why)).help(
                    "build the plugin for this system and this version of the contract, or ask its makers",
                ))),
                _ => Err(unusable(id, "its worker does not answer as a worker does")),
            }
        }

        /// Hands a file over and hears what the plugin says of it.
        fn exchange<'s>(
            &'s self,
            worker: &mut WorkerProcess,
            source: &'s Source,
        ) -> (Sink<'s>, Result<(), PluginFailure>) {
            let mut sink = self.sink(source);
            let outcome = self.receive(worker, source, &mut sink);
            (sink, outcome)
        }

        fn receive(
            &self,
            worker: &mut WorkerProcess,
            source: &Source,
            sink: &mut Sink<'_>,
        ) -> Result<(), PluginFailure> {
            let text = self.manifest().input() == Input::Text;
            let body = if text {
                source.text().as_bytes()
            } else {
                source.bytes()
            };
            let own = format!("{}/", self.manifest().name());
            let settled = source
                .assume()
                .iter()
                .filter_map(|(about, answer)| Some((about.strip_prefix(own.as_str())?, answer)))
                .collect();
            let mut order = Vec::with_capacity(body.len() + 256);
            let read = HostOrder::Read {
                name: source.path(),
                bytes: body.len() as u64,
                text,
                settled,
            };
            put(&mut order, &read)?;
            order.extend_from_slice(body);
            let mut outgoing = order.as_slice();
            let deadline = Instant::now() + self.limits.time;
            let mut told = 0_usize;
            loop {
                let frame = worker.next(&mut outgoing, deadline)?;
                told += frame.len();
                if told > MOST_TOLD {
                    return Err(PluginFailure::Breach(format!(
                        "it said more than {MOST_TOLD} bytes of one file"
                    )));
                }
                match get(&frame)? {
                    WorkerReport::Done(0) => return Ok(()),
                    WorkerReport::Done(status) => return Err(PluginFailure::Returned(status)),
                    WorkerReport::Breach(why) => return Err(PluginFailure::Breach(why.to_owned())),
                    report => take(sink, text.then_some(source.text()), report)?,
                }
            }
        }

        /// The plugin returned otherwise than with 0.
        fn gave_up(&self, status: i32, sink: Sink<'_>, printed: Option<String>) -> Reading {
            let id = &self.card().id;
            // What it said of the reason is worth more than the number.
            let said = sink.remarks();
            if status == NOT_MINE {
                let why = Diagnostic::error(
                    Code::new("not-recognised"),
                    format!("`{id}` does not know the file after all"),
                );
                let mut reading = Reading::refused(why);
                reading.remarks.extend(said);
                return reading;
            }
            let panicked = said.iter().find(|remark| remark.code == code::PLUGIN_PANICKED);
            let message = match panicked {
                Some(remark) => format!("`{id}` panicked: {}", remark.message),
                None => format!("`{id}` failed on this file: it returned {status}"),
            };
            let mut why = Diagnostic::error(Code::new("plugin-failed"), message).help(HELP);
            if let Some(printed) = printed {
                why = why.with_note(format!("it printed: {printed}"));
            }
            let mut reading = Reading::failed(why);
            let others = said
                .into_iter()
                .filter(|remark| remark.code != code::PLUGIN_PANICKED);
            reading.remarks.extend(others);
            reading
        }

        fn failed(&self, failure: PluginFailure, printed: Option<String>) -> Reading {
            let id = &self.card().id;
            let why = match failure {
                PluginFailure::Fell(fall) => {
                    self.falls.fetch_add(1, Ordering::Relaxed);
                    self.fell(fall, printed, "on this file")
                }
                PluginFailure::Returned(status) => {
                    Diagnostic::error(Code::new("plugin-failed"), format!("`{id}` returned {status}"))
                }
                PluginFailure::Breach(why) => {
                    let message = format!(
                        "`{id}` did what the contract does not allow: {why}; nothing it said was used"
                    );
                    let why = Diagnostic::error(Code::new("plugin-misbehaved"), message).help(HELP);
                    match printed {
                        Some(printed) => why.with_note(format!("it printed: {printed}")),
                        None => why,
                    }
                }
            };
            Reading::failed(why)
        }

        fn fell(&self, fall: WorkerFailure, printed: Option<String>, when: &str) -> Diagnostic {
            let id = &self.card().id;
            let why = match fall {
                WorkerFailure::TooLong => {
                    let message = format!(
                        "`{id}` took longer than {} s {when} and was stopped",
                        self.limits.time.as_secs()
                    );
                    Diagnostic::error(Code::new("plugin-timeout"), message)
                }
                WorkerFailure::Garbled => {
                    let message =
                        format!("`{id}` destroyed what its worker said {when}; nothing of it was used");
                    Diagnostic::error(Code::new("plugin-crashed"), message)
                }
                WorkerFailure::Ended(ended) => self.ended(ended, printed.as_deref(), when),
            };
            let why = why.help(HELP);
            match printed {
                Some(printed) => why.with_note(format!("it printed: {printed}")),
                None => why,
            }
        }

        fn ended(&self, ended: WorkerEnd, printed: Option<&str>, when: &str) -> Diagnostic {
            let id = &self.card().id;
            // Three quarters held, or a block that was refused: the memory was the reason.
            let full = ended.memory > self.limits.memory / 4 * 3
                || printed
                    .is_some_and(|text| text.contains("memory allocation of") || text.contains("bad_alloc"));
            if full {
                let message = format!(
                    "`{id}` wanted more memory {when} than the {} MiB that a plugin may have, and ended",
                    self.limits.memory >> 20
                );
                return Diagnostic::error(Code::new("plugin-out-of-memory"), message);
            }
            let how = match (ended.signal, ended.status) {
                (Some(signal), _) => named(signal),
                (None, Some(status)) => format!("it ended the process with status {status}"),
                (None, None) => "its process ended".to_owned(),
            };
            let message = format!("`{id}` crashed {when} ({how}); nothing of it was used");
            Diagnostic::error(Code::new("plugin-crashed"), message)
        }
    }

    /// All that a plugin says of one file is no longer, in bytes.
    const MOST_TOLD: usize = 1 << 30;
    const NOT_MINE: i32 = 1;
    const HELP: &str = "report it to those who made the plugin, with the file; `--reader` reads the file with another reader, if one knows it";

    /// A signal in words.
    fn named(signal: i32) -> String {
        let name = match signal {
            libc::SIGSEGV => "it read or wrote memory that is not its own",
            libc::SIGBUS => "it read or wrote memory that is not there",
            libc::SIGABRT => "it called abort",
            libc::SIGFPE => "it divided by zero",
            libc::SIGILL => "it ran what is no code",
            libc::SIGXFSZ => "it wrote a file that is too large",
            libc::SIGKILL => "it was killed",
            _ => "",
        };
        if name.is_empty() {
            format!("signal {signal}")
        } else {
            format!("signal {signal}: {name}")
        }
    }

    fn span((start, end): WireSpan) -> Span {
        Span { start, end }
    }

    /// A part of the text, or what the plugin made.
    fn located<'a>(text: Option<&'a str>, word: WireText<'a>) -> Result<LocatedText<'a>, PluginFailure> {
        match word {
            WireText::Made(text, place) => Ok(LocatedText {
                text,
                span: span(place),
            }),
            WireText::Here(place) => Ok(LocatedText {
                text: part(text, place)?,
                span: span(place),
            }),
        }
    }

    fn part(text: Option<&str>, (start, end): WireSpan) -> Result<&str, PluginFailure> {
        let part = text.and_then(|text| text.get(start as usize..end as usize));
        part.ok_or_else(|| {
            PluginFailure::Breach(format!(
                "it handed over bytes {start}..{end}, which cut a character"
            ))
        })
    }

    fn take(sink: &mut Sink<'_>, text: Option<&str>, report: WorkerReport<'_>) -> Result<(), PluginFailure> {
        match report {
            WorkerReport::BeginRun(technique, place) => sink.begin_run(technique, span(place))?,
            WorkerReport::Claim(key, value) => sink.claim(located(text, key)?, located(text, value)?)?,
            WorkerReport::Axis(axis) => with_column(text, &axis, |column| sink.axis(column))?,
            WorkerReport::Curve {
                label,
                column,
                held,
                claims,
            } => {
                let held = held
                    .into_iter()
                    .map(|(quantity, unit, value)| {
                        Ok(FixedCoordinateInput {
                            quantity,
                            unit,
                            value: located(text, value)?,
                        })
                    })
                    .collect::<Result<Vec<_>, PluginFailure>>()?;
                let claims = claims
                    .into_iter()
                    .map(|(key, value)| Ok((located(text, key)?, located(text, value)?)))
                    .collect::<Result<Vec<_>, PluginFailure>>()?;
                with_column(text, &column, |column| {
                    sink.curve(&CurveInput {
                        label,
                        column: *column,
                        held: &held,
                        claims: &claims,
                    })
                })?;
            }
            WorkerReport::Remark(severity, code, message, place) => {
                let severity = match severity {
                    0 => Severity::Note,
                    1 => Severity::Warning,
                    _ => Severity::Error,
                };
                sink.remark(severity, code, message, span(place))?;
            }
            WorkerReport::Question {
                about,
                message,
                answers,
                place,
            } => sink.question(about, message, &answers, span(place))?,
            WorkerReport::EndRun => sink.end_run()?,
            _ => return Err(PluginFailure::Fell(WorkerFailure::Garbled)),
        }
        Ok(())
    }

    /// Calls with a column whose cells are put together from the report.
    fn with_column(
        text: Option<&str>,
        column: &WireColumn<'_>,
        call: impl FnOnce(&ColumnInput<'_>) -> Result<(), curvary_formats::sink::ContractViolation>,
    ) -> Result<(), PluginFailure> {
        let mut cells: Vec<LocatedText<'_>> = Vec::new();
        let mut spans: Vec<Span> = Vec::new();
        let values = match &column.cells {
            WireCells::Here(parts) => {
                cells.reserve_exact(parts.len());
                for place in parts {
                    cells.push(match place {
                        (0, 0) => LocatedText::default(),
                        place => located(text, WireText::Here(*place))?,
                    });
                }
                Values::Texts(&cells)
            }
            WireCells::Made(all, lengths, places) => {
                if lengths.len() != places.len() {
                    return Err(PluginFailure::Fell(WorkerFailure::Garbled));
                }
                let mut at = 0_usize;
                for (length, place) in lengths.iter().zip(places) {
                    let end = at.saturating_add(*length as usize);
                    let Some(text) = all.get(at..end) else {
                        return Err(PluginFailure::Fell(WorkerFailure::Garbled));
                    };
                    cells.push(LocatedText {
                        text,
                        span: span(*place),
                    });
                    at = end;
                }
                Values::Texts(&cells)
            }
            WireCells::Numbers(numbers, places) => {
                spans.extend(places.iter().copied().map(span));
                Values::Numbers(numbers, &spans)
            }
        };
        let said = ColumnInput {
            header: located(text, column.header)?,
            quantity: column.quantity,
            unit: column.unit,
            comma: column.comma,
            values,
        };
        Ok(call(&said)?)
    }
}
