//! How well passes are found: simulated fields of many kinds, the passes found against those driven.
//!
//! `cargo run --release --example pass_study -- [FIELDS_PER_KIND] [all]` prints a table (all: and a line per field). Bars (our
//! choice): at least 99 % of the rows that truly cut are on a pass, at most 2 % of those with the header up.

mod study;

use fanmill::simulate::{
    Column, FieldSpec, HeaderUp, MachineSpec, Pattern, Shape, Unloading, WorkStateLog, simulate,
};
use rayon::prelude::*;
use std::collections::BTreeMap;
use study::{Draw, job_of};

/// What a kind of field changes.
type Change = fn(&mut FieldSpec, &mut Draw);

/// Counts over one kind of field.
#[derive(Debug, Clone, Copy, Default)]
struct Counts {
    cutting: usize,
    cutting_on: usize,
    sound: usize,
    sound_on: usize,
    idle: usize,
    idle_on: usize,
    /// Passes driven, and pieces of found passes on them.
    driven: usize,
    pieces: usize,
    /// Found passes, and those of them that span several driven ones.
    found: usize,
    joined: usize,
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let fields: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(6);
    let everything = arguments.next().is_some();
    println!(
        "{:38} {:>12} {:>12} {:>12} {:>12} {:>12}",
        "", "cutting on %", "sound on %", "idle on %", "pieces/pass", "joined %"
    );
    for (name, change) in kinds() {
        let each: Vec<Counts> = (1..=fields)
            .into_par_iter()
            .filter_map(|seed| measure(seed, change))
            .collect();
        if everything {
            for (seed, c) in (1..).zip(&each) {
                row(&format!("  {name}, seed {seed}"), c);
            }
        }
        let mut sum = Counts::default();
        for c in &each {
            sum.cutting += c.cutting;
            sum.cutting_on += c.cutting_on;
            sum.sound += c.sound;
            sum.sound_on += c.sound_on;
            sum.idle += c.idle;
            sum.idle_on += c.idle_on;
            sum.driven += c.driven;
            sum.pieces += c.pieces;
            sum.found += c.found;
            sum.joined += c.joined;
        }
        row(name, &sum);
    }
}

fn row(name: &str, c: &Counts) {
    let share = |a: usize, b: usize| 100.0 * a as f64 / b as f64;
    println!(
        "{name:38} {:12.2} {:12.2} {:12.2} {:12.2} {:12.1}",
        share(c.cutting_on, c.cutting),
        share(c.sound_on, c.sound),
        share(c.idle_on, c.idle),
        c.pieces as f64 / c.driven as f64,
        share(c.joined, c.found)
    );
}

fn each(spec: &mut FieldSpec, change: impl Fn(&mut MachineSpec)) {
    spec.machines.iter_mut().for_each(change);
}

fn no_state(spec: &mut FieldSpec) {
    each(spec, |m| {
        m.log.work_state = WorkStateLog::Absent;
        m.log.columns.retain(|c| *c != Column::Pass);
    });
}

fn no_clock(spec: &mut FieldSpec) {
    each(spec, |m| {
        m.log
            .columns
            .retain(|c| !matches!(c, Column::Time | Column::Interval));
    });
}

fn interval(spec: &mut FieldSpec, seconds: f64) {
    each(spec, |m| m.log.interval = seconds);
}

fn pauses(spec: &mut FieldSpec, d: &mut Draw) {
    let after = d.between(0.0, 15.0);
    each(spec, |m| m.log.header_up = HeaderUp::Pause { after });
}

fn kinds() -> Vec<(&'static str, Change)> {
    vec![
        ("work state", |_, _| {}),
        ("work state, 5 s", |s, _| interval(s, 5.0)),
        ("always working", |s, _| {
            each(s, |m| m.log.work_state = WorkStateLog::Always);
        }),
        ("no work state, 1 s", |s, _| no_state(s)),
        ("no work state, 2 s", |s, _| {
            no_state(s);
            interval(s, 2.0);
        }),
        ("no work state, 3 s", |s, _| {
            no_state(s);
            interval(s, 3.0);
        }),
        ("no work state, 5 s", |s, _| {
            no_state(s);
            interval(s, 5.0);
        }),
        ("no work state, no speed", |s, _| {
            no_state(s);
            each(s, |m| {
                m.log
                    .columns
                    .retain(|c| !matches!(c, Column::Speed | Column::Distance));
            });
        }),
        ("no work state, GNSS 1 m", |s, _| {
            no_state(s);
            each(s, |m| m.gnss.error_sd = 1.0);
        }),
        ("no work state, GNSS noise 0.2 m", |s, _| {
            no_state(s);
            each(s, |m| m.gnss.noise = 0.2);
        }),
        ("no work state, pauses", |s, d| {
            no_state(s);
            pauses(s, d);
        }),
        ("no work state, pauses, 3 s", |s, d| {
            no_state(s);
            pauses(s, d);
            interval(s, 3.0);
        }),
        ("no clock", |s, _| no_clock(s)),
        ("no clock, pauses", |s, d| {
            no_clock(s);
            pauses(s, d);
        }),
        ("no clock, no work state", |s, _| {
            no_clock(s);
            no_state(s);
        }),
        ("no clock, no work state, pauses", |s, d| {
            no_clock(s);
            no_state(s);
            pauses(s, d);
        }),
        ("no clock, state, speed; pauses", |s, d| {
            no_clock(s);
            no_state(s);
            pauses(s, d);
            each(s, |m| {
                m.log
                    .columns
                    .retain(|c| !matches!(c, Column::Speed | Column::Distance));
            });
        }),
        ("spiral, no work state", |s, _| {
            no_state(s);
            s.driving.pattern = Pattern::Spiral;
        }),
        ("spiral, work state", |s, _| {
            s.driving.pattern = Pattern::Spiral
        }),
        ("contour, no work state, 3 s", |s, d| {
            no_state(s);
            interval(s, 3.0);
            s.shape = Shape::curved(d.between(150.0, 250.0), 400.0, 60.0);
            s.driving.headland_rounds = 8;
        }),
        ("round and round, no work state", |s, d| {
            no_state(s);
            s.driving.pattern = Pattern::RoundAndRound;
            s.driving.heading = d.one_of(&[0.0, 90.0]);
        }),
        ("  askew, drives over standing crop", |s, _| {
            no_state(s);
            s.driving.pattern = Pattern::RoundAndRound;
        }),
        ("point rows, no work state", |s, d| {
            no_state(s);
            s.shape = Shape::trapezoid(d.between(250.0, 400.0), d.between(60.0, 120.0), 350.0);
        }),
        ("stops, no work state", |s, _| {
            no_state(s);
            s.driving.stops_per_hour = 20.0;
            s.driving.unloading = Unloading::Standing;
        }),
        ("stops, work state, 3 s", |s, _| {
            interval(s, 3.0);
            s.driving.stops_per_hour = 20.0;
            s.driving.unloading = Unloading::Standing;
        }),
        ("three machines, no work state", |s, _| {
            s.machines = (0..3)
                .map(|m| MachineSpec {
                    name: format!("M{m}"),
                    ..s.machines[0].clone()
                })
                .collect();
            s.driving.land_width = 60.0;
            no_state(s);
        }),
        ("days, no work state, pauses", |s, d| {
            no_state(s);
            pauses(s, d);
            s.driving.hours_per_day = 0.7;
        }),
        ("no headland, no work state", |s, _| {
            no_state(s);
            s.driving.headland_rounds = 0;
        }),
        ("pond, no work state, 2 s", |s, _| {
            no_state(s);
            interval(s, 2.0);
            s.shape = Shape::rectangle(350.0, 350.0).with_pond([170.0, 180.0], 35.0);
        }),
    ]
}

fn measure(seed: u64, change: Change) -> Option<Counts> {
    let mut d = Draw::new(seed);
    let mut spec = FieldSpec {
        shape: Shape::rectangle(d.between(150.0, 300.0), d.between(200.0, 400.0)),
        ..FieldSpec::default()
    };
    spec.driving.heading = d.between(0.0, 180.0);
    spec.machines[0].header_width = d.between(6.0, 12.0);
    spec.machines[0].speed = d.between(1.2, 2.4);
    change(&mut spec, &mut d);
    let season = simulate(&spec, seed)
        .map_err(|e| println!("seed {seed}: {e}"))
        .ok()?;
    let (job, field) = job_of(&spec, |w| w, "");
    let prepared = fanmill::prepare::Prepared::new(&job, &field, season.to_input())
        .map_err(|e| println!("seed {seed}: {e}"))
        .ok()?;
    let passes = &prepared.passes;
    let mut on = vec![None; season.rows.len()];
    for (p, pass) in passes.passes.iter().enumerate() {
        for &i in &prepared.timeline.tracks[pass.track].rows[pass.first..pass.end] {
            on[i as usize] = passes.pass_of[i as usize].map(|_| p);
        }
    }
    let mut c = Counts {
        found: passes.passes.len(),
        ..Counts::default()
    };
    let mut of_driven: BTreeMap<(u32, u32), BTreeMap<usize, usize>> = BTreeMap::new();
    let mut of_found: BTreeMap<usize, BTreeMap<u32, usize>> = BTreeMap::new();
    for (i, row) in season.rows.iter().enumerate() {
        if row.truth.fault.is_some() {
            continue;
        }
        let is_on = usize::from(on[i].is_some());
        let cuts = row.truth.cut_share > 0.4
            && row.truth.area_m2 > 0.3 * row.interval_s * spec.machines[0].header_width;
        if cuts {
            c.cutting += 1;
            c.cutting_on += is_on;
        }
        if row.truth.sound {
            c.sound += 1;
            c.sound_on += is_on;
        }
        if row.pass.is_none() && !(row.truth.area_m2 > 0.0) {
            c.idle += 1;
            c.idle_on += is_on;
        }
        if let (Some(driven), Some(found), true) = (row.pass, on[i], cuts) {
            *of_driven
                .entry((row.machine, driven))
                .or_default()
                .entry(found)
                .or_default() += 1;
            *of_found
                .entry(found)
                .or_default()
                .entry(driven)
                .or_default() += 1;
        }
    }
    c.driven = of_driven.len();
    c.pieces = of_driven.values().map(BTreeMap::len).sum();
    let several = |of: &&BTreeMap<u32, usize>| of.values().filter(|&&n| n >= 3).count() > 1;
    c.joined = of_found.values().filter(several).count();
    Some(c)
}
