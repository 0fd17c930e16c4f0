//! The modules of this crate stand in rows, and each uses only modules of the rows before its own: no two need each other.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// From what knows nothing of the others to what readers of an archive see.
const ROWS: &[(&str, &[&str])] = &[
    (
        "small things",
        &[
            "asks", "content", "decimal", "digests", "disk", "excluded", "likeness", "sealed", "summary",
            "words",
        ],
    ),
    ("who writes; text around words", &["holder", "snippet"]),
    ("what can go wrong", &["trouble"]),
    (
        "what a repair moves away; one writer at a time",
        &["aside", "lock"],
    ),
    ("single files", &["answer", "debris", "frames", "settings"]),
    (
        "what is committed; what can be asked",
        &["manifest", "listing", "query"],
    ),
    ("what is kept", &["originals", "parts", "note"]),
    ("what is known of it", &["catalog", "unfinished", "view"]),
    ("put right; drawn from a run", &["current", "mend", "facts"]),
    ("filed", &["index", "rebuild"]),
    ("checked, and filed as it grows", &["indexer", "verify"]),
    ("written", &["writer", "cache"]),
    ("opened for questions", &["asking", "upgrade"]),
    ("an archive", &["archive"]),
    (
        "questions to it",
        &["alike", "asked", "copies", "nothing", "sources"],
    ),
    ("what people have to decide", &["worklist"]),
];

/// The text of every module, its inner modules with it, without comments and tests.
fn modules(source: &Path) -> BTreeMap<String, String> {
    let mut all = BTreeMap::new();
    let mut folders = vec![PathBuf::new()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(source.join(&folder)).expect("a folder") {
            let entry = entry.expect("an entry");
            let path = folder.join(entry.file_name());
            let name = path.iter().next().and_then(|part| part.to_str()).expect("a name");
            let module = name.trim_end_matches(".rs").to_owned();
            if path
                .components()
                .any(|part| part.as_os_str().to_string_lossy().starts_with("tests"))
            {
                continue;
            }
            if entry.path().is_dir() {
                folders.push(path);
                continue;
            }
            let text = fs::read_to_string(entry.path()).expect("a text");
            let code: Vec<&str> = text
                .lines()
                .map(|line| line.split("//").next().unwrap_or(""))
                .collect();
            let end = if module == "lib" {
                code.len()
            } else {
                code.iter()
                    .position(|line| line.trim() == "#[cfg(test)]")
                    .unwrap_or(code.len())
            };
            let text: &mut String = all.entry(module).or_default();
            text.push_str(&code[..end].join("\n"));
            text.push('\n');
        }
    }
    all
}

/// The first names of a path or of a group of paths, such as `a::b` or `{a::{b, c}, D}`.
fn first_names(path: &str) -> Vec<&str> {
    let name = |text: &str| {
        let end = text.find(|sign: char| !sign.is_alphanumeric() && sign != '_');
        end.unwrap_or(text.len())
    };
    let Some(group) = path.strip_prefix('{') else {
        return vec![&path[..name(path)]];
    };
    let (mut depth, mut begins, mut names) = (1, true, Vec::new());
    for (at, sign) in group.char_indices() {
        match sign {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 1 => begins = true,
            sign if begins && !sign.is_whitespace() => {
                names.push(&group[at..at + name(&group[at..])]);
                begins = false;
            }
            _ => {}
        }
        if depth == 0 {
            break;
        }
    }
    names
}

/// Which modules each module uses. What the crate hands out counts as use of the module that it is from.
fn uses(modules: &BTreeMap<String, String>) -> BTreeMap<&str, BTreeSet<&str>> {
    let mut handed_out: BTreeMap<&str, &str> = BTreeMap::new();
    for line in modules["lib"].split(';') {
        let Some((module, names)) = line
            .trim()
            .trim_start_matches("pub(crate) ")
            .trim_start_matches("pub ")
            .strip_prefix("use ")
            .and_then(|path| path.split_once("::"))
        else {
            continue;
        };
        handed_out.extend(first_names(names).into_iter().map(|name| (name, module)));
    }
    let mut all = BTreeMap::new();
    for (module, text) in modules.iter().filter(|(module, _)| *module != "lib") {
        let used = text
            .match_indices("crate::")
            .filter(|(at, _)| !text[..*at].ends_with(|sign: char| sign.is_alphanumeric() || sign == '_'))
            .flat_map(|(at, found)| first_names(&text[at + found.len()..]))
            .filter_map(|name| {
                let itself = modules.get_key_value(name).map(|(name, _)| name.as_str());
                itself.or_else(|| handed_out.get(name).copied())
            });
        let used: BTreeSet<&str> = used.filter(|used| *used != module).collect();
        all.insert(module.as_str(), used);
    }
    all
}

#[test]
fn each_module_uses_only_what_stands_before_it() {
    let modules = modules(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"));
    let row = |module: &str| ROWS.iter().position(|(_, row)| row.contains(&module));
    let uses = uses(&modules);
    // The parser sees something: these are plain to see in the files.
    assert!(
        uses["writer"].contains("manifest") && uses["archive"].contains("trouble"),
        "{uses:?}"
    );
    let mut wrong = Vec::new();
    for (module, used) in &uses {
        let Some(own) = row(module) else {
            wrong.push(format!("`{module}` stands in no row"));
            continue;
        };
        for other in used {
            if row(other).is_none_or(|other| other >= own) {
                wrong.push(format!(
                    "`{module}` uses `{other}`, which does not stand in a row before it"
                ));
            }
        }
    }
    let listed = ROWS.iter().flat_map(|(_, row)| *row);
    wrong.extend(
        listed
            .filter(|module| !modules.contains_key(**module))
            .map(|module| format!("`{module}` is listed and not there")),
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
