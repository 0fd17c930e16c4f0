//! Digests as bytes and as texts.

use curvary_record::Digest;
use serde::Deserialize;

/// Bytes as hexadecimal digits.
pub(crate) fn hex(bytes: &[u8]) -> String {
    let digit = |value: u8| char::from_digit(u32::from(value), 16).unwrap_or_default();
    bytes
        .iter()
        .flat_map(|byte| [digit(byte >> 4), digit(byte & 15)])
        .collect()
}

/// The 32 bytes of a digest; `None` for one of another algorithm.
pub(crate) fn digest_bytes(digest: &str) -> Option<[u8; 32]> {
    let digits = digest.strip_prefix("sha256:")?.as_bytes();
    if digits.len() != 64 {
        return None;
    }
    let mut bytes = [0; 32];
    for (byte, pair) in bytes.iter_mut().zip(digits.chunks_exact(2)) {
        let high = char::from(pair[0]).to_digit(16)?;
        let low = char::from(pair[1]).to_digit(16)?;
        *byte = u8::try_from(high * 16 + low).ok()?;
    }
    Some(bytes)
}

/// The digest of these 32 bytes.
pub(crate) fn digest_named(bytes: &[u8; 32]) -> Digest {
    use serde::de::IntoDeserializer;
    use serde::de::value::Error;
    let text = format!("sha256:{}", hex(bytes));
    // A digest reads from any text.
    let named: Result<_, Error> = Deserialize::deserialize(text.as_str().into_deserializer());
    named.unwrap_or_else(|_| Digest::of(&[]))
}

/// A source by its digest, in 32 bytes: lists of very many sources are lists of these.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SourceKey([u8; 32]);

impl SourceKey {
    /// The source of a digest. What is no digest names no source.
    #[must_use]
    pub fn of(digest: &Digest) -> Self {
        Self(digest_bytes(digest.as_str()).unwrap_or_default())
    }

    /// The bytes of its digest.
    pub(crate) fn bytes(&self) -> &[u8; 32] {
        &self.0
    }

    /// Its digest.
    #[must_use]
    pub fn digest(&self) -> Digest {
        digest_named(&self.0)
    }
}
