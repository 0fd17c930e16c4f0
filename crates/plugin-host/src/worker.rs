//! The worker: our own executable, started again to load one library and to read files with it.
//!
//! Before the library is loaded, standard input and output are moved away, so that a plugin that prints spoils nothing,
//! and limits are set. The plugin shares this process's memory, so nothing said here is trusted on the other side.

mod confine;
mod listener;

use std::ffi::CString;
use std::fmt;
use std::fs::File;
use std::io::{self, BufReader, Read, Write};
use std::os::fd::{FromRawFd, RawFd};
use std::process::ExitCode;

use curvary_plugin_abi::raw;
use libloading::os::unix::{Library, RTLD_LOCAL, RTLD_NOW};

use self::listener::{ContractBreach, PluginListener};
use crate::wire::{BUILD, HostOrder, WorkerReport, get, put};

/// Serves until the orders end.
pub(crate) fn serve() -> ExitCode {
    // SAFETY: only asks.
    if unsafe { libc::isatty(0) } == 1 {
        return ExitCode::from(2);
    }
    match work() {
        Ok(()) => ExitCode::SUCCESS,
        Err(_) => ExitCode::from(3),
    }
}

fn work() -> io::Result<()> {
    let (orders, reports) = pipes_moved()?;
    // Our runtime looks at faults for stacks that overflow, and forgives the first; here each ends the process.
    for fault in [libc::SIGSEGV, libc::SIGBUS] {
        // SAFETY: sets what the system does by itself.
        unsafe { libc::signal(fault, libc::SIG_DFL) };
    }
    confine::end_with_parent();
    let mut orders = BufReader::with_capacity(64 << 10, orders);
    let mut listener = PluginListener::new(reports);
    let mut frame = Vec::new();
    if !next(&mut orders, &mut frame)? {
        return Ok(());
    }
    let Ok(HostOrder::Load {
        build,
        library,
        name,
        version,
        memory,
    }) = get(&frame)
    else {
        return Err(io::Error::other("no order to load"));
    };
    if build != BUILD {
        listener.send(&WorkerReport::Unusable(
            "the worker is of another build than the program",
        ))?;
        return listener.flush();
    }
    confine::limit()?;
    let reader = match load(library, name, version) {
        Ok(reader) => reader,
        Err(why) => {
            listener.send(&WorkerReport::Unusable(&why.to_string()))?;
            return listener.flush();
        }
    };
    listener.send(&WorkerReport::Ready)?;
    listener.flush()?;
    let mut body = Vec::new();
    while next(&mut orders, &mut frame)? {
        let Ok(HostOrder::Read {
            name,
            bytes,
            text,
            settled,
        }) = get(&frame)
        else {
            return Err(io::Error::other("no order to read"));
        };
        body.clear();
        let length = usize::try_from(bytes).map_err(io::Error::other)?;
        body.reserve_exact(length);
        if (&mut orders).take(bytes).read_to_end(&mut body)? != length {
            return Ok(());
        }
        confine::memory(memory)?;
        let status = listener.read(&reader, name, &body, text, &settled);
        flush_what_was_printed();
        listener.done(status)?;
    }
    Ok(())
}

/// The pipes of the protocol, moved to numbers of their own. What the plugin takes for standard input is empty, and what
/// it prints goes where errors go.
fn pipes_moved() -> io::Result<(File, File)> {
    // SAFETY: numbers of open files of this process, which nobody else has looked at yet.
    unsafe {
        let moved = |fd: RawFd| match libc::fcntl(fd, libc::F_DUPFD_CLOEXEC, 64) {
            -1 => Err(io::Error::last_os_error()),
            moved => Ok(File::from_raw_fd(moved)),
        };
        let (orders, reports) = (moved(0)?, moved(1)?);
        let nothing = libc::open(c"/dev/null".as_ptr(), libc::O_RDONLY);
        if nothing < 0 || libc::dup2(nothing, 0) < 0 || libc::dup2(2, 1) < 0 {
            return Err(io::Error::last_os_error());
        }
        if nothing > 2 {
            libc::close(nothing);
        }
        Ok((orders, reports))
    }
}

/// Takes the next frame; `false` at the end of the orders.
fn next(orders: &mut impl Read, frame: &mut Vec<u8>) -> io::Result<bool> {
    let mut length = [0; 4];
    match orders.read_exact(&mut length) {
        Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => return Ok(false),
        other => other?,
    }
    frame.resize(u32::from_le_bytes(length) as usize, 0);
    orders.read_exact(frame)?;
    Ok(true)
}

/// Why a library cannot be used.
#[derive(Debug)]
enum LoadError {
    /// The loader's words.
    Unloadable(String),
    NoEntry,
    NoReader,
    ShortReader(usize),
    OtherContract(u32),
    Text(ContractBreach),
    OtherThanManifest {
        what: &'static str,
        own: String,
        wanted: String,
    },
    NoReadFunction,
}

impl fmt::Display for LoadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (symbol, contract) = (raw::SYMBOL, raw::CONTRACT);
        match self {
            Self::Unloadable(why) => write!(f, "the library cannot be loaded: {why}"),
            Self::NoEntry => write!(
                f,
                "the library does not export `{symbol}`, the function of version {contract} of the contract"
            ),
            Self::NoReader => write!(f, "`{symbol}` returns no reader"),
            Self::ShortReader(size) => write!(
                f,
                "its curvary_reader says that it has {size} bytes, and version {contract} has {}",
                size_of::<raw::Reader>()
            ),
            Self::OtherContract(own) => write!(
                f,
                "the library keeps version {own} of the contract, and this program speaks version {contract}"
            ),
            Self::Text(breach) => breach.fmt(f),
            Self::OtherThanManifest { what, own, wanted } => write!(
                f,
                "the library's {what} is `{own}`, and plugin.toml says `{wanted}`"
            ),
            Self::NoReadFunction => write!(f, "its curvary_reader has no function `read`"),
        }
    }
}

/// The reader of a library, which stays loaded until the process ends.
fn load(path: &str, name: &str, version: &str) -> Result<raw::Reader, LoadError> {
    // SAFETY: loading runs the library's own code. That is what the person who allowed it wants, and it happens in a
    // process that holds nothing.
    let library = unsafe { Library::open(Some(path), RTLD_NOW | RTLD_LOCAL) }
        .map_err(|error| LoadError::Unloadable(plain(&error.to_string(), path)))?;
    let symbol = CString::new(raw::SYMBOL).map_err(|_| LoadError::NoEntry)?;
    // SAFETY: the symbol's type is set by the contract's major version, which is part of its name.
    let entry = unsafe { library.get::<raw::Entry>(symbol.as_bytes_with_nul()) };
    let Ok(entry) = entry else {
        return Err(LoadError::NoEntry);
    };
    // SAFETY: as above; what it points to is looked at with care.
    let pointer = unsafe { entry() };
    std::mem::forget(library);
    if pointer.is_null() || !pointer.is_aligned() {
        return Err(LoadError::NoReader);
    }
    // SAFETY: not null, and by the contract a reader that is constant; its size is asked before the rest is read.
    let size = unsafe { (&raw const (*pointer).size).read() } as usize;
    if size < size_of::<raw::Reader>() {
        return Err(LoadError::ShortReader(size));
    }
    // SAFETY: as above.
    let reader = unsafe { pointer.read() };
    if reader.contract != raw::CONTRACT {
        return Err(LoadError::OtherContract(reader.contract));
    }
    for (what, text, wanted) in [("name", reader.name, name), ("version", reader.version, version)] {
        // SAFETY: a text of the library, which is loaded.
        let own = unsafe { listener::bytes(text, 256) }.map_err(LoadError::Text)?;
        if own != wanted.as_bytes() {
            return Err(LoadError::OtherThanManifest {
                what,
                own: String::from_utf8_lossy(own).into_owned(),
                wanted: wanted.to_owned(),
            });
        }
    }
    if reader.read.is_none() {
        return Err(LoadError::NoReadFunction);
    }
    Ok(reader)
}

/// The loader's words without the path of the copy that is loaded, which tells nobody anything.
fn plain(message: &str, path: &str) -> String {
    message
        .replace(&format!("{path}: "), "")
        .replace(path, "the library")
}

fn flush_what_was_printed() {
    // SAFETY: writes out what the C library holds back of any output.
    unsafe { libc::fflush(std::ptr::null_mut()) };
    let _ = io::stdout().flush();
}

impl PluginListener {
    /// Puts a message on its way.
    fn send(&mut self, report: &WorkerReport<'_>) -> io::Result<()> {
        put(self.buffer(), report).map_err(io::Error::other)
    }
}
