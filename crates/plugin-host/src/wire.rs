//! What host and worker say to each other over the pipes.
//!
//! Both ends are one build, so this is no contract with anybody and may change at will. A frame is its length in four
//! bytes and a message. What comes from a worker is checked like anything from outside: a plugin shares its memory.

use serde::{Deserialize, Serialize};

/// Told by both ends, so that a worker of another build is noticed.
pub(crate) const BUILD: &str = concat!("curvary-worker/", env!("CARGO_PKG_VERSION"), "/1");

/// A frame is no longer, in bytes.
pub(crate) const LONGEST_FRAME: usize = 256 << 20;

/// A span of the body, in bytes; empty where there is no place.
pub(crate) type WireSpan = (u32, u32);

/// What the host wants.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) enum HostOrder<'a> {
    /// Load a library.
    Load {
        build: &'a str,
        library: &'a str,
        name: &'a str,
        version: &'a str,
        /// Memory that it may take, in bytes.
        memory: u64,
    },
    /// Read a file; its bytes come behind the frame.
    Read {
        name: &'a str,
        bytes: u64,
        text: bool,
        settled: Vec<(&'a str, &'a str)>,
    },
}

/// A text that the plugin handed over.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum WireText<'a> {
    /// Part of the body.
    Here(WireSpan),
    /// Made by the plugin, with the place it names.
    Made(&'a str, WireSpan),
}

/// The values of a column.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) enum WireCells<'a> {
    /// All of them parts of the body.
    Here(Vec<WireSpan>),
    /// Texts one behind the other, their lengths, and their places.
    Made(&'a str, Vec<u32>, Vec<WireSpan>),
    /// Numbers and their places, if any.
    Numbers(Vec<f64>, Vec<WireSpan>),
}

/// A column.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct WireColumn<'a> {
    pub(crate) header: WireText<'a>,
    pub(crate) quantity: &'a str,
    pub(crate) unit: &'a str,
    pub(crate) comma: bool,
    #[serde(borrow)]
    pub(crate) cells: WireCells<'a>,
}

/// A held coordinate: quantity, unit, value.
pub(crate) type WireCoordinate<'a> = (&'a str, &'a str, WireText<'a>);

/// What the worker says.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) enum WorkerReport<'a> {
    /// The library is loaded.
    Ready,
    /// It cannot be used, and why.
    Unusable(&'a str),
    BeginRun(&'a str, WireSpan),
    Claim(WireText<'a>, WireText<'a>),
    Axis(#[serde(borrow)] WireColumn<'a>),
    Curve {
        label: &'a str,
        #[serde(borrow)]
        column: WireColumn<'a>,
        held: Vec<WireCoordinate<'a>>,
        claims: Vec<(WireText<'a>, WireText<'a>)>,
    },
    Remark(u32, &'a str, &'a str, WireSpan),
    Question {
        about: &'a str,
        message: &'a str,
        answers: Vec<(&'a str, &'a str)>,
        place: WireSpan,
    },
    EndRun,
    /// The plugin did what it may not, as the worker saw it.
    Breach(&'a str),
    /// The plugin returned this.
    Done(i32),
}

/// Puts a message into a buffer, as a frame.
pub(crate) fn put(buffer: &mut Vec<u8>, message: &impl Serialize) -> Result<(), postcard::Error> {
    let start = buffer.len();
    buffer.extend_from_slice(&[0; 4]);
    let mut taken = postcard::to_extend(message, std::mem::take(buffer))?;
    let length = u32::try_from(taken.len() - start - 4).unwrap_or(u32::MAX);
    taken[start..start + 4].copy_from_slice(&length.to_le_bytes());
    *buffer = taken;
    Ok(())
}

/// The message of a frame's body.
pub(crate) fn get<'a, T: Deserialize<'a>>(frame: &'a [u8]) -> Result<T, postcard::Error> {
    postcard::from_bytes(frame)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_come_back() {
        let mut buffer = Vec::new();
        let report = WorkerReport::Claim(WireText::Here((1, 5)), WireText::Made("37 °C", (0, 0)));
        put(&mut buffer, &report).expect("it can be written");
        put(&mut buffer, &WorkerReport::Done(-1)).expect("it can be written");
        let length = u32::from_le_bytes([buffer[0], buffer[1], buffer[2], buffer[3]]) as usize;
        let Ok(WorkerReport::Claim(key, value)) = get(&buffer[4..4 + length]) else {
            panic!("another message")
        };
        assert_eq!(
            (key, value),
            (WireText::Here((1, 5)), WireText::Made("37 °C", (0, 0)))
        );
        assert!(matches!(get(&buffer[8 + length..]), Ok(WorkerReport::Done(-1))));
        assert!(get::<WorkerReport<'_>>(&[200, 1, 2]).is_err());
    }
}
