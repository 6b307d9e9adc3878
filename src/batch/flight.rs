//! Which fields are in flight: as many as there are threads, large ones first, and no more at once than memory is meant for.

use std::sync::Mutex;

use rayon::Scope;

/// What the fields of an act cost, and what may be spent.
pub(super) struct Flight<'a> {
    /// Memory that each item needs, bytes, about.
    pub costs: &'a [u64],
    /// What those in flight may need together. One is always allowed.
    pub memory: Option<u64>,
    /// Whether no more are to start.
    pub stop: &'a (dyn Fn() -> bool + Sync),
}

/// What has started.
struct Started {
    /// Items not started yet, the next one last.
    waiting: Vec<usize>,
    flying: usize,
    spent: u64,
}

impl Flight<'_> {
    /// Works on every item; results are in the order of the items, `None` where it was not started any more.
    ///
    /// A thread that waits for parts of its own item may take up another one, but only one that was counted when it was
    /// started: nobody ever waits for memory while holding some.
    pub fn each<T: Send>(&self, work: &(impl Fn(usize) -> T + Sync)) -> Vec<Option<T>> {
        let mut waiting: Vec<usize> = (0..self.costs.len()).collect();
        // Large ones first: what comes last is small, and cores end together.
        waiting.sort_by(|&a, &b| self.costs[a].cmp(&self.costs[b]).then(b.cmp(&a)));
        let started = Mutex::new(Started {
            waiting,
            flying: 0,
            spent: 0,
        });
        let results: Vec<Mutex<Option<T>>> = self.costs.iter().map(|_| Mutex::default()).collect();
        rayon::scope(|scope| self.start(scope, &started, &results, work));
        let inner = |m: Mutex<Option<T>>| m.into_inner().unwrap_or_else(|e| e.into_inner());
        results.into_iter().map(inner).collect()
    }

    fn start<'s, T: Send>(
        &'s self,
        scope: &Scope<'s>,
        started: &'s Mutex<Started>,
        results: &'s [Mutex<Option<T>>],
        work: &'s (impl Fn(usize) -> T + Sync),
    ) {
        let Ok(mut now) = started.lock() else {
            return;
        };
        while now.flying < rayon::current_num_threads()
            && let Some(&next) = now.waiting.last()
        {
            let cost = self.costs[next];
            let fits = now.flying == 0
                || (self.memory).is_none_or(|most| now.spent.saturating_add(cost) <= most);
            if !fits || (self.stop)() {
                break;
            }
            now.waiting.pop();
            now.flying += 1;
            now.spent = now.spent.saturating_add(cost);
            scope.spawn(move |scope| {
                let result = work(next);
                if let Ok(mut slot) = results[next].lock() {
                    *slot = Some(result);
                }
                if let Ok(mut now) = started.lock() {
                    now.flying -= 1;
                    now.spent = now.spent.saturating_sub(cost);
                }
                self.start(scope, started, results, work);
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
    use std::time::Duration;

    use super::*;

    fn pool(threads: usize) -> rayon::ThreadPool {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
        pool.build().unwrap()
    }

    #[test]
    fn what_is_in_flight_stays_within_memory_and_one_is_always_allowed() {
        let costs = [5, 40, 7, 3, 12, 6, 4, 11];
        for (memory, most) in [(Some(15), 40), (Some(1), 40), (None, u64::MAX)] {
            let (now, peak) = (AtomicU64::new(0), AtomicU64::new(0));
            let over = AtomicUsize::new(0);
            let flight = Flight {
                costs: &costs,
                memory,
                stop: &|| false,
            };
            let got = pool(4).install(|| {
                flight.each(&|k| {
                    let used = now.fetch_add(costs[k], Ordering::SeqCst) + costs[k];
                    peak.fetch_max(used, Ordering::SeqCst);
                    let alone = used == costs[k];
                    over.fetch_add(
                        usize::from(memory.is_some_and(|m| used > m) && !alone),
                        Ordering::SeqCst,
                    );
                    // Others find work inside an item as well.
                    let inner: Vec<usize> = (0..4).collect();
                    use rayon::prelude::*;
                    inner
                        .par_iter()
                        .for_each(|_| std::thread::sleep(Duration::from_millis(1)));
                    now.fetch_sub(costs[k], Ordering::SeqCst);
                    10 * k
                })
            });
            let expected: Vec<Option<usize>> = (0..costs.len()).map(|k| Some(10 * k)).collect();
            assert_eq!(got, expected);
            assert_eq!(over.into_inner(), 0, "{memory:?}");
            assert!(peak.into_inner() <= most);
        }
    }

    #[test]
    fn after_a_stop_nothing_more_starts() {
        let done = AtomicUsize::new(0);
        let flight = Flight {
            costs: &[1; 20],
            memory: None,
            stop: &|| done.load(Ordering::SeqCst) >= 5,
        };
        let got = pool(2).install(|| flight.each(&|_| done.fetch_add(1, Ordering::SeqCst)));
        let finished = got.iter().flatten().count();
        assert!((5..8).contains(&finished), "{finished}");
        let none = Flight {
            costs: &[],
            memory: None,
            stop: &|| false,
        };
        assert!(none.each(&|k| k).is_empty());
    }
}
