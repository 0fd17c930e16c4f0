//! Lists and maps as programs write them: JSON, printed dictionaries, vectors of scripts, flow lists of YAML.
//!
//! One grammar serves them all, since they agree in what matters here: brackets hold lists, braces hold pairs of a key
//! and a value, and a name before `=`, `:` or `<-` says what a list is. It is lenient where languages differ (commas or
//! blanks between numbers, single or double quotes, `None`, `...` at the end of a line) and keeps every scalar as the
//! text that stood there, with its place. What is none of this stays a line of words.

use curvary_record::Span;

/// A word or a number as it stood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Scalar {
    pub(super) text: String,
    pub(super) span: Span,
}

/// What stands behind a name, or for itself.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum DataNode {
    Scalar(Scalar),
    List(Vec<DataNode>),
    Map(Vec<(Scalar, DataNode)>),
}

impl DataNode {
    /// Takes the last scalar out.
    fn drop_last(&mut self) {
        match self {
            Self::Scalar(_) => {}
            Self::List(all) => match all.last_mut() {
                Some(Self::Scalar(_)) => drop(all.pop()),
                Some(inner) => inner.drop_last(),
                None => {}
            },
            Self::Map(all) => match all.last_mut() {
                Some((_, Self::Scalar(_))) => drop(all.pop()),
                Some((_, inner)) => inner.drop_last(),
                None => {}
            },
        }
    }
}

/// A piece of the text.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum SyntaxItem {
    /// A line that is none of the others.
    Line(Span),
    /// A named list or map.
    Entry(Scalar, DataNode),
    /// A list or map without a name.
    Node(DataNode),
}

/// Nesting deeper than this is no table of a laboratory.
const DEEPEST: usize = 32;

/// What a text consists of, and whether it ends inside a list or map.
pub(super) struct DataDocument {
    pub(super) items: Vec<SyntaxItem>,
    /// Where a list or map was opened that the end of the file cut off.
    pub(super) cut: Option<Span>,
}

/// Whether a text may have a list or a map at all, at a glance. The bracket of `Wavelength (nm)` opens none.
pub(super) fn may_have_lists(text: &str) -> bool {
    let bytes = text.as_bytes();
    let calls = |at: usize| {
        let before = text[..at].chars().next_back();
        before.is_some_and(|c| c.is_alphanumeric() || matches!(c, '_' | '.'))
    };
    memchr::memchr3(b'[', b'{', b'=', bytes).is_some()
        || memchr::memchr_iter(b'(', bytes).any(calls)
        || text.contains("- ")
            && text
                .split(['\n', '\r'])
                .any(|line| line.trim_start().starts_with("- "))
}

/// Takes a text apart.
pub(super) fn parse(text: &str) -> DataDocument {
    let mut parser = DataParser {
        text,
        at: 0,
        cut: None,
    };
    let mut items = Vec::new();
    while parser.at < text.len() {
        let start = parser.at;
        if let Some(item) = parser.item() {
            items.push(item);
            parser.end_of_item();
            if parser.cut.is_some() {
                // The last word or number may be incomplete.
                if let Some(SyntaxItem::Entry(_, node) | SyntaxItem::Node(node)) = items.last_mut() {
                    node.drop_last();
                }
                break;
            }
            continue;
        }
        let end = text[start..]
            .find(['\n', '\r'])
            .map_or(text.len(), |end| start + end);
        if !text[start..end].trim().is_empty() {
            items.push(SyntaxItem::Line(Span::new(start, end)));
        }
        parser.at = end;
        parser.skip_line_end();
    }
    DataDocument {
        items: with_names_above(text, with_block_lists(text, items)),
        cut: parser.cut,
    }
}

struct DataParser<'a> {
    text: &'a str,
    at: usize,
    cut: Option<Span>,
}

impl<'a> DataParser<'a> {
    fn rest(&self) -> &'a str {
        &self.text[self.at..]
    }

    fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    fn skip_line_end(&mut self) {
        if self.rest().starts_with("\r\n") {
            self.at += 2;
        } else if self.rest().starts_with(['\n', '\r']) {
            self.at += 1;
        }
    }

    /// Passes over blanks of the line, and `;` or `,` behind a structure.
    fn end_of_item(&mut self) {
        let rest = self.rest();
        let kept = rest.trim_start_matches([' ', '\t', ';', ',']);
        self.at += rest.len() - kept.len();
        self.skip_line_end();
    }

    fn skip_blanks(&mut self) {
        let rest = self.rest();
        self.at += rest.len() - rest.trim_start_matches([' ', '\t']).len();
    }

    /// Passes over blanks, line ends, comments and `...`.
    fn skip_space(&mut self) {
        loop {
            let rest = self.rest();
            let kept = rest.trim_start();
            self.at += rest.len() - kept.len();
            let comment = kept.starts_with(['#', '%']) || kept.starts_with("//");
            let dots = kept.starts_with("...");
            if !comment && !dots {
                return;
            }
            self.at += kept.find(['\n', '\r']).unwrap_or(kept.len());
        }
    }

    /// A list or map at the start of a line, with its name where it has one.
    fn item(&mut self) -> Option<SyntaxItem> {
        let start = self.at;
        let found = self.try_item();
        if found.is_none() {
            self.at = start;
            self.cut = None;
        }
        found
    }

    fn try_item(&mut self) -> Option<SyntaxItem> {
        self.skip_blanks();
        if matches!(self.peek(), Some('{' | '[')) {
            return self.structure(0).map(SyntaxItem::Node);
        }
        if self.rest().starts_with("- ") {
            self.at += 2;
            if matches!(self.peek(), Some('{' | '[')) {
                return self.structure(0).map(SyntaxItem::Node);
            }
        }
        // `array([[400., 0.31],` as a console prints it, without a name.
        if self.is_call_of_list() {
            let node = self.value(0)?;
            // `array([…]) / 10` is something else than its list.
            let rest = self.rest().lines().next().unwrap_or("").trim();
            let alone = rest.is_empty() || rest.starts_with('#');
            return (alone && matches!(node, DataNode::List(_))).then_some(SyntaxItem::Node(node));
        }
        let key = self.key()?;
        let named = self.text[..self.at].ends_with('=');
        self.skip_blanks();
        if named && let Some(list) = self.bare_list() {
            return Some(SyntaxItem::Entry(key, list));
        }
        self.opener()?;
        let node = self.value(0)?;
        matches!(node, DataNode::List(_) | DataNode::Map(_)).then_some(SyntaxItem::Entry(key, node))
    }

    /// The name before `=`, `:` or `<-`, which is passed over too.
    fn key(&mut self) -> Option<Scalar> {
        let start = self.at;
        let line = self.rest();
        let line = &line[..line.find(['\n', '\r']).unwrap_or(line.len())];
        if line.starts_with(['"', '\'']) {
            let key = self.quoted()?;
            self.skip_blanks();
            return self.sign().then_some(key);
        }
        let sign = line.find(['=', ':', '<', '[', '{', '('])?;
        let name = line[..sign].trim_end();
        if name.is_empty() || name.len() > 80 {
            return None;
        }
        let key = Scalar {
            text: name.to_owned(),
            span: Span::new(start, start + name.len()),
        };
        self.at = start + sign;
        self.sign().then_some(key)
    }

    /// Passes over `=`, `:` or `<-`.
    fn sign(&mut self) -> bool {
        for sign in ["<-", "=", ":"] {
            if self.rest().starts_with(sign) {
                self.at += sign.len();
                return true;
            }
        }
        false
    }

    /// The numbers of the rest of the line where there is nothing else, without brackets around them: `0 5 10`. A comma
    /// may be a decimal sign, so only blanks part them.
    fn bare_list(&mut self) -> Option<DataNode> {
        const FEWEST: usize = 3;
        let rest = self.rest();
        let line = &rest[..rest.find(['\n', '\r']).unwrap_or(rest.len())];
        let mut all = Vec::new();
        let mut from = 0;
        for word in line.split([' ', '\t']) {
            let at = self.at + from;
            from += word.len() + 1;
            if word.is_empty() {
                continue;
            }
            if word.parse::<f64>().is_err()
                || !word.starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c))
            {
                return None;
            }
            all.push(DataNode::Scalar(Scalar {
                text: word.to_owned(),
                span: Span::new(at, at + word.len()),
            }));
        }
        (all.len() >= FEWEST).then(|| {
            self.at += line.len();
            DataNode::List(all)
        })
    }

    /// Whether a list or map begins here, perhaps inside the call of a function (`np.array([`, `c(`).
    fn opener(&self) -> Option<()> {
        let rest = self.rest();
        let named = rest.trim_start_matches(|c: char| c.is_alphanumeric() || matches!(c, '_' | '.'));
        let call = named.len() < rest.len() && rest.len() - named.len() <= 24;
        (rest.starts_with(['[', '{']) || call && named.starts_with('(')).then_some(())
    }

    /// Whether a function is called here with a list: `array([`, `np.array([`.
    fn is_call_of_list(&self) -> bool {
        let rest = self.rest();
        let behind = rest.trim_start_matches(|c: char| c.is_alphanumeric() || matches!(c, '_' | '.'));
        let name = &rest[..rest.len() - behind.len()];
        matches!(
            name,
            "array" | "np.array" | "numpy.array" | "matrix" | "np.matrix"
        ) && behind.starts_with("([")
    }

    fn value(&mut self, depth: usize) -> Option<DataNode> {
        self.skip_space();
        match self.peek()? {
            '[' | '{' => self.structure(depth),
            '(' => self.list('(', depth),
            '"' | '\'' => self.quoted().map(DataNode::Scalar),
            _ => self.word(depth),
        }
    }

    fn structure(&mut self, depth: usize) -> Option<DataNode> {
        match self.peek()? {
            '{' => self.map(depth),
            open => self.list(open, depth),
        }
    }

    /// A bare word or number; with brackets behind it, what stands in them (`array([1, 2])`).
    fn word(&mut self, depth: usize) -> Option<DataNode> {
        let start = self.at;
        let rest = self.rest();
        let end = rest
            .find(|c: char| {
                c.is_whitespace() || matches!(c, ',' | ';' | '[' | ']' | '{' | '}' | '(' | ')' | ':' | '=')
            })
            .unwrap_or(rest.len());
        if end == 0 {
            return None;
        }
        let text = rest[..end].to_owned();
        self.at += end;
        if self.peek() == Some('(') {
            return match self.list('(', depth)? {
                // `array([…], dtype=…)` is its list; `c(1, 2)` is what it holds.
                DataNode::List(mut inside) => {
                    let structure = |node: &DataNode| matches!(node, DataNode::List(_) | DataNode::Map(_));
                    Some(match inside.iter().position(structure) {
                        Some(list) => inside.swap_remove(list),
                        None => DataNode::List(inside),
                    })
                }
                other => Some(other),
            };
        }
        Some(DataNode::Scalar(Scalar {
            text,
            span: Span::new(start, self.at),
        }))
    }

    fn quoted(&mut self) -> Option<Scalar> {
        let quote = self.peek()?;
        let start = self.at + 1;
        let mut text = String::new();
        let mut signs = self.text[start..].char_indices();
        while let Some((offset, sign)) = signs.next() {
            match sign {
                '\\' => match signs.next()?.1 {
                    'n' | 't' | 'r' => text.push(' '),
                    'u' => {
                        let digits: String = signs.by_ref().take(4).map(|(_, digit)| digit).collect();
                        let code = u32::from_str_radix(&digits, 16).ok()?;
                        text.push(char::from_u32(code).unwrap_or('\u{FFFD}'));
                    }
                    other => text.push(other),
                },
                '\n' | '\r' => return None,
                sign if sign == quote => {
                    self.at = start + offset + sign.len_utf8();
                    return Some(Scalar {
                        text,
                        span: Span::new(start, start + offset),
                    });
                }
                sign => text.push(sign),
            }
        }
        None
    }

    fn cut(&mut self, from: usize) {
        self.cut.get_or_insert(Span::new(from, from + 1));
    }

    fn list(&mut self, open: char, depth: usize) -> Option<DataNode> {
        if depth >= DEEPEST {
            return None;
        }
        let from = self.at;
        let close = if open == '(' { ')' } else { ']' };
        self.at += open.len_utf8();
        let mut all: Vec<DataNode> = Vec::new();
        // Rows of a matrix that are parted by `;`.
        let mut rows: Vec<DataNode> = Vec::new();
        // Lists and maps that a call takes by name.
        let mut named: Vec<(Scalar, DataNode)> = Vec::new();
        loop {
            self.skip_space();
            match self.peek() {
                None => {
                    self.cut(from);
                    break;
                }
                Some(sign) if sign == close => {
                    self.at += sign.len_utf8();
                    break;
                }
                Some(',') => self.at += 1,
                Some(';') => {
                    self.at += 1;
                    rows.push(DataNode::List(std::mem::take(&mut all)));
                }
                Some(']' | '}' | ')') => return None,
                Some(_) => {
                    let node = self.value(depth + 1)?;
                    self.skip_blanks();
                    if open == '(' && self.peek() == Some('=') {
                        self.at += 1;
                        let value = self.value(depth + 1)?;
                        // `dtype=float` in a call says nothing of the numbers, `A = c(…)` does.
                        if let (DataNode::Scalar(name), DataNode::List(_) | DataNode::Map(_)) = (node, &value)
                        {
                            named.push((name, value));
                        }
                        if self.cut.is_some() {
                            break;
                        }
                        continue;
                    }
                    all.push(node);
                    if self.cut.is_some() {
                        break;
                    }
                }
            }
        }
        if rows.is_empty() {
            let structure = |node: &DataNode| matches!(node, DataNode::List(_) | DataNode::Map(_));
            return Some(if named.is_empty() || all.iter().any(structure) {
                DataNode::List(all)
            } else {
                DataNode::Map(named)
            });
        }
        if !all.is_empty() {
            rows.push(DataNode::List(all));
        }
        // A column vector, `[1; 2; 3]`, is a list.
        let single = |row: &DataNode| matches!(row, DataNode::List(cells) if cells.len() == 1);
        if rows.iter().all(single) {
            rows = rows
                .into_iter()
                .flat_map(|row| match row {
                    DataNode::List(cells) => cells,
                    other => vec![other],
                })
                .collect();
        }
        Some(DataNode::List(rows))
    }

    fn map(&mut self, depth: usize) -> Option<DataNode> {
        if depth >= DEEPEST {
            return None;
        }
        let from = self.at;
        self.at += 1;
        let mut all = Vec::new();
        loop {
            self.skip_space();
            match self.peek() {
                None => {
                    self.cut(from);
                    break;
                }
                Some('}') => {
                    self.at += 1;
                    break;
                }
                Some(',' | ';') => self.at += 1,
                Some('"' | '\'') => {
                    let key = self.quoted()?;
                    self.skip_space();
                    if !self.sign() {
                        return None;
                    }
                    all.push((key, self.map_value(depth)?));
                }
                Some(_) => {
                    let key = self.key()?;
                    all.push((key, self.map_value(depth)?));
                }
            }
            if self.cut.is_some() {
                break;
            }
        }
        Some(DataNode::Map(all))
    }

    /// A value in a map: bare words reach up to the next comma, brace or line end (`buffer: citrate phosphate`).
    fn map_value(&mut self, depth: usize) -> Option<DataNode> {
        self.skip_space();
        let start = self.at;
        if let Some(sign) = self.peek()
            && !matches!(sign, '[' | '{' | '(' | '"' | '\'')
        {
            let rest = self.rest();
            let end = rest
                .find([',', '}', '\n', '\r', '(', '[', '{'])
                .unwrap_or(rest.len());
            if rest[end..].starts_with([',', '}', '\n', '\r']) {
                let text = rest[..end].trim_end().to_owned();
                self.at += end;
                return Some(DataNode::Scalar(Scalar {
                    span: Span::new(start, start + text.len()),
                    text,
                }));
            }
        }
        let value = self.value(depth + 1);
        if value.is_none() && self.at >= self.text.len() {
            self.cut(start.min(self.text.len().saturating_sub(1)));
        }
        value
    }
}

/// A list that stands alone under a line with a name is a named list: `>>> absorbance`, `wavelength (nm):`.
fn with_names_above(text: &str, items: Vec<SyntaxItem>) -> Vec<SyntaxItem> {
    let mut all: Vec<SyntaxItem> = Vec::with_capacity(items.len());
    for item in items {
        let name = match (all.last(), &item) {
            (Some(SyntaxItem::Line(span)), SyntaxItem::Node(DataNode::List(_))) => name_above(text, *span),
            _ => None,
        };
        match (name, item) {
            (Some(name), SyntaxItem::Node(list)) => {
                all.pop();
                all.push(SyntaxItem::Entry(name, list));
            }
            (_, item) => all.push(item),
        }
    }
    all
}

/// The name that a line consists of: behind the prompt of a console, or before a colon or `=`.
pub(super) fn name_above(text: &str, span: Span) -> Option<Scalar> {
    let line = text.get(span.range())?;
    let bare = line.trim_start();
    let (prompted, rest) = match [">>>", ">>", ">"]
        .iter()
        .find_map(|prompt| bare.strip_prefix(prompt))
    {
        Some(rest) => (true, rest.trim_start()),
        None => (false, bare),
    };
    let name = rest.trim_end().trim_end_matches([':', '=']).trim_end();
    let led = prompted || name.len() < rest.trim_end().len();
    let plain = |c: char| c.is_alphanumeric() || " _.-/()%°µ".contains(c);
    if !led || name.is_empty() || name.len() > 60 || !name.chars().all(plain) || name.parse::<f64>().is_ok() {
        return None;
    }
    let from = span.start as usize + (line.len() - rest.len());
    Some(Scalar {
        text: name.to_owned(),
        span: Span::new(from, from + name.len()),
    })
}

/// Lines `key:` with lines `- value` under them are named lists.
fn with_block_lists(text: &str, items: Vec<SyntaxItem>) -> Vec<SyntaxItem> {
    let of = |item: &SyntaxItem| match item {
        SyntaxItem::Line(span) => Some((text[span.range()].trim(), *span)),
        _ => None,
    };
    let mut all = Vec::with_capacity(items.len());
    let mut at = 0;
    while at < items.len() {
        let dashed = items[at + 1..]
            .iter()
            .map_while(|item| {
                let (line, span) = of(item)?;
                let value = line.strip_prefix("- ")?.trim();
                let from = text[span.range()].rfind(value).unwrap_or(0) + span.start as usize;
                (!value.contains(':')).then(|| {
                    DataNode::Scalar(Scalar {
                        text: value.trim_matches(['"', '\'']).to_owned(),
                        span: Span::new(from, from + value.len()),
                    })
                })
            })
            .collect::<Vec<_>>();
        match of(&items[at]) {
            Some((line, span)) if dashed.len() >= 2 && line.ends_with(':') => {
                let name = line.trim_end_matches(':');
                let from = text[span.range()].find(name).unwrap_or(0) + span.start as usize;
                let key = Scalar {
                    text: name.to_owned(),
                    span: Span::new(from, from + name.len()),
                };
                at += 1 + dashed.len();
                all.push(SyntaxItem::Entry(key, DataNode::List(dashed)));
            }
            _ => {
                all.push(items[at].clone());
                at += 1;
            }
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(node: &DataNode) -> String {
        match node {
            DataNode::Scalar(scalar) => scalar.text.clone(),
            DataNode::List(all) => format!("[{}]", all.iter().map(texts).collect::<Vec<_>>().join(" ")),
            DataNode::Map(all) => {
                let pairs = all
                    .iter()
                    .map(|(key, node)| format!("{}={}", key.text, texts(node)));
                format!("{{{}}}", pairs.collect::<Vec<_>>().join(" "))
            }
        }
    }

    fn shown(text: &str) -> Vec<String> {
        let of = |item: &SyntaxItem| match item {
            SyntaxItem::Line(span) => format!("line {}", text[span.range()].trim()),
            SyntaxItem::Entry(key, node) => format!("{} = {}", key.text, texts(node)),
            SyntaxItem::Node(node) => texts(node),
        };
        parse(text).items.iter().map(of).collect()
    }

    #[test]
    fn what_may_have_lists_is_seen_at_a_glance() {
        for text in [
            "x = 1 2 3\n",
            "x: c(1, 2)\n",
            "  - 1\n",
            "x <- np.array((1, 2))\n",
            "[1, 2]",
            "{\"x\": 1}",
        ] {
            assert!(may_have_lists(text), "{text}");
        }
        for text in [
            "Wavelength (nm)\tA\n400\t0.1\n",
            "Sample: betanin (0.1 mM)\n",
            "-1 2\n",
        ] {
            assert!(!may_have_lists(text), "{text}");
            assert!(
                parse(text)
                    .items
                    .iter()
                    .all(|item| matches!(item, SyntaxItem::Line(_))),
                "{text}"
            );
        }
    }

    #[test]
    fn lists_of_many_languages() {
        assert_eq!(shown("wl = [ 500 504 ...\n  508 ];\n"), ["wl = [500 504 508]"]);
        assert_eq!(
            shown("A <- c(0.1, 0.2)\nplot(A)\n"),
            ["A = [0.1 0.2]", "line plot(A)"]
        );
        assert_eq!(shown("t = np.array([1., 2.], dtype=float)\n"), ["t = [1. 2.]"]);
        assert_eq!(shown("x: [260, 270]\n"), ["x = [260 270]"]);
        assert_eq!(shown("x:\n  - 260\n  - 270\n"), ["x = [260 270]"]);
        assert_eq!(
            shown("A = 0.1 0.2  0.3\nB = 1 2 x\n"),
            ["A = [0.1 0.2 0.3]", "line B = 1 2 x"]
        );
        assert_eq!(shown("m = [1 2; 3 4];\n"), ["m = [[1 2] [3 4]]"]);
        assert_eq!(shown("v = [1; 2; 3]\n"), ["v = [1 2 3]"]);
        assert_eq!(
            shown("{'sample': 'BSA in PBS', 'pH': 7.4, 'n': None,\n 'A': [0.1, 0.2]}"),
            ["{sample=BSA in PBS pH=7.4 n=None A=[0.1 0.2]}"]
        );
        assert_eq!(
            shown("{\"t_s\": 0.0, \"ok\": true}\n{\"t_s\": 4.0}"),
            ["{t_s=0.0 ok=true}", "{t_s=4.0}"]
        );
        assert_eq!(shown("Probe: x\n1 2\n"), ["line Probe: x", "line 1 2"]);
    }

    #[test]
    fn a_list_that_the_end_of_the_file_cuts_is_told() {
        assert!(parse("A = [0.1, 0.2, 0.").cut.is_some());
        assert!(parse("{\"a\": [1, 2").cut.is_some());
        assert!(parse("A = [0.1]").cut.is_none());
    }

    proptest::proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "[\\[\\]{}(),;:='\"\\\\ \n0-9.a-zµ-]{0,200}") {
            let document = parse(&text);
            for item in &document.items {
                if let SyntaxItem::Line(span) = item {
                    proptest::prop_assert!(text.get(span.range()).is_some());
                }
            }
        }
    }
}
