//! Which simple slip would explain a weight that cannot be right.
//!
//! A slip is put forward in earnest only where it brings the weight within the scatter of the machine's other tickets, and where
//! it would not do as much for almost any wrong weight: by replacing one digit a weight that is 5 % off can nearly
//! always be mended, which therefore says little. So each slip carries the chance with which it would explain a
//! difference of about that size by luck, and counts only where that is small; otherwise it is named as a weak one, so
//! that whoever has the paper knows what was tried. Of several that count, the likeliest is
//! taken: how often such a slip happens, over the number of ways in which it can.

use serde::Serialize;

use super::digits::Written;
use crate::units::POUND_KG;

/// A slip that would explain more than this share of differences of its size explains nothing (our choice).
pub(super) const MOST_CHANCE: f64 = 1.0 / 3.0;
/// And more than this is not even named as weak (our choice).
const MOST_CHANCE_WEAK: f64 = 0.75;
/// Empty trucks and wagons with their tractors, kg (our choice: from a small wagon to a road train).
const EMPTY_KG: (f64, f64) = (5_000.0, 20_000.0);
/// Two tickets too heavy by the same, within this, share a vehicle, kg (our choice: fuel, mud and a driver).
const SAME_VEHICLE_KG: f64 = 300.0;

/// What may have gone wrong when a ticket was written or typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SlipKind {
    /// A weight in one unit under the heading of another.
    Unit,
    /// The weights of two tickets exchanged.
    Swapped,
    /// Two neighbouring digits exchanged.
    Transposed,
    /// A digit left out.
    MissingDigit,
    /// A digit too many.
    ExtraDigit,
    /// The ticket names several loads and weighs one of them.
    OneLoad,
    /// The ticket names a load and weighs its neighbour as well.
    TwoLoads,
    /// The weight is another load's.
    OtherLoad,
    /// One digit wrong.
    Digit,
    /// The gross weight in place of the net weight.
    Gross,
}

impl SlipKind {
    /// How often it happens among wrong tickets, roughly. Among slips in writing numbers a wrong digit is by far the most
    /// frequent; exchanged, missing and additional digits make up about a tenth each (Verhoeff 1969, Error Detecting
    /// Decimal Codes; from memory). The others, and what they are together, are our choice.
    fn frequency(self) -> f64 {
        match self {
            Self::Digit => 0.3,
            Self::Unit => 0.2,
            Self::Swapped | Self::OneLoad | Self::TwoLoads => 0.1,
            Self::Transposed | Self::MissingDigit | Self::ExtraDigit => 0.05,
            Self::OtherLoad | Self::Gross => 0.05,
        }
    }
}

/// A slip that would explain a weight.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Slip {
    /// Which.
    pub kind: SlipKind,
    /// What the weight would have to be, kg; null where the weight is right and the load is not.
    pub would_be_kg: Option<f64>,
    /// What the weight would still be off with the slip undone, %: + where it would be heavier than expected.
    pub off_expected_pct: f64,
    /// Share of differences of about this size that such a slip would explain by luck, 0–1.
    pub chance: f64,
    /// In words.
    pub text: String,
}

/// A name and a mass, kg.
pub(super) type Named = (String, f64);

/// A weight and what could explain it.
#[derive(Default)]
pub(super) struct Case {
    /// What the ticket says, kg.
    pub weighed: f64,
    /// What the machine's other tickets lead to expect, kg.
    pub expected: f64,
    /// How near an explained weight must come, as a log ratio.
    pub tolerance: f64,
    /// Other tickets whose loads this weight would fit, with their weights.
    pub swaps: Vec<Named>,
    /// Loads that the ticket names, with what is expected of each, where there are several.
    pub parts: Vec<Named>,
    /// Unweighed loads before and after it.
    pub neighbours: Vec<Named>,
    /// Unweighed loads of its field.
    pub strangers: Vec<Named>,
    /// By how much other doubtful tickets of the machine are too heavy, kg.
    pub too_heavy: Vec<f64>,
}

/// One way to read the weight.
struct Reading {
    /// ln of the factor that it puts on the weight.
    shift: f64,
    would_be_kg: Option<f64>,
    text: String,
}

/// What explains a weight.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Explained {
    /// The slip that does it best.
    pub slip: Option<Slip>,
    /// Where none does: one that would fit, and is weak, because it would mend many a difference of that size.
    pub weak: Option<Slip>,
}

/// The slip that explains a weight best, if one does.
pub(super) fn explain(case: &Case) -> Explained {
    let target = (case.expected / case.weighed).ln();
    if !target.is_finite() {
        return Explained::default();
    }
    let fitting: Vec<(f64, Slip)> = readings(case)
        .into_iter()
        .filter_map(|(kind, readings)| weighed_up(case, target, kind, readings))
        .collect();
    let gross = gross(case, target);
    let is_strong = |found: &(f64, Slip)| found.1.chance <= MOST_CHANCE;
    let (mut strong, weak): (Vec<_>, Vec<_>) = fitting.into_iter().partition(is_strong);
    strong.extend(gross.clone().filter(is_strong));
    let slip = likeliest(strong).or(gross.map(|(_, slip)| slip));
    Explained {
        weak: likeliest(weak).filter(|w| slip.is_none() && w.chance <= MOST_CHANCE_WEAK),
        slip,
    }
}

fn likeliest(found: Vec<(f64, Slip)>) -> Option<Slip> {
    found
        .into_iter()
        .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.kind.cmp(&a.1.kind)))
        .map(|(_, slip)| slip)
}

/// A slip of one kind where it fits, with how likely it is among others that fit.
fn weighed_up(
    case: &Case,
    target: f64,
    kind: SlipKind,
    readings: Vec<Reading>,
) -> Option<(f64, Slip)> {
    let windows: Vec<(f64, f64)> = readings
        .iter()
        .map(|r| (r.shift - case.tolerance, r.shift + case.tolerance))
        .collect();
    let chance = covered(target, &windows);
    let off = |r: &Reading| (r.shift - target).abs();
    let fitting = readings.iter().filter(|r| off(r) <= case.tolerance).count();
    let likelihood = kind.frequency() * fitting as f64 / readings.len() as f64;
    let best = readings
        .into_iter()
        .min_by(|a, b| off(a).total_cmp(&off(b)))?;
    (fitting > 0).then(|| {
        let slip = Slip {
            kind,
            would_be_kg: best.would_be_kg,
            off_expected_pct: 100.0 * (best.shift - target).exp_m1(),
            chance,
            text: best.text,
        };
        (likelihood, slip)
    })
}

/// Share of differences between half and twice the target that the windows cover.
fn covered(target: f64, windows: &[(f64, f64)]) -> f64 {
    let (low, high) = (
        (0.5 * target).min(2.0 * target),
        (0.5 * target).max(2.0 * target),
    );
    let mut inside: Vec<(f64, f64)> = windows
        .iter()
        .map(|w| (w.0.max(low), w.1.min(high)))
        .filter(|w| w.1 > w.0)
        .collect();
    inside.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut sum, mut reached) = (0.0, low);
    for (from, to) in inside {
        sum += (to - from.max(reached)).max(0.0);
        reached = reached.max(to);
    }
    sum / (high - low)
}

fn readings(case: &Case) -> Vec<(SlipKind, Vec<Reading>)> {
    let to = |kg: f64, text: String| Reading {
        shift: (kg / case.weighed).ln(),
        would_be_kg: Some(kg),
        text,
    };
    // The weight stands, and what it is held against changes.
    let against = |expected: f64, text: String| Reading {
        shift: (case.expected / expected).ln(),
        would_be_kg: None,
        text,
    };
    let mut out = vec![
        (SlipKind::Unit, units(case.weighed)),
        (
            SlipKind::Swapped,
            (case.swaps.iter())
                .map(|(name, kg)| to(*kg, format!("the weights of this ticket and {name} fit each other's loads")))
                .collect(),
        ),
        (
            SlipKind::OneLoad,
            (case.parts.iter())
                .map(|(name, kg)| against(*kg, format!("the weight fits load {name} alone, of the loads that the ticket names")))
                .collect(),
        ),
        (
            SlipKind::TwoLoads,
            (case.neighbours.iter())
                .map(|(name, kg)| against(case.expected + kg, format!("the weight fits this load together with its neighbour {name}, which has no ticket")))
                .collect(),
        ),
        (
            SlipKind::OtherLoad,
            (case.strangers.iter())
                .map(|(name, kg)| against(*kg, format!("the weight fits load {name}, which has no ticket")))
                .collect(),
        ),
    ];
    if let Some(written) = Written::of(case.weighed) {
        let digits = |list: Vec<Written>, what: &str| {
            list.into_iter()
                .map(|w| to(w.kg(), format!("{w} would fit: {what}")))
                .collect()
        };
        out.push((
            SlipKind::Transposed,
            digits(written.transposed(), "two digits exchanged"),
        ));
        out.push((
            SlipKind::MissingDigit,
            digits(written.one_more(), "a digit was left out"),
        ));
        out.push((
            SlipKind::ExtraDigit,
            digits(written.one_less(), "there is a digit too many"),
        ));
        out.push((
            SlipKind::Digit,
            digits(written.one_digit(), "one digit wrong"),
        ));
    }
    out
}

/// The number under another unit's heading. A whole number of kilograms was not converted from pounds on the way in, nor
/// one of pounds from kilograms.
fn units(weighed: f64) -> Vec<Reading> {
    let written = Written::of(weighed).map(|w| w.unit);
    [
        (POUND_KG, Some("lb"), "pounds, but stands as kilograms"),
        (
            1.0 / POUND_KG,
            Some("kg"),
            "kilograms, but stands as pounds",
        ),
        (1000.0, None, "tonnes, but stands as kilograms"),
        (0.001, None, "kilograms, but stands as tonnes"),
    ]
    .into_iter()
    .filter(|(_, excluded, _)| excluded.is_none() || *excluded != written)
    .map(|(factor, _, what): (f64, _, &str)| Reading {
        shift: factor.ln(),
        would_be_kg: Some(weighed * factor),
        text: format!("the number would fit as {what}: {:.0} kg", weighed * factor),
    })
    .collect()
}

/// A vehicle on the scale with its load. It would explain much, so it is a last resort unless another ticket is too
/// heavy by the same.
fn gross(case: &Case, target: f64) -> Option<(f64, Slip)> {
    let over = case.weighed - case.expected;
    if !(EMPTY_KG.0..=EMPTY_KG.1).contains(&over) {
        return None;
    }
    let range = EMPTY_KG.1 - EMPTY_KG.0;
    let shift = |empty: f64| (case.expected / (case.expected + empty)).ln();
    let alike = case
        .too_heavy
        .iter()
        .any(|kg| (kg - over).abs() <= SAME_VEHICLE_KG);
    let (chance, ways) = if alike {
        (2.0 * SAME_VEHICLE_KG / range, 1.0)
    } else {
        let chance = covered(target, &[(shift(EMPTY_KG.1), shift(EMPTY_KG.0))]);
        (chance, range / (2.0 * case.tolerance * case.expected))
    };
    let more = if alike {
        ", and another ticket is too heavy by the same"
    } else {
        ""
    };
    let slip = Slip {
        kind: SlipKind::Gross,
        would_be_kg: Some(case.expected),
        off_expected_pct: 0.0,
        chance,
        text: format!(
            "it is {over:.0} kg too heavy, what an empty vehicle weighs{more}: perhaps the gross weight in place of the net"
        ),
    };
    Some((SlipKind::Gross.frequency() / ways.max(1.0), slip))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn case(weighed: f64, expected: f64) -> Case {
        Case {
            weighed,
            expected,
            tolerance: 0.02,
            ..Case::default()
        }
    }

    fn kind(case: &Case) -> Option<SlipKind> {
        explain(case).slip.map(|s| s.kind)
    }

    #[test]
    fn the_simplest_slip_that_fits_is_found() {
        // What was weighed is 7,428 kg or so; what stands there:
        for (stands, slip) in [
            (7428.0 / POUND_KG, SlipKind::Unit),
            (7428.0 * POUND_KG, SlipKind::Unit),
            (7.428, SlipKind::Unit),
            (4728.0, SlipKind::Transposed),
            (742.0, SlipKind::MissingDigit),
            (74_428.0, SlipKind::ExtraDigit),
            (1428.0, SlipKind::Digit),
            (7428.0 + 13_100.0, SlipKind::Gross),
        ] {
            let found = explain(&case(stands, 7400.0)).slip.unwrap();
            assert_eq!(found.kind, slip, "{stands}: {found:?}");
        }
        assert_eq!(
            explain(&case(4728.0, 7400.0)).slip.unwrap().would_be_kg,
            Some(7428.0)
        );
    }

    #[test]
    fn a_digit_that_would_mend_most_differences_is_offered_as_weak() {
        // 9,356 for 8,129: 8,356 is within 3 %, but nearly half of all differences of that size would be mended so.
        let mut c = case(9356.0, 8129.0);
        c.tolerance = 1.03f64.ln();
        let found = explain(&c);
        assert_eq!(found.slip, None);
        let weak = found.weak.unwrap();
        assert_eq!(
            (weak.kind, weak.would_be_kg),
            (SlipKind::Digit, Some(8356.0))
        );
        assert!((weak.off_expected_pct - 100.0 * (8356.0 / 8129.0 - 1.0)).abs() < 1e-9);
        assert!(
            weak.chance > MOST_CHANCE && weak.chance < 1.0,
            "{}",
            weak.chance
        );
        // One that counts leaves no room for a weak one, and what fits nothing has neither.
        assert_eq!(explain(&case(4728.0, 7400.0)).weak, None);
        assert_eq!(explain(&case(f64::NAN, 7428.0)), Explained::default());
        assert_eq!(explain(&case(7990.0, 7400.0)), Explained::default());
    }

    #[test]
    fn other_loads_and_tickets_explain_it() {
        let mut c = case(15_100.0, 7400.0);
        c.neighbours = vec![("L2".into(), 7600.0)];
        assert_eq!(kind(&c), Some(SlipKind::TwoLoads));
        assert_eq!(explain(&c).slip.unwrap().would_be_kg, None);
        let mut c = case(7450.0, 15_000.0);
        c.parts = vec![("L1".into(), 7400.0), ("L2".into(), 7600.0)];
        // The halves are alike: they cover (0.04 + 0.027) / 1.05 of what is about so far off, the digits more.
        assert_eq!(kind(&c), Some(SlipKind::OneLoad));
        let mut c = case(2110.0, 7415.0);
        c.strangers = vec![("L9".into(), 2100.0)];
        assert_eq!(kind(&c), Some(SlipKind::OtherLoad));
        let mut c = case(8950.0, 7428.0);
        c.swaps = vec![("T7".into(), 7440.0)];
        assert_eq!(kind(&c), Some(SlipKind::Swapped));
    }

    #[test]
    fn whole_kilograms_were_never_read_as_pounds() {
        // 3,369 × 2.20462 is 7,427, but had the heading been pounds, 3,369 kg would be no whole number of them.
        assert_ne!(kind(&case(3369.0, 7428.0)), Some(SlipKind::Unit));
        assert_eq!(kind(&case(7428.0 * POUND_KG, 7428.0)), Some(SlipKind::Unit));
    }

    #[test]
    fn two_alike_too_heavy_shared_a_vehicle() {
        let mut c = case(18_500.0, 7400.0);
        let alone = explain(&c).slip.unwrap();
        c.too_heavy = vec![11_250.0];
        let shared = explain(&c).slip.unwrap();
        assert_eq!(
            (alone.kind, shared.kind),
            (SlipKind::Gross, SlipKind::Gross)
        );
        assert!(alone.chance > MOST_CHANCE && (shared.chance - 0.04).abs() < 1e-12);
    }

    #[test]
    fn chance_is_the_share_that_windows_cover() {
        // Between 0.5 and 2: windows of 0.1 and 0.3, of which 0.05 overlap, and one outside.
        let windows = [(0.5, 0.6), (0.55, 0.85), (3.0, 4.0)];
        assert!((covered(1.0, &windows) - 0.35 / 1.5).abs() < 1e-12);
        assert!((covered(-1.0, &windows)).abs() < 1e-12);
    }
}
