//! Compound files, in which old workbooks lie: whether their chains of sectors end.
//!
//! A chain that leads back into itself has no end, and a library that follows it fills all memory. The layout of these
//! files is the open specification MS-CFB: a header, a table (FAT) that names the next sector of each, and a second one
//! (mini FAT) for short streams.

/// The first number that names no sector but a mark: free, end of a chain, part of the table itself.
const MARKS: u32 = 0xFFFF_FFFC;

/// What the header of a compound file begins with.
const START: [u8; 8] = [0xD0, 0xCF, 0x11, 0xE0, 0xA1, 0xB1, 0x1A, 0xE1];

/// Why a compound file is damaged, where one of its chains has no end. Other files, and files that are damaged in another
/// way, are left to whoever reads them.
pub(super) fn endless_chain(bytes: &[u8]) -> Option<&'static str> {
    if !bytes.starts_with(&START) {
        return None;
    }
    let size = match bytes.get(30..32)? {
        [0x09, 0] => 512,
        [0x0C, 0] => 4096,
        _ => return None,
    };
    // The header fills the place of the first sector.
    let sector = |id: u32| -> &[u8] {
        let start = (id as usize).saturating_add(1).saturating_mul(size);
        let end = start.saturating_add(size).min(bytes.len());
        bytes.get(start..end).unwrap_or_default()
    };
    let most = bytes.len() / size + 1;
    let mut tables: Vec<u32> = numbers(bytes.get(76..512)?).collect();
    let mut next = number(bytes, 68)?;
    let mut seen = 0;
    while next < MARKS {
        seen += 1;
        if seen > most {
            return Some("the list of its tables leads back into itself");
        }
        tables.extend(numbers(sector(next)));
        next = tables.pop()?;
    }
    let mut table: Vec<u32> = Vec::new();
    for id in tables.into_iter().filter(|id| *id < MARKS) {
        if table.len() > most.saturating_mul(2) + size {
            break;
        }
        table.extend(numbers(sector(id)));
    }
    if has_cycle(&table) {
        return Some("a chain of its sectors leads back into itself");
    }
    // Without cycles this chain ends.
    let mut short: Vec<u32> = Vec::new();
    let mut at = number(bytes, 60)?;
    while at < MARKS {
        short.extend(numbers(sector(at)));
        let Some(&next) = table.get(at as usize) else {
            break;
        };
        at = next;
    }
    has_cycle(&short).then_some("a chain of its short sectors leads back into itself")
}

fn number(bytes: &[u8], at: usize) -> Option<u32> {
    let four = bytes.get(at..at + 4)?;
    Some(u32::from_le_bytes(four.try_into().ok()?))
}

fn numbers(bytes: &[u8]) -> impl Iterator<Item = u32> {
    bytes
        .as_chunks::<4>()
        .0
        .iter()
        .map(|four| u32::from_le_bytes(*four))
}

/// Whether a chain of a table, which names the next place of each, comes back to where it was.
fn has_cycle(table: &[u32]) -> bool {
    // The walk in which each place was met; a place met again in the same walk closes a cycle.
    let mut met = vec![0_usize; table.len()];
    for start in 0..table.len() {
        let mut at = start;
        while let Some(walk) = met.get_mut(at).filter(|walk| **walk == 0) {
            *walk = start + 1;
            let next = table[at];
            if next >= MARKS {
                break;
            }
            at = next as usize;
            if met.get(at) == Some(&(start + 1)) {
                return true;
            }
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cycles_are_found() {
        let end = 0xFFFF_FFFE;
        assert!(!has_cycle(&[1, 2, end, 2, end]));
        assert!(has_cycle(&[1, 2, 0]));
        assert!(has_cycle(&[end, 1]));
        assert!(!has_cycle(&[7, 9, 100]));
    }

    /// A compound file of a header, a table and one sector whose chain is `next`.
    fn file(next: u32) -> Vec<u8> {
        let mut bytes = vec![0xFF_u8; 512 * 3];
        bytes[..8].copy_from_slice(&START);
        bytes[30..32].copy_from_slice(&[9, 0]);
        bytes[60..64].copy_from_slice(&0xFFFF_FFFE_u32.to_le_bytes());
        bytes[68..72].copy_from_slice(&0xFFFF_FFFE_u32.to_le_bytes());
        bytes[76..80].copy_from_slice(&0_u32.to_le_bytes());
        bytes[516..520].copy_from_slice(&next.to_le_bytes());
        bytes
    }

    #[test]
    fn a_sector_that_follows_itself_is_no_workbook() {
        assert_eq!(endless_chain(&file(0xFFFF_FFFE)), None);
        assert!(endless_chain(&file(1)).is_some());
        assert_eq!(endless_chain(b"nm,A\n400,0.1\n"), None);
        for length in 0..600 {
            endless_chain(&file(1)[..length]);
        }
    }
}
