//! Reports, as web pages and in print.

use super::*;

#[test]
fn a_report_is_one_page_without_scripts() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    let words = [
        "betanin",
        "temperature:37C",
        "--to",
        "report",
        "--out",
        "report.html",
        "--title",
        "Beet red at 37 °C",
    ];
    let (ending, told) = export(folder, &words);
    assert_eq!(ending, Some(0), "{told}");
    let page = fs::read_to_string(folder.join("report.html")).unwrap();
    for there in [
        "<h1>Beet red at 37 °C</h1>",
        "first-order+offset",
        "<svg",
        "standard error",
        "@media print",
        "residual",
    ] {
        assert!(page.contains(there), "{there} is missing");
    }
    for never in [
        "<script",
        "<link",
        "<iframe",
        " src=",
        "@import",
        "javascript:",
        "demo-data/",
    ] {
        assert!(!page.contains(never), "{never} is there");
    }
}

/// The printed report is text: its numbers are found by the reader of printed reports, as it reads those of others.
#[test]
fn a_printed_report_is_read_again() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    let words = ["betanin", "temperature:37C", "--to", "report"];
    for out in ["report.pdf", "again.pdf", "report.html"] {
        let (ending, told) = export(folder, &[&words[..], &["--out", out]].concat());
        assert_eq!(ending, Some(0), "{told}");
    }
    let pdf = fs::read(folder.join("report.pdf")).unwrap();
    assert!(pdf.starts_with(b"%PDF-"));
    assert_eq!(pdf, fs::read(folder.join("again.pdf")).unwrap());
    let text = curvary_formats::printed_text(&Source::new("report.pdf", pdf)).unwrap();
    let squeezed = |text: &str| text.split_whitespace().collect::<String>();
    let text = squeezed(&text);
    let html = fs::read_to_string(folder.join("report.html")).unwrap();
    let mut cells = 0;
    for cell in html.split("<td").skip(1) {
        let cell = cell.split_once('>').unwrap().1.split("</td>").next().unwrap();
        let cell = cell
            .rsplit_once("</a>")
            .map_or(cell, |(linked, _)| linked.rsplit('>').next().unwrap());
        // A cell that fills several lines stands in pieces between its neighbours.
        if cell.len() > 20 || cell.contains('&') {
            continue;
        }
        assert!(text.contains(&squeezed(cell)), "`{cell}` is missing");
        cells += 1;
    }
    assert!(cells > 100, "{cells}");
}

/// One spectrum of which nothing is held has its table of curves, too: what it runs over and how many points it has.
#[test]
fn a_report_of_one_spectrum_lists_its_curve() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::write(
        folder.join("leaf.csv"),
        "Wavelength (nm);Absorbance\n400;0,12\n401;0,13\n402;0,15\n",
    )
    .unwrap();
    let made = run(
        folder,
        &["convert", "leaf.csv", "--to", "report", "--out", "leaf.html"],
    );
    assert_eq!(status(&made), Some(0), "{made:?}");
    let page = fs::read_to_string(folder.join("leaf.html")).unwrap();
    assert!(
        page.contains(">Curves<") && page.contains("wavelength 400 to 402 nm"),
        "{page}"
    );
}
