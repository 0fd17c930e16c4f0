//! Tables of TeX documents: rows of cells between `&`, ended by `\\`.
//!
//! The commands that people put around numbers and units are written out as the signs they print (`$\lambda$`, `\SI{25}{\celsius}`);
//! other commands fall away and what stands in their braces stays. No macro is expanded: a document that hides its
//! numbers in macros of its own keeps them.

use curvary_record::Span;

use crate::Source;
use crate::rendering::Rendering;

/// Environments whose body is a table.
const TABLES: [&str; 6] = ["tabular", "tabular*", "tabularx", "tabulary", "longtable", "tblr"];

/// Commands and what they print.
const SIGNS: [(&str, &str); 62] = [
    ("circ", "°"),
    ("lambda", "λ"),
    ("nu", "ν"),
    ("mu", "µ"),
    ("upmu", "µ"),
    ("micro", "µ"),
    ("epsilon", "ε"),
    ("varepsilon", "ε"),
    ("theta", "θ"),
    ("vartheta", "ϑ"),
    ("rho", "ρ"),
    ("tau", "τ"),
    ("Delta", "Δ"),
    ("alpha", "α"),
    ("beta", "β"),
    ("gamma", "γ"),
    ("kappa", "κ"),
    ("sigma", "σ"),
    ("phi", "φ"),
    ("degree", "°"),
    ("textdegree", "°"),
    ("celsius", "°C"),
    ("degreeCelsius", "°C"),
    ("kelvin", "K"),
    ("nano", "n"),
    ("milli", "m"),
    ("centi", "c"),
    ("kilo", "k"),
    ("pico", "p"),
    ("metre", "m"),
    ("meter", "m"),
    ("gram", "g"),
    ("litre", "L"),
    ("liter", "L"),
    ("mole", "mol"),
    ("molar", "mol/L"),
    ("second", "s"),
    ("minute", "min"),
    ("hour", "h"),
    ("percent", "%"),
    ("per", "/"),
    ("electronvolt", "eV"),
    ("volt", "V"),
    ("watt", "W"),
    ("ampere", "A"),
    ("nm", "nm"),
    ("um", "µm"),
    ("cm", "cm"),
    ("mm", "mm"),
    ("minus", "-"),
    ("pm", "±"),
    ("times", "×"),
    ("cdot", "·"),
    ("approx", "≈"),
    ("le", "≤"),
    ("leq", "≤"),
    ("ge", "≥"),
    ("geq", "≥"),
    ("infty", "∞"),
    ("quad", " "),
    ("qquad", " "),
    ("ss", "ß"),
];

/// Rules across a table; they take no argument in braces.
const RULES: [&str; 4] = ["hline", "toprule", "midrule", "bottomrule"];

/// Commands whose arguments are no words of the text.
const SILENT: [&str; 26] = [
    "hline",
    "toprule",
    "midrule",
    "bottomrule",
    "cline",
    "cmidrule",
    "label",
    "ref",
    "cite",
    "usepackage",
    "documentclass",
    "centering",
    "begin",
    "end",
    "includegraphics",
    "vspace",
    "hspace",
    "setlength",
    "bibliography",
    "bibliographystyle",
    "newcommand",
    "renewcommand",
    "pagestyle",
    "endhead",
    "endfirsthead",
    "noalign",
];

/// Whether a text is a TeX document or a table cut out of one.
pub(super) fn is_document(head: &str) -> bool {
    memchr::memchr(b'\\', head.as_bytes()).is_some()
        && (head.contains("\\documentclass")
            || TABLES
                .iter()
                .any(|name| head.contains(&format!("\\begin{{{name}}}"))))
}

/// A piece of text as printed, with its place.
struct TexPiece {
    text: String,
    span: Span,
}

/// The tables of a document, each with the words around it: those since the table before, and for the first and only
/// table all words.
///
/// With them, where a table begins that the end of the file cuts off.
pub(super) fn tables(source: &Source) -> (Vec<Rendering>, Option<Span>) {
    let text = source.text();
    let mut cut = None;
    let mut words: Vec<TexPiece> = Vec::new();
    let mut tables: Vec<(usize, Vec<Vec<TexPiece>>)> = Vec::new();
    let mut at = 0;
    while let Some((start, body, end)) = next_table(text, at) {
        words.extend(lines(text, at, start));
        tables.push((words.len(), rows(text, body, end)));
        at = end;
        if end == text.len() {
            cut = Some(Span::new(start, body));
        }
    }
    words.extend(lines(text, at, text.len()));
    let only = tables.len() == 1;
    let mut from = 0;
    let place = |piece: &TexPiece| source.place(piece.span);
    let mut all = Vec::new();
    for (to, rows) in &tables {
        let around = if only { &words[..] } else { &words[from..*to] };
        from = *to;
        let mut rendering = Rendering::default();
        for line in around {
            rendering.line([(line.text.as_str(), place(line))]);
        }
        rendering.blank();
        for row in rows {
            rendering.line(row.iter().map(|cell| (cell.text.as_str(), place(cell))));
        }
        if rows.iter().any(|row| row.len() >= 2) {
            all.push(rendering);
        }
    }
    (all, cut)
}

/// Where the next table begins, where its body does, and where that ends.
fn next_table(text: &str, from: usize) -> Option<(usize, usize, usize)> {
    let rest = text.get(from..)?;
    let (start, name) = TABLES
        .iter()
        .filter_map(|name| Some((rest.find(&format!("\\begin{{{name}}}"))?, *name)))
        .min()?;
    let mut body = start + "\\begin{}".len() + name.len();
    let end = rest
        .get(body..)?
        .find(&format!("\\end{{{name}}}"))
        .map_or(rest.len(), |end| body + end);
    // The arguments of the environment: its width, where it is aligned, its columns.
    while let Some(argument) = argument(rest, body).filter(|argument| argument.1 <= end) {
        body = argument.1;
    }
    Some((from + start, from + body, from + end))
}

/// The argument in braces or brackets at a place: its inside and where it ends. Blanks may stand before it.
fn argument(text: &str, at: usize) -> Option<(&str, usize)> {
    let rest = text.get(at..)?;
    let start = at + (rest.len() - rest.trim_start_matches([' ', '\t']).len());
    let (open, close) = match text.get(start..)?.chars().next()? {
        '{' => ('{', '}'),
        '[' => ('[', ']'),
        _ => return None,
    };
    let mut depth = 0;
    let mut escaped = false;
    for (index, sign) in text.get(start..)?.char_indices() {
        match sign {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            sign if sign == open => depth += 1,
            sign if sign == close => {
                depth -= 1;
                if depth == 0 {
                    let end = start + index;
                    return Some((text.get(start + 1..end)?, end + 1));
                }
            }
            _ => {}
        }
    }
    None
}

/// The lines of words between two places.
fn lines(text: &str, from: usize, to: usize) -> Vec<TexPiece> {
    let part = text.get(from..to).unwrap_or("");
    part.split_inclusive('\n')
        .filter_map(|line| {
            let start = from + crate::slice::offset_in(part, line);
            let printed = printed(without_remark(line));
            let trimmed = line.trim_end().len();
            (!printed.is_empty()).then(|| TexPiece {
                text: printed,
                span: Span::new(start, start + trimmed),
            })
        })
        .collect()
}

/// A line up to a `%` that is not escaped.
fn without_remark(line: &str) -> &str {
    let mut before = ' ';
    for (at, sign) in line.char_indices() {
        if sign == '%' && before != '\\' {
            return &line[..at];
        }
        before = sign;
    }
    line
}

/// The rows of a table's body.
fn rows(text: &str, from: usize, to: usize) -> Vec<Vec<TexPiece>> {
    let (mut rows, mut row) = (Vec::new(), Vec::new());
    let mut start = from;
    let mut at = from;
    let mut depth = 0_usize;
    let cell = |row: &mut Vec<TexPiece>, start: usize, end: usize| {
        let raw = text.get(start..end).unwrap_or("");
        let plain: String = raw
            .lines()
            .map(|line| format!("{} ", without_remark(line)))
            .collect();
        let blanks = raw.len() - raw.trim_start().len();
        let (inside, reach) = spread(&plain);
        row.push(TexPiece {
            text: printed(inside),
            span: Span::new((start + blanks).min(end), end),
        });
        for _ in 1..reach {
            row.push(TexPiece {
                text: String::new(),
                span: Span::new(end, end),
            });
        }
    };
    while at < to {
        let rest = text.get(at..to).unwrap_or("");
        let Some(sign) = rest.chars().next() else { break };
        match sign {
            '%' => {
                at += rest.find('\n').unwrap_or(rest.len());
                continue;
            }
            '\\' if depth == 0 && rest.starts_with("\\\\") || rest.starts_with("\\tabularnewline") => {
                cell(&mut row, start, at);
                rows.push(std::mem::take(&mut row));
                at += if rest.starts_with("\\\\") {
                    2
                } else {
                    "\\tabularnewline".len()
                };
                // `\\[2pt]`
                if let Some((_, end)) = argument(text, at).filter(|_| text[at..].starts_with('[')) {
                    at = end;
                }
                start = at;
                continue;
            }
            '\\' => {
                // A command or an escaped sign is not looked into.
                at += 1 + rest.chars().nth(1).map_or(0, char::len_utf8);
                continue;
            }
            '{' => depth += 1,
            '}' => depth = depth.saturating_sub(1),
            '&' if depth == 0 => {
                cell(&mut row, start, at);
                start = at + 1;
            }
            _ => {}
        }
        at += sign.len_utf8();
    }
    cell(&mut row, start, to);
    rows.push(row);
    rows.retain(|row| row.iter().any(|cell| !cell.text.is_empty()));
    rows
}

/// The inside of `\multicolumn{3}{c}{…}` and how many columns it takes.
fn spread(cell: &str) -> (&str, usize) {
    let command = "\\multicolumn";
    let found = cell.find(command).and_then(|start| {
        let (count, at) = argument(cell, start + command.len())?;
        let (_, at) = argument(cell, at)?;
        let (inside, _) = argument(cell, at)?;
        Some((inside, count.trim().parse::<usize>().ok()?.clamp(1, 1000)))
    });
    found.unwrap_or((cell, 1))
}

/// What a piece of TeX prints, as far as it is known.
fn printed(tex: &str) -> String {
    let mut out = String::new();
    write(tex, &mut out, 0);
    let words: Vec<&str> = out.split_whitespace().collect();
    words.join(" ").replace("^°", "°")
}

fn write(tex: &str, out: &mut String, depth: usize) {
    if depth > 16 {
        return;
    }
    let mut at = 0;
    while let Some(sign) = tex.get(at..).and_then(|rest| rest.chars().next()) {
        let next = at + sign.len_utf8();
        match sign {
            '\\' => at = command(tex, next, out, depth),
            '$' | '{' | '}' => at = next,
            '~' => {
                out.push(' ');
                at = next;
            }
            '-' if tex[at..].starts_with("--") => {
                out.push('–');
                at += tex[at..].len() - tex[at..].trim_start_matches('-').len();
            }
            sign => {
                out.push(sign);
                at = next;
            }
        }
    }
}

/// Writes what a command prints; `at` is behind its backslash. Gives the place to go on.
fn command(tex: &str, at: usize, out: &mut String, depth: usize) -> usize {
    let rest = tex.get(at..).unwrap_or("");
    let length = rest
        .find(|sign: char| !sign.is_ascii_alphabetic())
        .unwrap_or(rest.len());
    if length == 0 {
        let sign = rest.chars().next().unwrap_or(' ');
        // `\,`, `\;`, `\ ` are blanks, `\%` and `\_` print themselves.
        out.push(if matches!(sign, '%' | '_' | '&' | '#' | '$' | '{' | '}') {
            sign
        } else {
            ' '
        });
        return at + sign.len_utf8().min(rest.len());
    }
    let (name, mut next) = (&rest[..length], at + length);
    let optional = |next: usize| match argument(tex, next) {
        Some((_, end)) if tex[next..].trim_start().starts_with('[') => end,
        _ => next,
    };
    match name {
        "SI" | "qty" | "num" | "si" | "unit" | "ang" => {
            next = optional(next);
            let arguments = if matches!(name, "SI" | "qty") { 2 } else { 1 };
            for number in 0..arguments {
                if let Some((inside, end)) = argument(tex, next) {
                    if number > 0 {
                        out.push(' ');
                    }
                    write(inside, out, depth + 1);
                    next = end;
                }
            }
            next
        }
        name if SILENT.contains(&name) => {
            // A number beside `\hline` is a number of the row; what is in braces is none, unless it only comes next, as a
            // cell that is kept together: `\toprule {Wavelength (nm)}`.
            while let Some((_, end)) = argument(tex, next).filter(|_| {
                let attached = tex[next..].starts_with(['{', '[']);
                attached && !(RULES.contains(&name) && tex[next..].starts_with('{'))
            }) {
                next = end;
            }
            next
        }
        name => {
            if let Some((_, sign)) = SIGNS.iter().find(|(known, _)| *known == name) {
                out.push_str(sign);
            }
            // The blank behind a command ends its name and is not printed.
            next + usize::from(tex[next..].starts_with(' '))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn commands_print_their_signs() {
        for (tex, text) in [
            (r"$\lambda$ / nm", "λ / nm"),
            (r"\SI{25}{\celsius}", "25 °C"),
            (r"$t$ / \si{\minute}", "t / min"),
            (r"$A_{538\,\mathrm{nm}}$", "A_538 nm"),
            (r"37\,$^\circ$C", "37 °C"),
            (r"25 $^{\circ}$C", "25 °C"),
            (r"\textbf{0.123} \% ", "0.123 %"),
            (r"c / \si{\micro\mole\per\litre}", "c / µmol/L"),
            (r"5--10", "5–10"),
            (r"\toprule {Wavelength (nm)}", "Wavelength (nm)"),
            (r"\midrule[1pt] 400", "400"),
            (r"\cmidrule{2-3} 400", "400"),
        ] {
            assert_eq!(printed(tex), text, "{tex}");
        }
    }

    #[test]
    fn rows_and_cells_are_found() {
        let text = "a\n\\begin{tabular}{r@{ }l|c}\\hline\n\\multicolumn{2}{c}{x} & y \\\\[2pt]\n1 & \\{2\\} & 3\\\\ % 9 & 9\n4&5&{6 & 7}\n\\end{tabular}";
        let (_, body, end) = next_table(text, 0).expect("a table");
        let rows: Vec<Vec<String>> = rows(text, body, end)
            .into_iter()
            .map(|row| row.into_iter().map(|cell| cell.text).collect())
            .collect();
        assert_eq!(
            rows,
            [vec!["x", "", "y"], vec!["1", "{2}", "3"], vec!["4", "5", "6 & 7"]]
        );
    }

    #[test]
    fn nothing_panics() {
        for text in [
            "\\begin{tabular}",
            "\\begin{tabular}{",
            "\\begin{tabular}{r}\\",
            "\\begin{tabular}\\\\[",
            "\\begin{tabular}é&\\é\\\\",
        ] {
            for end in 0..=text.len() {
                if text.is_char_boundary(end) {
                    tables(&Source::new("a.tex", text.as_bytes()[..end].to_vec()));
                }
            }
        }
    }
}
