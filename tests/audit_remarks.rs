//! Each remark of the audit fires on a case made for it, and none on a good set of tickets.

mod audit_made;

use audit_made::*;
use fanmill::audit::{AuditCode, NextReason, Subject, audit};
use fanmill::read::TicketUse;
use fanmill::summary::Remark;

#[test]
fn a_good_set_has_no_remark() {
    let a = changed(|_, _| {});
    assert!(a.worst_first().is_empty(), "{:?}", a.worst_first());
    assert!(a.next.is_empty() && a.unweighed.is_empty());
    let m = &a.machines[0];
    assert_eq!((m.tickets, m.trusted, m.loads), (6, 6, 6));
    let logged: f64 = GOOD.iter().map(|g| g.0).sum();
    let weighed: f64 = GOOD.iter().map(|g| (g.0 * 0.95 * g.2).round()).sum();
    assert!((m.factor.unwrap() - weighed / logged).abs() < 1e-12);
    assert!(a.tickets.iter().all(|t| t.left_pct.unwrap().abs() < 3.0));
    // Worst first: by what is left of the difference.
    let left: Vec<f64> = a
        .tickets
        .iter()
        .map(|t| t.left_pct.unwrap().abs())
        .collect();
    assert!(left.is_sorted_by(|a, b| a >= b));
}

/// Each ticket is predicted by the others: two loads of 10 t logged, 9 t and 10 t weighed.
#[test]
fn what_is_left_is_left_by_the_others() {
    let a = audit(&[field(
        "F",
        vec![load(0, 10_000.0, 9.0), load(1, 10_000.0, 14.0)],
        vec![ticket(0, &["L1"], 9000.0), ticket(1, &["L2"], 10_000.0)],
    )]);
    let (first, second) = (of(&a, "T1"), of(&a, "T2"));
    assert!((first.difference_pct.unwrap() - 100.0 / 9.0).abs() < 1e-9);
    assert!((first.factor_of_others.unwrap() - 1.0).abs() < 1e-12);
    assert!((first.left_pct.unwrap() - 100.0 / 9.0).abs() < 1e-9);
    assert!((second.left_pct.unwrap() + 10.0).abs() < 1e-9);
    // Leave-one-out: √((1/9² + 1/10²) / 2).
    let expected = 100.0 * ((1.0 / 81.0 + 0.01) / 2.0f64).sqrt();
    assert!((a.machines[0].leave_one_out_pct.unwrap() - expected).abs() < 1e-9);
    assert_eq!(
        codes(&a),
        [AuditCode::OffAfterCorrection, AuditCode::FewLoads]
    );
}

/// The trade's own example (common practice): tester 12 %, mean of the monitor 13 %, offset −1.0.
#[test]
fn the_moisture_offset_is_tester_less_monitor() {
    let a = changed(|loads, tickets| {
        loads
            .iter_mut()
            .for_each(|l| l.evidence.moisture_pct = Some(13.0));
        tickets.iter_mut().for_each(|t| t.moisture_pct = Some(12.0));
    });
    assert!((of(&a, "T1").moisture_offset_pct.unwrap() + 1.0).abs() < 1e-12);
    assert!((a.machines[0].moisture_offset_pct.unwrap() + 1.0).abs() < 1e-12);
    assert_eq!(codes(&a), [AuditCode::MoistureOffset]);
    assert!(a.machines[0].remarks[0].text.contains("an offset of -1.0"));
}

/// What each change makes the audit say, and of whom.
#[test]
fn each_remark_fires_on_its_own_case() {
    use AuditCode::*;
    type Change = fn(&mut Vec<fanmill::audit::AuditLoad>, &mut Vec<fanmill::read::Ticket>);
    let cases: Vec<(&str, Change, Vec<AuditCode>)> = vec![
        (
            "1,350 kg are less than 3,000 lb",
            |l, t| {
                l[2].evidence.mass_kg = 1421.0;
                t[2].net_kg = 1350.0;
            },
            vec![SmallLoad],
        ),
        (
            "20 t among loads of 7 t",
            |l, t| {
                l[2].evidence.mass_kg = 21_053.0;
                t[2].net_kg = 20_000.0;
            },
            vec![UnevenLoad],
        ),
        (
            "a flow for all",
            |l, _| {
                l.iter_mut()
                    .for_each(|l| l.evidence.flow_kg_s = Some([9.0, 10.0, 11.0]));
            },
            vec![OneFlow],
        ),
        (
            "three tickets",
            |l, t| {
                l.truncate(3);
                t.truncate(3);
                l[2].evidence.flow_kg_s = Some([15.0, 16.0, 17.0]);
            },
            vec![FewLoads],
        ),
        (
            "eleven days",
            |l, _| at(&mut l[5], MORNING + 11.0 * 86_400.0),
            vec![DaysApart],
        ),
        (
            "one load 5 % off, others within 2 %",
            |_, t| t[4].net_kg = (7105.0 * 0.95f64 * 1.05).round(),
            vec![OffAfterCorrection],
        ),
        (
            "18 and 24 %",
            |l, t| {
                for k in 3..6 {
                    l[k].evidence.moisture_pct = Some(24.0);
                    t[k].moisture_pct = Some(24.1);
                }
            },
            vec![MixedMoisture],
        ),
        (
            "81.2 for 18.2",
            |_, t| t[1].moisture_pct = Some(81.2),
            vec![OddMoisture, MixedMoisture, MoistureOffset],
        ),
        (
            "a round of the headland",
            |l, _| {
                l[0].crossing_share = Some(0.4);
                l[0].earlier_share = Some(0.0);
            },
            vec![OpeningLoad],
        ),
        (
            "the same at the end of the field",
            |l, _| {
                l[5].crossing_share = Some(0.4);
                l[5].earlier_share = Some(0.9);
            },
            vec![],
        ),
        ("use = no", |_, t| t[4].usage = TicketUse::No, vec![NotUsed]),
        (
            "no grain logged",
            |l, _| l[4].evidence.mass_kg = 0.0,
            vec![NoLoggedGrain],
        ),
        (
            "a load that no log has",
            |_, t| t.push(ticket(6, &["L99"], 7000.0)),
            vec![UnknownLoad],
        ),
        (
            "one of two loads that no log has",
            |_, t| t[0].loads.push("L99".into()),
            vec![UnknownLoad],
        ),
        (
            "a time in which nothing was logged",
            |_, t| {
                let mut late = ticket(6, &[], 7000.0);
                (late.start, late.end) = (Some(0.0), Some(60.0));
                t.push(late);
            },
            vec![NoLoggedGrain],
        ),
        (
            "every weight half of what it was",
            |_, t| t.iter_mut().for_each(|t| t.net_kg *= 0.5),
            vec![UnlikelyLevel],
        ),
        (
            "a third more than the others",
            |_, t| t[4].net_kg = 9100.0,
            vec![DoubtfulTicket],
        ),
    ];
    for (case, change, expected) in cases {
        let a = changed(change);
        assert_eq!(codes(&a), expected, "{case}: {:#?}", a.worst_first());
        for (_, remark) in a.worst_first() {
            assert!(!remark.text.is_empty() && !remark.action.is_empty());
        }
    }
}

#[test]
fn pounds_as_kilograms_throughout_show_in_the_level() {
    let a = changed(|_, t| {
        t.iter_mut()
            .for_each(|t| t.net_kg = (t.net_kg / 0.45359237).round())
    });
    assert_eq!(codes(&a), [AuditCode::UnlikelyLevel]);
    assert!(
        a.machines[0].remarks[0]
            .text
            .contains("pounds under a heading of kilograms")
    );
}

#[test]
fn a_window_needs_a_clock() {
    let mut f = good(|_, t| {
        let mut windowed = ticket(6, &[], 7000.0);
        windowed.start = Some(0.0);
        t.push(windowed);
    });
    f.has_clock = false;
    assert_eq!(codes(&audit(&[f])), [AuditCode::NoClock]);
}

#[test]
fn factors_that_fall_through_the_day_are_a_drift() {
    let flows = [9.0, 14.0, 10.0, 13.0, 12.0, 11.0];
    let loads: Vec<_> = (0..12).map(|k| load(k, 8000.0, flows[k % 6])).collect();
    let names: Vec<String> = (0..12).map(|k| format!("L{}", k + 1)).collect();
    let tickets = (0..12)
        .map(|k| ticket(k, &[&names[k]], (8000.0 * (1.0 - 0.005 * k as f64)).round()))
        .collect();
    let a = audit(&[field("F", loads, tickets)]);
    assert_eq!(codes(&a).first(), Some(&AuditCode::Drift));
    assert!(a.machines[0].remarks[0].text.contains("fall with time"));
}

#[test]
fn what_reading_said_is_said_once_with_the_loads_it_may_mean() {
    let said = Remark::new("unknown-load", "tickets.csv, row 9: found \"L77\"");
    let mut first = good(|l, _| l.push(load(6, 7000.0, 12.0)));
    first.reading = vec![
        said.clone(),
        Remark::new("bad-position", "of no concern here"),
    ];
    let mut second = field("Mill piece", Vec::new(), Vec::new());
    second.reading = vec![said];
    let a = audit(&[first, second]);
    assert_eq!(a.input.len(), 1);
    assert!(
        a.input[0]
            .remark
            .text
            .ends_with("loads of the field without a ticket: L7 (logged 7000 kg)")
    );
    assert!(matches!(a.worst_first()[0].0, Subject::Input(i) if i.field == "Brook field"));
}

#[test]
fn a_load_without_ticket_is_listed_with_what_it_should_weigh() {
    let a = changed(|l, _| l.push(load(6, 10_000.0, 12.0)));
    assert!(a.worst_first().is_empty());
    let [free] = a.unweighed.as_slice() else {
        panic!("{:?}", a.unweighed)
    };
    assert_eq!(
        (free.load.as_deref(), free.remarks[0].code),
        (Some("L7"), AuditCode::NoTicket)
    );
    let factor = a.machines[0].factor.unwrap();
    assert!((free.expected_kg.unwrap() - 10_000.0 * factor).abs() < 1e-6);
}

#[test]
fn a_machine_without_ticket_is_known_for_nothing() {
    let mut other = load(0, 30_000.0, 12.0);
    other.evidence.machine = "C2".into();
    other.evidence.load = Some("X1".into());
    let a = changed(|l, _| l.push(other));
    assert_eq!(codes(&a), [AuditCode::NoScale]);
    let m = &a.machines[0];
    assert_eq!((m.machine.as_str(), m.factor, m.trusted), ("C2", None, 0));
    assert!(m.known.starts_with("nothing"));
    assert_eq!(a.next.len(), 1);
    assert_eq!(
        (a.next[0].reason, a.next[0].machine.as_str()),
        (NextReason::Machine, "C2")
    );
}

/// A ticket over two machines is held against both, and each machine keeps its own factor.
#[test]
fn a_joint_ticket_is_held_against_all_its_machines() {
    let second = |k: usize, mass| {
        let mut l = load(k, mass, 9.0 + k as f64);
        l.evidence.machine = "C2".into();
        l
    };
    let names: Vec<String> = (6..11).map(|k| format!("L{}", k + 1)).collect();
    let joint = |kg: f64| {
        changed(|l, t| {
            for k in 6..10 {
                l.push(second(k, 8000.0));
                t.push(ticket(k, &[&names[k - 6]], 8800.0));
            }
            l.push(second(10, 5000.0));
            let mut of_first = load(11, 5000.0, 12.0);
            of_first.evidence.load = Some("L11".into());
            l.push(of_first);
            t.push(ticket(10, &["L11"], kg));
        })
    };
    // C1 has a factor of 0.95 or so, C2 of 1.1: 5 t of each are 10.25 t.
    let a = joint(10_250.0);
    let t = of(&a, "T11");
    assert_eq!(t.machines, ["C1", "C2"]);
    assert!(t.left_pct.unwrap().abs() < 0.2 && t.remarks.is_empty());
    assert_eq!(
        codes(&joint(9500.0)),
        [AuditCode::OffAfterCorrection, AuditCode::OneFlow]
    );
}

#[test]
fn the_next_load_is_where_tickets_carry_least() {
    let reasons = |a: &fanmill::audit::Audit| a.next.iter().map(|n| n.reason).collect::<Vec<_>>();
    let one = changed(|l, t| {
        l.truncate(1);
        t.truncate(1);
    });
    assert_eq!(reasons(&one), [NextReason::Count]);
    assert!(one.next[0].text.starts_with("3 more of C1 in maize"));
    let flow = changed(|l, _| {
        l.iter_mut()
            .for_each(|l| l.evidence.flow_kg_s = Some([9.0, 12.0, 13.0]))
    });
    assert_eq!(reasons(&flow), [NextReason::Flow]);
    assert!(
        flow.next[0].text.contains("cut below 8.0 kg/s"),
        "{}",
        flow.next[0].text
    );
    let wet = changed(|l, _| {
        let mut wet = load(6, 8000.0, 12.0);
        wet.evidence.moisture_pct = Some(25.0);
        l.push(wet);
    });
    assert_eq!(reasons(&wet), [NextReason::Moisture]);
    let day = changed(|l, _| {
        let mut late = load(6, 8000.0, 12.0);
        at(&mut late, MORNING + 86_400.0);
        l.push(late);
    });
    assert_eq!(reasons(&day), [NextReason::Day]);
    assert!(day.next[0].text.contains("none was weighed on 2025-10-04"));
    // Half a ton is not worth the way to the scale.
    let little = changed(|l, _| {
        let mut late = load(6, 500.0, 12.0);
        at(&mut late, MORNING + 86_400.0);
        l.push(late);
    });
    assert!(little.next.is_empty());
}

#[test]
fn nothing_at_all_is_no_failure() {
    let a = audit(&[]);
    assert!(a.worst_first().is_empty() && a.tickets.is_empty() && a.machines.is_empty());
    let bare = audit(&[field("F", Vec::new(), Vec::new())]);
    assert!(bare.tickets.is_empty());
    for net_kg in [f64::NAN, 0.0, f64::INFINITY] {
        let a = changed(|_, t| t[0].net_kg = net_kg);
        assert_eq!(a.machines[0].trusted, 5, "{net_kg}");
        assert!(serde_json::to_string(&a).is_ok());
    }
}

/// Fields in another order say the same.
#[test]
fn order_does_not_matter() {
    let named = |name: &str, from: usize| {
        let names: Vec<String> = (0..3).map(|k| format!("{name}{k}")).collect();
        let loads = (0..3)
            .map(|k| {
                let mut l = load(
                    k,
                    7000.0 + 100.0 * (k + from) as f64,
                    9.0 + (k + from) as f64,
                );
                l.evidence.load = Some(names[k].clone());
                l
            })
            .collect();
        let tickets = (0..3)
            .map(|k| ticket(k + from, &[&names[k]], 6900.0))
            .collect();
        field(name, loads, tickets)
    };
    let (a, b) = (named("A", 0), named("B", 3));
    let there = audit(&[a.clone(), b.clone()]);
    let back = audit(&[b, a]);
    let ids = |a: &fanmill::audit::Audit| {
        a.tickets
            .iter()
            .map(|t| t.ticket.clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(ids(&there), ids(&back));
    assert_eq!(codes(&there), codes(&back));
}
