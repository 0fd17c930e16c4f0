//! Work on many things at once, in bounded memory, with results in the order the things came in.
//!
//! One thread feeds, several work, and the calling thread takes the results in order. What is under way at any time
//! weighs no more than a limit, so memory does not grow with the number of things.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Condvar, Mutex, PoisonError};

use crossbeam_channel::{Sender, bounded};

use crate::limits::IngestLimits;

/// What is under way.
#[derive(Default)]
struct Load {
    things: u64,
    weight: u64,
}

/// Lets things pass while there is room for them.
struct Gate {
    /// Bytes under way at most; a single thing that weighs more goes alone.
    heaviest: u64,
    /// Things under way at most.
    most: u64,
    load: Mutex<Load>,
    lighter: Condvar,
}

impl Gate {
    fn enter(&self, weight: u64) {
        let mut load = self.load.lock().unwrap_or_else(PoisonError::into_inner);
        while load.things > 0 && (load.things >= self.most || load.weight + weight > self.heaviest) {
            load = self.lighter.wait(load).unwrap_or_else(PoisonError::into_inner);
        }
        load.things += 1;
        load.weight += weight;
    }

    fn leave(&self, weight: u64) {
        let mut load = self.load.lock().unwrap_or_else(PoisonError::into_inner);
        load.things -= 1;
        load.weight -= weight;
        self.lighter.notify_one();
    }
}

/// A thing with its place in the order.
struct OrderedItem<T> {
    number: u64,
    weight: u64,
    thing: T,
}

/// Where the feeding thread puts things.
pub struct Feed<'a, I, T> {
    gate: &'a Gate,
    stop: &'a AtomicBool,
    next: u64,
    work: Sender<OrderedItem<I>>,
    done: Sender<OrderedItem<T>>,
}

impl<I, T> Feed<'_, I, T> {
    /// Puts in a thing of so many bytes, as soon as there is room; `false` when no more is wanted.
    pub fn put(&mut self, thing: I, weight: u64) -> bool {
        self.enter(weight).is_some_and(|number| {
            self.work
                .send(OrderedItem {
                    number,
                    weight,
                    thing,
                })
                .is_ok()
        })
    }

    /// Puts in a result that needs no work, at its place in the order; `false` when no more is wanted.
    pub(crate) fn put_done(&mut self, thing: T) -> bool {
        self.enter(0).is_some_and(|number| {
            self.done
                .send(OrderedItem {
                    number,
                    weight: 0,
                    thing,
                })
                .is_ok()
        })
    }

    /// Whether no more is wanted.
    #[must_use]
    pub fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    fn enter(&mut self, weight: u64) -> Option<u64> {
        if self.stopped() {
            return None;
        }
        self.gate.enter(weight);
        self.next += 1;
        Some(self.next - 1)
    }
}

/// Feeds, works and takes until the feed ends, `stop` is set or `take` fails. What was fed before `stop` is finished.
///
/// # Errors
/// The first that `take` gives.
pub fn flow<I: Send, T: Send, E>(
    threads: usize,
    limits: &IngestLimits,
    stop: &AtomicBool,
    feed: impl FnOnce(&mut Feed<'_, I, T>) + Send,
    work: impl Fn(I) -> T + Sync,
    mut take: impl FnMut(T) -> Result<(), E>,
) -> Result<(), E> {
    let gate = Gate {
        heaviest: limits.under_way,
        most: limits.things,
        load: Mutex::default(),
        lighter: Condvar::new(),
    };
    // The gate bounds both queues; these bounds only keep them small.
    let room = usize::try_from(limits.things).unwrap_or(usize::MAX);
    let (work_in, work_out) = bounded::<OrderedItem<I>>(room);
    let (done_in, done_out) = bounded::<OrderedItem<T>>(room);
    std::thread::scope(|scope| {
        let (gate, work) = (&gate, &work);
        for _ in 0..threads.max(1) {
            let (things, results) = (work_out.clone(), done_in.clone());
            scope.spawn(move || {
                for OrderedItem {
                    number,
                    weight,
                    thing,
                } in things
                {
                    if results
                        .send(OrderedItem {
                            number,
                            weight,
                            thing: work(thing),
                        })
                        .is_err()
                    {
                        return;
                    }
                }
            });
        }
        drop(work_out);
        scope.spawn(move || {
            feed(&mut Feed {
                gate,
                stop,
                next: 0,
                work: work_in,
                done: done_in,
            })
        });

        let mut early = BTreeMap::new();
        let mut next = 0;
        let mut failed = None;
        for result in done_out {
            early.insert(result.number, result);
            while let Some(OrderedItem { weight, thing, .. }) = early.remove(&next) {
                next += 1;
                // After a failure the rest is only drained, so that no thread waits for ever.
                if failed.is_none()
                    && let Err(error) = take(thing)
                {
                    stop.store(true, Ordering::Relaxed);
                    failed = Some(error);
                }
                gate.leave(weight);
            }
        }
        failed.map_or(Ok(()), Err)
    })
}

/// How many threads work: as many as there are processors.
#[must_use]
pub fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_come_in_order_whatever_the_threads_do() {
        let stop = AtomicBool::new(false);
        let mut taken = Vec::new();
        let all: Result<(), ()> = flow(
            4,
            &IngestLimits::USUAL,
            &stop,
            |feed| {
                for n in 0..2_000_u64 {
                    if n % 7 == 0 {
                        feed.put_done(n * n)
                    } else {
                        feed.put(n, n * 100_000)
                    };
                }
            },
            |n| {
                if n % 5 == 0 {
                    std::thread::yield_now();
                }
                n * n
            },
            |result| {
                taken.push(result);
                Ok(())
            },
        );
        assert_eq!(all, Ok(()));
        assert_eq!(taken, (0..2_000).map(|n| n * n).collect::<Vec<u64>>());
    }

    #[test]
    fn a_failure_ends_the_feed() {
        let stop = AtomicBool::new(false);
        let result = flow(
            2,
            &IngestLimits::USUAL,
            &stop,
            |feed| {
                let mut n = 0_u64;
                while feed.put(n, 1) {
                    n += 1;
                }
            },
            |n| n,
            |n| if n == 1_000 { Err("enough") } else { Ok(()) },
        );
        assert_eq!(result, Err("enough"));
    }

    #[test]
    fn what_was_fed_before_a_stop_is_finished() {
        let stop = AtomicBool::new(false);
        let mut taken = 0_u64;
        let result: Result<(), ()> = flow(
            2,
            &IngestLimits::USUAL,
            &stop,
            |feed| {
                assert!(feed.put(1, 1));
                feed.stop.store(true, Ordering::Relaxed);
                assert!(!feed.put(2, 1));
            },
            |n: u64| n,
            |n| {
                taken += n;
                Ok(())
            },
        );
        assert_eq!((result, taken), (Ok(()), 1));
    }
}
