//! Every record of a part, frame by frame.

use std::path::PathBuf;

use curvary_record::stored::Record;

use crate::Error;
use crate::frames::{FrameWalk, WalkStep, records};

/// The records of one part, frame by frame.
pub(crate) struct PartRecords {
    number: u32,
    length: u64,
    path: PathBuf,
    at: u64,
    ready: std::vec::IntoIter<Result<Record, Error>>,
    ended: bool,
}

impl PartRecords {
    pub(crate) fn new(number: u32, path: PathBuf, length: u64) -> Self {
        Self {
            number,
            length,
            path,
            at: 0,
            ready: Vec::new().into_iter(),
            ended: false,
        }
    }

    fn frame(&mut self) -> Result<bool, Error> {
        let mut walk = FrameWalk::new(&self.path, self.number, self.at, self.length)?;
        let path = &self.path;
        let (frame, bytes) = match walk.next()? {
            None => return Ok(false),
            Some(WalkStep::Frame(frame, bytes)) => (frame, bytes),
            Some(WalkStep::Damaged(damage)) => {
                self.at = damage.at + damage.length;
                let error = Error::damaged(path, damage.at, "damaged bytes", "a zstd frame of records");
                self.ready = vec![Err(error)].into_iter();
                return Ok(true);
            }
        };
        let all: Vec<Result<Record, Error>> = records(frame, &bytes)
            .map(|(at, record)| {
                record.map_err(|error| {
                    Error::damaged(
                        path,
                        at.frame,
                        format!("{error} in the line at byte {}", at.line),
                        "a record",
                    )
                })
            })
            .collect();
        self.at = frame.frame + u64::from(frame.packed);
        self.ready = all.into_iter();
        Ok(true)
    }
}

impl Iterator for PartRecords {
    type Item = Result<Record, Error>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some(record) = self.ready.next() {
                return Some(record);
            }
            if self.ended {
                return None;
            }
            match self.frame() {
                Ok(true) => {}
                Ok(false) => self.ended = true,
                Err(error) => {
                    self.ended = true;
                    return Some(Err(error));
                }
            }
        }
    }
}
