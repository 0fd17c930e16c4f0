//! Who writes to an archive: a process on a machine.
//!
//! A machine is known by what the operating system keeps for that, hashed, and by its present start; its name may change.

use std::fmt;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use crate::digests::hex;

/// Who writes to an archive.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Holder {
    /// Its process number.
    pub pid: u32,
    /// The name of the host it runs on.
    pub host: String,
    /// The machine, where the operating system tells one from another; its name may change.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine: Option<String>,
    /// The start of the machine since which it runs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub boot: Option<String>,
    /// When it began, RFC 3339.
    pub since: String,
    /// What it does, such as `curvary add`.
    pub command: String,
}

impl Holder {
    pub(crate) fn this(command: &str) -> Self {
        Self {
            pid: std::process::id(),
            host: host(),
            machine: told("/etc/machine-id"),
            boot: told("/proc/sys/kernel/random/boot_id"),
            since: crate::now(),
            command: command.to_owned(),
        }
    }

    /// Whether it runs, or ran, on this machine.
    #[must_use]
    pub(crate) fn is_here(&self) -> bool {
        let this = Self::this("");
        let same = |a: &Option<String>, b: &Option<String>| Some(a.as_ref()? == b.as_ref()?);
        match (same(&self.boot, &this.boot), same(&self.machine, &this.machine)) {
            (Some(true), _) => true,
            (_, Some(machine)) => machine,
            _ => self.host == this.host,
        }
    }
}

/// What a file of the operating system tells this machine by, hashed: it is not for others to know.
fn told(file: &str) -> Option<String> {
    let text = std::fs::read_to_string(file)
        .ok()
        .filter(|text| !text.trim().is_empty())?;
    let digest = Sha256::digest(format!("curvary {}", text.trim()));
    hex(&digest).get(..16).map(str::to_owned)
}

impl fmt::Display for Holder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.pid == 0 {
            return f.write_str("a process that did not name itself");
        }
        write!(
            f,
            "`{}`, process {} on {}, since {}",
            self.command, self.pid, self.host, self.since
        )
    }
}

fn host() -> String {
    ["/proc/sys/kernel/hostname", "/etc/hostname"]
        .iter()
        .find_map(|file| std::fs::read_to_string(file).ok())
        .or_else(|| std::env::var("COMPUTERNAME").ok())
        .or_else(|| std::env::var("HOSTNAME").ok())
        .map_or_else(|| "this-host".to_owned(), |name| name.trim().to_owned())
}
