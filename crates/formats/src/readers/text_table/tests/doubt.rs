//! Texts of which a number may be taken for another thing: each is read as a careful person would, or asked about, or refused.

use super::*;

/// What a text is read as, a line for each question and each curve: `? axis-unknown`, `Tea | wavelength 400 410 | 0.1 0.2 | ph 7`.
fn told(text: &str) -> Vec<String> {
    let mut told = Vec::new();
    for run in read_as(text, &[]) {
        let mut codes: Vec<String> = run.questions.iter().map(|q| format!("? {}", q.code)).collect();
        codes.dedup();
        told.extend(codes);
        for trace in &run.traces {
            let numbers = |numbers: &[f64]| numbers.iter().map(f64::to_string).collect::<Vec<_>>().join(" ");
            let label = match trace.row_names.as_slice() {
                [] => trace.label.clone().unwrap_or_default(),
                names => format!(
                    "{}: {}",
                    trace.label.as_deref().unwrap_or_default(),
                    names.join(", ")
                ),
            };
            let held: Vec<String> = trace
                .held
                .iter()
                .map(|held| format!("{} {}", held.quantity.as_str(), held.value))
                .collect();
            told.push(format!(
                "{label} | {} {} | {} | {}",
                trace.x.quantity.as_str(),
                numbers(&trace.x.values),
                numbers(&trace.y.values),
                held.join(", ")
            ));
        }
    }
    told
}

fn assert_told(text: &str, wanted: &[&str]) {
    assert_eq!(told(text), wanted, "{text}");
}

/// Whether something is asked about a text, or nothing is read of it.
fn is_open(text: &str) -> bool {
    let runs = read_as(text, &[]);
    runs.is_empty() || runs.iter().any(|run| !run.questions.is_empty())
}

#[test]
fn times_across_over_what_runs_down() {
    for (down, quantity) in [
        ("c (mM);Tea;Malt;Hop", "concentration"),
        ("c (mM);;;", "concentration"),
        ("T (°C);A;A;A", "temperature"),
        ("pH;A340;A340;A340", "ph"),
    ] {
        let text =
            format!("Absorbance at 340 nm\nTime (min);1;2;3\n{down}\n5;0.1;0.2;0.3\n10;0.11;0.21;0.31\n");
        let told = told(&text);
        assert!(
            !told.iter().any(|line| line.contains("time 5 10")),
            "{text}{told:?}"
        );
        assert!(told.iter().any(|line| line.contains(quantity)), "{text}{told:?}");
    }
}

#[test]
fn limits_are_no_quotation() {
    for text in [
        "A340  min\n> 3.00  1\n> 3.00  2\n> 3.00  3\n2.81  4\n2.51  5\n",
        "A340 min\n> 3.00 1\n> 3.00 2\n> 3.00 3\n",
        "concentration (mg/L)  A540\n> 3.5 0.512\n> 3.0 0.433\n> 2.5 0.390\n",
        "A340  min\n\n> 3.00  1\n> 3.00  2\n> 3.00  3\n",
    ] {
        let told = told(text);
        let kept = |line: &String| {
            line.contains("| 3 3 3") || line.contains("3.5 3 2.5") || line.contains("1 2 3 | 3 ")
        };
        assert!(is_open(text) || !told.iter().any(kept), "{text}{told:?}");
    }
}

#[test]
fn cells_of_lists_that_lack() {
    // Under its own name, or not at all.
    let shifted = [
        "Sample:\tTea\tMalt\t\tHop\nA540:\t0.101\t\t0.303\t0.404\n",
        "Sample: Tea, Malt, Hop\nA540: , 0.2, 0.3, 0.4\n",
        "Sample: Tea, Malt, , Hop\nA540: 0.1, , 0.3, 0.4\n",
        "Sample:\tTea\tMalt\tHop\t\nA540:\t\t0.101\t0.303\t0.404\n",
        "Sample:  Tea  Malt        Hop\nA540:    0.101      0.303  0.404\n",
    ];
    for text in shifted {
        assert_eq!(told(text), Vec::<String>::new(), "{text}");
    }
    let read = "Absorbance at 540 nm\n\nSample:\tTea\tMalt\tHop\nA540:\t0.101\t\t0.404\n";
    assert_told(
        read,
        &["A540: Tea, Hop | index 1 3 | 0.101 0.404 | wavelength 540"],
    );
}

#[test]
fn thousands_among_two_decimal_signs() {
    let text = "nm   A\n400.0   0,12\n401.0   0,13\n402.0   0,14\n403.0   1,234\n404.0   0,15\n";
    assert!(is_open(text), "{:?}", told(text));
}

#[test]
fn constants_behind_an_empty_row() {
    for text in [
        "sample;A540\ntea;0.101\nmalt;0.202\n;\nLimit;0.02\nFactor;1.2\n",
        "sample,A540\ntea,0.101\nmalt,0.202\n,\nDetection limit,0.012\nfactor,1.25\n",
    ] {
        let told = told(text);
        assert!(
            is_open(text) || !told.iter().any(|line| line.contains("imit")),
            "{told:?}"
        );
    }
    assert_told(
        "sample;A540\ntea;0.101\nmalt;0.202\n;\nhop;0.303\n",
        &["A540: tea, malt, hop | index 1 2 3 | 0.101 0.202 0.303 | wavelength 540"],
    );
}

#[test]
fn numbers_beside_lists() {
    let lists = "nm:\n400\n410\n420\nA:\n0.1\n0.2\n0.3\n";
    for behind in [
        "Tea\n0.15\n0.25\n0.35\n",
        "0.4\n0.5\n0.6\n",
        "430\n440\n450\n",
        "Tea 0.15 0.25 0.35\n",
    ] {
        let text = format!("{lists}\n{behind}");
        assert!(is_open(&text), "{text}{:?}", told(&text));
    }
    assert_told(lists, &["A | wavelength 400 410 420 | 0.1 0.2 0.3 | "]);
    // Words beside them lose nothing.
    for text in [
        format!("Results:\n{lists}"),
        format!("{lists}Remarks:\n"),
        format!("{lists}\n1\n"),
    ] {
        assert_eq!(told(&text), told(lists), "{text}");
    }
}

#[test]
fn names_that_are_none_of_samples() {
    for key in ["Analysts: Kim, Lee, Ray", "Method: Bradford, filtered, diluted"] {
        let text = format!("{key}\nA540: 0.101; 0.202; 0.303\n");
        assert!(is_open(&text), "{:?}", told(&text));
    }
}

#[test]
fn counts_and_weights_are_no_readings() {
    let counted = told("Absorbance at 540 nm\nreading 01 0.101\nreading 02 0.102\nreading 03 0.103\n");
    assert_eq!(counted.len(), 1, "{counted:?}");
    assert!(
        counted[0].contains("reading 01, reading 02, reading 03 | index 1 2 3 | 0.101 0.102 0.103 |"),
        "{counted:?}"
    );
    assert!(is_open(
        "Weights in g for A540 assay: S1 0.511, S2 0.500, S3 0.404\n"
    ));
}

#[test]
fn records_of_samples_at_other_wavelengths() {
    let record = |sample: &str, at: &str, a: &str| {
        format!("sample: {sample}\nwavelength: {at} nm\nabsorbance: {a}\n\n")
    };
    let text = record("K1", "450", "0.325") + &record("K2", "540", "0.41") + &record("K3", "600", "0.5");
    assert!(is_open(&text), "{:?}", told(&text));
    let one = record("K1", "450", "0.325") + &record("K1", "540", "0.41") + &record("K1", "600", "0.5");
    assert_told(&one, &["absorbance | wavelength 450 540 600 | 0.325 0.41 0.5 | "]);
    let numbered =
        "sample: 1\ndilution: 10\nabsorbance: 0.325\n\nsample: 2\ndilution: 1:20\nabsorbance: 0.41\n";
    assert!(
        told(numbered)
            .iter()
            .any(|line| line.contains("1 / 10, 2 / 1:20 |")),
        "{:?}",
        told(numbered)
    );
}

#[test]
fn two_keys_of_what_runs() {
    let text = "Absorbance\nnm;0;5;10\nmin;A;A;A\n400;0.1;0.2;0.3\n410;0.11;0.21;0.31\n420;0.12;0.22;0.32\n";
    let told = told(text);
    assert!(told.iter().any(|line| line == "? axis-unknown"), "{told:?}");
    assert!(
        !told
            .iter()
            .any(|line| line.contains("wavelength 0") || line.contains("time 400")),
        "{told:?}"
    );
}

#[test]
fn readings_between_the_numbers_of_curves_and_the_rows() {
    // Readings of a blank are none of the heads, nor are means.
    let rows = "400;0.1;0.2;0.3\n410;0.11;0.21;0.31\n420;0.12;0.22;0.32\n";
    assert!(is_open(&format!(
        "Absorbance\nnm;1;2;3\nBlank;0.05;0.06;0.07\n{rows}"
    )));
    let mean = told(&format!("Absorbance\nnm;1;2;3\nmean;0.05;0.06;0.07\n{rows}"));
    assert!(!mean.iter().any(|line| line.contains("0.05")), "{mean:?}");
    let numbered = told(&format!("Absorbance\nnm;1;2;3\nc (mg/L);5;10;20\n{rows}"));
    assert!(
        numbered.iter().any(|line| line.contains("concentration 5")),
        "{numbered:?}"
    );
}

#[test]
fn headings_between_names() {
    for heading in ["Set 2;", "Plate 2;", "Group B;"] {
        let text = format!("sample;A540\ntea;0.101\nmalt;0.202\n{heading}\nhop;0.303\nrye;0.404\n");
        let wanted = "A540: tea, malt, hop, rye | index 1 2 4 5 | 0.101 0.202 0.303 0.404 | wavelength 540";
        assert_told(&text, &[wanted]);
        let remarks = &read_as(&text, &[])[0].remarks;
        let is_told = remarks
            .iter()
            .any(|remark| remark.code == Code::new("row-does-not-fit"));
        assert!(is_told, "{remarks:?}");
    }
    assert_told(
        "sample;A540\ntea;0.101\nmalt;\nhop;0.303\nrye;0.404\n",
        &["A540: tea, hop, rye | index 1 3 4 | 0.101 0.303 0.404 | wavelength 540"],
    );
}

#[test]
fn headers_over_a_column_without_numbers() {
    for (over, says) in [("Sample: Tea", "Tea"), ("pH 7.4", "ph 7.4")] {
        let text = format!("nm    A       {over}\n400   0.101\n410   0.102\n420   0.103\n");
        let fields = format!("{:?}", read_as(&text, &[]));
        assert!(
            is_open(&text) || fields.contains(over) || fields.contains(says),
            "{text}{fields}"
        );
    }
}

#[test]
fn rows_that_stand_in_no_columns() {
    let all = "sample  A340      A405      A450\ntea     0.101     0.201     0.301\nmalt    0.111     0.202     0.302\n";
    let lacking = all.replace("malt    0.111 ", "malt          ");
    let text = format!(
        "{lacking}hop               0.203     0.303\nrye     0.104   0.204     0.304\noat     0.105     0.205     0.305\n"
    );
    let told = told(&text);
    for numbers in [
        "0.101 0.104 0.105",
        "0.201 0.202 0.203 0.204 0.205",
        "0.301 0.302 0.303 0.304 0.305",
    ] {
        assert!(told.iter().any(|line| line.contains(numbers)), "{told:?}");
    }
}
