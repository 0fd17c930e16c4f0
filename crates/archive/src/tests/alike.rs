//! What signatures rule out changes no answer about likeness.

use super::*;

/// An invented export with one to three curves of one or two bands, some of them in percent of transmittance.
fn banded(n: u64) -> Addition {
    let mut dice = Dice(n);
    let mut whole =
        |from: u64, below: u64| f64::from(u32::try_from(from + dice.below(below)).expect("small"));
    let mut export = addition(n, 0);
    for run in &mut export.runs {
        let Some(first) = run.traces.first().cloned() else {
            continue;
        };
        for _ in 0..n % 3 {
            run.traces.push(first.clone());
        }
        for trace in &mut run.traces {
            let bands = [
                (whole(1, 9), whole(380, 250), whole(20, 60)),
                (whole(0, 5), whole(380, 250), whole(20, 60)),
            ];
            let (from, step) = (whole(340, 60), whole(1, 6));
            let points = if n.is_multiple_of(11) {
                8
            } else {
                300 / (step as usize)
            };
            let x: Vec<f64> = (0..points).map(|point| from + step * point as f64).collect();
            let y: Vec<f64> = x
                .iter()
                .map(|x| {
                    bands
                        .iter()
                        .map(|(h, m, w)| h / 10.0 * (-((x - m) / w).powi(2)).exp())
                        .sum::<f64>()
                })
                .map(|y: f64| (y * 1e4).round() / 1e4)
                .collect();
            if n.is_multiple_of(7) {
                trace.y.quantity = Quantity::TRANSMITTANCE;
                trace.y.unit = Unit::PERCENT;
                trace.y.values = y
                    .iter()
                    .map(|y| 100.0 * 10_f64.powf(-y))
                    .collect::<Vec<f64>>()
                    .into();
            } else {
                trace.y.values = y.into();
            }
            trace.x.values = x.into();
        }
    }
    export
}

/// The answer without signatures: every run that matches is computed from its record.
fn alike_one_by_one(archive: &Archive, curve: &Curve, query: &Query, options: &AlikeOptions) -> AlikeFound {
    let mut expected = AlikeFound::default();
    let everything = archive.find(query, &FindOptions::default()).expect("it finds");
    let mut ranked = Vec::new();
    for hit in everything
        .hits
        .into_iter()
        .filter(|hit| Some(&hit.id) != options.but.as_ref())
    {
        let run = archive.stored(&hit.id).expect("it is there");
        let likenesses = run
            .traces
            .iter()
            .enumerate()
            .filter_map(|(number, trace)| Some((Curve::of(&run, trace).ok()?.likeness(curve)?, number)));
        match likenesses.reduce(|best, one| if one.0 > best.0 { one } else { best }) {
            None => expected.nothing += 1,
            Some((likeness, _)) if likeness < options.least => expected.less += 1,
            Some((likeness, trace)) => {
                let likeness = likeness::told(likeness::class(likeness));
                let label = run.traces[trace].label.clone();
                ranked.push(AlikeHit {
                    hit,
                    likeness,
                    trace,
                    label,
                });
            }
        }
    }
    expected.total = ranked.len();
    // Newest first among equals: the order in which `find` gives them.
    ranked.sort_by(|a, b| b.likeness.total_cmp(&a.likeness));
    let limit = if options.limit == 0 {
        usize::MAX
    } else {
        options.limit
    };
    expected.hits = ranked.into_iter().skip(options.skip).take(limit).collect();
    expected
}

#[test]
fn signatures_change_no_answer() {
    let folder = Folder::new();
    let archive = Archive::create(&folder.0, "test").expect("a new archive");
    let mut writer = archive.write("test").expect("the lock");
    for from in 0..4 {
        let some = (from * 150..(from + 1) * 150).map(banded).collect();
        add(&mut writer, some).expect("it adds");
        writer.commit().expect("it commits");
    }
    // What is said about a run later files it anew.
    for n in 0..40 {
        let run = banded(n).runs[0].id.as_str().to_owned();
        let note = Note {
            run,
            fields: [("sample".to_owned(), "renamed".to_owned())].into(),
            ..Note::default()
        };
        writer.note(note).expect("it notes");
    }
    writer.finish().expect("it commits");
    let mut archive = Archive::open(&folder.0).expect("it opens");
    let mut dice = Dice(7);
    let mut told = 0;
    let mut ask = |archive: &Archive, dice: &mut Dice| {
        let own = banded(dice.below(600));
        let run = &own.runs[0];
        let Ok(curve) = Curve::of(run, &run.traces[0]) else {
            return;
        };
        let options = AlikeOptions {
            least: *dice.pick(&[-1.0, 0.5, 0.9, 0.99]),
            limit: *dice.pick(&[0, 1, 5, 20]),
            skip: *dice.pick(&[0, 0, 3]),
            but: dice.chance(80).then(|| run.id.clone()),
        };
        let query = archive
            .query(dice.pick::<&str>(&["", "betanin", "technique:spectrum", "sample:renamed", "-ph:>=7"]))
            .expect("a query");
        let found = archive.alike(&curve, &query, &options).expect("it finds");
        assert_eq!(
            found,
            alike_one_by_one(archive, &curve, &query, &options),
            "{options:?}"
        );
        told += found.hits.len();
    };
    for _ in 0..40 {
        ask(&archive, &mut dice);
    }
    // An index of the version before, which has no signatures, is built anew by itself.
    let current = folder.0.join("index/current.json");
    let text = fs::read_to_string(&current).expect("it is there");
    let mut old: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    old["version"] = 2.into();
    fs::write(&current, old.to_string()).expect("it writes");
    archive.refresh().expect("it opens");
    for _ in 0..10 {
        ask(&archive, &mut dice);
    }
    assert_ne!(
        fs::read_to_string(&current).expect("it is there"),
        old.to_string()
    );
    assert!(told > 200, "{told} hits say little");
}
