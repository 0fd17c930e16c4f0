//! What is said where a query finds nothing.

use super::*;
use curvary_record::Value;

/// A word that stands in several fields is told with the number of runs that a search for it finds.
#[test]
fn words_that_come_near_are_counted_over_all_fields() {
    let folder = Folder::new();
    let texts = [
        [("sample", "crocin one"), ("title", "crocin again")],
        [("sample", "crocin one"), ("buffer", "none")],
        [("sample", "other"), ("comment", "crocin two")],
        [("sample", "other"), ("comment", "crocin two")],
        [("sample", "other"), ("comment", "crocin two")],
    ];
    let additions = (0..).zip(texts).map(|(n, texts)| {
        let mut one = addition(n, 0);
        one.runs.truncate(1);
        one.runs[0].fields = Fields::default();
        for (key, text) in texts {
            let origin = Origin::Source(Place::line(1));
            one.runs[0].fields.claim(key, Claim::text(text, origin));
        }
        one
    });
    let archive = Archive::create(&folder.0, "test").expect("a new archive");
    let mut writer = archive.write("test").expect("the lock");
    add(&mut writer, additions.collect()).expect("it adds");
    writer.finish().expect("it commits");
    let archive = Archive::open(&folder.0).expect("it opens");
    let lacks = archive.why_nothing("crocim").expect("it is found out");
    let near: Vec<(&Value, usize)> = lacks[0]
        .near
        .iter()
        .map(|near| (&near.value.value, near.runs))
        .collect();
    assert_eq!(near, [(&Value::Text("crocin".into()), 5)]);
    assert_eq!(found(&archive, "crocin").len(), 5);
}
