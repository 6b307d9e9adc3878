//! The curves that a delay was read from, for people to look at.

use super::curve::{CANDIDATE_STEP_S, LOWEST_CANDIDATE_S};
use super::minimum::curve_at;
use super::{Curves, FieldEvidence};
use crate::evidence::DelayGrounds;

/// The curve of each field of one machine and crop, and that of the fields of its group together. `groups`: fields whose
/// logs were treated alike; a field in none gets its own curve alone. `mixing_s`: the mixing under which passes were
/// compared, s. The result is in the order of `fields`.
pub fn shown(fields: &[FieldEvidence], groups: &[Vec<usize>], mixing_s: f64) -> Vec<DelayGrounds> {
    let grain = |f: usize| -> &Curves { &fields[f].evidence.grain };
    let pairs = |f: usize| grain(f).first().map_or(0, |c| c.pairs);
    let curve = |members: &[usize]| -> Vec<f32> {
        let curves: Vec<&Curves> = members
            .iter()
            .filter(|&&f| pairs(f) > 0)
            .map(|&f| grain(f))
            .collect();
        let log = curve_at(&curves, mixing_s).unwrap_or_default();
        log.into_iter().map(|v| v.exp() as f32).collect()
    };
    let mut out: Vec<DelayGrounds> = (0..fields.len())
        .map(|f| DelayGrounds {
            from: LOWEST_CANDIDATE_S,
            step: CANDIDATE_STEP_S,
            field: curve(&[f]),
            field_pairs: u64::from(pairs(f)),
            machine: Vec::new(),
            fields: 1,
        })
        .collect();
    for members in groups.iter().filter(|m| m.len() > 1) {
        let together = curve(members);
        for &f in members {
            out[f].machine.clone_from(&together);
            out[f].fields = members.len() as u64;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::Evidence;
    use super::*;

    #[test]
    fn a_field_without_pairs_has_no_curve() {
        let evidence = Evidence::default();
        let field = FieldEvidence {
            evidence: &evidence,
            fixed: None,
            fixed_moisture: None,
        };
        let curves = shown(&[field, field], &[vec![0, 1]], 3.0);
        assert_eq!(curves.len(), 2);
        assert!(curves[0].field.is_empty() && curves[0].machine.is_empty());
        assert_eq!((curves[0].field_pairs, curves[0].fields), (0, 2));
    }
}
