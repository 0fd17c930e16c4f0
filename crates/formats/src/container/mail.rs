//! A mail (RFC 5322 with MIME, RFC 2045) as the files inside it: its own words, and what is attached.
//!
//! Only a mail whose words are coded or that has several parts is taken apart; a plain one is text and is read as it
//! stands.

use curvary_record::Diagnostic;
use mail_parser::decoders::base64::base64_decode;
use mail_parser::decoders::quoted_printable::quoted_printable_decode;
use mail_parser::{Encoding, Message, MessageParser, MessagePart, MimeHeaders, PartType};

use super::{ContainerStep, SharedBytes, UnpackLimits, over_limit, remark, safe};

/// Header fields with which a mail begins.
const FIRST: [&str; 14] = [
    "from",
    "to",
    "date",
    "subject",
    "received",
    "return-path",
    "delivered-to",
    "mime-version",
    "message-id",
    "reply-to",
    "content-type",
    "dkim-signature",
    "x-mozilla-status",
    "envelope-to",
];

/// The header fields that are kept above the words of a mail.
const KEPT: [&str; 4] = ["From", "To", "Date", "Subject"];

/// Whether a file that begins so may be a mail.
pub(super) fn may_be_mail(start: &[u8]) -> bool {
    let end = start.iter().position(|byte| *byte == b':').unwrap_or(0);
    let name = start.get(..end).unwrap_or(&[]);
    FIRST
        .iter()
        .any(|known| name.eq_ignore_ascii_case(known.as_bytes()))
}

/// Whether the bytes are a mail that has to be taken apart: its header names a sender, and says that the words are coded
/// or that there are several parts.
pub(super) fn is_mail(bytes: &[u8]) -> bool {
    if !may_be_mail(bytes) {
        return false;
    }
    // A header is longer than this only where somebody meant harm.
    let head = String::from_utf8_lossy(bytes.get(..bytes.len().min(1 << 16)).unwrap_or(&[]));
    let head = head.replace("\r\n", "\n").to_ascii_lowercase();
    let Some((head, _)) = head.split_once("\n\n") else {
        return false;
    };
    let head = format!("\n{head}");
    let coded = head.contains("\ncontent-transfer-encoding: base64")
        || head.contains("\ncontent-transfer-encoding: quoted-printable")
        || head.contains("\ncontent-type: multipart/");
    coded && head.contains("\nfrom:")
}

/// The parts of a mail, in its order.
pub(super) struct Mail {
    parts: std::vec::IntoIter<MailPart>,
}

struct MailPart {
    name: String,
    bytes: Vec<u8>,
    damaged: bool,
}

impl Mail {
    pub(super) fn open(bytes: &SharedBytes) -> Self {
        let message = MessageParser::default().parse(bytes.as_ref());
        let parts = message.map(|message| parts(&message)).unwrap_or_default();
        Self {
            parts: parts.into_iter(),
        }
    }

    pub(super) fn step(&mut self, outer: &str, limits: UnpackLimits, left: u64) -> ContainerStep {
        let Some(part) = self.parts.next() else {
            return ContainerStep::End;
        };
        let Some(name) = safe(&part.name) else {
            return ContainerStep::Remark(remark(
                "container-path",
                &format!("{outer}!/{}", part.name),
                "the attached file's name leads out of its folder, or has signs that no path may have",
            ));
        };
        let path = format!("{outer}!/{name}");
        if part.damaged {
            return ContainerStep::Remark(damaged(&path));
        }
        let limit = limits.member.min(left);
        if part.bytes.len() as u64 > limit {
            return ContainerStep::Remark(*over_limit(&path, limit, left, limits));
        }
        ContainerStep::Member(path, part.bytes)
    }
}

fn damaged(path: &str) -> Diagnostic {
    remark(
        "container-damaged",
        path,
        "the coded text of this part is damaged; the part is left out",
    )
    .help("save the part from the mail program, and add that file")
}

/// The words and the attached files of a mail.
fn parts(message: &Message<'_>) -> Vec<MailPart> {
    let mut all = Vec::new();
    let mut head: Vec<String> = Vec::new();
    for name in KEPT {
        let value = match name {
            "Subject" => message.subject().map(str::to_owned),
            name => message
                .header_raw(name)
                .map(|raw| raw.split_whitespace().collect::<Vec<_>>().join(" ")),
        };
        head.extend(value.map(|value| format!("{name}: {value}")));
    }
    // Where the same words come as text and as a page, the page has the table as a table.
    let page = message.html_bodies().find_map(|part| match &part.body {
        PartType::Html(page) if page.to_ascii_lowercase().contains("<table") => Some((page, part)),
        _ => None,
    });
    let (name, text, damaged) = match page {
        Some((page, part)) => {
            let lines = head.iter().map(|line| {
                let safe = line.replace('&', "&amp;").replace('<', "&lt;");
                format!("<p>{safe}</p>\n")
            });
            let text = format!("<!DOCTYPE html>\n{}{page}", lines.collect::<String>());
            ("message.html", text, part.is_encoding_problem)
        }
        None => {
            let mut text = head.join("\n") + "\n\n";
            let mut damaged = false;
            for part in message.text_bodies() {
                if let Some(words) = part.text_contents() {
                    text.push_str(words);
                }
                damaged |= part.is_encoding_problem;
            }
            ("message.txt", text, damaged)
        }
    };
    all.push(MailPart {
        name: name.to_owned(),
        bytes: text.into_bytes(),
        damaged,
    });
    for (number, part) in message.attachments().enumerate() {
        let name = part
            .attachment_name()
            .map_or_else(|| format!("attachment-{}", number + 1), str::to_owned);
        all.push(MailPart {
            name,
            bytes: content(message, part),
            damaged: part.is_encoding_problem,
        });
    }
    all
}

/// The bytes of an attached file as they were before they were coded for the mail.
fn content(message: &Message<'_>, part: &MessagePart<'_>) -> Vec<u8> {
    let range = part.offset_body as usize..part.offset_end as usize;
    let raw = message.raw_message.get(range).unwrap_or(&[]);
    let decoded = match part.encoding {
        Encoding::Base64 => base64_decode(raw),
        Encoding::QuotedPrintable => quoted_printable_decode(raw),
        Encoding::None => Some(raw.to_vec()),
    };
    decoded.unwrap_or_else(|| part.contents().to_vec())
}
