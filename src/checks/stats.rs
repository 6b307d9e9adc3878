//! Counts, and what to say of them.

use std::collections::BTreeMap;

use super::params::CheckedParams;
use crate::log::{Reason, Verdicts};
use crate::summary::Remark;

/// How many points were kept, and why the others were not.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct CheckStats {
    /// All points: kept + set aside.
    pub rows: usize,
    /// Points kept.
    pub kept: usize,
    /// Points set aside, by reason (those that occur).
    pub set_aside: BTreeMap<Reason, usize>,
}

impl CheckStats {
    /// Counts verdicts.
    pub fn of(verdicts: &Verdicts) -> Self {
        let mut stats = Self {
            rows: verdicts.len(),
            ..Self::default()
        };
        for verdict in verdicts.iter() {
            match verdict {
                None => stats.kept += 1,
                Some(reason) => *stats.set_aside.entry(reason).or_insert(0) += 1,
            }
        }
        stats
    }

    /// Share of the points at work that are set aside; `None` where nothing was at work.
    ///
    /// Rows with the header up, second copies of records and rows outside the boundary say nothing of the map's
    /// quality and are left out of both counts.
    pub fn share_set_aside(&self) -> Option<f64> {
        let elsewhere = [
            Reason::NotWorking,
            Reason::DuplicateRow,
            Reason::OutsideBoundary,
        ];
        let idle: usize = elsewhere.iter().filter_map(|r| self.set_aside.get(r)).sum();
        let at_work = self.rows - idle;
        (at_work > 0).then(|| (at_work - self.kept) as f64 / at_work as f64)
    }

    /// `many-set-aside` where the share is beyond the one in the settings.
    pub fn remarks(&self, params: &CheckedParams) -> Vec<Remark> {
        let Some(share) = self
            .share_set_aside()
            .filter(|s| *s > params.many_set_aside)
        else {
            return Vec::new();
        };
        let mut reasons: Vec<(usize, Reason)> =
            self.set_aside.iter().map(|(&r, &n)| (n, r)).collect();
        reasons.sort_unstable_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
        let most: Vec<String> = reasons
            .iter()
            .take(3)
            .map(|(n, r)| format!("{r} {n}"))
            .collect();
        let text = format!(
            "{:.0} % of the points at work were set aside ({}): look at the limits, the header width and the log's units before \
             trusting this map",
            100.0 * share,
            most.join(", ")
        );
        vec![Remark::new("many-set-aside", text)]
    }
}

#[cfg(test)]
mod tests {
    use super::super::CheckParams;
    use super::*;

    #[test]
    fn a_remark_is_due_beyond_forty_percent_of_the_points_at_work() {
        let params = CheckParams::default().check().unwrap();
        let mut verdicts = Verdicts::all_kept(20);
        (0..10).for_each(|i| verdicts.set_aside(i, Reason::NotWorking));
        (10..14).for_each(|i| verdicts.set_aside(i, Reason::YieldLimits));
        let stats = CheckStats::of(&verdicts);
        assert_eq!(
            (stats.rows, stats.kept, stats.share_set_aside()),
            (20, 6, Some(0.4))
        );
        assert!(stats.remarks(&params).is_empty());
        verdicts.set_aside(14, Reason::NoFlow);
        let remarks = CheckStats::of(&verdicts).remarks(&params);
        assert_eq!(remarks[0].code, "many-set-aside");
        assert!(remarks[0].text.starts_with(
            "50 % of the points at work were set aside (not-working 10, yield-limits 4"
        ));
        assert_eq!(
            CheckStats::of(&Verdicts::all_kept(0)).share_set_aside(),
            None
        );
    }
}
