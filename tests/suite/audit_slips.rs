//! Slips of the pen are found and named, and none is seen in good sets of tickets.

use crate::audit_made::*;
use fanmill::audit::{AuditCode, AuditField, SlipKind, audit};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

const POUND: f64 = 0.453_592_37;

/// Loads of 6 to 9 t at 8 to 16 kg/s, weighed with factors that scatter about one of 0.85 to 1.15.
fn random(
    rng: &mut ChaCha8Rng,
    loads: usize,
    scatter: impl Fn(&mut ChaCha8Rng) -> f64,
) -> AuditField {
    let factor: f64 = rng.random_range(0.85..1.15);
    let mut made = Vec::new();
    let mut tickets = Vec::new();
    for k in 0..loads {
        let mass: f64 = rng.random_range(6000.0..9000.0);
        made.push(load(k, mass, rng.random_range(8.0..16.0)));
        let name = format!("L{}", k + 1);
        let net = mass * factor * (1.0 + scatter(rng));
        // Some scales write whole kilograms, some whole pounds, some tens of pounds.
        let division = [1.0, POUND, 20.0 * POUND][k % 3];
        tickets.push(ticket(k, &[&name], (net / division).round() * division));
    }
    field("F", made, tickets)
}

/// Two hundred sets of 4 to 12 tickets within ± 1.5 %: not one is sent to look at its papers.
#[test]
fn good_sets_raise_no_false_alarm() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    for set in 0..200 {
        let loads = rng.random_range(4..=12);
        let a = audit(&[random(&mut rng, loads, |r| r.random_range(-0.015..0.015))]);
        let about_rows: Vec<AuditCode> = (codes(&a).into_iter())
            .filter(|c| c.is_about_a_row())
            .collect();
        assert!(about_rows.is_empty(), "set {set}: {about_rows:?}");
        assert!(a.tickets.iter().all(|t| t.slip.is_none()), "set {set}");
    }
}

/// Sets that scatter normally: the chance to doubt any ticket of a set is what it is meant to be, at most 5 %, and no
/// more than twice that for the poor sensor whose loads scatter by 4 %.
#[test]
fn scatter_is_rarely_taken_for_a_wrong_ticket() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    for (sd, most) in [(0.01, 0.05f64), (0.02, 0.05), (0.04, 0.10)] {
        let normal = Normal::new(0.0, sd).unwrap();
        let doubted = (0..400)
            .filter(|_| {
                let loads = rng.random_range(4..=12);
                let a = audit(&[random(&mut rng, loads, |r| normal.sample(r))]);
                codes(&a).iter().any(|c| c.is_about_a_row())
            })
            .count();
        println!("sd {sd}: {doubted} of 400 sets doubted");
        // And two standard deviations of a count of 400.
        let bound = 400.0 * most + 2.0 * (400.0 * most * (1.0 - most)).sqrt();
        assert!((doubted as f64) < bound, "sd {sd}: {doubted} of 400");
    }
}

/// Which slip a wrong third ticket of the good set is taken for.
#[test]
fn each_slip_has_its_case() {
    for (what, wrong, kind, would_be) in [
        (
            "6291 lb for kilograms",
            6291.0 / POUND,
            SlipKind::Unit,
            6291.0,
        ),
        (
            "pounds where kilograms stood",
            6291.0 * POUND,
            SlipKind::Unit,
            6291.0,
        ),
        ("2691 for 6291", 2691.0, SlipKind::Transposed, 6291.0),
        ("629 for 6291", 629.0, SlipKind::MissingDigit, 6291.0),
        ("62291 for 6291", 62_291.0, SlipKind::ExtraDigit, 6291.0),
        ("3291 for 6291", 3291.0, SlipKind::Digit, 6291.0),
        (
            "12.4 t of vehicle too heavy",
            6291.0 + 12_400.0,
            SlipKind::Gross,
            6291.0,
        ),
    ] {
        let a = changed(|_, t| t[2].net_kg = wrong);
        assert_eq!(codes(&a), [AuditCode::MistypedTicket], "{what}");
        assert_eq!(a.tickets[0].ticket, "T3", "{what}");
        let slip = a.tickets[0].slip.as_ref().unwrap();
        assert_eq!(slip.kind, kind, "{what}: {slip:?}");
        let near = (slip.would_be_kg.unwrap() / would_be - 1.0).abs();
        assert!(near < 0.03, "{what}: {slip:?}");
        // The others are judged without it.
        assert_eq!(a.machines[0].trusted, 5, "{what}");
        assert!(
            a.tickets[1..].iter().all(|t| t.remarks.is_empty()),
            "{what}"
        );
    }
}

#[test]
fn two_weights_exchanged_are_found_as_two() {
    let a = changed(|_, t| {
        let (second, third) = (t[1].net_kg, t[2].net_kg);
        (t[1].net_kg, t[2].net_kg) = (third, second);
    });
    assert_eq!(codes(&a), [AuditCode::SwappedTickets]);
    assert_eq!(
        [slip(&a, "T2"), slip(&a, "T3")],
        [Some(SlipKind::Swapped); 2]
    );
    assert!(of(&a, "T2").remarks[0].text.contains("T3"));
}

#[test]
fn a_ticket_for_more_or_fewer_loads_than_it_names() {
    // Two loads over the scale together, one of them named.
    let two = changed(|l, t| {
        l.push(load(6, 7300.0, 12.0));
        at(&mut l[6], MORNING + 2.5 * 3600.0);
        t[2].net_kg += 7300.0 * 0.95;
    });
    assert_eq!(codes(&two), [AuditCode::SplitLoad]);
    assert_eq!(slip(&two, "T3"), Some(SlipKind::TwoLoads));
    assert!(of(&two, "T3").remarks[0].text.contains("its neighbour L7"));
    // Two loads named, one of them weighed.
    let one = changed(|l, t| {
        l.push(load(6, 7300.0, 12.0));
        t[2].loads.push("L7".into());
    });
    assert_eq!(slip(&one, "T3"), Some(SlipKind::OneLoad));
    // Another load altogether.
    let other = changed(|l, t| {
        l.push(load(6, 2500.0, 12.0));
        t[2].net_kg = 2375.0;
    });
    assert_eq!(slip(&other, "T3"), Some(SlipKind::OtherLoad));
    assert!(of(&other, "T3").remarks[0].text.contains("load L7"));
}

/// Of two tickets that contradict each other the one nearer to what was logged is believed; of one, none is judged.
#[test]
fn few_tickets_are_judged_with_care() {
    let two = changed(|l, t| {
        l.truncate(2);
        t.truncate(2);
        t[1].net_kg = (t[1].net_kg / POUND).round();
    });
    assert_eq!(slip(&two, "T2"), Some(SlipKind::Unit));
    assert!(of(&two, "T1").slip.is_none());
    let one = changed(|l, t| {
        l.truncate(1);
        t.truncate(1);
    });
    assert_eq!(codes(&one), [AuditCode::FewLoads]);
    assert_eq!(one.tickets[0].off_expected_pct, None);
}

/// One slip in each of two hundred random sets of six: how often it is seen, and how often it is named.
#[test]
fn slips_in_random_sets_are_seen_and_mostly_named() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    type MakeWrong = fn(f64, &mut ChaCha8Rng) -> f64;
    let slips: [(SlipKind, MakeWrong); 5] = [
        (SlipKind::Unit, |kg, _| kg / POUND),
        (SlipKind::Transposed, |kg, _| {
            let n = kg as u64;
            let exchanged = n / 1000 * 100 + n / 100 % 10 * 1000 + n % 100;
            if exchanged < 1000 {
                kg
            } else {
                exchanged as f64
            }
        }),
        (SlipKind::MissingDigit, |kg, _| (kg as u64 / 10) as f64),
        (SlipKind::ExtraDigit, |kg, r| {
            (kg as u64 * 10 + r.random_range(0..10)) as f64
        }),
        (SlipKind::Gross, |kg, r| {
            kg + r.random_range(5000.0..20_000.0f64).round()
        }),
    ];
    for (kind, slip) in slips {
        let (mut wrong, mut seen, mut named) = (0, 0, 0);
        for _ in 0..200 {
            let mut f = random(&mut rng, 6, |r| r.random_range(-0.015..0.015));
            // The fourth ticket is written in whole kilograms.
            let right = f.tickets[3].net_kg;
            f.tickets[3].net_kg = slip(right, &mut rng);
            // Exchanged digits may be equal, or change little.
            if (f.tickets[3].net_kg / right).ln().abs() < 0.1 {
                continue;
            }
            wrong += 1;
            let a = audit(&[f]);
            let t = of(&a, "T4");
            seen += usize::from(a.tickets[0].ticket == "T4" && t.remarks[0].code.is_about_a_row());
            named += usize::from(t.slip.as_ref().is_some_and(|s| s.kind == kind));
        }
        println!("{kind:?}: {wrong} wrong, {seen} seen first, {named} named");
        assert_eq!(seen, wrong, "{kind:?}");
        assert!(named * 10 >= wrong * 8, "{kind:?}: {named} of {wrong}");
    }
}

/// A digit that would mend most weights so far off is offered, and called weak.
#[test]
fn a_weak_digit_is_offered_as_weak() {
    // 8,874 kg logged, some 8,329 expected; 9,329 has its first digit wrong.
    let a = changed(|_, t| t[3].net_kg = 9329.0);
    let t = &a.tickets[0];
    assert_eq!(
        (t.ticket.as_str(), t.remarks[0].code),
        ("T4", AuditCode::DoubtfulTicket)
    );
    assert_eq!(t.slip, None);
    let weak = t.weak_slip.as_ref().unwrap();
    assert_eq!(
        (weak.kind, weak.would_be_kg),
        (SlipKind::Digit, Some(8329.0))
    );
    let said = &t.remarks[0].text;
    assert!(
        said.contains("8329 kg would fit: one digit wrong") && said.contains("; weak, because"),
        "{said}"
    );
}

/// Weights of loads that differ by less than a wrong ticket must: exchanged they stay within what loads scatter, and
/// only both together tell.
#[test]
fn two_loads_that_would_fit_exchanged_are_said_to() {
    let set = |exchanged: bool| {
        let mass = |k: usize| match k {
            5 => 7400.0,
            6 => 7700.0,
            _ => 7400.0 + 10.0 * k as f64,
        };
        let loads = (0..12)
            .map(|k| load(k, mass(k), [9.0, 14.0][k % 2]))
            .collect();
        let names: Vec<String> = (0..12).map(|k| format!("L{}", k + 1)).collect();
        let mut tickets: Vec<_> = (0..12)
            .map(|k| {
                let scatter = [0.0, 0.005, -0.005][k % 3];
                ticket(k, &[&names[k]], (mass(k) * (0.95 + scatter)).round())
            })
            .collect();
        if exchanged {
            let (a, b) = (tickets[5].net_kg, tickets[6].net_kg);
            (tickets[5].net_kg, tickets[6].net_kg) = (b, a);
        }
        audit(&[field("F", loads, tickets)])
    };
    let a = set(true);
    assert_eq!(codes(&a), [AuditCode::OffAfterCorrection]);
    let exchange = of(&a, "T6").exchange.clone().unwrap();
    assert_eq!(exchange.with, "T7");
    assert_eq!(of(&a, "T7").exchange.as_ref().unwrap().with, "T6");
    assert!(
        exchange.off_expected_pct.abs() < 1.0 && exchange.luck < 0.2,
        "{exchange:?}"
    );
    let said = &of(&a, "T6").remarks[0].text;
    assert!(
        said.contains("T6 and T7 would both fit with their weights exchanged"),
        "{said}"
    );
    // The set as it was has none.
    assert!(set(false).tickets.iter().all(|t| t.exchange.is_none()));
}

/// Sets of tickets that are right, loads scattering by 2 %: luck is as frequent as it is said to be, and no more.
#[test]
fn luck_suggests_an_exchange_as_rarely_as_it_says() {
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    let normal = Normal::new(0.0, 0.02).unwrap();
    let (mut weak, mut strong) = (0, 0);
    const SETS: usize = 300;
    for _ in 0..SETS {
        let loads = rng.random_range(6..=20);
        let a = audit(&[random(&mut rng, loads, |r| normal.sample(r))]);
        let luck = (a.tickets.iter())
            .filter_map(|t| Some(t.exchange.as_ref()?.luck))
            .min_by(f64::total_cmp);
        weak += usize::from(luck.is_some());
        strong += usize::from(luck.is_some_and(|l| l <= 0.05));
    }
    println!("of {SETS} right sets {weak} have an exchange named, {strong} not called weak");
    // The bounds of 0.2 and 0.05, with two standard deviations of such a count.
    assert!(weak <= 74 && strong <= 23, "{weak}, {strong}");
}

/// Two neighbouring tickets exchanged in every set: how often they are seen, and called weak.
#[test]
fn exchanged_neighbours_are_mostly_named() {
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let normal = Normal::new(0.0, 0.01).unwrap();
    let (mut wrong, mut named) = (0, 0);
    for _ in 0..100 {
        let mut f = random(&mut rng, 12, |r| normal.sample(r));
        let (a, b) = (f.tickets[4].net_kg, f.tickets[5].net_kg);
        (f.tickets[4].net_kg, f.tickets[5].net_kg) = (b, a);
        if (a / b).ln().abs() < 0.05 {
            continue;
        }
        wrong += 1;
        let audit = audit(&[f]);
        let t = of(&audit, "T5");
        let swapped = t.slip.as_ref().is_some_and(|s| s.kind == SlipKind::Swapped);
        named += usize::from(swapped || t.exchange.as_ref().is_some_and(|e| e.with == "T6"));
    }
    println!("{named} of {wrong} exchanged pairs named");
    assert!(named * 10 >= wrong * 7, "{named} of {wrong}");
}
