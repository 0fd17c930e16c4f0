//! A file's bytes and their digest, a large file's taken together.

use std::io::{self, Read};
use std::sync::mpsc::sync_channel;

use curvary_record::Digest;

/// A file from this length on is read by one core while another takes the digest.
const LARGE: usize = 8 << 20;

/// So many bytes are read at a time, and are still in the cache when their digest is taken.
const CHUNK: usize = 1 << 18;

/// A file's bytes, with what was found out about them on the way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Intake {
    /// The bytes.
    pub bytes: Vec<u8>,
    /// Their digest.
    pub digest: Digest,
    /// Whether they are known to be ordinary: see [`is_ordinary`]. Looked for in large files only.
    pub(crate) ordinary: bool,
}

impl From<Vec<u8>> for Intake {
    fn from(bytes: Vec<u8>) -> Self {
        let digest = Digest::of(&bytes);
        Self {
            bytes,
            digest,
            ordinary: false,
        }
    }
}

/// Whether bytes are nothing but visible ASCII, blanks and line ends, without a sign that a text is looked through for:
/// those of formulas, bars, footnotes, quoted letters and uncertainties.
pub(crate) fn is_ordinary(bytes: &[u8]) -> bool {
    let odd = |byte: u8| {
        (byte >= 0x7F)
            | (byte < 0x20) & (byte != b'\n') & (byte != b'\r') & (byte != b'\t')
            | (byte == b'=')
            | (byte == b'|')
            | (byte == b'*')
            | (byte == b'>')
            | (byte == b'+')
    };
    // Many bytes at a time.
    bytes
        .chunks(64)
        .all(|piece| !piece.iter().fold(false, |any, &byte| any | odd(byte)))
}

/// The bytes of a file of about `size` bytes, and their digest.
///
/// # Errors
/// When the file cannot be read.
pub fn take_in(mut file: impl Read, size: usize) -> io::Result<Intake> {
    // How many cores there are is asked for large files only: the answer is read from several files of the system.
    let alone = || std::thread::available_parallelism().is_ok_and(|cores| cores.get() == 1);
    if size < LARGE || alone() {
        let mut bytes = Vec::with_capacity(size + 1);
        file.read_to_end(&mut bytes)?;
        return Ok(bytes.into());
    }
    let mut bytes = vec![0; size];
    let mut read = 0;
    let mut ordinary = true;
    let digest = std::thread::scope(|scope| {
        let (chunks, taken) = sync_channel::<&[u8]>(64);
        let digest = scope.spawn(|| Digest::of_pieces(taken));
        for chunk in bytes.chunks_mut(CHUNK) {
            let filled = fill(&mut file, chunk)?;
            read += filled;
            let ended = filled < chunk.len();
            ordinary = ordinary && is_ordinary(&chunk[..filled]);
            if chunks.send(&chunk[..filled]).is_err() || ended {
                break;
            }
        }
        drop(chunks);
        Ok::<_, io::Error>(digest.join().ok())
    })?;
    bytes.truncate(read);
    // A file that has grown meanwhile.
    let more = file.read_to_end(&mut bytes)?;
    let digest = digest.filter(|_| more == 0).unwrap_or_else(|| Digest::of(&bytes));
    Ok(Intake {
        bytes,
        digest,
        ordinary: ordinary && more == 0,
    })
}

/// Fills `room` as far as the file reaches.
fn fill(file: &mut impl Read, room: &mut [u8]) -> io::Result<usize> {
    let mut filled = 0;
    while filled < room.len() {
        match file.read(&mut room[filled..]) {
            Ok(0) => break,
            Ok(more) => filled += more,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(filled)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_large_file_is_taken_in_as_a_small_one_is() {
        let bytes: Vec<u8> = (0..LARGE + CHUNK / 2).map(|n| (n % 251) as u8).collect();
        let whole = Digest::of(&bytes);
        // As long as was said, longer and shorter.
        for size in [bytes.len(), LARGE, bytes.len() + 3 * CHUNK, 0] {
            let taken = take_in(bytes.as_slice(), size).expect("bytes in memory can be read");
            assert!(taken.bytes == bytes, "said to be {size} bytes");
            assert_eq!(taken.digest, whole, "said to be {size} bytes");
            assert!(!taken.ordinary);
        }
    }

    #[test]
    fn ordinary_bytes_need_no_second_look() {
        let row = b"400.5;0.1234\r\n";
        let mut bytes: Vec<u8> = row.iter().copied().cycle().take(LARGE + 5).collect();
        assert!(take_in(bytes.as_slice(), bytes.len()).expect("bytes").ordinary);
        for odd in [0, 0x0C, 0x1A, 0x1B, b'=', b'|', b'*', b'>', b'+', 0x7F, 0xC2] {
            let at = bytes.len() - 3;
            let was = std::mem::replace(&mut bytes[at], odd);
            assert!(
                !take_in(bytes.as_slice(), bytes.len()).expect("bytes").ordinary,
                "{odd}"
            );
            bytes[at] = was;
        }
    }

    #[test]
    fn a_file_that_breaks_off_is_an_error() {
        struct Broken(usize);
        impl Read for Broken {
            fn read(&mut self, room: &mut [u8]) -> io::Result<usize> {
                self.0 += room.len();
                if self.0 > LARGE / 2 {
                    return Err(io::Error::other("the disk broke"));
                }
                Ok(room.len())
            }
        }
        assert!(take_in(Broken(0), LARGE).is_err());
    }
}
