//! Zip and tar archives, mails with attached files, and files packed by gzip, bzip2, xz or zstd, as the files inside them.
//!
//! [`members`] hands out the files of a container one by one, each under the path `outer.zip!/inner.txt`. Only members
//! whose check sum is right are handed out; for everything else there is a remark. Containers inside containers are
//! opened down to a stated depth, and everything is bounded by [`UnpackLimits`], so that a few bytes that would expand to
//! gigabytes do no harm. Spreadsheets and other documents that happen to be zip archives inside are left whole: they
//! are files of their own.
//!
//! No file is opened and none is written here. Member paths that climb out of their folder are refused, so a caller
//! may use the paths as relative ones.

mod mail;
mod tape;

use std::collections::HashSet;
use std::fmt::Write as _;
use std::io::{Cursor, Read};
use std::sync::Arc;

use curvary_record::{Code, Diagnostic, Place};
use flate2::bufread::GzDecoder;
use zip::ZipArchive;
use zip::read::{ZipFile, read_zipfile_from_stream};
use zip::result::ZipError;

use self::mail::Mail;
use self::tape::TarFile;

/// How much a container may unfold to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UnpackLimits {
    /// Bytes of one member.
    pub member: u64,
    /// Bytes of all members together.
    pub total: u64,
    /// How many times longer than its packed form a member may be, once it is longer than a mebibyte. The packing
    /// itself can reach 1032 (see the deflate format, RFC 1951: 258 bytes from two bits).
    pub ratio: u64,
    /// How many members are looked at.
    pub count: usize,
    /// How many containers deep: 1 opens no container inside another.
    pub depth: usize,
}

impl UnpackLimits {
    /// What a desk computer can bear.
    pub const USUAL: Self = Self {
        member: 1 << 29,
        total: 1 << 34,
        ratio: 250,
        count: 200_000,
        // `a.zip!/b.tar.gz!/b.tar!/c.txt` is three, and one more is kept for those who pack what was packed.
        depth: 4,
    };
}

impl Default for UnpackLimits {
    fn default() -> Self {
        Self::USUAL
    }
}

/// Expansion below this many bytes is harmless at any ratio.
const SMALL: u64 = 1 << 20;

/// One file out of a container.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ContainerMember {
    /// Its path, such as `outer.zip!/folder/inner.txt`.
    pub path: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum ContainerKind {
    Zip,
    Tape,
    Mail,
    /// One file, packed.
    Packed(PackingForm),
}

/// How one file is packed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum PackingForm {
    Gzip,
    Bzip2,
    Xz,
    Zstd,
}

/// Endings of packed files, and what the file inside is called then.
const ENDINGS: [(&str, &str); 11] = [
    (".tgz", ".tar"),
    (".tbz2", ".tar"),
    (".tbz", ".tar"),
    (".txz", ".tar"),
    (".tzst", ".tar"),
    (".gz", ""),
    (".bz2", ""),
    (".xz", ""),
    (".zst", ""),
    (".zstd", ""),
    (".bz", ""),
];

/// A file packed by xz may ask for a dictionary of 4 GiB (its format, 5.3.1); its own program makes at most 64 MiB.
const XZ_MEMORY_KIB: u32 = 128 << 10;

/// Whether the bytes are a container whose members are files of their own.
///
/// Told by content alone. Office documents and their like are none, although they are zip archives.
#[must_use]
pub fn is_container(bytes: &[u8]) -> bool {
    kind(bytes).is_some()
}

/// So many bytes of a file tell whether it may be a container.
pub const TELLING: usize = 512;

/// Whether a file that begins so may be a container: a quick look at its first [`TELLING`] bytes; the whole decides later.
#[must_use]
pub fn may_be_container(start: &[u8]) -> bool {
    start.starts_with(b"PK")
        || start.starts_with(&[0x1f, 0x8b])
        || packing(start).is_some()
        || tape::is_tape(start)
        || mail::may_be_mail(start)
}

/// How a file is packed, by its first bytes.
fn packing(bytes: &[u8]) -> Option<PackingForm> {
    match bytes {
        [0x1f, 0x8b, 8, ..] => Some(PackingForm::Gzip),
        // The level, then the first block (its six bytes are the digits of pi).
        [
            b'B',
            b'Z',
            b'h',
            b'1'..=b'9',
            0x31,
            0x41,
            0x59,
            0x26,
            0x53,
            0x59,
            ..,
        ] => Some(PackingForm::Bzip2),
        [0xFD, b'7', b'z', b'X', b'Z', 0, ..] => Some(PackingForm::Xz),
        [0x28, 0xB5, 0x2F, 0xFD, ..] => Some(PackingForm::Zstd),
        _ => None,
    }
}

fn kind(bytes: &[u8]) -> Option<ContainerKind> {
    if let Some(packing) = packing(bytes) {
        return Some(ContainerKind::Packed(packing));
    }
    if tape::is_tape(bytes) {
        return Some(ContainerKind::Tape);
    }
    if mail::is_mail(bytes) {
        return Some(ContainerKind::Mail);
    }
    let zip = bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06");
    (zip && !is_document(bytes)).then_some(ContainerKind::Zip)
}

/// Whether a zip archive is one document: Open Packaging (ECMA-376) has `[Content_Types].xml`, OpenDocument and EPUB
/// have `mimetype` first; an enzymatic experiment is a document with its tables.
fn is_document(bytes: &[u8]) -> bool {
    let first = first_name(bytes);
    if matches!(first, Some(b"[Content_Types].xml" | b"mimetype")) {
        return true;
    }
    ZipArchive::new(Cursor::new(bytes))
        .is_ok_and(|archive| archive.index_for_name("[Content_Types].xml").is_some())
        || crate::readers::enzymeml::is_experiment(bytes)
}

/// Whether a zip archive lists its members in a `manifest.xml` beside them, as COMBINE archives do.
pub(crate) fn has_manifest(bytes: &[u8]) -> bool {
    bytes.starts_with(b"PK\x03\x04")
        && ZipArchive::new(Cursor::new(bytes))
            .is_ok_and(|archive| archive.index_for_name("manifest.xml").is_some())
}

/// The name in the first local header: its length stands at byte 26, the name at byte 30.
fn first_name(bytes: &[u8]) -> Option<&[u8]> {
    let length = u16::from_le_bytes([*bytes.get(26)?, *bytes.get(27)?]);
    bytes.get(30..30 + usize::from(length))
}

/// Whether the `bag-info.txt` of a bag says that we packed it.
#[must_use]
pub fn is_bag_of_ours(info: &str) -> bool {
    info.lines()
        .any(|line| line.starts_with("Bag-Software-Agent: curvary "))
}

/// The folder in a ZIP, with its `/`, that holds a bundle of ours: a bag that says so. Of such a ZIP only the originals below
/// `FOLDER/data/originals/` are measurements; everything else was written from them.
#[must_use]
pub fn bundle(bytes: &[u8]) -> Option<String> {
    if kind(bytes) != Some(ContainerKind::Zip) {
        return None;
    }
    let mut archive = ZipArchive::new(Cursor::new(bytes)).ok()?;
    let names: Vec<String> = archive
        .file_names()
        .filter_map(|name| Some(name.ok()?.into_owned()))
        .collect();
    // Packed again by hand, a bundle may lie in no folder, or in one of another name.
    let folder = names
        .iter()
        .filter_map(|name| name.strip_suffix("bag-info.txt"))
        .find(|folder| folder.is_empty() || folder.find('/') == Some(folder.len() - 1))?
        .to_owned();
    let mut said = String::new();
    let info = archive.by_name(&format!("{folder}bag-info.txt")).ok()?;
    info.take(1 << 16).read_to_string(&mut said).ok()?;
    let ours = is_bag_of_ours(&said);
    let whole = names
        .iter()
        .any(|name| name.strip_prefix(folder.as_str()) == Some("data/runs.jsonl"));
    (ours && whole).then_some(folder)
}

/// The members of a container that stood at `path`, in its order.
///
/// An `Err` is a remark about a member that is not handed out, or about the container; the iterator goes on after it.
#[must_use]
pub fn members(path: impl Into<String>, bytes: Vec<u8>, limits: UnpackLimits) -> ContainerMembers {
    let mut members = ContainerMembers {
        open: Vec::new(),
        limits,
        total: 0,
        count: 0,
        names: HashSet::new(),
        waiting: None,
    };
    let path = path.into();
    match kind(&bytes) {
        Some(kind) => members.enter(kind, path, bytes),
        None => {
            members.waiting = Some(remark(
                "container-unknown",
                &path,
                "the file is no zip or tar archive, no mail of several parts, and not packed by gzip, bzip2, xz or zstd",
            ));
        }
    }
    members
}

/// An iterator over the members of a container; see [`members`].
pub struct ContainerMembers {
    /// The containers that are open, outermost first.
    open: Vec<OpenContainer>,
    limits: UnpackLimits,
    total: u64,
    count: usize,
    /// The paths that were handed out.
    names: HashSet<String>,
    waiting: Option<Diagnostic>,
}

struct OpenContainer {
    path: String,
    content: ContainerContent,
}

enum ContainerContent {
    /// A zip archive with its table of contents.
    Zip {
        archive: ZipArchive<Cursor<SharedBytes>>,
        next: usize,
    },
    /// A zip archive whose table of contents is lost: its members are found one after the other.
    Salvage(Cursor<SharedBytes>),
    /// A tar archive.
    Tape(TarFile),
    /// A mail with coded words or attached files.
    Mail(Mail),
    /// One packed file.
    Packed(PackingForm, SharedBytes),
    /// Nothing more.
    Spent,
}

/// Bytes that a failed attempt to open an archive does not take away.
#[derive(Clone)]
struct SharedBytes(Arc<Vec<u8>>);

impl AsRef<[u8]> for SharedBytes {
    fn as_ref(&self) -> &[u8] {
        &self.0
    }
}

/// What one step through an open container gave.
enum ContainerStep {
    Member(String, Vec<u8>),
    Remark(Diagnostic),
    Nothing,
    End,
}

impl Iterator for ContainerMembers {
    type Item = Result<ContainerMember, Diagnostic>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some(remark) = self.waiting.take() {
                return Some(Err(remark));
            }
            let open = self.open.last_mut()?;
            if self.count >= self.limits.count {
                let message = format!(
                    "it holds more than {} members; the rest is left out",
                    self.limits.count
                );
                let remark = remark("container-limit", &open.path, message);
                self.open.clear();
                return Some(Err(remark));
            }
            self.count += 1;
            let left = self.limits.total.saturating_sub(self.total);
            match open.step(self.limits, left) {
                ContainerStep::Nothing => {}
                ContainerStep::End => {
                    self.open.pop();
                }
                ContainerStep::Remark(remark) => return Some(Err(remark)),
                ContainerStep::Member(path, bytes) => {
                    self.total += bytes.len() as u64;
                    let path = self.unused(path);
                    match kind(&bytes) {
                        None => return Some(Ok(ContainerMember { path, bytes })),
                        Some(_) if self.open.len() >= self.limits.depth => {
                            let message = format!(
                                "it is a container inside {} others; it is not opened",
                                self.open.len()
                            );
                            return Some(Err(remark("container-nested", &path, message)
                                .help("unpack the outer container, then add the folder")));
                        }
                        Some(kind) => self.enter(kind, path, bytes),
                    }
                }
            }
        }
    }
}

impl ContainerMembers {
    /// The path, with a number before its ending where another member has it already: `run~2.csv`.
    fn unused(&mut self, path: String) -> String {
        if self.names.insert(path.clone()) {
            return path;
        }
        let file = path.rfind('/').map_or(0, |slash| slash + 1);
        let dot = path[file..].rfind('.').filter(|&dot| dot > 0);
        let (stem, ending) = path.split_at(dot.map_or(path.len(), |dot| file + dot));
        let mut number = 2;
        loop {
            let path = format!("{stem}~{number}{ending}");
            if self.names.insert(path.clone()) {
                return path;
            }
            number += 1;
        }
    }

    fn enter(&mut self, kind: ContainerKind, path: String, bytes: Vec<u8>) {
        let bytes = SharedBytes(Arc::new(bytes));
        let content = match kind {
            ContainerKind::Packed(packing) => ContainerContent::Packed(packing, bytes),
            ContainerKind::Tape => {
                let (tape, damaged) = TarFile::open(&path, bytes, self.limits.count);
                self.waiting = damaged;
                ContainerContent::Tape(tape)
            }
            ContainerKind::Mail => ContainerContent::Mail(Mail::open(&bytes)),
            ContainerKind::Zip => match ZipArchive::new(Cursor::new(bytes.clone())) {
                Ok(archive) => {
                    if !archive.has_duplicate_names() {
                        ContainerContent::Zip { archive, next: 0 }
                    } else if follow_one_another(&bytes) {
                        let message =
                            "several members have the same name; each is read, the second as `NAME~2`";
                        self.waiting = Some(remark("container-duplicate", &path, message));
                        ContainerContent::Salvage(Cursor::new(bytes))
                    } else {
                        let message =
                            "several members have the same name, and only the last of them can be found";
                        let help = "unpack it with a program that asks for new names, then add the folder";
                        self.waiting = Some(remark("container-duplicate", &path, message).help(help));
                        ContainerContent::Zip { archive, next: 0 }
                    }
                }
                Err(error) => {
                    let message = format!(
                        "its table of contents cannot be read ({error}); members are looked for one by one"
                    );
                    let help = "the end of the file is probably missing: copy it again from where it came";
                    self.waiting = Some(remark("container-damaged", &path, message).help(help));
                    ContainerContent::Salvage(Cursor::new(bytes))
                }
            },
        };
        self.open.push(OpenContainer { path, content });
    }
}

impl OpenContainer {
    fn step(&mut self, limits: UnpackLimits, left: u64) -> ContainerStep {
        match &mut self.content {
            ContainerContent::Zip { archive, next } => {
                let index = *next;
                if index >= archive.len() {
                    return ContainerStep::End;
                }
                *next += 1;
                let shown = match archive.by_index_raw(index) {
                    Ok(file) => label(&self.path, &file),
                    Err(error) => return ContainerStep::Remark(unreadable(&self.path, &error)),
                };
                match archive.by_index(index) {
                    Ok(mut file) => unpack(&self.path, &mut file, limits, left),
                    Err(error) => ContainerStep::Remark(unreadable(&shown, &error)),
                }
            }
            ContainerContent::Salvage(bytes) => {
                let before = bytes.position();
                let step = match read_zipfile_from_stream(bytes) {
                    Ok(Some(mut file)) => unpack(&self.path, &mut file, limits, left),
                    Ok(None) => ContainerStep::End,
                    Err(ZipError::Io(_) | ZipError::InvalidArchive(_)) => ContainerStep::Remark(remark(
                        "container-damaged",
                        &self.path,
                        format!("nothing can be read from byte {before} on"),
                    )),
                    Err(error) => ContainerStep::Remark(unreadable(&self.path, &error)),
                };
                if matches!(step, ContainerStep::Remark(_)) {
                    // Where the next member begins is not sure after a failure.
                    self.content = ContainerContent::Spent;
                }
                step
            }
            ContainerContent::Tape(tape) => tape.step(&self.path, limits, left),
            ContainerContent::Mail(mail) => mail.step(&self.path, limits, left),
            ContainerContent::Packed(packing, bytes) => {
                let step = match unpacked(&self.path, *packing, bytes.as_ref(), limits, left) {
                    Ok(content) => {
                        let file = self.path.rsplit(['/', '\\']).next().unwrap_or(&self.path);
                        ContainerStep::Member(format!("{}!/{}", self.path, without_ending(file)), content)
                    }
                    Err(remark) => ContainerStep::Remark(*remark),
                };
                self.content = ContainerContent::Spent;
                step
            }
            ContainerContent::Spent => ContainerStep::End,
        }
    }
}

/// Whether the members of a zip archive can be read one after another: its table of contents tells one for each name. Their
/// bytes are passed over, not unpacked.
fn follow_one_another(bytes: &SharedBytes) -> bool {
    let mut rest = Cursor::new(bytes.clone());
    loop {
        match read_zipfile_from_stream(&mut rest) {
            Ok(Some(_)) => {}
            Ok(None) => return true,
            Err(_) => return false,
        }
    }
}

/// The path of a member for people, safe or not.
fn label<R: Read>(outer: &str, file: &ZipFile<'_, R>) -> String {
    match file.name() {
        Ok(name) => format!("{outer}!/{name}"),
        Err(_) => format!("{outer}!/{}", spelled(file.name_raw())),
    }
}

fn unpack<R: Read>(outer: &str, file: &mut ZipFile<'_, R>, limits: UnpackLimits, left: u64) -> ContainerStep {
    let shown = label(outer, file);
    if file.is_dir() {
        return ContainerStep::Nothing;
    }
    if file.is_symlink() {
        return ContainerStep::Remark(remark(
            "container-link",
            &shown,
            "the member is a link to another file, and no file itself",
        ));
    }
    let Some(inner) = file.name().ok().and_then(|name| safe(&name)) else {
        return ContainerStep::Remark(
            remark(
                "container-path",
                &shown,
                "the member's path leads out of its folder, or has signs that no path may have",
            )
            .help("unpack the container by hand into an empty folder, look at it, and add the folder"),
        );
    };
    let packed = file.compressed_size();
    let path = format!("{outer}!/{inner}");
    match bounded(file, &path, packed, limits, left) {
        Ok(bytes) => ContainerStep::Member(path, bytes),
        Err(remark) => ContainerStep::Remark(*remark),
    }
}

/// Reads all of a member unless it grows over a limit or its check sum is wrong.
fn bounded(
    reader: &mut impl Read,
    path: &str,
    packed: u64,
    limits: UnpackLimits,
    left: u64,
) -> Result<Vec<u8>, Box<Diagnostic>> {
    let by_ratio = packed.saturating_mul(limits.ratio).max(SMALL);
    let limit = limits.member.min(left).min(by_ratio);
    let mut bytes = Vec::new();
    match reader.take(limit.saturating_add(1)).read_to_end(&mut bytes) {
        Err(error) => {
            let message = format!("the packed data are damaged ({error}); the member is left out");
            let remark = remark("container-damaged", path, message);
            Err(Box::new(
                remark.help("copy the container again from where it came"),
            ))
        }
        Ok(_) if bytes.len() as u64 <= limit => Ok(bytes),
        Ok(_) if limit == by_ratio => {
            let message = format!(
                "the member unfolds to more than {} times its packed length of {packed} bytes; it is left out",
                limits.ratio
            );
            let remark = remark("container-limit", path, message);
            Err(Box::new(
                remark.help("unpack the container by hand if you trust it"),
            ))
        }
        Ok(_) => Err(over_limit(path, limit, left, limits)),
    }
}

/// The remark on a member that is longer than the limit of one member, or than what is left for all together.
fn over_limit(path: &str, limit: u64, left: u64, limits: UnpackLimits) -> Box<Diagnostic> {
    let message = if limit == left {
        format!(
            "all members together unfold to more than {} bytes; this one is left out",
            limits.total
        )
    } else {
        format!("the member unfolds to more than {limit} bytes; it is left out")
    };
    let remark = remark("container-limit", path, message);
    Box::new(remark.help("unpack the container by hand if you trust it"))
}

/// The content of a packed file.
fn unpacked(
    path: &str,
    packing: PackingForm,
    bytes: &[u8],
    limits: UnpackLimits,
    left: u64,
) -> Result<Vec<u8>, Box<Diagnostic>> {
    let packed = bytes.len() as u64;
    match packing {
        PackingForm::Gzip => gunzip(path, bytes, limits, left),
        PackingForm::Bzip2 => bounded(
            &mut bzip2::read::MultiBzDecoder::new(bytes),
            path,
            packed,
            limits,
            left,
        ),
        PackingForm::Xz => {
            let mut reader = lzma_rust2::XzReader::new_mem_limit(bytes, true, XZ_MEMORY_KIB);
            bounded(&mut reader, path, packed, limits, left)
        }
        PackingForm::Zstd => match zstd::stream::read::Decoder::with_buffer(bytes) {
            Ok(mut decoder) => bounded(&mut decoder, path, packed, limits, left),
            Err(error) => Err(Box::new(remark(
                "container-damaged",
                path,
                format!("the packed data are damaged ({error}); the member is left out"),
            ))),
        },
    }
}

/// The content of a gzip file: all its members joined, as RFC 1952 has it. Zeros behind them are padding.
fn gunzip(path: &str, bytes: &[u8], limits: UnpackLimits, left: u64) -> Result<Vec<u8>, Box<Diagnostic>> {
    let mut content = Vec::new();
    let mut rest = bytes;
    loop {
        let mut decoder = GzDecoder::new(rest);
        let left = left.saturating_sub(content.len() as u64);
        let member = limits.member.saturating_sub(content.len() as u64);
        let part = bounded(
            &mut decoder,
            path,
            rest.len() as u64,
            UnpackLimits { member, ..limits },
            left,
        )?;
        content.extend_from_slice(&part);
        rest = decoder.into_inner();
        if rest.iter().all(|&byte| byte == 0) {
            return Ok(content);
        }
        if !rest.starts_with(&[0x1f, 0x8b]) {
            let message = format!("{} bytes behind the packed data are not understood", rest.len());
            return Err(Box::new(remark("container-damaged", path, message)));
        }
    }
}

fn without_ending(file: &str) -> String {
    let lower = file.to_ascii_lowercase();
    ENDINGS
        .iter()
        .find(|(ending, _)| lower.ends_with(ending) && lower.len() > ending.len())
        .and_then(|(ending, inside)| Some(format!("{}{inside}", file.get(..file.len() - ending.len())?)))
        .unwrap_or_else(|| file.to_owned())
}

/// A file's name as text. Bytes that are no UTF-8 stand as `\xE9`, and a backslash that would read as the beginning of
/// such a byte stands as `\x5C`, so that no two names share a text.
#[must_use]
pub fn spelled(name: &[u8]) -> String {
    let mut text = String::with_capacity(name.len());
    for chunk in name.utf8_chunks() {
        let valid = chunk.valid();
        for (at, sign) in valid.char_indices() {
            if sign == '\\' && reads_as_byte(&valid[at..]) {
                text.push_str("\\x5C");
            } else {
                text.push(sign);
            }
        }
        for byte in chunk.invalid() {
            let _ = write!(text, "\\x{byte:02X}");
        }
    }
    text
}

/// Whether a text begins as [`spelled`] writes a byte that is no UTF-8.
fn reads_as_byte(text: &str) -> bool {
    let is_digit = |byte: &u8| matches!(byte, b'0'..=b'9' | b'A'..=b'F');
    matches!(text.as_bytes(), [b'\\', b'x', high, low, ..] if is_digit(high) && is_digit(low))
}

/// A member's name as a relative path with `/`; none when it is absolute, climbs, or has signs no path may have.
fn safe(name: &str) -> Option<String> {
    let name: String = name
        .char_indices()
        .map(|(at, sign)| match sign {
            '\\' if !reads_as_byte(&name[at..]) => '/',
            sign => sign,
        })
        .collect();
    if name.starts_with('/') || name.chars().any(|c| c.is_control() || c == ':') {
        return None;
    }
    let parts: Vec<&str> = name
        .split('/')
        .filter(|part| !matches!(*part, "" | "."))
        .collect();
    let climbs = parts.iter().any(|part| *part == ".." || part.ends_with('!'));
    (!parts.is_empty() && !climbs).then(|| parts.join("/"))
}

fn unreadable(path: &str, error: &ZipError) -> Diagnostic {
    match error {
        ZipError::UnsupportedArchive(ZipError::PASSWORD_REQUIRED) | ZipError::InvalidPassword => remark(
            "container-encrypted",
            path,
            "the member is encrypted and cannot be read",
        )
        .help("unpack the container with its password, then add the folder"),
        ZipError::CompressionMethodNotSupported(method) => remark(
            "container-method",
            path,
            format!("the member is packed by method {method}; stored (0) and deflate (8) are read"),
        )
        .help("unpack the container by hand, then add the folder"),
        ZipError::UnsupportedArchive(what) => remark(
            "container-method",
            path,
            format!("the member cannot be unpacked here ({what}); stored and deflated members are read"),
        )
        .help("unpack the container by hand, then add the folder"),
        error => remark(
            "container-damaged",
            path,
            format!("the member cannot be read ({error}); it is left out"),
        ),
    }
}

fn remark(code: &'static str, path: &str, message: impl Into<String>) -> Diagnostic {
    let place = Place {
        file: Some(path.to_owned()),
        ..Place::default()
    };
    Diagnostic::error(Code::new(code), message).at(place, "")
}
