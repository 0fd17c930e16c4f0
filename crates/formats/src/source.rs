//! A file's bytes, decoded once.

use std::sync::OnceLock;

use curvary_record::{Diagnostic, Digest, LineTable, Place, Span};

use crate::{Assumptions, Glimpse};

/// The bytes of one file and the text they are, with everything that is said about the file from outside.
pub struct Source {
    path: String,
    digest: Digest,
    text: String,
    /// The bytes, when they are not the text's own.
    original: Option<Vec<u8>>,
    encoding: &'static str,
    remarks: Vec<Diagnostic>,
    assume: Assumptions,
    lines: OnceLock<LineTable>,
}

impl Source {
    /// Decodes `bytes`, which stood at `path`.
    #[must_use]
    pub fn new(path: impl Into<String>, bytes: Vec<u8>) -> Self {
        let digest = Digest::of(&bytes);
        Self::with_digest(path, bytes, digest)
    }

    /// The same when the digest is known already.
    #[must_use]
    pub fn with_digest(path: impl Into<String>, bytes: Vec<u8>, digest: Digest) -> Self {
        let decoded = decode(bytes);
        Self {
            path: path.into(),
            digest,
            text: decoded.text,
            original: decoded.original,
            encoding: decoded.encoding,
            remarks: decoded.remarks,
            assume: Assumptions::none(),
            lines: OnceLock::new(),
        }
    }

    /// The same source with what a person has settled about it.
    #[must_use]
    pub fn assuming(mut self, assume: Assumptions) -> Self {
        self.assume = assume;
        self
    }

    /// The path, with `/` between folders.
    #[must_use]
    pub fn path(&self) -> &str {
        &self.path
    }

    /// The digest of the bytes.
    #[must_use]
    pub fn digest(&self) -> &Digest {
        &self.digest
    }

    /// The bytes as they were.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        self.original.as_deref().unwrap_or(self.text.as_bytes())
    }

    /// The decoded text, without byte-order mark.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The encoding's name in the WHATWG Encoding Standard.
    #[must_use]
    pub fn encoding(&self) -> &'static str {
        self.encoding
    }

    /// What was odd about the bytes.
    #[must_use]
    pub fn remarks(&self) -> &[Diagnostic] {
        &self.remarks
    }

    /// What a person has settled about the source.
    #[must_use]
    pub fn assume(&self) -> &Assumptions {
        &self.assume
    }

    /// The starts of the lines.
    pub fn lines(&self) -> &LineTable {
        self.lines.get_or_init(|| LineTable::new(&self.text))
    }

    /// The place of a span.
    #[must_use]
    pub fn place(&self, span: Span) -> Place {
        self.lines().place(&self.text, span)
    }

    /// What every reader is shown first.
    #[must_use]
    pub fn glimpse(&self) -> Glimpse<'_> {
        let mut end = self.text.len().min(8192);
        while !self.text.is_char_boundary(end) {
            end -= 1;
        }
        Glimpse {
            path: &self.path,
            bytes: self.bytes().len(),
            head: &self.text[..end],
        }
    }
}

struct Decoded {
    text: String,
    original: Option<Vec<u8>>,
    encoding: &'static str,
    remarks: Vec<Diagnostic>,
}

fn decode(bytes: Vec<u8>) -> Decoded {
    match String::from_utf8(bytes) {
        Ok(text) => Decoded {
            text,
            original: None,
            encoding: "UTF-8",
            remarks: Vec::new(),
        },
        Err(error) => {
            let bytes = error.into_bytes();
            let (text, _, _) = encoding_rs::WINDOWS_1252.decode(&bytes);
            Decoded {
                text: text.into_owned(),
                original: Some(bytes),
                encoding: "windows-1252",
                remarks: Vec::new(),
            }
        }
    }
}
