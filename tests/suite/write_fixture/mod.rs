//! A made-up field season with everything that trips a writer: missing values, odd names, no positions, and many
//! points on one place.

use std::path::PathBuf;

use fanmill::crop::Crop;
use fanmill::geometry::UtmZone;
use fanmill::grid::Grid;
use fanmill::job::{FieldSeason, Format, Job, Layer, LimitSettings, LogSettings, OutputCrs};
use fanmill::log::{Reason, Verdicts};
use fanmill::map::YieldMap;
use fanmill::summary::*;
use fanmill::units::YieldUnit;

/// Longitude and latitude of the field.
pub const PLACE: [f64; 2] = [9.2, 48.8];

/// A map of `n` points. Every seventh is set aside; some have no position, time, load or pass; numbers go missing in
/// turn; a run of points lies on one place.
pub fn map(n: usize) -> YieldMap {
    let mut verdicts = Verdicts::all_kept(n);
    for i in (0..n).step_by(7) {
        verdicts.set_aside(i, Reason::ALL[i / 7 % Reason::ALL.len()]);
    }
    let number = |scale: f64, offset: f64, missing: usize| -> Vec<f64> {
        (0..n)
            .map(|i| {
                if i % 11 == missing {
                    f64::NAN
                } else {
                    offset + scale * (i as f64 * 0.37).sin()
                }
            })
            .collect()
    };
    let identical = |i: usize| i % 20_000 >= 10_000 && i % 20_000 < 15_000;
    let nowhere = |i: usize| i.is_multiple_of(140) && !identical(i);
    let place = |axis: usize| -> Vec<f64> {
        (0..n)
            .map(|i| match (nowhere(i), identical(i)) {
                (true, _) => f64::NAN,
                (_, true) => PLACE[axis],
                _ if axis == 0 => PLACE[0] + (i % 400) as f64 * 2.3e-5,
                _ => PLACE[1] + (i / 400) as f64 * 6.1e-5,
            })
            .collect()
    };
    let (lon, lat) = (place(0), place(1));
    // A quad of some 1.5 m by 7 m around the point, turned a little; some points have none.
    let swath = |i: usize| -> [[f64; 2]; 4] {
        if i % 31 == 30 {
            return [[f64::NAN; 2]; 4];
        }
        [
            [-1e-5, -3e-5],
            [1e-5, -2.9e-5],
            [1e-5, 3.1e-5],
            [-1e-5, 3e-5],
        ]
        .map(|[dx, dy]| [lon[i] + dx, lat[i] + dy])
    };
    let swaths = Some((0..n).map(swath).collect());
    YieldMap {
        logs: vec![
            "logs/Grünfeld/2025 \"north\".csv".into(),
            "logs/<script>alert(1)</script>.csv".into(),
        ],
        machines: vec!["C1".into(), "Mähdrescher 2, gelb\\rot".into()],
        loads: vec!["L-1".into(), "Anhänger \"3\"; spät".into(), "小麦".into()],
        verdicts,
        lon,
        lat,
        log: (0..n).map(|i| (i % 2) as u32).collect(),
        row: (1..=n as u32).collect(),
        time: (0..n)
            .map(|i| {
                if i % 13 == 5 {
                    f64::NAN
                } else {
                    1_759_500_309.0 + i as f64 + if i % 17 == 0 { 0.25 } else { 0.0 }
                }
            })
            .collect(),
        machine: (0..n).map(|i| (i / 3 % 2) as u32).collect(),
        load: (0..n)
            .map(|i| (i % 5 != 4).then_some((i % 3) as u32))
            .collect(),
        pass: (0..n)
            .map(|i| (i % 9 != 8).then_some(1 + (i / 50) as u32))
            .collect(),
        speed_m_s: number(0.4, 1.8, 0),
        cut_m: number(3.0, 6.1, 1),
        moist_pct: number(2.0, 16.25, 2),
        grain_kg_s: number(4.0, 8.5, 3),
        factor: number(0.01, 1.02, 4),
        yld_kg_ha: number(3000.0, 9500.0, 5),
        yld_low: number(3000.0, 9000.0, 5),
        yld_high: number(3000.0, 10_000.0, 5),
        yields: number(3.0, 9.5, 5),
        yield_log: number(4.0, 3.0, 6),
        swaths,
    }
}

/// The figures that belong to a map, as far as writers look at them.
pub fn summary(map: &YieldMap) -> Summary {
    let mut points = PointCounts {
        rows: map.verdicts.len() as u64 + 2,
        unreadable: 2,
        ..PointCounts::default()
    };
    for verdict in map.verdicts.iter() {
        match verdict {
            None => points.kept += 1,
            Some(reason) => *points.set_aside.entry(reason.name().into()).or_default() += 1,
        }
    }
    Summary {
        client: "Heron Lane".into(),
        farm: "Home".into(),
        field: "Grünfeld".into(),
        season: 2025,
        crop: "maize".into(),
        points,
        machines: vec![MachineSummary {
            name: "C1".into(),
            delay_s: Estimate {
                value: 12.25,
                ci95_low: Some(11.9),
                ci95_high: Some(12.6),
                basis: DelayBasis::Field,
            },
            moisture_delay_s: None,
            entry_ramp_s: Some(6.0),
            exit_ramp_s: Some(4.0),
        }],
        area_ha: 12.345_678_9,
        logged: LoggedSummary {
            mean: Some(9.9),
            area_ha: 13.1,
        },
        grain: GrainSummary {
            logged_kg: 120_000.0,
            fault_kg: 250.0,
            unlogged_kg: 0.0,
            weighed_kg: 60_000.0,
            corrected_kg: 118_000.5,
            reference_kg: 116_900.25,
            moisture_pct: Some(16.2),
            reference_moisture_pct: 15.5,
        },
        yields: YieldSummary {
            unit: "t/ha".into(),
            mean: Some(9.47),
            ci95_low: Some(9.41),
            ci95_high: Some(9.53),
            cv_pct: Some(18.0),
            p10: Some(6.5),
            median: Some(9.6),
            p90: None,
        },
        grid: None,
        headland: None,
        calibration: CalibrationSummary {
            method: "factor".into(),
            tickets_used: 2,
            leave_one_out_pct: None,
        },
        loads: vec![LoadSummary {
            load: Some("L-1".into()),
            machine: "C1".into(),
            ticket: Some("T, 1".into()),
            logged_kg: 30_500.123_456_789,
            weighed_kg: Some(30_000.0),
            held_out_kg: None,
            corrected_kg: 30_000.0,
            factor: Some(0.983_6),
            ci95_low: Some(0.98),
            ci95_high: None,
            basis: FactorBasis::Ticket,
            moisture_offset_pct: None,
            remarks: vec![
                Remark::new("doubtful-ticket", "…"),
                Remark::new("small-load", "…"),
            ],
        }],
        ledger: vec![],
        quality: QualitySummary::default(),
        warnings: vec![Remark::new("many-set-aside", "text")],
    }
}

/// A job of one field.
pub fn job(results: PathBuf, crs: OutputCrs) -> Job {
    Job {
        name: "Autumn 2025".into(),
        base: PathBuf::new(),
        file: "job.toml".into(),
        results,
        formats: vec![Format::GeoJson, Format::Shapefile],
        layers: vec![Layer::Points, Layer::SetAside],
        grid_cell: 10.0,
        crs,
        yield_unit: YieldUnit::TonnePerHectare,
        timezone: "UTC".into(),
        log: LogSettings::default(),
        machines: vec![],
        limits: LimitSettings::default(),
        fields: vec![field("Grünfeld")],
    }
}

/// A field season of the job.
pub fn field(name: &str) -> FieldSeason {
    FieldSeason {
        client: "Heron Lane".into(),
        farm: "Home".into(),
        name: name.into(),
        season: 2025,
        crop: Crop {
            name: "maize".into(),
            reference_moisture: 15.5,
            bushel_kg: 25.401_172_72,
            highest_yield: 25_000.0,
            row_spacing: None,
            moisture_bounds: (5.0, 50.0),
            credit_dry: false,
        },
        logs: vec!["logs/*.csv".into()],
        boundary: None,
        tickets: vec![],
        machine: None,
    }
}

/// The same job with every layer in every format.
pub fn whole_job(results: PathBuf, crs: OutputCrs) -> Job {
    Job {
        formats: Format::ALL.to_vec(),
        layers: Layer::ALL.to_vec(),
        ..job(results, crs)
    }
}

/// A grid of `n` cells, forty in a row, one of them without a yield.
pub fn grid(n: usize) -> Grid {
    let zone = UtmZone::of(PLACE[0], PLACE[1]);
    let [east, north] = zone
        .forward(PLACE[0], PLACE[1])
        .unwrap()
        .map(|v| (v / 10.0).floor() * 10.0);
    let zone_corners: Vec<[[f64; 2]; 4]> = (0..n)
        .map(|k| {
            let (x, y) = (
                east + 10.0 * (k % 40) as f64,
                north - 10.0 * (k / 40) as f64,
            );
            [[x, y], [x + 10.0, y], [x + 10.0, y + 10.0], [x, y + 10.0]]
        })
        .collect();
    let number = |scale: f64, offset: f64| -> Vec<f64> {
        (0..n)
            .map(|k| {
                if k == 7 {
                    f64::NAN
                } else {
                    offset + scale * (k as f64 * 0.11).sin()
                }
            })
            .collect()
    };
    Grid {
        zone: Some(zone),
        side: 10.0,
        corners: zone_corners
            .iter()
            .map(|c| c.map(|p| zone.inverse(p).unwrap()))
            .collect(),
        east_m: zone_corners.iter().map(|c| c[0][0] + 5.0).collect(),
        north_m: zone_corners.iter().map(|c| c[0][1] + 5.0).collect(),
        zone_corners,
        ground_pct: (0..n).map(|k| 4.0 * (1 + k % 25) as f64).collect(),
        points: (0..n).map(|k| (k % 9) as u32).collect(),
        yld_kg_ha: number(3000.0, 9500.0),
        yld_se: number(30.0, 200.0),
        yld_low: number(2900.0, 9100.0),
        yld_high: number(3100.0, 9900.0),
        yields: number(3.0, 9.5),
        mean_pct: number(31.0, 100.0),
        class: (0..n).map(|k| 1 + (k % 5) as u32).collect(),
        kriging_se: number(30.0, 150.0),
        left_out: 0,
    }
}
