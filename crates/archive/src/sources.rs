//! Sources as readers see them, one after the other: what is known of very many need not be in memory at once.

use curvary_record::stored::{Record, SourceRecord};

use crate::asking::IndexReader;
use crate::catalog::Catalog;
use crate::digests::SourceKey;
use crate::{Archive, Error};

/// A source with every path under which it was met.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceView {
    /// What became of it.
    pub record: SourceRecord,
    /// Its paths, first met first.
    pub paths: Vec<String>,
    /// A path at which it stands today; none when a newer version has taken its place under all of its paths.
    pub stands_at: Option<String>,
    /// Whether a newer version has taken its place under all of its paths.
    pub superseded: bool,
}

impl SourceView {
    /// What it is named by.
    #[must_use]
    pub fn key(&self) -> SourceKey {
        SourceKey::of(&self.record.digest)
    }
}

impl Archive {
    /// Every source, in the order in which it was first added.
    ///
    /// # Errors
    /// When the index cannot be read or a record is damaged.
    pub fn sources(&self) -> Result<Vec<SourceView>, Error> {
        self.asked(|asking| {
            let mut all = Vec::new();
            self.each_source(asking, &mut |source| all.push(source))?;
            Ok(all)
        })
    }

    /// Those sources that are wanted, in the order in which they were first added; each is looked at once or more often, and only its
    /// name is kept.
    ///
    /// # Errors
    /// When the index cannot be read or a record is damaged.
    pub fn sources_that(&self, wanted: &dyn Fn(&SourceView) -> bool) -> Result<Vec<SourceKey>, Error> {
        self.asked(|asking| {
            let mut found = Vec::new();
            self.each_source(asking, &mut |source| {
                if wanted(&source) {
                    found.push(source.key());
                }
            })?;
            Ok(found)
        })
    }

    /// A source with its paths; none where the archive has no such source.
    ///
    /// # Errors
    /// When the index cannot be read or the record is damaged.
    pub fn source_view(&self, key: SourceKey) -> Result<Option<SourceView>, Error> {
        self.asked(|asking| {
            let catalog = asking.catalog()?;
            match catalog.source(key.bytes()) {
                Some(number) => self.seen(asking, catalog, number),
                None => Ok(None),
            }
        })
    }

    fn each_source(&self, asking: &IndexReader, take: &mut dyn FnMut(SourceView)) -> Result<(), Error> {
        let catalog = asking.catalog()?;
        for number in 0..u32::try_from(catalog.sources.len()).unwrap_or(u32::MAX) {
            self.seen(asking, catalog, number)?
                .into_iter()
                .for_each(&mut *take);
        }
        Ok(())
    }

    fn seen(
        &self,
        asking: &IndexReader,
        catalog: &Catalog,
        number: u32,
    ) -> Result<Option<SourceView>, Error> {
        let source = &catalog.sources[number as usize];
        let Record::Source(record) = self.read(asking, source.record)? else {
            return Ok(None);
        };
        let paths = catalog.paths_of(number);
        let stands = |path: &&String| {
            let entry = catalog.path(path);
            entry.is_some_and(|entry| catalog.paths[entry as usize].source == number)
        };
        Ok(Some(SourceView {
            stands_at: paths.iter().find(stands).cloned(),
            record,
            paths,
            superseded: source.current == 0,
        }))
    }
}
