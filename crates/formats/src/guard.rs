//! Libraries that read forms of others may panic on damaged files; what they were asked is then an error as any other.

use std::any::Any;
use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind};

thread_local! {
    static GUARDED: Cell<usize> = const { Cell::new(0) };
}

/// What a library made of a file, or what it panicked with.
pub(crate) fn guarded<T>(work: impl FnOnce() -> T) -> Result<T, Box<dyn Any + Send>> {
    GUARDED.set(GUARDED.get() + 1);
    let done = catch_unwind(AssertUnwindSafe(work));
    GUARDED.set(GUARDED.get() - 1);
    done
}

/// Whether a panic of this thread is caught and told as damage of the file, so that a program's hook need not print it.
#[must_use]
pub fn is_guarded() -> bool {
    GUARDED.get() > 0
}
