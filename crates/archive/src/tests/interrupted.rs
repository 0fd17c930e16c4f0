//! Disks that fill up at any byte and processes killed at any moment lose nothing.

use super::*;

/// A disk that refuses everything after a number of bytes, and tears the write in which they end.
pub(super) struct Failing(pub(super) AtomicU64);

struct FailingTail(Box<dyn Tail>, Arc<Failing>);

impl Failing {
    /// How many of `bytes` can still be written.
    fn allow(&self, bytes: u64) -> io::Result<u64> {
        let left = self.0.load(Ordering::SeqCst);
        if left == 0 {
            return Err(io::ErrorKind::StorageFull.into());
        }
        let allowed = left.min(bytes);
        self.0.store(left - allowed, Ordering::SeqCst);
        Ok(allowed)
    }
}

pub(super) struct FailingDisk(pub(super) Arc<Failing>);

impl Disk for FailingDisk {
    fn open_at(&self, path: &Path, at: u64) -> io::Result<Box<dyn Tail>> {
        self.0.allow(1)?;
        Ok(Box::new(FailingTail(
            RealDisk.open_at(path, at)?,
            Arc::clone(&self.0),
        )))
    }

    fn replace(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        let length = bytes.len() as u64;
        if self.0.allow(length)? < length {
            fs::write(path.with_extension("json.new"), &bytes[..bytes.len() / 2])?;
            return Err(io::ErrorKind::StorageFull.into());
        }
        RealDisk.replace(path, bytes)
    }
}

impl Tail for FailingTail {
    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        let allowed = self.1.allow(bytes.len() as u64)?;
        let allowed = usize::try_from(allowed).expect("it fits");
        self.0.write(&bytes[..allowed])?;
        if allowed < bytes.len() {
            Err(io::ErrorKind::StorageFull.into())
        } else {
            Ok(())
        }
    }

    fn sync(&mut self) -> io::Result<()> {
        self.1.allow(1)?;
        self.0.sync()
    }
}

#[test]
fn a_disk_that_fills_up_at_any_byte_loses_nothing() {
    let expected: u64 = (0..24).map(|n| addition(n, 0).runs.len() as u64).sum();
    let mut stopped = 0;
    for seed in 0..60_u64 {
        let folder = Folder::new();
        filled(&folder.0, 6);
        let budget = if seed < 50 {
            seed * seed * 12 + seed
        } else {
            20_000 + seed * 400
        };
        let disk: Arc<dyn Disk> = Arc::new(FailingDisk(Arc::new(Failing(AtomicU64::new(budget)))));
        let outcome = (|| -> Result<(), Error> {
            let mut writer = Writer::open_on(&folder.0, "test", disk, false)?;
            for from in [6, 12, 18] {
                add(&mut writer, (from..from + 6).map(|n| addition(n, 0)).collect())?;
                writer.commit()?;
            }
            Ok(())
        })();
        stopped += u32::from(outcome.is_err());
        let archive = Archive::open(&folder.0).expect("it opens");
        clean(&archive);
        let mut writer = archive.write("test").expect("the lock");
        add(&mut writer, (0..24).map(|n| addition(n, 0)).collect()).expect("it completes");
        writer.finish().expect("it commits");
        let archive = Archive::open(&folder.0).expect("it opens");
        assert_eq!(clean(&archive), expected, "seed {seed}");
        assert_eq!(found(&archive, "").len() as u64, expected);
        let checked = archive.verify(&mut |_, _| {}).expect("it checks");
        assert_eq!((checked.originals, checked.remarks), (24, vec![]), "seed {seed}");
    }
    assert!(stopped > 30, "most disks were full before the end: {stopped}");
}

/// The child of the next test: adds for ever, with many commits.
#[test]
fn child_of_the_kill_test() {
    let Some(root) = std::env::var_os("CURVARY_ARCHIVE_KILL_TEST") else {
        return;
    };
    let archive = Archive::open(Path::new(&root)).expect("it opens");
    let mut writer = archive.write("the child").expect("the lock");
    for from in (0..400).step_by(8) {
        add(&mut writer, (from..from + 8).map(|n| addition(n, 0)).collect()).expect("it adds");
        writer.commit().expect("it commits");
    }
    writer.finish().expect("it finishes");
}

#[test]
fn a_process_killed_at_any_moment_loses_nothing() {
    let folder = Folder::new();
    Archive::create(&folder.0, "test").expect("a new archive");
    let program = std::env::current_exe().expect("this test");
    let mut dice = Dice(7);
    for _ in 0..12 {
        let mut child = std::process::Command::new(&program)
            .args([
                "--exact",
                "tests::interrupted::child_of_the_kill_test",
                "--nocapture",
            ])
            .env("CURVARY_ARCHIVE_KILL_TEST", &folder.0)
            .stdout(std::process::Stdio::null())
            .stderr(std::process::Stdio::null())
            .spawn()
            .expect("it starts");
        std::thread::sleep(std::time::Duration::from_millis(20 + dice.below(400)));
        child.kill().expect("it dies");
        child.wait().expect("it is dead");
        clean(&Archive::open(&folder.0).expect("it opens"));
    }
    let expected: u64 = (0..400).map(|n| addition(n, 0).runs.len() as u64).sum();
    let archive = Archive::open(&folder.0).expect("it opens");
    let mut writer = archive.write("test").expect("it takes over");
    add(&mut writer, (0..400).map(|n| addition(n, 0)).collect()).expect("it completes");
    writer.finish().expect("it commits");
    let archive = Archive::open(&folder.0).expect("it opens");
    assert_eq!(clean(&archive), expected);
    assert_eq!(found(&archive, "").len() as u64, expected);
}
