//! What the terminal shows, as snapshots of hand-made figures.

use fanmill::report::terminal::{Paint, batch, field};
use fanmill::summary::*;
use fanmill::write::run::{FieldOutcome, Outcome};

/// Figures with everything a field can have.
fn full() -> Summary {
    let mut s = crate::write_fixture::summary(&crate::write_fixture::map(0));
    s.field = "Brook field".into();
    s.points = PointCounts {
        rows: 14_120,
        unreadable: 3,
        kept: 12_017,
        set_aside: [
            ("pass-entry", 700),
            ("not-working", 650),
            ("narrow-cut", 400),
            ("pass-exit", 300),
            ("turning", 30),
            ("bad-fix", 20),
        ]
        .map(|(reason, n)| (reason.to_owned(), n))
        .into(),
    };
    s.machines.push(MachineSummary {
        name: "C2".into(),
        delay_s: Estimate {
            value: 11.0,
            ci95_low: None,
            ci95_high: None,
            basis: DelayBasis::Fixed,
        },
        moisture_delay_s: Some(14.5),
        entry_ramp_s: None,
        exit_ramp_s: None,
    });
    s.yields.p90 = Some(12.1);
    s.calibration.leave_one_out_pct = Some(1.26);
    s.loads.push(LoadSummary {
        load: Some("L-2".into()),
        basis: FactorBasis::Neighbours,
        ticket: None,
        ..s.loads[0].clone()
    });
    s.loads.push(LoadSummary {
        load: None,
        basis: FactorBasis::Machine,
        corrected_kg: 1234.5,
        ..s.loads[0].clone()
    });
    s.quality = QualitySummary {
        before: MapQuality {
            opposite_pass_pct: Some(14.2),
            nugget_to_sill: Some(0.61),
            held_out_pct: Some(12.0),
        },
        after: MapQuality {
            opposite_pass_pct: Some(8.04),
            nugget_to_sill: Some(0.38),
            held_out_pct: Some(7.9),
        },
        closure_pct: Some(0.0),
    };
    s.warnings = vec![
        Remark::new("header-width", "The log's width is 9.1 m, the job's 8.2 m."),
        Remark::new(
            "doubtful-ticket",
            "Ticket 118 (load L-7) weighs 8.9 % more than its neighbours say; it was held out, and the load takes the factor of the ground beside it.",
        ),
    ];
    s
}

/// Figures of a field about which little is known.
fn bare() -> Summary {
    let mut s = full();
    s.field = "Mill piece \u{1b}[31mred".into();
    s.points = PointCounts::default();
    s.machines.clear();
    s.area_ha = 0.0;
    s.grain = GrainSummary {
        reference_moisture_pct: 15.5,
        ..GrainSummary::default()
    };
    s.logged = LoggedSummary::default();
    s.yields = YieldSummary {
        unit: "bu/ac".into(),
        mean: None,
        ci95_low: None,
        ci95_high: None,
        cv_pct: None,
        p10: None,
        median: None,
        p90: None,
    };
    s.calibration = CalibrationSummary::default();
    s.loads.clear();
    s.quality = QualitySummary::default();
    s.warnings.clear();
    s
}

fn outcome(name: &str, outcome: Outcome) -> FieldOutcome {
    FieldOutcome::new(&crate::write_fixture::field(name), "folder", outcome)
}

#[test]
fn a_field_fits_on_a_screen() {
    let text = field(&full(), Paint::Plain);
    assert!(
        text.lines().count() <= 24 && text.lines().all(|l| l.chars().count() <= 100),
        "{text}"
    );
    insta::assert_snapshot!(text, @r#"
    Heron Lane / Home / Brook field, 2025 maize
      points       12,017 of 14,120 rows kept (85 %); 2,100 set aside: pass-entry 700, not-working 650,
                   narrow-cut 400, pass-exit 300, other reasons 50; 3 unreadable
      C1           delay 12.2 s (11.9 to 12.6), from this field; fills in 6 s; empties in 4 s
      C2           delay 11.0 s, fixed in the job; moisture delay 14.5 s
      area         12.35 ha cut once; 13.10 ha as logged
      yield        9.90 logged → 9.47 t/ha corrected (9.41 to 9.53) at 15.5 % moisture; a tenth of the
                   ground below 6.50, a tenth above 12.10
      grain        120,000 kg logged → 118,000 kg corrected, as moist as it was cut (250 kg logged was
                   no grain); 60,000 kg weighed on 2 tickets, closure 0.00 %; leave-one-out error 1.3 %
      loads        1 by ticket, 1 by neighbouring ground, 1,234 kg outside every load
      method       factor
      quality      opposed neighbouring passes differ by 14.2 → 8.0 %; error of a point from other
                   passes 12.0 → 7.9 %; nugget to sill 0.61 → 0.38
      warnings     doubtful-ticket: Ticket 118 (load L-7) weighs 8.9 % more than its neighbours say; it
                   was held out, and the load takes the factor of the ground beside it.
                   header-width: The log's width is 9.1 m, the job's 8.2 m.
    "#);
}

#[test]
fn what_is_unknown_is_a_dash() {
    insta::assert_snapshot!(field(&bare(), Paint::Plain), @r#"
    Heron Lane / Home / Mill piece �[31mred, 2025 maize
      points       0 of 0 rows kept (– %); 0 set aside
      area         0.00 ha cut once; 0.00 ha as logged
      yield        – logged → – bu/ac corrected at 15.5 % moisture
      grain        0 kg logged → 0 kg corrected, as moist as it was cut; no ticket used: the total is
                   the sensor's word
      loads        none
      quality      not measured
    "#);
}

#[test]
fn a_batch_has_a_line_a_field_totals_and_failures() {
    let mut second = full();
    second.warnings.truncate(1);
    let text = batch(&[
        outcome("Brook field", Outcome::Done(Box::new(full()))),
        outcome("The long strip behind the old mill and the pond", Outcome::Done(Box::new(second))),
        outcome("Mill piece", Outcome::Done(Box::new(bare()))),
        outcome(
            "Far field",
            Outcome::Failed("logs/far.csv, row 3, column \"lon_deg\": expected a longitude between -180 and 180, found \"n/a\"; correct the row or name another column in [log]".into()),
        ),
    ], Paint::Plain);
    insta::assert_snapshot!(text, @r#"
    field                                     kept %  area ha             yield    passes %  closure %  warnings
    Brook field                                   85    12.35  9.90 → 9.47 t/ha  14.2 → 8.0       0.00         2
    The long strip behi…ld mill and the pond      85    12.35  9.90 → 9.47 t/ha  14.2 → 8.0       0.00         1
    Mill piece                                     –     0.00       – → – bu/ac       – → –          –         0
    ------------------------------------------------------------------------------------------------------------
    3 fields                                      85    24.69     236.0 t grain                                3
    yield: logged → corrected; passes: how far opposed neighbouring passes differ, before → after;
    closure: map total against the scale's

      warnings     doubtful-ticket in 1 field, header-width in 2 fields

    1 field could not be written:
      Heron Lane / Home / Far field, 2025 maize: logs/far.csv, row 3, column "lon_deg": expected a
        longitude between -180 and 180, found "n/a"; correct the row or name another column in [log]

    Maps are not for settlement, rent or insurance: certified scale tickets decide.
    "#);
}

#[test]
fn a_batch_that_failed_whole_says_so() {
    insta::assert_snapshot!(batch(&[outcome("Far field", Outcome::Failed("no log found".into()))], Paint::Plain), @r#"
    1 field could not be written:
      Heron Lane / Home / Far field, 2025 maize: no log found

    Maps are not for settlement, rent or insurance: certified scale tickets decide.
    "#);
}

/// Colours stress what is there; taken out, the text is the plain one.
#[test]
fn colours_change_nothing_but_colour() {
    let coloured = field(&full(), Paint::Colour);
    let mut plain = String::new();
    let mut rest = coloured.as_str();
    while let Some(at) = rest.find('\u{1b}') {
        plain += &rest[..at];
        let end = rest[at..].find('m').expect("a sequence ends");
        rest = &rest[at + end + 1..];
    }
    assert_eq!(plain + rest, field(&full(), Paint::Plain));
    assert_eq!(
        coloured.matches("\u{1b}[0m").count() * 2,
        coloured.matches('\u{1b}').count() - doubled(&coloured),
        "every style ends: {coloured:?}"
    );
    // What a name brings along steers nothing.
    assert!(!field(&bare(), Paint::Colour).contains("\u{1b}[31mred"));
}

/// Styles that take two sequences to begin.
fn doubled(text: &str) -> usize {
    text.matches("m\u{1b}[3").count()
}
