//! A worker process, as the host sees it: started, spoken to within a time, ended without a trace.

use std::fs::File;
use std::io::{self, ErrorKind, Read, Write};
use std::os::fd::{AsRawFd, RawFd};
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Child, ChildStderr, ChildStdin, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

use crate::wire::LONGEST_FRAME;

/// Of what a plugin prints so much is kept: the end.
const TAIL: usize = 2048;

/// A worker that runs.
pub(crate) struct WorkerProcess {
    child: Child,
    orders: ChildStdin,
    reports: ChildStdout,
    printed: ChildStderr,
    /// What came and was not taken yet, from `taken` on.
    incoming: Vec<u8>,
    taken: usize,
    tail: Vec<u8>,
    ended: bool,
}

/// Why a worker is of no use any more.
#[derive(Debug)]
pub(crate) enum WorkerFailure {
    /// It ended by itself.
    Ended(WorkerEnd),
    /// It took too long.
    TooLong,
    /// It spoke what no worker speaks.
    Garbled,
}

/// How a process ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct WorkerEnd {
    /// The signal, where one ended it.
    pub(crate) signal: Option<i32>,
    /// Its exit status, where it had one.
    pub(crate) status: Option<i32>,
    /// The most memory it held, in bytes.
    pub(crate) memory: u64,
}

impl WorkerProcess {
    /// Starts `program` as a worker in a folder of its own.
    pub(crate) fn start(program: &Path, folder: &Path) -> io::Result<Self> {
        let mut child = Command::new(program)
            .arg(crate::WORKER)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .current_dir(folder)
            // A plugin has no use for what the environment says, and may do odd things by it.
            .env_clear()
            .env("TMPDIR", folder)
            .env("LC_ALL", "C")
            // A group of its own: keys pressed go to us alone, and all that it starts ends with it.
            .process_group(0)
            .spawn()?;
        let (Some(orders), Some(reports), Some(printed)) =
            (child.stdin.take(), child.stdout.take(), child.stderr.take())
        else {
            return Err(io::Error::other("a worker without pipes"));
        };
        for fd in [orders.as_raw_fd(), reports.as_raw_fd(), printed.as_raw_fd()] {
            never_wait(fd)?;
        }
        Ok(Self {
            child,
            orders,
            reports,
            printed,
            incoming: Vec::new(),
            taken: 0,
            tail: Vec::new(),
            ended: false,
        })
    }

    /// Sends what is left of `outgoing` and waits for the next frame, until `deadline`.
    pub(crate) fn next(&mut self, outgoing: &mut &[u8], deadline: Instant) -> Result<Vec<u8>, WorkerFailure> {
        loop {
            if let Some(frame) = self.frame()? {
                return Ok(frame);
            }
            let left = deadline.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Err(WorkerFailure::TooLong);
            }
            let of = |fd: RawFd, events| libc::pollfd {
                fd,
                events,
                revents: 0,
            };
            let sending = if outgoing.is_empty() {
                -1
            } else {
                self.orders.as_raw_fd()
            };
            let mut waiting = [
                of(self.reports.as_raw_fd(), libc::POLLIN),
                of(self.printed.as_raw_fd(), libc::POLLIN),
                of(sending, libc::POLLOUT),
            ];
            poll(&mut waiting, left).map_err(|_| WorkerFailure::Garbled)?;
            if waiting[1].revents != 0 {
                self.receive_printed();
            }
            if waiting[2].revents != 0 && !outgoing.is_empty() {
                match self.orders.write(outgoing) {
                    Ok(count) => *outgoing = &outgoing[count..],
                    Err(error) if again(&error) => {}
                    // Nobody reads any more; that it ended shows below.
                    Err(_) => *outgoing = &[],
                }
            }
            if waiting[0].revents != 0 && !self.receive()? {
                return Err(WorkerFailure::Ended(self.end()));
            }
        }
    }

    /// Takes what came of the reports; `false` at their end.
    fn receive(&mut self) -> Result<bool, WorkerFailure> {
        if self.taken > 0 && self.taken == self.incoming.len() {
            self.incoming.clear();
            self.taken = 0;
        }
        let start = self.incoming.len();
        self.incoming.resize(start + (64 << 10), 0);
        let came = self.reports.read(&mut self.incoming[start..]);
        let count = *came.as_ref().unwrap_or(&0);
        self.incoming.truncate(start + count);
        match came {
            Ok(count) => Ok(count > 0),
            Err(error) if again(&error) => Ok(true),
            Err(_) => Err(WorkerFailure::Garbled),
        }
    }

    /// The next whole frame of what came.
    fn frame(&mut self) -> Result<Option<Vec<u8>>, WorkerFailure> {
        let waiting = &self.incoming[self.taken..];
        let Some((length, rest)) = waiting.split_first_chunk::<4>() else {
            return Ok(None);
        };
        let length = u32::from_le_bytes(*length) as usize;
        if length > LONGEST_FRAME {
            return Err(WorkerFailure::Garbled);
        }
        let Some(frame) = rest.get(..length) else {
            return Ok(None);
        };
        let frame = frame.to_vec();
        self.taken += 4 + length;
        Ok(Some(frame))
    }

    fn receive_printed(&mut self) {
        let mut buffer = [0; 4096];
        while let Ok(count @ 1..) = self.printed.read(&mut buffer) {
            self.tail.extend_from_slice(&buffer[..count]);
            let beyond = self.tail.len().saturating_sub(TAIL);
            self.tail.drain(..beyond);
            if count < buffer.len() {
                break;
            }
        }
    }

    /// What the plugin printed since this was asked last: the end of it, fit to be shown.
    pub(crate) fn printed(&mut self) -> Option<String> {
        self.receive_printed();
        let text = String::from_utf8_lossy(&self.tail).into_owned();
        self.tail.clear();
        let flat = |sign: char| if sign.is_control() { ' ' } else { sign };
        let text: String = text.trim().chars().map(flat).collect();
        let words: Vec<&str> = text.split_whitespace().collect();
        (!words.is_empty()).then(|| words.join(" "))
    }

    /// Ends it and all that it started, and takes its end, so that nothing of it is left.
    pub(crate) fn end(&mut self) -> WorkerEnd {
        if std::mem::replace(&mut self.ended, true) {
            return WorkerEnd::default();
        }
        let Ok(id) = libc::pid_t::try_from(self.child.id()) else {
            return WorkerEnd::default();
        };
        let mut status = 0;
        // SAFETY: plain numbers, for which all zeros is a value.
        let mut usage: libc::rusage = unsafe { std::mem::zeroed() };
        // SAFETY: the process is our child and was not waited for, so the number is its own. Its own end is taken
        // before it is killed, so that a signal of its own is not told as ours; the group is killed before the number
        // is free again.
        let reaped = unsafe {
            let early = wait_a_little(id, &mut status, &mut usage);
            libc::kill(-id, libc::SIGKILL);
            early
                || loop {
                    let found = libc::wait4(id, &raw mut status, 0, &raw mut usage);
                    if found == id {
                        break true;
                    }
                    if found < 0 && io::Error::last_os_error().kind() != ErrorKind::Interrupted {
                        break false;
                    }
                }
        };
        self.receive_printed();
        if !reaped {
            return WorkerEnd::default();
        }
        let unit: u64 = if cfg!(target_os = "macos") { 1 } else { 1024 };
        WorkerEnd {
            signal: libc::WIFSIGNALED(status).then(|| libc::WTERMSIG(status)),
            status: libc::WIFEXITED(status).then(|| libc::WEXITSTATUS(status)),
            memory: u64::try_from(usage.ru_maxrss).unwrap_or(0).saturating_mul(unit),
        }
    }
}

/// Waits for the end of a process that is ending by itself; `false` where it goes on.
///
/// # Safety
/// `id` must be a child that was not waited for.
unsafe fn wait_a_little(id: libc::pid_t, status: &mut i32, usage: &mut libc::rusage) -> bool {
    // A process whose pipes are closed is as good as gone; half of this is seldom needed.
    for pause in [0, 1, 2, 5, 10, 20, 50] {
        std::thread::sleep(Duration::from_millis(pause));
        // SAFETY: the caller's promise; both places are ours.
        if unsafe { libc::wait4(id, status, libc::WNOHANG, usage) } == id {
            return true;
        }
    }
    false
}

impl Drop for WorkerProcess {
    fn drop(&mut self) {
        if self.ended {
            return;
        }
        if let Ok(id) = libc::pid_t::try_from(self.child.id()) {
            // SAFETY: our child, not waited for.
            unsafe { libc::kill(-id, libc::SIGKILL) };
        }
        self.end();
    }
}

fn again(error: &io::Error) -> bool {
    matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::Interrupted)
}

fn never_wait(fd: RawFd) -> io::Result<()> {
    // SAFETY: an open pipe of ours; only its flags change.
    let done = unsafe {
        let flags = libc::fcntl(fd, libc::F_GETFL);
        flags >= 0 && libc::fcntl(fd, libc::F_SETFL, flags | libc::O_NONBLOCK) >= 0
    };
    if done {
        Ok(())
    } else {
        Err(io::Error::last_os_error())
    }
}

fn poll(waiting: &mut [libc::pollfd], left: Duration) -> io::Result<()> {
    let wait = i32::try_from(left.as_millis().max(1)).unwrap_or(i32::MAX);
    let count = libc::nfds_t::try_from(waiting.len()).unwrap_or(0);
    // SAFETY: the slice is ours and as long as is said.
    let found = unsafe { libc::poll(waiting.as_mut_ptr(), count, wait) };
    if found < 0 {
        let error = io::Error::last_os_error();
        if error.kind() != ErrorKind::Interrupted {
            return Err(error);
        }
        for one in waiting {
            one.revents = 0;
        }
    }
    Ok(())
}

/// Our own executable, also when it was replaced on disk meanwhile.
pub(crate) fn own_program() -> io::Result<std::path::PathBuf> {
    let running = Path::new("/proc/self/exe");
    if cfg!(target_os = "linux") && File::open(running).is_ok() {
        return Ok(running.to_owned());
    }
    std::env::current_exe()
}
