//! What a query finds is what a look at every run finds, in every order, with counts and words around.

use super::*;

/// Asks the facts themselves, one run after the other.
fn answers(node: &QueryNode, facts: &Facts) -> bool {
    let phrase = |text: &String, wanted: &[String]| {
        let words: Vec<String> = words::words(text).into_iter().map(|word| word.0).collect();
        words.windows(wanted.len()).any(|window| window == wanted)
    };
    match node {
        QueryNode::And(nodes) => nodes.iter().all(|node| answers(node, facts)),
        QueryNode::Or(nodes) => nodes.iter().any(|node| answers(node, facts)),
        QueryNode::Not(node) => !answers(node, facts),
        QueryNode::Words { key: None, words } => {
            facts.texts.values().flatten().any(|text| phrase(text, words))
        }
        QueryNode::Words {
            key: Some(key),
            words,
        } => facts
            .texts
            .get(key)
            .is_some_and(|texts| texts.iter().any(|text| phrase(text, words))),
        QueryNode::Like { key, pattern } => {
            let fits = |text: &String| words::words(text).iter().any(|word| pattern.fits(&word.0));
            match key {
                None => facts.texts.values().flatten().any(fits),
                Some(key) => facts.texts.get(key).into_iter().flatten().any(fits),
            }
        }
        QueryNode::Named(names) => names.iter().any(|name| facts.id.starts_with(name.as_str())),
        QueryNode::Exact { list, value } => facts.exact.get(list).is_some_and(|words| words.contains(value)),
        QueryNode::Number {
            key,
            dimension,
            bounds,
        } => {
            let which = (key.clone(), dimension.clone());
            facts
                .numbers
                .get(&which)
                .is_some_and(|values| values.iter().any(|&value| bounds.hold(value)))
                || facts
                    .spans
                    .get(&which)
                    .is_some_and(|&(from, to)| bounds.covered(from, to))
        }
        QueryNode::Day { from, to } => facts.day.is_some_and(|day| *from <= day && day <= *to),
    }
}

fn random_term(dice: &mut Dice) -> String {
    let celsius = 33.5 + f64::from(u32::try_from(dice.below(22)).expect("small")) * 0.25;
    let micromolar = 10 * dice.below(11);
    match dice.below(22) {
        0 => (*dice.pick(&["betanin", "extract", "red", "nadh", "A7", "messung", "2"])).to_owned(),
        1 => format!(
            "sample:{}",
            dice.pick(&[
                "betanin",
                "beet",
                "\"beet juice\"",
                "\"juice beet\"",
                "\"phenol red\""
            ])
        ),
        2 => format!("buffer:\"{}\"", dice.pick(&BUFFERS)),
        3 => format!("temperature:{celsius}..{}C", celsius + 1.0),
        4 => format!(
            "temperature:{}{:.2}K",
            dice.pick(&["", "<", "<=", ">", ">="]),
            celsius + 273.15
        ),
        5 => format!("temperature:{celsius}"),
        6 => format!(
            "concentration:{}{micromolar}uM",
            dice.pick(&["", "<", "<=", ">", ">="])
        ),
        7 => format!(
            "concentration:{}..{}mM",
            0.01,
            0.001 * f64::from(u32::try_from(micromolar + 10).expect("small"))
        ),
        8 => format!(
            "ph:{}{:.1}",
            dice.pick(&["", "<", ">="]),
            5.0 + f64::from(u32::try_from(dice.below(40)).expect("small")) / 10.0
        ),
        9 => format!("date:{}", 2015 + dice.below(8)),
        10 => format!(
            "date:{}..{}-{:02}",
            2015 + dice.below(3),
            2018 + dice.below(4),
            1 + dice.below(12)
        ),
        11 => format!(
            "date:{}{}-{:02}-11",
            dice.pick(&["<", "<=", ">", ">="]),
            2015 + dice.below(8),
            1 + dice.below(12)
        ),
        12 => format!("wavelength:{}nm", dice.pick(&["405", "340", "536", "500..600"])),
        13 => format!(
            "wavelength-range:{}",
            dice.pick(&["400..420nm", "0.43um", ">450", "<400", "<=400"])
        ),
        14 => format!("technique:{}", dice.pick(&["spectrum", "time-course"])),
        15 => format!(
            "has:{}",
            dice.pick(&["sample", "ph", "question", "result", "dispute", "flow"])
        ),
        16 => format!("is:{}", dice.pick(&["in-question", "read"])),
        17 => format!("points:{}{}", dice.pick(&["<", ">", "<="]), 5 + dice.below(20)),
        18 => format!("\"Lot number\":\"A {}\"", dice.below(4)),
        19 => format!("flow:{}{}", dice.below(5), dice.pick(&["", "mL/min", "ml/min"])),
        20 => format!("flow:<{}", dice.below(5)),
        _ => format!("result.k:{}..{}/min", dice.below(3), 3 + dice.below(3)),
    }
}

fn random_query(dice: &mut Dice, depth: u32) -> String {
    let mut query = String::new();
    for nth in 0..1 + dice.below(3) {
        if nth > 0 {
            query.push_str(if dice.chance(30) { " or " } else { " " });
        }
        if dice.chance(25) {
            query.push('-');
        }
        if depth > 0 && dice.chance(20) {
            query.push_str(&format!("({})", random_query(dice, depth - 1)));
        } else {
            query.push_str(&random_term(dice));
        }
    }
    query
}

#[test]
fn the_index_finds_exactly_what_a_look_at_every_run_finds() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 300);
    let mut writer = archive.write("test").expect("the lock");
    // A third of the runs get results, some files change, some bytes are met twice.
    for n in (0..300).step_by(3) {
        let run = &addition(n, 0).runs[0];
        let k = f64::from(u32::try_from(n % 7).expect("small"));
        assert!(writer.put_outcome(outcome(&run.id, n, k)).expect("it keeps"));
        assert!(!writer.put_outcome(outcome(&run.id, n, k)).expect("it keeps once"));
    }
    add(
        &mut writer,
        (0..300).step_by(11).map(|n| addition(n, 1)).collect(),
    )
    .expect("it adds");
    for n in (1..300).step_by(13) {
        writer
            .met(&format!("copies/{n}.txt"), &addition(n, 0).digest, None)
            .expect("it meets");
    }
    writer.finish().expect("it commits");
    let archive = Archive::open(&folder.0).expect("it opens");
    clean(&archive);
    let mut everything = Query::parse("is:superseded or -is:superseded", &[]).expect("a query");
    everything.superseded = true;
    let all = archive
        .find(&everything, &FindOptions::default())
        .expect("it finds");
    let facts: Vec<Facts> = all
        .hits
        .iter()
        .map(|hit| {
            let view = archive.run(hit.id.as_str()).expect("it is there");
            let around = RunContext {
                family: None,
                settings: archive.settings(),
                paths: &view.paths,
                superseded: view.superseded,
                notes: &view.notes,
                outcomes: &view.outcomes,
            };
            Facts::of(&view.run, &around)
        })
        .collect();
    assert!(facts.iter().any(|facts| facts.exact["is"].contains("superseded")));
    let mut dice = Dice(1);
    let mut hits = 0;
    for _ in 0..1500 {
        let text = random_query(&mut dice, 2);
        let query = archive.query(&text).expect(&text);
        let expected: BTreeSet<String> = facts
            .iter()
            .filter(|facts| query.superseded || !facts.exact["is"].contains("superseded"))
            .filter(|facts| answers(&query.node, facts))
            .map(|facts| facts.id.clone())
            .collect();
        assert_eq!(found(&archive, &text), expected, "{text}");
        hits += expected.len();
    }
    assert!(hits > 10_000, "the queries ask for something: {hits}");
}

#[test]
fn orders_facets_snippets_and_limits() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 120);
    let query = archive.query("").expect("a query");
    for key in [
        "date",
        "-temperature",
        "sample",
        "-points",
        "path",
        "wavelength-range",
    ] {
        let sort: RunOrder = key.parse().expect("a key");
        let options = FindOptions {
            sort: Some(sort.clone()),
            ..FindOptions::default()
        };
        let all = archive.find(&query, &options).expect("it finds");
        let part = archive
            .find(
                &query,
                &FindOptions {
                    limit: 10,
                    skip: 5,
                    ..options
                },
            )
            .expect("it finds");
        assert_eq!(part.hits, all.hits[5..15]);
        let values: Vec<Option<f64>> = all
            .hits
            .iter()
            .map(|hit| match sort.key.as_str() {
                "points" => Some(f64::from(u32::try_from(hit.summary.points).expect("small"))),
                "temperature" => archive.stored(&hit.id).expect("a run").fields.si("temperature"),
                _ => None,
            })
            .collect();
        for pair in values.windows(2) {
            if let [Some(a), Some(b)] = pair {
                assert!(
                    if sort.direction == Direction::Falling {
                        a >= b
                    } else {
                        a <= b
                    },
                    "{key}: {a} {b}"
                );
            }
            assert!(
                !matches!(pair, [None, Some(_)]),
                "what has no value comes last: {key}"
            );
        }
    }
    let wrong = FindOptions {
        sort: Some("temprature".parse().expect("a key")),
        ..FindOptions::default()
    };
    assert!(matches!(archive.find(&query, &wrong), Err(Error::Query(_))));
    let facets = archive
        .facets(
            &query,
            &[
                FacetName::Technique,
                FacetName::Sample,
                FacetName::Year,
                FacetName::Reader,
                FacetName::Verdict,
            ],
            3,
        )
        .expect("they count");
    let techniques: u64 = facets[&FacetName::Technique].iter().map(|one| one.count).sum();
    assert_eq!(techniques as usize, found(&archive, "").len());
    assert_eq!(facets[&FacetName::Reader][0].value, "built-in/text-table");
    assert!(
        facets[&FacetName::Sample].len() == 3
            && facets[&FacetName::Sample].is_sorted_by(|a, b| a.count >= b.count)
    );
    let query = archive.query("extract").expect("a query");
    let hits = archive
        .find(
            &query,
            &FindOptions {
                snippets: true,
                ..FindOptions::default()
            },
        )
        .expect("it finds")
        .hits;
    assert_eq!(hits[0].snippet.as_deref(), Some("sample: Bétanin [extract]"));
}
