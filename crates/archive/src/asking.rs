//! The index as readers use it: opened when first asked, completed or built anew where that is needed.

use std::fs;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::{Arc, Mutex, OnceLock, PoisonError, RwLock};

use curvary_record::Digest;

use crate::catalog::{Catalog, CatalogSource};
use crate::current::{Current, IndexCoverage, folder};
use crate::digests::digest_bytes;
use crate::disk::RealDisk;
use crate::frames::{FrameDamage, FrameReader};
use crate::index::Index;
use crate::manifest::Manifest;
use crate::{Error, Settings, Writer, cache};

/// The index and what belongs to it.
pub(crate) struct IndexReader {
    pub(crate) index: Index,
    /// The catalogue's file, held open since a writer may delete it, and read only when it is needed.
    known: Mutex<fs::File>,
    covered: IndexCoverage,
    catalog: OnceLock<Catalog>,
    /// Committed bytes that it does not cover.
    pub(crate) behind: u64,
    /// Stretches of records that could not be read when it was built.
    pub(crate) lost: Vec<FrameDamage>,
    pub(crate) frames: FrameReader,
}

fn none(home: &Path) -> Error {
    Error::Index {
        path: home.to_owned(),
        message: "there is none for these records and rules".into(),
        damaged: false,
    }
}

impl IndexReader {
    pub(crate) fn catalog(&self) -> Result<&Catalog, Error> {
        if let Some(catalog) = self.catalog.get() {
            return Ok(catalog);
        }
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        let most = match self.covered.catalog_bytes {
            0 => u64::MAX,
            bytes => bytes,
        };
        let mut bytes = Vec::new();
        let read = known
            .seek(SeekFrom::Start(0))
            .and_then(|_| (&mut *known).take(most).read_to_end(&mut bytes));
        read.map_err(Error::io("read the catalogue in", &self.index.path))?;
        let catalog = self.covered.catalog_in(&bytes).ok_or_else(|| Error::Index {
            path: self.index.path.clone(),
            message: "the catalogue is damaged".into(),
            damaged: true,
        })?;
        Ok(self.catalog.get_or_init(|| catalog))
    }

    /// What the catalogue says of a source.
    pub(crate) fn source(&self, digest: &Digest) -> Result<Option<CatalogSource>, Error> {
        let catalog = self.catalog()?;
        Ok(digest_bytes(digest.as_str())
            .and_then(|digest| catalog.source(&digest))
            .map(|source| catalog.sources[source as usize]))
    }
}

impl IndexReader {
    /// The path under which a source was met first.
    pub(crate) fn first_path(&self, digest: &Digest) -> Result<Option<String>, Error> {
        let catalog = self.catalog()?;
        let source = digest_bytes(digest.as_str()).and_then(|digest| catalog.source(&digest));
        Ok(source.and_then(|source| catalog.paths_of(source).into_iter().next()))
    }
}

/// What is committed of an archive, as far as an index is about it.
#[derive(Clone, Copy)]
pub(crate) struct Committed<'a> {
    pub(crate) root: &'a Path,
    pub(crate) settings: &'a Settings,
    pub(crate) manifest: &'a Manifest,
}

/// The index of one reader: none until it is asked.
#[derive(Default)]
pub(crate) struct OpenIndex(RwLock<Option<Arc<IndexReader>>>);

impl OpenIndex {
    /// Does some work with the index. Where the index turns out to be damaged it is built anew from the records, and the
    /// work is done with the new one: nothing is ever answered from what is damaged.
    pub(crate) fn with<T>(
        &self,
        of: Committed<'_>,
        work: impl Fn(&IndexReader) -> Result<T, Error>,
    ) -> Result<T, Error> {
        // The engine goes on without some files that it cannot open, and answers as if nothing stood in them.
        let work = |asking: &IndexReader| match work(asking) {
            Ok(_) if asking.index.is_damaged() => Err(asking.index.damaged()),
            done => done,
        };
        match self.asking(of).and_then(|asking| work(&asking)) {
            Err(Error::Index { damaged: true, .. }) => {}
            done => return done,
        }
        // A writer may have put another in its place since it was opened.
        self.close();
        match self.asking(of).and_then(|asking| work(&asking)) {
            Err(Error::Index { damaged: true, .. }) => match self.build_anew(of.root) {
                Ok(()) => work(&*self.asking(of)?),
                // Who may not write here, or not now, builds one of their own.
                Err(Error::Locked { .. } | Error::Io { .. }) => work(&self.keep(of.cached(true)?)),
                Err(error) => Err(error),
            },
            done => done,
        }
    }

    /// Builds the index anew from the records, in a new folder that takes the old one's place when it is whole.
    pub(crate) fn build_anew(&self, root: &Path) -> Result<(), Error> {
        let mut writer = Writer::open_on(root, "curvary: building the index", RealDisk::shared(), true)?;
        writer.tidy()?;
        drop(writer);
        self.close();
        Ok(())
    }

    pub(crate) fn close(&self) {
        *self.0.write().unwrap_or_else(PoisonError::into_inner) = None;
    }

    /// The index, completed first when it is behind and nobody is writing.
    fn asking(&self, of: Committed<'_>) -> Result<Arc<IndexReader>, Error> {
        let known = self.0.read().unwrap_or_else(PoisonError::into_inner);
        if let Some(asking) = known.as_ref() {
            return Ok(Arc::clone(asking));
        }
        drop(known);
        let home = folder(of.root);
        let opened = match of.open(&home) {
            // Built anew below. One that we may not read is of no use either.
            Err(Error::Index { damaged: true, .. } | Error::Io { .. }) => None,
            opened => opened?,
        };
        let asking = match opened {
            Some(asking) if asking.behind == 0 => asking,
            opened => match Writer::open(of.root, "curvary: completing the index") {
                Ok(mut writer) => {
                    writer.tidy()?;
                    drop(writer);
                    of.open(&home)?.ok_or_else(|| none(&home))?
                }
                // Somebody is at work: what there is must do, and says how far it reaches.
                Err(Error::Locked { .. }) if opened.is_some() => opened.ok_or_else(|| none(&home))?,
                // We may not write here, or not now.
                Err(error @ (Error::Locked { .. } | Error::Io { .. })) => match (of.cached(false), opened) {
                    (Ok(asking), _) => asking,
                    (Err(_), Some(asking)) => asking,
                    (Err(Error::Index { .. }), None) => return Err(error),
                    (Err(why), None) => return Err(why),
                },
                Err(error) => return Err(error),
            },
        };
        Ok(self.keep(asking))
    }

    fn keep(&self, asking: IndexReader) -> Arc<IndexReader> {
        let asking = Arc::new(asking);
        *self.0.write().unwrap_or_else(PoisonError::into_inner) = Some(Arc::clone(&asking));
        asking
    }
}

impl Committed<'_> {
    /// The index in the user's cache, brought up to what is committed.
    fn cached(self, anew: bool) -> Result<IndexReader, Error> {
        let home = cache::bring_up(self.root, self.settings, self.manifest, anew)?;
        self.open(&home)?.ok_or_else(|| none(&home))
    }

    fn open(self, home: &Path) -> Result<Option<IndexReader>, Error> {
        // A writer may replace the catalogue between two of our steps; then we look again.
        for _ in 0..5 {
            let Some(current) = Current::read(home, self.settings)? else {
                return Ok(None);
            };
            let path = home.join(&current.folder);
            let index = Index::open(&path)?;
            let covered = index.covered()?;
            if !covered.is_of(self.root, self.manifest) {
                return Ok(None);
            }
            if let Ok(known) = fs::File::open(path.join(&covered.catalog)) {
                return Ok(Some(IndexReader {
                    index,
                    known: Mutex::new(known),
                    catalog: OnceLock::new(),
                    behind: covered.behind(self.manifest),
                    lost: covered.lost.clone(),
                    covered,
                    frames: FrameReader::default(),
                }));
            }
        }
        Ok(None)
    }
}
