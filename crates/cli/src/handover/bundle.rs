//! The bundle: one file that a stranger can use.
//!
//! A BagIt bag (RFC 8493) whose payload is at once a Data Package (Frictionless 2.0) and an RO-Crate (1.1): tables, JSON,
//! a figure, a report, a README in plain words, and the originals if they are asked for. The same runs packed on the same
//! day are the same bytes.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use curvary_archive::{Answer, Archive, Sequence};
use curvary_formats::writers::csv::{CsvOptions, Origins};
use curvary_formats::writers::export::{
    self, ExportError, ExportPart, ExportRemarks, ExportedRuns, Files, Output,
};
use curvary_formats::writers::table_schema::TableField;
use curvary_formats::writers::units::Units;
use curvary_formats::writers::{json_lines, tables};
use curvary_formats::{Source, family};
use curvary_record::names::NameRule;
use curvary_record::{Code, Diagnostic, Digest, Family};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use sha2::{Digest as _, Sha512};

use super::readme::{self, About};
use super::{LeftOutValues, ReportPage, found_in_file, still_there};
use crate::ending::Failure;
use crate::half;
use crate::output::{self, ExistingFile, OutputFiles};
use crate::screen::plural;

/// What is packed beside the runs.
pub(crate) struct BundleContent<'a> {
    pub(crate) title: String,
    pub(crate) licence: Option<String>,
    /// The day it is packed, ISO 8601.
    pub(crate) dated: String,
    /// The archive from which the originals are taken, if they are wanted.
    pub(crate) originals: Option<&'a Archive>,
    /// How many runs, and points of theirs.
    pub(crate) runs: u64,
    pub(crate) points: u64,
}

/// What a laboratory said of how its files are read, and its saved sequences.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Laboratory {
    /// Local words, as in `archive.toml`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub(super) words: BTreeMap<String, String>,
    /// Saved sequences.
    #[serde(default, rename = "sequence", skip_serializing_if = "Vec::is_empty")]
    pub(super) sequences: Vec<Sequence>,
    /// Rules for names.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) names: Vec<NameRule>,
}

impl Laboratory {
    pub(super) fn of(archive: &Archive) -> Self {
        let settings = archive.settings();
        Self {
            words: settings.words.clone(),
            sequences: settings.sequences.clone(),
            names: settings.names.clone(),
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// Packs runs into a ZIP file, or into a folder where the name has another ending.
pub(crate) fn pack(
    target: &Path,
    existing: ExistingFile,
    subjects: &mut dyn ExportedRuns,
    gone: &LeftOutValues,
    order: &BundleContent<'_>,
) -> Result<Vec<Diagnostic>, Failure> {
    let fail = |error: io::Error| Failure::file("write", target, &error);
    output::may_be_written(target, existing).map_err(fail)?;
    let stage = Stage::new(target).map_err(fail)?;
    let remarks = fill(target, &stage.folder, subjects, gone, order)?;
    let bag = bag(&stage.folder).map_err(fail)?;
    debug_assert!(bag.windows(2).all(|pair| pair[0] < pair[1]));
    for name in bag.iter().filter(|name| !name.starts_with("data/originals/")) {
        let file = File::open(stage.folder.join(name)).map_err(fail)?;
        if let Some(value) = found_in_file(gone, file).map_err(fail)? {
            return Err(Failure::nothing(still_there(&value, name)));
        }
    }
    let stem = target
        .file_stem()
        .map_or_else(|| "bundle".into(), |stem| stem.to_string_lossy());
    let zipped = target
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("zip"));
    if zipped {
        output::write(target, existing, |file| {
            zip_into(file, &stage.folder, &stem, &bag)
        })
        .map_err(fail)?;
    } else {
        if existing == ExistingFile::Replaced && target.is_dir() {
            // Only a bag is ever replaced: a folder may hold anything.
            if !target.join("bagit.txt").is_file() {
                return Err(fail(io::Error::new(
                    io::ErrorKind::AlreadyExists,
                    "a folder of this name is there already, and it is no bundle",
                )));
            }
            fs::remove_dir_all(target).map_err(fail)?;
        }
        fs::rename(&stage.folder, target).map_err(fail)?;
    }
    Ok(remarks)
}

/// A folder beside the target in which a bundle is made; it goes away in any case.
struct Stage {
    folder: PathBuf,
}

impl Stage {
    fn new(target: &Path) -> io::Result<Self> {
        half::look_beside_folder(target);
        if let Some(parent) = target.parent().filter(|parent| !parent.as_os_str().is_empty()) {
            fs::create_dir_all(parent)?;
        }
        for number in 0_u32..1000 {
            let mut name = target.as_os_str().to_owned();
            name.push(half::folder_ending(number));
            let folder = PathBuf::from(name);
            match fs::create_dir(&folder) {
                Ok(()) => return Ok(Self { folder }),
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
                Err(error) => return Err(error),
            }
        }
        Err(io::Error::other("no free name for a folder beside it"))
    }
}

impl Drop for Stage {
    fn drop(&mut self) {
        // It is gone already where it was given its last name.
        let _ = fs::remove_dir_all(&self.folder);
    }
}

/// The files of one exporter under a folder of the bundle, its main file under a name.
struct Within<'w> {
    files: &'w mut OutputFiles,
    folder: &'static str,
    main: &'static str,
}

impl Files for Within<'_> {
    fn create(&mut self, part: ExportPart<'_>) -> io::Result<Box<dyn Output>> {
        let name = match part {
            ExportPart::Main => self.main.to_owned(),
            ExportPart::Schema => format!("{}.schema.json", self.main),
            ExportPart::Member(name) => format!("{}{name}", self.folder),
        };
        self.files.create(ExportPart::Member(&name))
    }
}

fn exported(target: &Path, error: ExportError) -> Failure {
    match error {
        ExportError::Io(error) => Failure::file("write", target, &error),
        ExportError::Refused(why) => Failure::nothing(*why),
        error @ ExportError::Changed(_) => Failure::file("write", target, &io::Error::other(error)),
    }
}

/// Fills the payload.
fn fill(
    target: &Path,
    stage: &Path,
    subjects: &mut dyn ExportedRuns,
    gone: &LeftOutValues,
    order: &BundleContent<'_>,
) -> Result<Vec<Diagnostic>, Failure> {
    let data = stage.join("data");
    let fail = |error: io::Error| Failure::file("write", target, &error);
    let exported = |error: ExportError| exported(target, error);
    let mut files = OutputFiles::new(&data, ExistingFile::Replaced);
    let mut within = Within {
        files: &mut files,
        folder: "tables/",
        main: "runs.jsonl",
    };
    let mut four = tables::Tables::new(CsvOptions::default());
    // The bundle itself has everything, whatever one of its forms has no room for.
    let ExportRemarks { mut remarks, .. } =
        export::export(&mut four, subjects, Units::OneEach, &mut within).map_err(&exported)?;
    let mut lines = json_lines::Json::lines();
    export::export(&mut lines, subjects, Units::AsRead, &mut within).map_err(&exported)?;
    drop((four, lines));
    let mut page = ReportPage::new(&order.title);
    let mut runs_of: BTreeMap<Digest, u64> = BTreeMap::new();
    let (mut results, mut sources, mut known) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
    {
        let out = files
            .create(ExportPart::Member("tables/origins.csv"))
            .map_err(fail)?;
        let mut origins = Origins::new(out).map_err(fail)?;
        subjects
            .each(&mut |subject| {
                origins.write(subject.run)?;
                page.add(subject.run, subject.results);
                known.insert(subject.run.id.to_string());
                results.extend(subject.results.iter().map(|result| result.id.clone()));
                *runs_of.entry(subject.run.source.digest.clone()).or_default() += 1;
                sources.insert((subject.run.source.path.clone(), subject.run.source.digest.clone()));
                Ok(())
            })
            .map_err(&exported)?;
        origins.finish().map_err(fail)?;
    }
    let left_out = gone.words();
    page.left_out(left_out.clone());
    let put = |files: &mut OutputFiles, name: &str, bytes: &[u8]| -> Result<(), Failure> {
        let mut out = files.create(ExportPart::Member(name)).map_err(fail)?;
        out.write_all(bytes).and_then(|()| out.flush()).map_err(fail)
    };
    put(&mut files, "report.html", page.html()?.as_bytes())?;
    let mut pages = vec![(
        "report.html",
        "a report for reading and printing: conditions, curves, fits with their residuals, results",
    )];
    if let Some(svg) = page.overlay()? {
        put(&mut files, "curves.svg", &svg)?;
        pages.push(("curves.svg", "the curves over each other, as a picture"));
    }
    let mut more_runs = 0;
    if let Some(archive) = order.originals {
        more_runs = runs_beside(archive, &runs_of)?;
        if more_runs > 0 {
            let why = Diagnostic::warning(
                Code::new("originals-hold-more"),
                format!(
                    "the originals hold {} more, which {} in no table here; whoever adds the bundle to an archive has {} too",
                    plural(more_runs, "run"),
                    if more_runs == 1 { "stands" } else { "stand" },
                    if more_runs == 1 { "it" } else { "them" },
                ),
            );
            remarks.push(
                why.help("hand the runs over without `--originals`, or ask for all runs of these files"),
            );
        }
        come_home(archive, target, &mut files, &sources, &known)?;
    }
    files.commit().map_err(fail)?;
    let package = package(&data, order).map_err(fail)?;
    let described = described(&package);
    let about = About {
        title: &order.title,
        runs: order.runs,
        points: order.points,
        results: results.len() as u64,
        licence: order.licence.as_deref(),
        left_out: left_out.as_deref(),
        originals: order.originals.is_some(),
        more_runs,
        tables: &described,
        pages: &pages,
    };
    let write = |name: &str, text: &str| fs::write(data.join(name), text).map_err(fail);
    write("README.md", &readme::text(&about))?;
    write("datapackage.json", &pretty(&package))?;
    write("ro-crate-metadata.json", "")?;
    let crate_ = ro_crate(&data, order).map_err(fail)?;
    write("ro-crate-metadata.json", &pretty(&crate_))?;
    Ok(remarks)
}

/// How many runs the originals hold that are not packed.
fn runs_beside(archive: &Archive, packed: &BTreeMap<Digest, u64>) -> Result<u64, Failure> {
    let mut more = 0;
    for (digest, runs) in packed {
        let all = archive.source(digest)?.map_or(0, |source| u64::from(source.runs));
        more += all.saturating_sub(*runs);
    }
    Ok(more)
}

/// Packs the originals, and with them what is needed to have the same runs in another archive.
fn come_home(
    archive: &Archive,
    target: &Path,
    files: &mut OutputFiles,
    sources: &BTreeSet<(String, Digest)>,
    known: &BTreeSet<String>,
) -> Result<(), Failure> {
    let fail = |error: io::Error| Failure::file("write", target, &error);
    let mut put = |name: &str, bytes: &[u8]| -> Result<(), Failure> {
        let mut out = files.create(ExportPart::Member(name)).map_err(fail)?;
        out.write_all(bytes).and_then(|()| out.flush()).map_err(fail)
    };
    let mut taken = BTreeSet::new();
    for (path, digest) in sources {
        let bytes = archive.original(digest)?;
        let name = free(inside(path, digest), digest, &mut taken);
        put(&format!("originals/{name}"), &bytes)?;
    }
    // What people said of the runs, for the way back into an archive.
    let mut notes = Vec::new();
    for note in archive
        .notes()?
        .iter()
        .filter(|note| known.contains(note.run.as_str()))
    {
        notes.extend(serde_json::to_vec(note).map_err(|error| fail(error.into()))?);
        notes.push(b'\n');
    }
    put("notes.jsonl", &notes)?;
    // What they answered is needed to read the originals as here: the answers that these rest on, about them alone.
    let mut read: BTreeMap<&Digest, Option<Family>> = BTreeMap::new();
    for (path, digest) in sources {
        let source = Source::new(path.as_str(), archive.original(digest)?);
        read.insert(digest, family::of(&source));
    }
    let mut answers = Vec::new();
    for answer in archive.answers()?.holding() {
        let about = |(digest, family): (&&Digest, &Option<Family>)| {
            answer
                .is_about(digest, &family.clone().unwrap_or_default())
                .then(|| (*digest).clone())
        };
        let only: Vec<Digest> = read.iter().filter_map(about).collect();
        if only.is_empty() {
            continue;
        }
        let answer = Answer {
            only: only.into(),
            family: None,
            ways: Vec::new(),
            everywhere: false,
            ..answer.clone()
        };
        answers.extend(serde_json::to_vec(&answer).map_err(|error| fail(error.into()))?);
        answers.push(b'\n');
    }
    put("answers.jsonl", &answers)?;
    // Local words, rules for names and layouts: with them the originals are read as here.
    let settings = Laboratory::of(archive);
    if !settings.is_empty() {
        let text =
            toml_edit::ser::to_string_pretty(&settings).map_err(|error| fail(io::Error::other(error)))?;
        put("laboratory.toml", text.as_bytes())?;
    }
    let mut layouts = Vec::new();
    let folder = archive.root().join("layouts");
    if folder.is_dir() {
        walk(&folder, "", &mut layouts).map_err(fail)?;
    }
    for name in layouts.iter().filter(|name| name.ends_with(".toml")) {
        let bytes = fs::read(folder.join(name)).map_err(fail)?;
        put(&format!("layouts/{name}"), &bytes)?;
    }
    Ok(())
}

fn pretty(value: &Value) -> String {
    let mut text = serde_json::to_string_pretty(value).unwrap_or_default();
    text.push('\n');
    text
}

/// A name that no other original has, also where small and capital letters are one; the second gets its digest in front.
fn free(name: String, digest: &Digest, taken: &mut BTreeSet<String>) -> String {
    if taken.insert(name.to_lowercase()) {
        return name;
    }
    let digits = digest.as_str().trim_start_matches("sha256:");
    let marked = match name.rsplit_once('/') {
        Some((folder, file)) => format!("{folder}/{}-{file}", digits.get(..12).unwrap_or(digits)),
        None => format!("{}-{name}", digits.get(..12).unwrap_or(digits)),
    };
    taken.insert(marked.to_lowercase());
    marked
}

/// Names that mean a device where they are those of files.
const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];

/// A path of a source below `originals/`, of names that every file system takes and that lead nowhere else.
fn inside(path: &str, digest: &Digest) -> String {
    let safe = |part: &str| -> String {
        let plain: String = part
            .chars()
            .map(|sign| {
                if sign.is_control() || "<>:\"\\|?*".contains(sign) {
                    '_'
                } else {
                    sign
                }
            })
            .collect();
        // A `!` at the end of a name is what tells the members of a container: here they lie in folders.
        let plain = plain.trim_end_matches(['.', ' ', '!']);
        let stem = plain.split('.').next().unwrap_or_default().to_ascii_lowercase();
        let device = DEVICES.contains(&stem.trim_end_matches(|c: char| c.is_ascii_digit()));
        // File systems take 255 bytes; some are kept for a digest in front.
        let mut cut = plain.len().min(200);
        while !plain.is_char_boundary(cut) {
            cut -= 1;
        }
        let kept = if cut == plain.len() {
            plain.to_owned()
        } else {
            // The ending says what kind of file it is.
            let ending = plain
                .rsplit_once('.')
                .map(|(_, ending)| ending)
                .filter(|ending| ending.len() <= 8);
            format!(
                "{}{}",
                &plain[..cut],
                ending.map(|ending| format!(".{ending}")).unwrap_or_default()
            )
        };
        if device { format!("_{kept}") } else { kept }
    };
    let parts: Vec<String> = path
        .split('/')
        .map(safe)
        .filter(|part| !part.is_empty() && part != "..")
        .collect();
    if parts.is_empty() {
        return digest.as_str().replace(':', "-");
    }
    parts.join("/")
}

/// The Data Package: that of the tables, with their paths in the bundle and what else there is.
fn package(data: &Path, order: &BundleContent<'_>) -> io::Result<Value> {
    let path = data.join("tables/datapackage.json");
    let mut package: Value = serde_json::from_slice(&fs::read(&path)?)?;
    fs::remove_file(&path)?;
    let resources = package["resources"].take();
    let mut all: Vec<Value> = resources.as_array().cloned().unwrap_or_default();
    all.push(tables::resource(
        "origins",
        "origins.csv",
        "csv",
        Origins::<Vec<u8>>::schema().fields,
    ));
    for resource in &mut all {
        let path = format!("tables/{}", resource["path"].as_str().unwrap_or_default());
        let size = fs::metadata(data.join(&path))?.len();
        resource["path"] = path.into();
        resource["bytes"] = size.into();
    }
    let mut names: Vec<Value> = vec![json!({
        "name": "all-as-json", "path": "runs.jsonl", "format": "jsonl", "mediatype": "application/jsonl",
        "description": "A line for each run, in the open schema.",
    })];
    names
        .push(json!({ "name": "report", "path": "report.html", "format": "html", "mediatype": "text/html" }));
    if data.join("curves.svg").exists() {
        names.push(json!({ "name": "curves-as-picture", "path": "curves.svg", "format": "svg", "mediatype": "image/svg+xml" }));
    }
    all.extend(names);
    let mut described = json!({
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "handed-over", "title": order.title,
        "description": "Measurements of a UV-visible spectrophotometer with what was computed from them. README.md says more.",
        "created": format!("{}T00:00:00Z", order.dated),
    });
    if let Some(licence) = &order.licence {
        described["licenses"] = json!([licence_of(licence)]);
    }
    described["resources"] = Value::Array(all);
    Ok(described)
}

fn licence_of(licence: &str) -> Value {
    if licence.contains("://") {
        json!({ "path": licence })
    } else {
        // A name without blanks is that of a list of licences; anything else is a title.
        let name = licence
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || "-._".contains(c));
        if name {
            json!({ "name": licence })
        } else {
            json!({ "name": "other", "title": licence })
        }
    }
}

/// The tables of a package with their columns, for the README.
fn described(package: &Value) -> Vec<(String, Vec<TableField>)> {
    let resources = package["resources"]
        .as_array()
        .map(Vec::as_slice)
        .unwrap_or_default();
    resources
        .iter()
        .filter_map(|resource| {
            let fields = serde_json::from_value(resource["schema"]["fields"].clone()).ok()?;
            Some((resource["path"].as_str()?.to_owned(), fields))
        })
        .collect()
}

/// What the files are, as an RO-Crate.
fn ro_crate(data: &Path, order: &BundleContent<'_>) -> io::Result<Value> {
    let mut names = Vec::new();
    walk(data, "", &mut names)?;
    let payload: Vec<&String> = names
        .iter()
        .filter(|name| *name != "ro-crate-metadata.json")
        .collect();
    let part = |name: &String| json!({ "@id": encoded(name) });
    let made: Vec<Value> = payload
        .iter()
        .filter(|name| !name.starts_with("originals/"))
        .map(|name| part(name))
        .collect();
    let mut root = json!({
        "@id": "./", "@type": "Dataset", "name": order.title,
        "description": "Measurements of a UV-visible spectrophotometer with what was computed from them.",
        "datePublished": order.dated,
        "hasPart": payload.iter().map(|name| part(name)).collect::<Vec<_>>(),
    });
    root["license"] = match &order.licence {
        Some(licence) if licence.contains("://") => json!({ "@id": licence }),
        Some(licence) => json!(licence),
        None => json!("None was stated."),
    };
    let mut graph = vec![
        json!({
            "@id": "ro-crate-metadata.json", "@type": "CreativeWork", "about": { "@id": "./" },
            "conformsTo": { "@id": "https://w3id.org/ro/crate/1.1" },
        }),
        root,
        json!({
            "@id": "#curvary", "@type": "SoftwareApplication", "name": "curvary", "version": env!("CARGO_PKG_VERSION"),
            "softwareVersion": env!("CARGO_PKG_VERSION"),
        }),
        json!({
            "@id": "#packing", "@type": "CreateAction", "name": "runs taken out of an archive and packed",
            "instrument": { "@id": "#curvary" }, "result": made, "endTime": order.dated,
        }),
    ];
    if let Some(licence) = order.licence.as_ref().filter(|licence| licence.contains("://")) {
        graph.push(json!({ "@id": licence, "@type": "CreativeWork", "name": licence }));
    }
    for name in payload {
        let media = match name.rsplit('.').next().unwrap_or_default() {
            "csv" => "text/csv",
            "json" => "application/json",
            "jsonl" => "application/jsonl",
            "html" => "text/html",
            "svg" => "image/svg+xml",
            "md" => "text/markdown",
            "toml" => "application/toml",
            _ => "application/octet-stream",
        };
        graph.push(json!({
            "@id": encoded(name), "@type": "File", "name": name, "encodingFormat": media,
            "contentSize": fs::metadata(data.join(name))?.len().to_string(),
        }));
    }
    Ok(json!({ "@context": "https://w3id.org/ro/crate/1.1/context", "@graph": graph }))
}

/// A path as a relative reference: signs beyond the unreserved ones of RFC 3986 are encoded.
fn encoded(path: &str) -> String {
    let mut text = String::new();
    for byte in path.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            text.push(char::from(byte));
        } else {
            text.push_str(&format!("%{byte:02X}"));
        }
    }
    text
}

/// Every file below a folder, by name.
pub(super) fn walk(folder: &Path, front: &str, all: &mut Vec<String>) -> io::Result<()> {
    let mut entries: Vec<_> = fs::read_dir(folder)?.collect::<Result<_, _>>()?;
    entries.sort_by_key(fs::DirEntry::file_name);
    for entry in entries {
        let name = format!("{front}{}", entry.file_name().to_string_lossy());
        if entry.file_type()?.is_dir() {
            walk(&entry.path(), &format!("{name}/"), all)?;
        } else {
            all.push(name);
        }
    }
    if front.is_empty() {
        all.sort();
    }
    Ok(())
}

/// Makes a folder with `data/` a bag (RFC 8493); gives all its files.
fn bag(folder: &Path) -> io::Result<Vec<String>> {
    let mut payload = Vec::new();
    walk(&folder.join("data"), "", &mut payload)?;
    let (mut manifest, mut bytes) = (String::new(), 0);
    for name in &payload {
        let (digest, size) = sha512(&folder.join("data").join(name))?;
        // Line ends and percent signs in names are encoded.
        let name = name.replace('%', "%25").replace('\n', "%0A").replace('\r', "%0D");
        manifest.push_str(&format!("{digest}  data/{name}\n"));
        bytes += size;
    }
    let info = format!(
        "Bag-Software-Agent: curvary {}\nPayload-Oxum: {bytes}.{}\n",
        env!("CARGO_PKG_VERSION"),
        payload.len()
    );
    let tags = [
        (
            "bagit.txt",
            "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n".to_owned(),
        ),
        ("bag-info.txt", info),
        ("manifest-sha512.txt", manifest),
    ];
    let mut tag_manifest = String::new();
    for (name, text) in tags {
        fs::write(folder.join(name), text)?;
        let (digest, _) = sha512(&folder.join(name))?;
        tag_manifest.push_str(&format!("{digest}  {name}\n"));
    }
    fs::write(folder.join("tagmanifest-sha512.txt"), tag_manifest)?;
    let mut all = Vec::new();
    walk(folder, "", &mut all)?;
    Ok(all)
}

fn sha512(path: &Path) -> io::Result<(String, u64)> {
    sha512_of(&mut File::open(path)?)
}

/// The SHA-512 digest of what is read, in hexadecimal digits, and how many bytes it was.
pub(super) fn sha512_of(file: &mut dyn Read) -> io::Result<(String, u64)> {
    let (mut hash, mut size) = (Sha512::new(), 0);
    let mut block = vec![0; 1 << 16];
    loop {
        let count = file.read(&mut block)?;
        if count == 0 {
            break;
        }
        hash.update(&block[..count]);
        size += count as u64;
    }
    let hex: Vec<String> = hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
    Ok((hex.concat(), size))
}

/// The files in a ZIP, below one folder; the same files give the same bytes.
fn zip_into(
    out: &mut (impl Write + io::Seek),
    folder: &Path,
    stem: &str,
    names: &[String],
) -> io::Result<()> {
    let mut zip = zip::ZipWriter::new(out);
    for name in names {
        let path = folder.join(name);
        let options = zip::write::SimpleFileOptions::default()
            .compression_method(zip::CompressionMethod::Deflated)
            .last_modified_time(zip::DateTime::default())
            .unix_permissions(0o644)
            .large_file(fs::metadata(&path)?.len() > u64::from(u32::MAX) / 2);
        zip.start_file(format!("{stem}/{name}"), options)
            .map_err(io::Error::other)?;
        io::copy(&mut File::open(&path)?, &mut zip)?;
    }
    zip.finish().map_err(io::Error::other)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn originals_stay_inside() {
        let digest = Digest::of(b"x");
        assert_eq!(inside("../../etc/a:b.txt", &digest), "etc/a_b.txt");
        // Out of a container it lies in a folder of the container's name.
        assert_eq!(inside("b.zip!/c d.txt", &digest), "b.zip/c d.txt");
        assert!(inside("..", &digest).starts_with("sha256-"));
        assert_eq!(encoded("a b/ü.csv"), "a%20b/%C3%BC.csv");
    }

    #[test]
    fn originals_have_names_that_every_disk_takes_and_no_two_the_same() {
        let (one, other) = (Digest::of(b"1"), Digest::of(b"2"));
        assert_eq!(inside("a/b?c.csv", &one), "a/b_c.csv");
        assert_eq!(inside("../x/./aux.csv", &one), "x/_aux.csv");
        assert_eq!(inside("COM1", &one), "_COM1");
        let long = inside(&format!("{}.csv", "ä".repeat(300)), &one);
        assert!(long.len() < 220 && long.ends_with(".csv"), "{long}");
        let mut taken = BTreeSet::new();
        let first = free(inside("a/b:c.csv", &one), &one, &mut taken);
        let second = free(inside("a/B?c.csv", &other), &other, &mut taken);
        assert_eq!(first, "a/b_c.csv");
        assert!(
            second.starts_with("a/") && second.ends_with("-B_c.csv"),
            "{second}"
        );
    }
}
