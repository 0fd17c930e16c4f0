//! A file's bytes and their digest, a large file's taken together.

use std::io::{self, Read};
use std::sync::mpsc::sync_channel;

use curvary_record::Digest;

/// A file from this length on is read by one core while another takes the digest.
const LARGE: usize = 8 << 20;

/// So many bytes are read at a time, and are still in the cache when their digest is taken.
const CHUNK: usize = 1 << 18;

/// The bytes of a file of about `size` bytes, and their digest.
///
/// # Errors
/// When the file cannot be read.
pub fn take_in(mut file: impl Read, size: usize) -> io::Result<(Vec<u8>, Digest)> {
    if size < LARGE {
        let mut bytes = Vec::with_capacity(size + 1);
        file.read_to_end(&mut bytes)?;
        let digest = Digest::of(&bytes);
        return Ok((bytes, digest));
    }
    let mut bytes = vec![0; size];
    let mut read = 0;
    let digest = std::thread::scope(|scope| {
        let (chunks, taken) = sync_channel::<&[u8]>(64);
        let digest = scope.spawn(|| Digest::of_pieces(taken));
        for chunk in bytes.chunks_mut(CHUNK) {
            let filled = fill(&mut file, chunk)?;
            read += filled;
            let ended = filled < chunk.len();
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
    Ok((bytes, digest))
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
            let (taken, digest) = take_in(bytes.as_slice(), size).expect("bytes in memory can be read");
            assert!(taken == bytes, "said to be {size} bytes");
            assert_eq!(digest, whole, "said to be {size} bytes");
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
