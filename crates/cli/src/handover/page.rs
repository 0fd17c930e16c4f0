//! The report as one HTML file: no scripts, no requests to anywhere, and it prints.

use std::fmt::Write as _;

use super::content::{ColumnHeading, ReportBlock, ReportCell, ReportPage, ReportRow, TextWeight};
use crate::ending::Failure;
use crate::figure::{Figure, FigureKind, Size};

impl ReportPage {
    /// The page.
    pub(crate) fn html(&self) -> Result<String, Failure> {
        let mut page = String::new();
        let title = escaped(&self.title);
        let _ = write!(
            page,
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n\
             <style>{STYLE}</style>\n</head>\n<body>\n<header>\n<h1>{title}</h1>\n"
        );
        for (weight, text) in self.opening() {
            words(weight, &text, &mut page);
        }
        page.push_str("</header>\n<main>\n");
        let mut open = false;
        for block in self.blocks() {
            if let ReportBlock::Chapter { anchor } = &block {
                page.push_str(if open { "</section>\n" } else { "" });
                open = true;
                let _ = match anchor {
                    Some(anchor) => {
                        writeln!(page, "<section class=\"run\" id=\"{}\">", escaped(anchor))
                    }
                    None => writeln!(page, "<section>"),
                };
                continue;
            }
            set(block, &mut page)?;
        }
        page.push_str(if open { "</section>\n" } else { "" });
        page.push_str("</main>\n<footer>\n");
        for text in Self::closing() {
            words(TextWeight::Plain, &text, &mut page);
        }
        page.push_str("</footer>\n</body>\n</html>\n");
        Ok(page)
    }
}

fn set(block: ReportBlock, page: &mut String) -> Result<(), Failure> {
    match block {
        ReportBlock::Chapter { .. } => {}
        ReportBlock::Heading {
            order,
            words,
            note,
            link,
        } => {
            let words = leading(&words, link.as_deref());
            let note = if note.is_empty() {
                String::new()
            } else {
                format!(" <small>{}</small>", escaped(&note))
            };
            let _ = writeln!(page, "<h{order}>{words}{note}</h{order}>");
        }
        ReportBlock::Words(weight, text) => words(weight, &text, page),
        ReportBlock::List(all) => {
            page.push_str("<ul>\n");
            for text in all {
                let _ = writeln!(page, "<li>{}</li>", escaped(&text));
            }
            page.push_str("</ul>\n");
        }
        ReportBlock::Table(heads, rows) => table(heads, &rows, page),
        ReportBlock::Picture(title, figure) => picture(&title, &figure, page)?,
    }
    Ok(())
}

fn words(weight: TextWeight, text: &str, page: &mut String) {
    let class = match weight {
        TextWeight::Plain => "",
        TextWeight::Told => " class=\"told\"",
        TextWeight::Warning => " class=\"warn\"",
    };
    let _ = writeln!(page, "<p{class}>{}</p>", escaped(text));
}

fn leading(text: &str, link: Option<&str>) -> String {
    match link {
        Some(link) => format!("<a href=\"#{}\">{}</a>", escaped(link), escaped(text)),
        None => escaped(text),
    }
}

fn table(heads: &[ColumnHeading], rows: &[ReportRow], page: &mut String) {
    let class = |number: bool| if number { " class=\"n\"" } else { "" };
    page.push_str("<table>\n<thead><tr>");
    for (head, number) in heads {
        let _ = write!(page, "<th scope=\"col\"{}>{}</th>", class(*number), escaped(head));
    }
    page.push_str("</tr></thead>\n<tbody>\n");
    for row in rows {
        page.push_str(if row.weak { "<tr class=\"weaker\">" } else { "<tr>" });
        for (ReportCell { text, link, strong }, (_, number)) in row.cells.iter().zip(heads) {
            let class = if *strong {
                " class=\"missing\""
            } else {
                class(*number)
            };
            let _ = write!(page, "<td{class}>{}</td>", leading(text, link.as_deref()));
        }
        page.push_str("</tr>\n");
    }
    page.push_str("</tbody>\n</table>\n");
}

fn picture(title: &str, figure: &Figure, page: &mut String) -> Result<(), Failure> {
    let svg = figure.bytes(FigureKind::Svg, Size::Screen)?;
    let svg = String::from_utf8_lossy(&svg);
    // The declaration of a file of its own has no place inside a page.
    let svg = svg.find("<svg").map_or("", |at| &svg[at..]);
    let _ = write!(
        page,
        "<figure role=\"img\" aria-label=\"{}\">\n{}\n</figure>\n",
        escaped(title),
        svg.trim_end()
    );
    Ok(())
}

/// A text as HTML; signs that no page may hold are replaced.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for sign in text.chars() {
        match sign {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\n' | '\t' => safe.push(' '),
            sign if sign.is_control() => safe.push('\u{FFFD}'),
            sign => safe.push(sign),
        }
    }
    safe
}

/// How it looks on a screen and on paper.
const STYLE: &str = "\
body{font-family:system-ui,sans-serif;line-height:1.45;font-variant-ligatures:none;color:#1a1a1a;background:#fff;max-width:60rem;margin:0 auto;padding:1.5rem}\
h1{font-size:1.7rem;margin:0 0 .3rem}h2{font-size:1.25rem;margin:2rem 0 .5rem;border-bottom:2px solid #1a1a1a;padding-bottom:.2rem}\
h3{font-size:1.05rem;margin:1.2rem 0 .3rem}h4{font-size:.95rem;margin:.9rem 0 .2rem}small{font-weight:normal;color:#555}\
table{border-collapse:collapse;width:100%;font-size:.88rem;margin:.3rem 0}th,td{text-align:left;vertical-align:top;overflow-wrap:anywhere;padding:.22rem .6rem .22rem 0;border-bottom:1px solid #ccc}\
.n{text-align:right;font-variant-numeric:tabular-nums}tr.weaker td{color:#555;font-style:italic}.told{color:#555;font-size:.88rem}\
.warn{border-left:4px solid #b35900;padding-left:.6rem}.missing{font-weight:bold}figure{margin:1rem 0}figure svg{width:100%;height:auto}\
footer{margin-top:3rem;border-top:1px solid #ccc;font-size:.85rem;color:#555}\
@media print{body{max-width:none;padding:0;font-size:10pt}a{color:inherit;text-decoration:none}figure,table,h2,h3,h4{break-inside:avoid}h2,h3,h4{break-after:avoid}.run{break-before:page}}";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_of_a_source_is_markup() {
        assert_eq!(
            escaped("<b onclick=\"x\">&\u{7}"),
            "&lt;b onclick=&quot;x&quot;&gt;&amp;\u{FFFD}"
        );
    }

    #[test]
    fn an_empty_report_is_a_page() {
        let page = ReportPage::new("a <title>").html().unwrap_or_default();
        assert!(page.starts_with("<!DOCTYPE html>") && page.ends_with("</html>\n"));
        assert!(page.contains("<title>a &lt;title&gt;</title>"));
        assert!(!page.contains("<script") && !page.contains("http"));
    }
}
