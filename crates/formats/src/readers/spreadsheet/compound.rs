//! Whether a compound file (MS-CFB, an open specification) has chains of sectors that end: a chain that bites its own
//! tail makes a reader that follows it fill all memory.

/// Entries from this one on mark the end of a chain, a free sector or a sector of the table itself.
const FIRST_MARK: u32 = 0xFFFF_FFFA;
/// The sectors of the table that the header itself lists.
const LISTED_IN_HEADER: usize = 109;

/// Whether all chains of the file end, as far as its tables can be read.
pub(super) fn has_ends(bytes: &[u8]) -> bool {
    let number = |at: usize| -> Option<u32> {
        let four = bytes.get(at..at + 4)?;
        Some(u32::from_le_bytes([four[0], four[1], four[2], four[3]]))
    };
    let Some(shift) = bytes.get(30).filter(|shift| matches!(shift, 9 | 12)) else {
        return false;
    };
    let size = 1_usize << shift;
    let most = bytes.len() / size;
    let entries_of = |sector: u32| -> Vec<u32> {
        let start = (sector as usize + 1).saturating_mul(size);
        (0..size / 4)
            .filter_map(|entry| number(start.checked_add(entry * 4)?))
            .collect()
    };
    // The sectors of the table: those of the header, then those of its chain of lists.
    let mut tables: Vec<u32> = (0..LISTED_IN_HEADER)
        .filter_map(|entry| number(76 + entry * 4))
        .collect();
    let mut list = number(68).unwrap_or(FIRST_MARK);
    let mut lists = 0;
    while list < FIRST_MARK {
        lists += 1;
        if lists > most {
            return false;
        }
        let mut entries = entries_of(list);
        list = entries.pop().unwrap_or(FIRST_MARK);
        tables.extend(entries);
    }
    tables.retain(|sector| *sector < FIRST_MARK);
    if tables.len() > most {
        return false;
    }
    let table: Vec<u32> = tables.iter().flat_map(|&sector| entries_of(sector)).collect();
    if !chains_end(&table) {
        return false;
    }
    // The table of small sectors lies in a chain of its own.
    let mut small = Vec::new();
    let mut sector = number(60).unwrap_or(FIRST_MARK);
    while sector < FIRST_MARK && small.len() <= bytes.len() {
        small.extend(entries_of(sector));
        sector = table.get(sector as usize).copied().unwrap_or(FIRST_MARK);
    }
    chains_end(&small)
}

/// Whether no chain of a table of successors comes back to where it was.
fn chains_end(table: &[u32]) -> bool {
    let mut walked = vec![0_usize; table.len()];
    (0..table.len()).all(|start| {
        let mut at = start;
        while walked.get(at) == Some(&0) {
            walked[at] = start + 1;
            at = table[at] as usize;
        }
        // It ended, or met an earlier walk; its own is a circle.
        walked.get(at) != Some(&(start + 1))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn circles_are_seen() {
        assert!(chains_end(&[1, 2, u32::MAX - 1, u32::MAX]));
        assert!(!chains_end(&[1, 2, 0]));
        assert!(!chains_end(&[0]));
        assert!(!chains_end(&[u32::MAX - 1, 2, 3, 2]));
        assert!(!has_ends(&[0xD0, 0xCF]));
    }
}
