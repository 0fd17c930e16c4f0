//! How many bytes are looked at, counted in tests alone: ten times the text is to be about ten times the work. Counted
//! and not timed, so that it is the same on every machine.

#[cfg(test)]
thread_local! {
    static LOOKED_AT: std::cell::Cell<usize> = const { std::cell::Cell::new(0) };
}

/// Notes that so many bytes are looked at.
#[inline(always)]
pub(crate) fn looks_at(bytes: usize) {
    #[cfg(test)]
    LOOKED_AT.with(|count| count.set(count.get() + bytes));
    #[cfg(not(test))]
    let _ = bytes;
}

/// How many bytes some work of this thread looks at.
#[cfg(test)]
pub(crate) fn of<T>(work: impl FnOnce() -> T) -> usize {
    let before = LOOKED_AT.with(std::cell::Cell::get);
    work();
    LOOKED_AT.with(std::cell::Cell::get) - before
}
