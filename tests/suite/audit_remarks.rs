//! Each remark of the audit fires on a case made for it, and none on a good set of tickets.

use crate::audit_made::*;
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
    assert!(
        a.tickets
            .iter()
            .all(|t| t.off_expected_pct.unwrap().abs() < 3.0)
    );
    // Worst first: by what is left of the difference.
    let left: Vec<f64> = a
        .tickets
        .iter()
        .map(|t| t.off_expected_pct.unwrap().abs())
        .collect();
    assert!(left.is_sorted_by(|a, b| a >= b));
}

/// Each ticket is predicted by the others: two loads of 10 t logged, 9 t and 10 t weighed.
#[test]
fn a_ticket_is_off_what_the_others_lead_to_expect() {
    let a = audit(&[field(
        "F",
        vec![load(0, 10_000.0, 9.0), load(1, 10_000.0, 14.0)],
        vec![ticket(0, &["L1"], 9000.0), ticket(1, &["L2"], 10_000.0)],
    )]);
    let (first, second) = (of(&a, "T1"), of(&a, "T2"));
    assert!((first.expected_kg.unwrap() - 10_000.0).abs() < 1e-9);
    assert!((first.off_expected_pct.unwrap() + 10.0).abs() < 1e-9);
    assert!((second.off_expected_pct.unwrap() - 100.0 / 9.0).abs() < 1e-9);
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

/// Twelve loads of 8 t an hour apart, with these factors.
fn in_time(factor: impl Fn(usize) -> f64, per_day: usize) -> fanmill::audit::AuditField {
    let flows = [9.0, 14.0, 10.0, 13.0, 12.0, 11.0];
    let loads: Vec<_> = (0..12)
        .map(|k| {
            let mut load = load(k, 8000.0, flows[k % 6]);
            let (day, hour) = (k / per_day, k % per_day);
            at(
                &mut load,
                MORNING + 86_400.0 * day as f64 + 3600.0 * hour as f64,
            );
            load
        })
        .collect();
    let names: Vec<String> = (0..12).map(|k| format!("L{}", k + 1)).collect();
    let tickets = (0..12)
        .map(|k| ticket(k, &[&names[k]], (8000.0 * factor(k)).round()))
        .collect();
    field("F", loads, tickets)
}

/// 0, + 0.5, − 0.5 % in turn.
fn scatter(k: usize) -> f64 {
    [0.0, 0.005, -0.005][k % 3]
}

#[test]
fn factors_that_fall_through_the_day_are_a_drift() {
    let a = audit(&[in_time(|k| 1.0 - 0.0045 * k as f64, 24)]);
    assert_eq!(codes(&a), [AuditCode::Drift]);
    assert!(a.machines[0].remarks[0].text.contains("fall with time"));
    // They stray together, so the level is worth less than twelve tickets' (one sd 1.6 %: ± 1.0 % if they did not).
    let m = &a.machines[0];
    assert!(
        m.stray_together && m.factor_ci95_pct.unwrap() > 2.0,
        "{m:?}"
    );
    let steady = audit(&[in_time(|k| 1.0 + 3.0 * scatter(k), 24)]);
    let m = &steady.machines[0];
    assert!(
        !m.stray_together && m.factor_ci95_pct.unwrap() < 1.0,
        "{m:?}"
    );
}

#[test]
fn factors_that_drop_once_are_a_step_with_its_place() {
    let drop = |k: usize| scatter(k) + if k >= 7 { 0.965 } else { 1.0 };
    let a = audit(&[in_time(drop, 24)]);
    assert_eq!(codes(&a), [AuditCode::LevelStep]);
    let m = &a.machines[0];
    let text = &m.remarks[0].text;
    for part in [
        "its factors fall once: 1.000 ± 0.4 % over 7 tickets up to load L7 (ticket T7, 3 Oct 14:00)",
        "0.965 ± 0.6 % over 5 tickets from load L8 (ticket T8, 3 Oct 15:00) on",
    ] {
        assert!(text.contains(part), "{part} is not in {text}");
    }
    assert!(
        !text.contains("opening") && !text.contains("slide"),
        "{text}"
    );
    assert!(m.remarks[0].action.contains("calibration"));
    // No one level: the interval reaches to both. Σ W / Σ M is 0.985, and 0.965 is 2.1 % from it, ± 0.6 %.
    assert!(m.factor_ci95_pct.unwrap() > 2.4, "{m:?}");
    // Against its own side a ticket is off by its scatter alone.
    let off = of(&a, "T9").off_own_side_pct.unwrap();
    assert!(
        off.abs() < 1.0 && of(&a, "T9").off_expected_pct.unwrap() < -2.0,
        "{off}"
    );
    // The scale is named where it changes with the factors.
    let mut two = in_time(drop, 24);
    for (k, t) in two.tickets.iter_mut().enumerate() {
        t.scale = Some(if k < 7 { "yard" } else { "mill" }.into());
    }
    let two = audit(&[two]);
    let text = &two.machines[0].remarks[0].text;
    assert!(
        text.contains("the scale changes there too, from yard to mill"),
        "{text}"
    );
}

/// A step that is the opening loads' doing says so.
#[test]
fn a_step_is_tried_without_opening_loads() {
    let with_opening = |last: usize| {
        let mut f = in_time(|k| scatter(k) + if k < 6 { 1.04 } else { 1.0 }, 24);
        for load in &mut f.loads[..last] {
            (load.crossing_share, load.earlier_share) = (Some(0.5), Some(0.0));
        }
        audit(&[f])
    };
    let text = |a: &fanmill::audit::Audit| a.machines[0].remarks[0].text.clone();
    assert!(
        text(&with_opening(2)).contains("tickets of loads that did not open the field show it too")
    );
    assert!(
        text(&with_opening(6))
            .contains("but for the loads that opened the field it could be chance")
    );
}

/// Six tickets on the first day and three on the second, 4.5 % apart: too few for a step anywhere, enough between days.
#[test]
fn days_with_levels_of_their_own_are_said() {
    let a = {
        let mut f = in_time(|k| 2.0 * scatter(k) + if k >= 6 { 0.955 } else { 1.0 }, 6);
        f.loads.truncate(9);
        f.tickets.truncate(9);
        audit(&[f])
    };
    assert!(codes(&a).contains(&AuditCode::LevelStep));
    let days: Vec<(u64, String)> = (a.machines[0].days.iter())
        .map(|d| (d.tickets, format!("{} {:.3}", d.date, d.factor)))
        .collect();
    assert_eq!(
        days,
        [
            (6, "2025-10-03 1.000".to_owned()),
            (3, "2025-10-04 0.955".to_owned())
        ]
    );
}

/// Machines over their crops: C1 alike in two of them, C2 not.
#[test]
fn a_machine_is_told_from_its_crops() {
    let in_crop = |crop: &str, second: f64| {
        let mut f = in_time(|k| scatter(k) + if k % 2 == 0 { 1.05 } else { second }, 24);
        f.crop = crop.into();
        f.field = crop.into();
        for (k, load) in f.loads.iter_mut().enumerate() {
            load.evidence.machine = if k % 2 == 0 { "C1" } else { "C2" }.into();
        }
        for t in &mut f.tickets {
            t.place.file = format!("{crop}.csv");
        }
        for load in &mut f.loads {
            if let Some(t) = &mut load.evidence.ticket {
                t.file = format!("{crop}.csv");
            }
        }
        f
    };
    let a = audit(&[in_crop("maize", 0.9), in_crop("wheat", 0.95)]);
    let [c1, c2] = a.overall.as_slice() else {
        panic!("{:?}", a.overall)
    };
    // Logged over weighed: 1 / 1.05 is 4.8 % low, 1 / 0.9 11.1 % and 1 / 0.95 5.3 % high.
    assert_eq!(
        (c1.text.as_str(), c1.alike),
        (
            "C1 reads 4.8 % low in maize, 4.8 % low in wheat: alike in all its crops, so look for the cause in the machine, not in a crop",
            Some(true)
        )
    );
    assert_eq!(
        (c2.text.as_str(), c2.alike),
        (
            "C2 reads 11.1 % high in maize, 5.3 % high in wheat: not alike, so calibrate it in each crop by itself",
            Some(false)
        )
    );
}

/// What is printed as 3.0 % is within 3 %, and what is printed as 3.1 % is not.
#[test]
fn three_per_cent_is_three_as_printed() {
    use fanmill::report::audit::{Listed, text};
    // 10 t logged, 10 t weighed, twice; the third is expected at 10 t.
    let off = |kg: f64| {
        let loads = (0..3)
            .map(|k| load(k, 10_000.0, 9.0 + 4.0 * k as f64))
            .collect();
        let names = ["L1", "L2", "L3"];
        let tickets = (0..3)
            .map(|k| ticket(k, &[names[k]], if k == 2 { kg } else { 10_000.0 }))
            .collect();
        audit(&[field("F", loads, tickets)])
    };
    let a = off(9698.0); // − 3.02 %
    assert!(!codes(&a).contains(&AuditCode::OffAfterCorrection));
    assert!(text(&a, Listed::ToCheck).contains("3 of 3 agree"));
    let a = off(9693.0); // − 3.07 %
    assert!(codes(&a).contains(&AuditCode::OffAfterCorrection));
    assert!(text(&a, Listed::ToCheck).contains("2 of 3 agree"));
}

/// What `run` does is told by its own test.
#[test]
fn what_a_run_does_with_a_ticket_is_told() {
    use fanmill::audit::InRun;
    let a = changed(|_, t| {
        t[4].net_kg = 9100.0;
        t[5].usage = TicketUse::No;
    });
    let all = ["T1", "T5", "T6"].map(|id| of(&a, id).in_run);
    assert_eq!(all, [InRun::Obeyed, InRun::HeldOut, InRun::NotUsed]);
    let a = changed(|l, t| {
        (t[4].net_kg, t[4].usage) = (9100.0, TicketUse::Yes);
        l[5].evidence.mass_kg = 0.0;
    });
    assert_eq!(
        [of(&a, "T5").in_run, of(&a, "T6").in_run],
        [InRun::Forced, InRun::Nothing]
    );
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
    assert!(m.known.starts_with("the pattern") && m.unknown.starts_with("how much"));
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
    assert!(t.off_expected_pct.unwrap().abs() < 0.2 && t.remarks.is_empty());
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
    assert!(
        one.next[0]
            .text
            .starts_with("a full load of C1 in maize (about 7 t): 3 more"),
        "{}",
        one.next[0].text
    );
    let flow = changed(|l, _| {
        l.iter_mut()
            .for_each(|l| l.evidence.flow_kg_s = Some([9.0, 12.0, 13.0]))
    });
    assert_eq!(reasons(&flow), [NextReason::Flow]);
    assert!(
        flow.next[0]
            .text
            .contains("at about 8 kg/s, driving slower"),
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
    assert!(day.next[0].text.contains("none was weighed on 4 Oct"));
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

/// A small last load whose ends are unsure (a log that was shifted before export) is no ground to doubt its ticket, neither
/// for the audit nor for a run.
#[test]
fn what_the_ends_of_a_load_leave_is_not_held_against_its_ticket() {
    let with = |edges_kg: f64| {
        changed(|l, t| {
            l.push(load(6, 1400.0, 11.0));
            l[6].evidence.edges_kg = edges_kg;
            t.push(ticket(6, &["L7"], 0.88 * 0.95 * 1400.0));
        })
    };
    let sure = with(0.0);
    assert!(codes(&sure)[0].is_about_a_row(), "{:?}", codes(&sure));
    assert_eq!(of(&sure, "T7").in_run, fanmill::audit::InRun::HeldOut);
    let unsure = with(130.0);
    assert!(
        (codes(&unsure).iter()).all(|c| !c.is_about_a_row() && *c != AuditCode::OffAfterCorrection),
        "{:?}",
        codes(&unsure)
    );
    assert_eq!(of(&unsure, "T7").in_run, fanmill::audit::InRun::Obeyed);
}

/// A ticket that is off by its machine's mean and right by its own side of a step is nothing to look up.
#[test]
fn a_step_sends_nobody_after_its_tickets() {
    let drop = |k: usize| scatter(k) + if k >= 7 { 0.95 } else { 1.0 };
    let a = audit(&[in_time(drop, 24)]);
    let off = |t: &fanmill::audit::TicketAudit| t.off_expected_pct.unwrap().abs();
    assert!(a.tickets.iter().any(|t| off(t) > 3.05), "none is off");
    assert_eq!(codes(&a), [AuditCode::LevelStep]);
    // Nor are the crops of such a machine called alike because its interval holds both levels.
    let mut other = in_time(|k| scatter(k) + 0.975, 24);
    other.crop = "wheat".into();
    other
        .tickets
        .iter_mut()
        .for_each(|t| t.place.file = "wheat.csv".into());
    let named = other
        .loads
        .iter_mut()
        .filter_map(|l| l.evidence.ticket.as_mut());
    named.for_each(|t| t.file = "wheat.csv".into());
    let both = audit(&[in_time(drop, 24), other]);
    let overall = &both.overall[0];
    assert_eq!(overall.alike, None);
    assert!(
        overall.text.contains("on average") && overall.text.contains("cannot be compared"),
        "{}",
        overall.text
    );
}

/// The run says in the field what the audit says of the machine.
#[test]
fn a_step_is_said_in_the_field_too() {
    let said = |factor: &dyn Fn(usize) -> f64| {
        let mut made = in_time(factor, 24);
        for l in &mut made.loads {
            let start = l.start.unwrap();
            l.evidence.span = Some([start, start + l.evidence.seconds]);
        }
        let evidence = fanmill::gather::ScaleEvidence {
            loads: made.loads.iter().map(|l| l.evidence.clone()).collect(),
            tickets: made.tickets.clone(),
            links: None,
        };
        fanmill::pool::scale(&[("maize", &evidence)])
            .remove(0)
            .warnings
    };
    let step = said(&|k| scatter(k) + if k >= 7 { 0.95 } else { 1.0 });
    let found = step.iter().find(|w| w.code == "level-step").unwrap();
    assert!(
        found.text.contains("falls once") && found.text.contains("up to load L7"),
        "{found:?}"
    );
    let steady = said(&|k| 1.0 + scatter(k));
    assert!(steady.iter().all(|w| w.code != "level-step"), "{steady:?}");
}
