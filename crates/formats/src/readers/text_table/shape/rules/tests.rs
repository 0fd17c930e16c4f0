use super::*;
use crate::evidence::Evidence;
use crate::readers::TextTable;
use crate::{Assumptions, ExplainedLines, Reader, Source};

/// The evidence on a table of a text: on the whole, and on each column.
fn evidence(text: &str, assume: &[&str]) -> Vec<Evidence> {
    let mut assumptions = Assumptions::none();
    for answer in assume {
        assumptions.add(answer).unwrap_or_else(|why| panic!("{why}"));
    }
    let source = Source::new("a.txt", text.as_bytes().to_vec()).assuming(assumptions);
    let parts: Vec<ExplainedLines> = TextTable::default().explain(&source);
    let columns = parts
        .iter()
        .flat_map(|part| &part.columns)
        .flat_map(|column| column.evidence.clone());
    parts
        .iter()
        .flat_map(|part| part.evidence.clone())
        .chain(columns)
        .collect()
}

#[test]
fn the_example_of_each_rule_shows_its_sign() {
    for rule in rules() {
        let answers: &[&str] = if rule.id == "answered" {
            &["measurement=yes"]
        } else {
            &[]
        };
        let found = evidence(rule.example, answers);
        let shown = found.iter().any(|one| {
            one.rule == rule.id
                && one.about == rule.about
                && one.speaks_for.to_string() == rule.speaks_for
                && one.against == rule.against
                && one.weight == rule.weight
                && one.kind == rule.kind
        });
        assert!(shown, "`{}` in {:?}: {found:#?}", rule.id, rule.example);
    }
}

#[test]
fn rules_are_told_apart_and_in_plain_words() {
    let all = rules();
    let mut ids: Vec<&str> = all.iter().map(|rule| rule.id).collect();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), all.len());
    for rule in all {
        assert!(!rule.says.ends_with('.') && rule.says.len() < 130, "{}", rule.id);
        assert_eq!(says(rule.id), Some(rule.says));
    }
}

/// Whichever rule is asked first, the ledger says the same.
#[test]
fn the_order_of_the_rules_changes_nothing() {
    let texts = rules().into_iter().map(|rule| rule.example);
    for text in texts {
        let source = Source::new("a.txt", text.as_bytes().to_vec());
        with_shaper(&source, |shaper| {
            let told = |ledger: &Ledger| {
                let targets = (0..=shaper.columns.len()).map(|n| match n {
                    0 => EvidenceTarget::Table,
                    n => EvidenceTarget::Column(n),
                });
                targets
                    .map(|target| (ledger.on(target), ledger.hypotheses(target)))
                    .collect::<Vec<_>>()
            };
            let plain = told(&shaper.weigh());
            // Every seventh, every eleventh and so on: orders that leave no neighbours together.
            for step in [7, 11, 13, 17, 19] {
                let count = RULES.len();
                let shuffled = (0..count).map(|n| &RULES[(n * step + step) % count]);
                if count.is_multiple_of(step) {
                    continue;
                }
                assert_eq!(
                    plain,
                    told(&shaper.weigh_by(shuffled, &shaper.columns)),
                    "{text:?}"
                );
            }
            assert_eq!(
                plain,
                told(&shaper.weigh_by(RULES.iter().rev(), &shaper.columns)),
                "{text:?}"
            );
        });
    }
}

/// The first table of a text, as it is before it is shaped.
fn with_shaper(source: &Source, look: impl Fn(&Shaper<'_>)) {
    use crate::readers::text_table::{context::Context, scan};
    let pieces = scan::scan(source.text(), source.assume(), 0, 2, true);
    let words: Vec<_> = pieces
        .pieces
        .iter()
        .filter_map(|piece| match piece {
            scan::TextPiece::Text(line) => Some(*line),
            _ => None,
        })
        .collect();
    let context = Context::gather(source.text(), &words, &[], &Fields::default());
    for piece in &pieces.pieces {
        if let scan::TextPiece::Table(table) = piece {
            look(&Shaper::of(source, table, &context, None));
            return;
        }
    }
}
