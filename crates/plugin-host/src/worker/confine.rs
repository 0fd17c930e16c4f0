//! What a worker may take. It guards against mistakes; a plugin that means harm is not held by it.

use std::fs;
use std::io;
use std::time::Duration;

/// The largest file that a plugin can write, in bytes.
const LARGEST_FILE: u64 = 16 << 20;
/// How many files it can hold open.
const MOST_FILES: u64 = 256;

/// Ends this process, and all that it started, soon after the host has ended.
pub(super) fn end_with_parent() {
    // SAFETY: only asks.
    let parent = unsafe { libc::getppid() };
    std::thread::spawn(move || {
        loop {
            std::thread::sleep(Duration::from_millis(250));
            // SAFETY: asks, and ends our own group.
            unsafe {
                if libc::getppid() != parent {
                    libc::kill(0, libc::SIGKILL);
                }
            }
        }
    });
}

/// Limits that hold for the life of the worker: no processes, no large files, no memory image after a crash.
pub(super) fn limit() -> io::Result<()> {
    set(libc::RLIMIT_CORE, 0)?;
    set(libc::RLIMIT_FSIZE, LARGEST_FILE)?;
    set(libc::RLIMIT_NOFILE, MOST_FILES)?;
    no_processes()
}

/// Memory beyond what the worker holds now.
pub(super) fn memory(more: u64) -> io::Result<()> {
    match held() {
        Some(held) => set_soft(libc::RLIMIT_AS, held.saturating_add(more)),
        None => Ok(()),
    }
}

/// The address space that this process has, in bytes; where the system tells it.
fn held() -> Option<u64> {
    let told = fs::read_to_string("/proc/self/statm").ok()?;
    let pages: u64 = told.split_whitespace().next()?.parse().ok()?;
    // SAFETY: only asks.
    let page = unsafe { libc::sysconf(libc::_SC_PAGESIZE) };
    pages.checked_mul(u64::try_from(page).ok()?)
}

#[cfg(target_env = "gnu")]
type Resource = libc::__rlimit_resource_t;
#[cfg(not(target_env = "gnu"))]
type Resource = libc::c_int;

fn set(resource: Resource, most: u64) -> io::Result<()> {
    let limit = libc::rlimit {
        rlim_cur: most as libc::rlim_t,
        rlim_max: most as libc::rlim_t,
    };
    // SAFETY: the struct is ours.
    done(unsafe { libc::setrlimit(resource, &raw const limit) })
}

/// Sets the soft limit alone, so that it can be set anew for the next file.
fn set_soft(resource: Resource, most: u64) -> io::Result<()> {
    // SAFETY: plain numbers, for which all zeros is a value.
    let mut limit: libc::rlimit = unsafe { std::mem::zeroed() };
    // SAFETY: the struct is ours.
    done(unsafe { libc::getrlimit(resource, &raw mut limit) })?;
    limit.rlim_cur = (most as libc::rlim_t).min(limit.rlim_max);
    // SAFETY: as above.
    done(unsafe { libc::setrlimit(resource, &raw const limit) })
}

fn done(status: i32) -> io::Result<()> {
    if status == 0 {
        Ok(())
    } else {
        Err(io::Error::last_os_error())
    }
}

/// A plugin may have threads and no processes: a loop of forks would take the whole machine.
#[cfg(all(target_os = "linux", any(target_arch = "x86_64", target_arch = "aarch64")))]
fn no_processes() -> io::Result<()> {
    use std::collections::BTreeMap;

    use seccompiler::{
        BpfProgram, SeccompAction, SeccompCmpArgLen, SeccompCmpOp, SeccompCondition, SeccompFilter,
        SeccompRule, apply_filter,
    };

    fn wrong(error: impl std::error::Error + Send + Sync + 'static) -> io::Error {
        io::Error::other(error)
    }
    let refused = |call: libc::c_long, rules: Vec<SeccompRule>, code: i32| -> io::Result<BpfProgram> {
        let filter = SeccompFilter::new(
            BTreeMap::from([(call, rules)]),
            SeccompAction::Allow,
            SeccompAction::Errno(code.unsigned_abs()),
            std::env::consts::ARCH.try_into().map_err(wrong)?,
        );
        filter.map_err(wrong)?.try_into().map_err(wrong)
    };
    // A clone is a thread where it says so.
    let thread = libc::CLONE_THREAD as u64;
    let of_process = SeccompCondition::new(0, SeccompCmpArgLen::Dword, SeccompCmpOp::MaskedEq(thread), 0)
        .and_then(|condition| SeccompRule::new(vec![condition]))
        .map_err(wrong)?;
    let mut filters = vec![
        refused(libc::SYS_clone, vec![of_process], libc::EPERM)?,
        refused(libc::SYS_execve, Vec::new(), libc::EPERM)?,
        // Its flags lie in memory, where no filter can look; the C library falls back to `clone`.
        refused(libc::SYS_clone3, Vec::new(), libc::ENOSYS)?,
    ];
    #[cfg(target_arch = "x86_64")]
    for call in [libc::SYS_fork, libc::SYS_vfork] {
        filters.push(refused(call, Vec::new(), libc::EPERM)?);
    }
    for filter in &filters {
        match apply_filter(filter) {
            Ok(()) => {}
            // A system without filters has the group's end, which takes all that was started.
            Err(_) => return Ok(()),
        }
    }
    Ok(())
}

#[cfg(not(all(target_os = "linux", any(target_arch = "x86_64", target_arch = "aarch64"))))]
fn no_processes() -> io::Result<()> {
    set(libc::RLIMIT_NPROC, 0)
}
