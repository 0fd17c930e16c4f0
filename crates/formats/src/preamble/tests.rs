use curvary_record::Unit;

use super::*;
use crate::Assumptions;

fn shown(line: &str) -> String {
    pairs(line)
        .iter()
        .map(|pair| {
            format!(
                "{}{}{}",
                &line[pair.key.clone()],
                pair.mark,
                &line[pair.value.clone()]
            )
        })
        .collect::<Vec<_>>()
        .join(" | ")
}

#[test]
fn lines_with_keys() {
    let table = [
        ("Sample: betanin", "Sample:betanin"),
        ("  Sample :  betanin  ", "Sample:betanin"),
        ("Sample = betanin", "Sample=betanin"),
        (":Sample: betanin", "Sample:betanin"),
        ("Sample: betanin):", "Sample:betanin"),
        ("Sample: betanin (old)", "Sample:betanin (old)"),
        ("Sample\tbetanin", "Sample\tbetanin"),
        ("Sample;betanin", "Sample;betanin"),
        ("Sample,betanin", "Sample,betanin"),
        ("Sample;betanin;;;", "Sample;betanin"),
        ("\"Sample\";\"betanin\"", "Sample;betanin"),
        ("\"Sample: betanin\"", "Sample:betanin"),
        ("Sample .......... betanin", "Sample.betanin"),
        ("# Sample: betanin", "Sample:betanin"),
        ("% Sample: betanin", "Sample:betanin"),
        ("; Sample: betanin", "Sample:betanin"),
        ("// Sample: betanin", "Sample:betanin"),
        ("* Sample: betanin", "Sample:betanin"),
        ("' Sample: betanin", "Sample:betanin"),
        ("! Sample: betanin", "Sample:betanin"),
        ("### Sample: betanin", "Sample:betanin"),
        ("Temp: 37 °C   pH: 7.0", "Temp:37 °C | pH:7.0"),
        ("Temp: 37 °C; pH: 7.0", "Temp:37 °C | pH:7.0"),
        ("Temp: 37 °C, pH: 7.0", "Temp:37 °C | pH:7.0"),
        (
            "Temp = 37 °C, pH = 7.0, λ = 405 nm",
            "Temp=37 °C | pH=7.0 | λ=405 nm",
        ),
        ("Temp: 37 °C\tpH: 7.0", "Temp:37 °C | pH:7.0"),
        ("Time: 10:32:05", "Time:10:32:05"),
        ("Date: 14.03.2021 10:32", "Date:14.03.2021 10:32"),
        (
            "Date: 14.03.2021   Time: 10:32:05",
            "Date:14.03.2021 | Time:10:32:05",
        ),
        (
            "Comment: see https://example.org/x",
            "Comment:see https://example.org/x",
        ),
        ("File: C:\\data\\run1.txt", "File:C:\\data\\run1.txt"),
        (
            "Comment: first rinse, then: wait",
            "Comment:first rinse, then: wait",
        ),
        ("Temperature (°C): 37", "Temperature (°C):37"),
        ("Temperatur;37,0", "Temperatur;37,0"),
        ("Temperature,37.0", "Temperature,37.0"),
        ("Konzentration: 0,5 mM", "Konzentration:0,5 mM"),
        ("Operator:", "Operator:"),
        // Keys, values and units in cells of their own.
        ("Temperature:,37,C", "Temperature:37,C"),
        ("pH:,7", "pH:7"),
        ("pH:,,7,,", "pH:7"),
        ("Path length:,1,cm,", "Path length:1,cm"),
        ("Temperatur:;37,5;°C", "Temperatur:37,5;°C"),
        ("Température :\t\t37\t°C", "Température:37\t°C"),
        ("\"Date:\",\"3/4/2023\"", "Date:3/4/2023"),
        ("\"Temp\",\"36,5\",\"C\"", "Temp,36,5\",\"C"),
        (
            "Sample,betanin,Temp (C),25,pH,7",
            "Sample,betanin | Temp (C),25 | pH,7",
        ),
        ("Sample:;;leaf;;T:;20;°C;", "Sample:leaf | T:20;°C"),
        ("Sample,", "Sample,"),
        ("Sample:;Operator:;K. L.", "Sample: | Operator:K. L."),
        ("Sample,betanin, in water", "Sample,betanin, in water"),
        ("Charge:,17B", "Charge:17B"),
        // Names and numbers over columns are no value.
        ("Sample,blank,leaf,stem", ""),
        ("Temperature,25,37", ""),
        ("Temperature (°C);25;30;35", ""),
        ("Sample,Temperature,pH", ""),
        ("Temperature,Absorbance", ""),
        ("Sample,A450 a,A450 b", ""),
        // No pairs.
        ("10:32:05", ""),
        ("https://example.org", ""),
        ("C:\\data\\run1.txt", ""),
        ("400,0.123", ""),
        ("400;0,123", ""),
        ("400\t0.123", ""),
        ("betanin, fresh", ""),
        ("Wavelength,Absorbance", ""),
        ("Wavelength (nm);Absorbance", ""),
        ("Zeit (mm:ss)", ""),
        ("a,b,c,d", ""),
        ("", ""),
        ("   ", ""),
        ("#", ""),
        (":", ""),
        ("= 5", ""),
        (
            "The absorbance was measured at 405 nm and then again after ten minutes: fine",
            "",
        ),
    ];
    let wrong: Vec<String> = table
        .iter()
        .filter(|&&(line, wanted)| shown(line) != wanted)
        .map(|&(line, wanted)| format!("`{line}`: wanted `{wanted}`, got `{}`", shown(line)))
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn conditions_among_words_of_a_line_are_claimed_where_several_stand_together() {
    let cases = [
        (
            "Guaiacol test, 436 nm, 25 °C, pH 7.0 (phosphate)",
            "ph=7 [pH] | temperature=25 Cel | wavelength=436 nm",
        ),
        (
            "Trypsin mit BAPNA, 405 nm, 37 °C",
            "temperature=37 Cel | wavelength=405 nm",
        ),
        ("Yeast, 30 °C", ""),
        ("Absorbance of river samples, 1 cm cell", "path-length=1 cm"),
        ("Absorbância (cubeta de 5 cm)", "path-length=5 cm"),
        ("Station 22, 50 mm cuvette", "path-length=50 mm"),
        (
            "phosphatase, extract B   pH 9.8   30 °C",
            "ph=9.8 [pH] | temperature=30 Cel",
        ),
        ("piece of 5 cm, film of 2 mm", ""),
        ("Beet juice, 95 °C, pH 4.0, 10 min", ""),
        ("2017.03.22. szerda, 3. gyakorlat", "date=2017-03-22"),
        ("Mi 14.5.2008, Praktikum Tag 3", "date=2008-05-14"),
        ("Stock of 14.5.2008, diluted", ""),
    ];
    for (line, wanted) in cases {
        assert_eq!(claimed(line, &[]), wanted, "{line}");
    }
}

/// `field=value unit` of every claim, by field; with `?` for each question.
fn claimed(lines: &str, assume: &[&str]) -> String {
    let mut assumptions = Assumptions::none();
    for pair in assume {
        assumptions.add(pair).expect("an assumption");
    }
    let source = Source::new("a.txt", lines.as_bytes().to_vec()).assuming(assumptions);
    let (mut fields, mut questions) = (Fields::default(), Vec::new());
    let mut start = 0;
    for line in source.text().split('\n') {
        let found = pairs(line);
        if found.is_empty() {
            claim_free(&mut fields, &source, start..start + line.len());
        }
        for pair in found {
            claim_pair(&mut fields, &mut questions, &source, start, &pair);
        }
        start += line.len() + 1;
    }
    let mut shown: Vec<String> = fields
        .iter()
        .flat_map(|(key, claims)| {
            claims.iter().map(move |claim| {
                let unit = claim
                    .unit
                    .as_ref()
                    .map(|unit| format!(" {unit}"))
                    .unwrap_or_default();
                format!("{key}={}{unit}", claim.value)
            })
        })
        .collect();
    shown.extend(questions.iter().map(|_| "?".to_owned()));
    shown.join(" | ")
}

#[test]
fn pairs_become_claims() {
    let table = [
        ("Temperature:,37,C", "temperature=37 Cel"),
        ("pH:,7", "ph=7 [pH]"),
        ("Path length:,,1,cm,,", "path-length=1 cm"),
        ("Path length,10,mm", "path-length=10 mm"),
        ("Path length\t: 10 mm", "path-length=10 mm"),
        ("Operator: -", ""),
        ("Date: n/a", ""),
        ("pH meter: no. 7", "pH meter=no. 7"),
        ("Temperatur;37,5;°C", "temperature=37.5 Cel"),
        ("\"Temperature\",\"36,5\",\"C\"", "temperature=36.5 Cel"),
        ("\"Date:\",\"23/4/2023\"", "date=2023-04-23"),
        ("Range:,400,700,nm", "wavelength-range=400..700 nm"),
        // Two numbers in two cells are not one with a decimal comma.
        ("Temperature:,36,5", "temperature=36,5"),
        ("Sample: betanin", "sample=betanin"),
        ("Probe: Rübensaft", "sample=Rübensaft"),
        ("Temperature: 37,0 °C", "temperature=37 Cel"),
        ("Temperatur (°C): 37", "temperature=37 Cel"),
        ("T: 37 °C", "temperature=37 Cel"),
        ("T: 37", "T=37"),
        ("Wellenlänge: 405 nm", "wavelength=405 nm"),
        ("Wavelength: 700 - 400 nm", "wavelength-range=700..400 nm"),
        ("Schichtdicke: 1 cm", "path-length=1 cm"),
        ("Cuvette: 10 mm", "path-length=10 mm"),
        ("Cuvette: quartz no. 3", "cell=quartz no. 3"),
        ("Date: 14.03.2021 10:32", "date=2021-03-14 | time=10:32"),
        ("Date: 03/04/2021", "date=03/04/2021 | ?"),
        ("Time: 10:32:05", "time=10:32:05"),
        ("Time: 30 min", "duration=30 min"),
        ("Zeit: lang", "Zeit=lang"),
        ("Start: 350 nm", "first-wavelength=350 nm"),
        ("End: 585 nm", "last-wavelength=585 nm"),
        ("Start: 10:32", "time=10:32"),
        ("Data: 14/03/2021", "date=2021-03-14"),
        ("Data: 12 points", "Data=12 points"),
        ("Step: 5 nm", "step=5 nm"),
        ("Interval: 10 s", "interval=10 s"),
        ("Interval: 1 nm", "step=1 nm"),
        ("Concentration: 50 µmol/L", "concentration=50 umol/L"),
        ("Concentration (mM): 0.5", "concentration=0.5 mmol/L"),
        ("Concentration (mM): 50 uM", "concentration=50 uM | ?"),
        ("Temp: 37 °C   pH: 7.0", "ph=7 [pH] | temperature=37 Cel"),
        ("jacket: 37 °C", "jacket=37 Cel"),
        ("jacket (°C): 37", "jacket=37 Cel"),
        ("Lamp: D2 / W at 340 nm", "lamp=D2 / W at 340 nm"),
        ("Operator:", ""),
        ("Activity: 4.2 U/mL", "activity=4.2 U/mL"),
        ("Heure : 10h32", "time=10:32"),
        ("Fecha: 14 de marzo de 2021", "date=2021-03-14"),
        (
            "Temperature: 25 °C\nTemperature: 37 °C",
            "temperature=25 Cel | temperature=37 Cel",
        ),
        // Lines without keys.
        (
            "37 °C, pH 7.0, 405 nm",
            "ph=7 [pH] | temperature=37 Cel | wavelength=405 nm",
        ),
        ("37,0 °C; 405 nm", "temperature=37 Cel | wavelength=405 nm"),
        ("37 °C, 25 °C", ""),
        ("37 °C, stirred", ""),
        ("37 C", ""),
        ("14.03.2021 10:32", "date=2021-03-14 | time=10:32"),
        ("03/04/2021", ""),
        ("405", ""),
        ("betanin in buffer", ""),
    ];
    let wrong: Vec<String> = table
        .iter()
        .filter(|&&(line, wanted)| claimed(line, &[]) != wanted)
        .map(|&(line, wanted)| format!("`{line}`: wanted `{wanted}`, got `{}`", claimed(line, &[])))
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn what_is_settled_is_not_asked() {
    assert_eq!(
        claimed("Date: 03/04/2021", &["date=day-first"]),
        "date=2021-04-03"
    );
    assert_eq!(
        claimed("Date: 03/04/2021", &["date=month-first"]),
        "date=2021-03-04"
    );
    assert_eq!(claimed("Conc: 1,234 mM", &[]), "concentration=1,234 mM | ?");
    assert_eq!(
        claimed("Conc: 1,234 mM", &["decimal=comma"]),
        "concentration=1.234 mmol/L"
    );
}

#[test]
fn claims_know_their_place_and_spelling() {
    let source = Source::new("a.txt", "x\nTemp. : 37 °C\n".as_bytes().to_vec());
    let (mut fields, mut questions) = (Fields::default(), Vec::new());
    claim(
        &mut fields,
        &mut questions,
        &source,
        2..7,
        10..source.text().len() - 1,
    );
    let found = fields.get("temperature").expect("a temperature");
    assert_eq!(
        (found.raw.as_str(), found.spelled.as_deref()),
        ("37 °C", Some("Temp."))
    );
    assert_eq!(found.unit, Some(Unit::CELSIUS));
    assert!(matches!(&found.origin, Origin::Source(place) if (place.line, place.column) == (2, 9)));
}

proptest::proptest! {
    #[test]
    fn any_line_is_parted_or_not(line in "\\PC{0,60}") {
        for pair in pairs(&line) {
            proptest::prop_assert!(line.get(pair.key.clone()).is_some() && line.get(pair.value.clone()).is_some());
            proptest::prop_assert!(pair.key.end <= pair.value.start);
        }
    }

    #[test]
    fn mixtures_of_marks_do_no_harm(parts in proptest::collection::vec(
        proptest::sample::select(vec!["Temp", ":", "=", " ", "  ", "\t", ";", ",", "\"", "#", "%", "/", "\\", "37", "°C", "…", "...", "pH", "10:32", "–", "- "]), 0..16)) {
        let line: String = parts.concat();
        let source = Source::new("a.txt", line.clone().into_bytes());
        let (mut fields, mut questions) = (Fields::default(), Vec::new());
        for pair in pairs(&line) {
            proptest::prop_assert!(line.get(pair.key.clone()).is_some() && line.get(pair.value.clone()).is_some());
            claim(&mut fields, &mut questions, &source, pair.key, pair.value);
        }
        claim_free(&mut fields, &source, 0..line.len());
    }
}

#[test]
fn marks_of_keys_in_cells_of_their_own() {
    for (line, key, value) in [
        ("Sample\t:\tpeptide, shaken", "Sample", "peptide, shaken"),
        ("Numune\t: beet (1/10)", "Numune", "beet (1/10)"),
        ("- **Sample:** lipase crude", "Sample", "lipase crude"),
        ("SAMPLE>no inhibitor", "SAMPLE", "no inhibitor"),
        (
            "Dept. printout   sample: saffron tea   page 1 of 3",
            "sample",
            "saffron tea",
        ),
        ("Température du bain\t37\t°C", "Température du bain", "37\t°C"),
    ] {
        let found = pairs(line);
        let pair = found.first().unwrap_or_else(|| panic!("{line}"));
        assert_eq!(
            (&line[pair.key.clone()], &line[pair.value.clone()]),
            (key, value),
            "{line}"
        );
    }
}

#[test]
fn conditions_in_passing() {
    for phrase in [
        "37 deg C",
        "25 GRAD C",
        "37.0 C",
        "at 37 °C",
        "Thermostat auf 30 °C",
        "20 st. C",
        "pH 10.2",
        "buffer pH 8.1",
        "1 cm",
        "1 cm cell",
        "2 mm flow cell",
        "10.0 cm",
        "path 10 mm",
    ] {
        assert!(is_condition(phrase), "{phrase}");
    }
    // Stories, other lengths, and two numbers.
    for phrase in [
        "heated to 90 °C",
        "kept at 4 °C in the dark",
        "5 mm gap",
        "20 °C to 90 °C",
        "plate 17",
        "405 nm",
        "150 mm",
        "diluted 1:10",
        "in 50 mM Tris at pH 7",
        "1 cm of snow on the roof",
    ] {
        assert!(!is_condition(phrase), "{phrase}");
    }
}

/// What prose says, as `field=value unit`.
fn prose(text: &str) -> Vec<String> {
    let source = Source::new("a.txt", text.as_bytes().to_vec());
    let mut passing = Passing::default();
    let mut lines = Vec::new();
    let mut from = 0;
    for (number, line) in (1..).zip(text.split('\n')) {
        lines.push((number, from..from + line.len()));
        from += line.len() + 1;
    }
    take_prose(&mut passing, &source, lines);
    let mut fields = Fields::default();
    passing.settle(&mut fields);
    let mut said: Vec<String> = fields
        .iter()
        .flat_map(|(key, claims)| {
            claims.iter().map(move |claim| {
                let unit = claim.unit.as_ref().map_or("", |unit| unit.code());
                format!("{}={} {unit}", key.as_str(), claim.value)
                    .trim_end()
                    .to_owned()
            })
        })
        .collect();
    said.sort();
    said
}

#[test]
fn prose_says_at_what_was_measured() {
    for (text, wanted) in [
        (
            "The spectrum below was measured on 6\nMay 2018 in a cell of 10 mm path length against\nmethanol.",
            &["date=2018-05-06", "path-length=10 mm"][..],
        ),
        (
            "Gemessen wurde am\n9. Oktober 2017 bei 21 °C in einer Küvette mit\n10 mm Schichtdicke. Auffällig ist die Flanke.",
            &["date=2017-10-09", "path-length=10 mm", "temperature=21 Cel"],
        ),
        (
            "Die Lösung von Tyrosin in 0,1 M Salzsäure wurde am 25.02.2014 bei 20 °C gemessen. Die Schichtdicke\nbetrug 1 cm.",
            &["date=2014-02-25", "path-length=1 cm", "temperature=20 Cel"],
        ),
        (
            "The oxidation was followed at 610 nm and 30 °C in a stirred cell of 10 mm path length.",
            &["path-length=10 mm", "temperature=30 Cel"],
        ),
        (
            "All was measured at 25 °C in 50 mM Tris, pH 8.0, in a 1 cm cell.",
            &["path-length=1 cm", "ph=8 [pH]", "temperature=25 Cel"],
        ),
        (
            "Le spectre a été mesuré le 3 mai 2012 à 25 °C dans une cuve de 1 cm.",
            &["date=2012-05-03", "path-length=1 cm", "temperature=25 Cel"],
        ),
        (
            "Die Lösung wurde auf 60 °C erwärmt, abgekühlt und am 3.4.2011 bei 20 °C gemessen.",
            &["date=2011-04-03", "temperature=20 Cel"],
        ),
        (
            "El espectro fue registrado el 5 de mayo de 2010 a 25 °C en una cubeta de 1 cm.",
            &["date=2010-05-05", "path-length=1 cm", "temperature=25 Cel"],
        ),
        (
            "Samples were prepared on 1 June 2016 and measured on 3 June 2016 at 30 °C; the lamp had been replaced on 2 January 2016.",
            &["date=2016-06-03", "temperature=30 Cel"],
        ),
        (
            "Absorbance was measured against water in cells of 5 mm at 20 °C on 7 July 2008.",
            &["date=2008-07-07", "path-length=5 mm", "temperature=20 Cel"],
        ),
        (
            "Absorbance was monitored at 30 °C after the addition of enzyme that had been kept on ice at 0 °C.",
            &["temperature=30 Cel"],
        ),
        // A letter: the day on which the sample came is not the one of the measurement.
        (
            "thank you for the sample, which reached us on 2 May 2013. We measured it on 6\nMay 2013 in a quartz cell of 10 mm path length.",
            &["date=2013-05-06", "path-length=10 mm"],
        ),
    ] {
        assert_eq!(prose(text), wanted, "{text}");
    }
}

#[test]
fn prose_that_tells_of_something_else_says_nothing() {
    for text in [
        "The leaves were heated to 90 °C and then measured in water.",
        "The sample was kept at 4 °C and measured the next day.",
        "The sample was stored at 4 °C was measured again.",
        "Spectra were recorded in 2 °C steps from 20 °C on.",
        "The solution is to be measured at 25 °C within an hour.",
        "The solution should be measured at 25 °C within an hour.",
        "It was not measured at 25 °C as the others were.",
        "The blank was measured at 25 °C before all others.",
        "One half was measured at 25 °C and 30 °C.",
        "One half was measured at 25 °C. The other half was measured at 30 °C.",
        "The extract was prepared on 3 May 2010 in methanol.",
        "The film was 10 mm wide and was measured in air.",
        "The solution was measured 10 min at 25 °C after mixing.",
        "The powder was extracted at pH 4.5 and then measured in water.",
        "Measured at 25 °C intervals of time.",
        "The solvent was measured at 20 °C and the sample at 25 °C.",
        "The sample was measured at 20 °C and the other one at 25 °C.",
        "Temperature was measured at 25 °C by a probe in the bath.",
        "The pH of the solution was measured on 3 May 2010 at 20 °C.",
        "The melting point was recorded at 81 °C under the microscope.",
        "The lamp was measured on 3 May 2009 and had 300 hours.",
        "Weights were recorded on 3 May 2009 and volumes were measured at 20 °C.",
    ] {
        assert_eq!(prose(text), Vec::<String>::new(), "{text}");
    }
}

#[test]
fn sentences_with_keys_stand_side_by_side() {
    let line = "Datum: 2013-04-23. Våglängd: 543 nm. Kuvett: 50 mm.";
    let found: Vec<(&str, &str)> = pairs(line)
        .iter()
        .map(|pair| (&line[pair.key.clone()], &line[pair.value.clone()]))
        .collect();
    assert_eq!(
        found,
        [
            ("Datum", "2013-04-23"),
            ("Våglängd", "543 nm"),
            ("Kuvett", "50 mm")
        ]
    );
    let line = "Date: 9 September 2019. All runs at 412 nm.";
    assert_eq!(&line[pairs(line)[0].value.clone()], "9 September 2019");
    let line = "Comment: dried at 40 C. Stored: cold.";
    assert_eq!(
        &line[pairs(line)[0].value.clone()],
        "dried at 40 C. Stored: cold."
    );
}

#[test]
fn the_value_of_a_marked_key_may_look_like_another_key() {
    assert_eq!(
        shown("Bearbeiter:\tM. W."),
        shown("Bearbeiter:\tQ. R.").replace("Q. R.", "M. W.")
    );
    assert_eq!(pairs("Sample,Temperature,pH"), []);
}

#[test]
fn titles_that_begin_with_a_key_are_none() {
    for title in [
        "Sample, 340 nm, 25 °C",
        "Probe, 600 nm",
        "Sample; 340 nm",
        "Operator, 25 °C",
        "Enzyme, 340 nm",
        "Concentration, 340 nm",
        "Temperature, pH and light",
        "Date, time and name",
        "Actinometry at 365 nm; A at 510 nm",
        "Normalized spectra (max = 1)",
    ] {
        assert_eq!(shown(title), "", "{title}");
    }
    for (line, wanted) in [
        ("Sample, beet", "Sample,beet"),
        ("Temperature,25 °C", "Temperature,25 °C"),
        ("Date,2019-03-12", "Date,2019-03-12"),
        ("Path length,1 cm", "Path length,1 cm"),
        ("Dilution,1:10", "Dilution,1:10"),
    ] {
        assert_eq!(shown(line), wanted, "{line}");
    }
}

#[test]
fn what_a_date_is_of() {
    for (before, wanted) in [
        ("Messung vom ", true),
        ("Kinetikmessung vom ", true),
        ("measured on ", true),
        ("run of ", true),
        ("beet juice ", true),
        ("", true),
        ("Buffer of ", false),
        ("Prélèvement le ", false),
        ("see mail of ", false),
        ("SOP 12 of ", false),
    ] {
        assert_eq!(super::free::is_of_the_run(before), wanted, "{before}");
    }
}
