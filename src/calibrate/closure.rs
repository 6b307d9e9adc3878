//! Exact closure: the loads of a used ticket sum to it.

/// The part of one field's load in one ticket, or a load without ticket.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighing {
    /// Logged mass with faults replaced, kg.
    pub logged: f64,
    /// What its factor is without a ticket of its own (1 where nothing is known).
    pub expected_factor: f64,
    /// Relative sd of that.
    pub spread: f64,
    /// Index of the ticket that is used for it.
    pub ticket: Option<usize>,
}

/// What a load is multiplied with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoadFactor {
    /// True over logged mass.
    pub factor: f64,
    /// Its relative sd.
    pub relative_sd: f64,
    /// Whether a ticket decided it.
    pub weighed: bool,
}

/// Scales the loads of every ticket together until they sum to it. `tickets`: weighed mass (kg) and relative sd.
///
/// Loads under one ticket keep the ratio of what was expected of them. A load of a ticket whose logged mass is nothing
/// keeps the expected factor: there is no grain to scale.
pub fn close(loads: &[Weighing], tickets: &[(f64, f64)]) -> Vec<LoadFactor> {
    let mut sums = vec![(0.0, 0.0f64); tickets.len()];
    for l in loads {
        if let Some(t) = l.ticket {
            let expected = l.logged * l.expected_factor;
            sums[t].0 += expected;
            sums[t].1 = sums[t].1.max(expected);
        }
    }
    loads
        .iter()
        .map(|l| match l.ticket {
            Some(t) if sums[t].0 > 0.0 => {
                let (weighed, scale_sd) = tickets[t];
                // A part of a joint ticket: the rest of the spread stays, less as the part becomes the whole.
                let rest = 1.0 - l.logged * l.expected_factor / sums[t].0;
                LoadFactor {
                    factor: l.expected_factor * weighed / sums[t].0,
                    relative_sd: (scale_sd.powi(2) + l.spread.powi(2) * rest).sqrt(),
                    weighed: true,
                }
            }
            _ => LoadFactor {
                factor: l.expected_factor,
                relative_sd: l.spread,
                weighed: false,
            },
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_joint_ticket_closes_as_a_whole_and_keeps_the_machines_ratio() {
        let w = |logged, expected_factor, ticket| Weighing {
            logged,
            expected_factor,
            spread: 0.02,
            ticket,
        };
        let loads = [
            w(10_000.0, 0.93, Some(0)),
            w(5_000.0, 1.12, Some(0)),
            w(7_000.0, 0.93, None),
            w(0.0, 1.0, Some(1)),
        ];
        let f = close(&loads, &[(15_200.0, 0.002), (900.0, 0.002)]);
        let sum = 10_000.0 * f[0].factor + 5_000.0 * f[1].factor;
        assert!((sum / 15_200.0 - 1.0).abs() < 1e-12);
        assert!((f[1].factor / f[0].factor - 1.12 / 0.93).abs() < 1e-12);
        assert_eq!((f[2].factor, f[2].weighed), (0.93, false));
        assert!(!f[3].weighed);
        // A single load under a ticket is as sure as the scale.
        let single = close(&[w(10_000.0, 0.93, Some(0))], &[(9_000.0, 0.002)]);
        assert!((single[0].relative_sd - 0.002).abs() < 1e-12);
    }
}
