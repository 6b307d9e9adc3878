//! How well pass ends are mapped: field seasons drawn at random from wide ranges, the corrected map against the truth.
//!
//! `cargo run --release --example ramp_study -- [SEASONS] [FIRST_SEED] [all] [true-delay] [true-ramps]` prints a line per
//! season that is off (all: every season) and a table, with the delay or the ramps found or as they truly are. Ranges: shapes, intervals 1–5 s, mixing 1–5 s in one or two stages (Arslan 2008), raw and
//! shifted logs, with and without work state, logs that pause with the header up, headlands equal and 25 % poorer (belt 10–25 m),
//! noise 2–10 %, no, one or two headland rounds. Bars (our choice): the mean of kept points in the first and in the last
//! 30 m of passes within 1.5 % of the truth of the same ground; the map's ratio of headland to interior within 4 %.

mod study;

use fanmill::log::Reason;
use fanmill::simulate::{
    Column, FieldSpec, HeaderUp, MachineSpec, Pattern, Shape, Shift, Smoothness, WorkStateLog,
    simulate,
};
use rayon::prelude::*;
use study::{Against, Draw, Run, inside_by, job_of, quantile, run_with, tracks};

/// Length of a pass's end that is looked at, m.
const END_M: f64 = 30.0;
/// Seconds from a pass's end that are told one by one.
const PROFILE_S: usize = 30;
/// A stop lasts at least this, s.
const STOP_S: f64 = 4.0;

/// What the study tells of the truth, to see what errors remain without those of that part.
#[derive(Clone, Copy)]
struct Told {
    delay: bool,
    ramps: bool,
}

/// One season, measured.
struct Case {
    seed: u64,
    what: String,
    interval: f64,
    tau: f64,
    shifted: bool,
    work_state: bool,
    pauses: bool,
    poor: bool,
    rounds: usize,
    refused: bool,
    delay_off: f64,
    ramps: [f64; 2],
    true_ramps: [f64; 2],
    from_data: [bool; 2],
    first: Against,
    last: Against,
    /// Standard error of both from how passes scatter, %.
    error: [f64; 2],
    by_pass: [Vec<Against>; 2],
    middle: Against,
    before_stop: Against,
    after_stop: Against,
    belt: Against,
    interior: Against,
    /// All ground cut: Σ yield × area and Σ area in the belt and inside.
    all_belt: Against,
    all_interior: Against,
    /// By seconds since the first ground cut, and until the last, ramps included.
    since: Vec<Against>,
    until: Vec<Against>,
    /// Length of passes, m.
    length: f64,
    /// Length set aside as pass entry or exit, m.
    lost_ramps: f64,
    /// Length set aside as short pass, m.
    lost_short: f64,
}

impl Case {
    /// Off against the interior, %: what ends are off beyond what the field is.
    fn ends(&self) -> [f64; 2] {
        [self.first, self.last].map(|e| e.off_pct() - self.middle.off_pct())
    }

    /// Kept points' ratio of belt to interior against the truth of the same ground, %.
    fn ratio(&self) -> f64 {
        if self.belt.points < 30 || self.interior.points < 30 {
            return f64::NAN;
        }
        100.0
            * ((self.belt.found / self.belt.truth) / (self.interior.found / self.interior.truth)
                - 1.0)
    }

    /// Kept points' ratio of belt to interior against that of all ground cut, %.
    fn map_ratio(&self) -> f64 {
        if self.belt.points < 30 || self.interior.points < 30 {
            return f64::NAN;
        }
        let mean = |a: &Against| a.found / a.area;
        let truth = |a: &Against| a.truth / a.area;
        100.0
            * (mean(&self.belt)
                / mean(&self.interior)
                / (truth(&self.all_belt) / truth(&self.all_interior))
                - 1.0)
    }
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let seasons: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(72);
    let first: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(1);
    let more: Vec<String> = arguments.collect();
    let everything = more.iter().any(|a| a == "all");
    let told = |what: &str| more.iter().any(|a| a == what);
    let told = Told {
        delay: told("true-delay"),
        ramps: told("true-ramps"),
    };
    let cases: Vec<Case> = (first..first + seasons)
        .into_par_iter()
        .filter_map(|seed| measure(seed, told))
        .collect();
    for c in cases.iter().filter(|c| everything || is_off(c)) {
        let [entry, exit] = c.ends();
        println!(
            "seed {:3} first {:+5.1} % last {:+5.1} % middle {:+5.1} % stop {:+5.1}/{:+5.1} % ratio {:+5.1} % map {:+5.1} % ramps {:4.1}/{:4.1} (true {:4.1}/{:4.1}, data {:?}) delay off {:+.2}{} {}",
            c.seed,
            entry,
            exit,
            c.middle.off_pct(),
            c.before_stop.off_pct(),
            c.after_stop.off_pct(),
            c.ratio(),
            c.map_ratio(),
            c.ramps[0],
            c.ramps[1],
            c.true_ramps[0],
            c.true_ramps[1],
            c.from_data,
            c.delay_off,
            if c.refused { " refused" } else { "" },
            c.what
        );
    }
    println!(
        "{:22} {:>4} {:>28} {:>28} {:>20} {:>20} {:>15} {:>8} {:>8}",
        "",
        "n",
        "first 30 m off %, chance",
        "last 30 m off %, chance",
        "ratio off %",
        "map ratio off %",
        "stops off %",
        "ramps %",
        "short %"
    );
    type Pick = fn(&Case) -> bool;
    let rows: [(&str, Pick); 17] = [
        ("all", |_| true),
        ("delay found", |c| !c.refused),
        ("  within 0.7 s", |c| !c.refused && c.delay_off.abs() < 0.7),
        ("    1-3 s", |c| {
            !c.refused && c.delay_off.abs() < 0.7 && c.interval < 3.5
        }),
        ("delay refused", |c| c.refused),
        ("raw", |c| !c.shifted),
        ("shifted", |c| c.shifted),
        ("1 s", |c| c.interval < 1.5),
        ("2-3 s", |c| (1.5..3.5).contains(&c.interval)),
        ("5 s", |c| c.interval > 3.5),
        ("work state", |c| c.work_state),
        ("no work state", |c| !c.work_state),
        ("log pauses", |c| c.pauses),
        ("headland equal", |c| !c.poor),
        ("headland 25 % poorer", |c| c.poor),
        ("  no headland round", |c| c.poor && c.rounds == 0),
        ("  two rounds", |c| c.poor && c.rounds == 2),
    ];
    for (name, pick) in rows {
        row(name, cases.iter().filter(|c| pick(c)));
    }
    println!(
        "\noff against the middle by second from the end, %, 1 Hz, delay within 0.7 s, medians of seasons"
    );
    for (low, high) in [(1.0, 2.0), (2.0, 3.0), (3.0, 4.0), (4.0, 5.0)] {
        for raw in [true, false] {
            let cases: Vec<&Case> = (cases.iter())
                .filter(|c| (low..high).contains(&c.tau) && c.interval < 1.5 && c.shifted != raw)
                .filter(|c| c.delay_off.abs() < 0.7)
                .collect();
            let curve = |of: fn(&Case) -> &[Against]| -> String {
                (0..PROFILE_S)
                    .map(|s| {
                        let v: Vec<f64> = (cases.iter())
                            .map(|c| of(c)[s].off_pct() - c.middle.off_pct())
                            .collect();
                        format!("{:+5.1}", quantile(&v, 0.5))
                    })
                    .collect::<Vec<_>>()
                    .join(" ")
            };
            let name = if raw { "raw" } else { "shifted" };
            println!(
                "tau {low}-{high} {name} ({})\n  entry {}\n  exit  {}",
                cases.len(),
                curve(|c| &c.since),
                curve(|c| &c.until)
            );
        }
    }
}

fn is_off(c: &Case) -> bool {
    c.ends().iter().any(|e| e.abs() > 1.5) || c.ratio().abs() > 4.0
}

fn row<'a>(name: &str, cases: impl Iterator<Item = &'a Case>) {
    let cases: Vec<&Case> = cases.collect();
    let spread = |of: &dyn Fn(&Case) -> f64, bar: f64| {
        let v: Vec<f64> = cases
            .iter()
            .map(|c| of(c))
            .filter(|v| v.is_finite())
            .collect();
        let within = v.iter().filter(|v| v.abs() <= bar).count();
        format!(
            "{:+5.2} ({:4.2}) {:3.0} %",
            quantile(&v, 0.5),
            quantile(&v.iter().map(|v| v.abs()).collect::<Vec<_>>(), 0.95),
            100.0 * within as f64 / v.len().max(1) as f64
        )
    };
    // Within the bar, or within two standard errors of how passes scatter: what no cleaning can better.
    let chance = |end: usize| {
        let told: Vec<bool> = (cases.iter())
            .filter(|c| c.ends()[end].is_finite())
            .map(|c| c.ends()[end].abs() <= 1.5f64.max(2.0 * c.error[end]))
            .collect();
        100.0 * told.iter().filter(|t| **t).count() as f64 / told.len().max(1) as f64
    };
    let pooled = |of: &dyn Fn(&Case) -> Against| {
        let mut sum = Against::default();
        for c in &cases {
            sum.join(&of(c));
        }
        sum.off_pct()
    };
    let share = |of: &dyn Fn(&Case) -> f64| {
        let sum = |of: &dyn Fn(&Case) -> f64| cases.iter().map(|c| of(c)).sum::<f64>();
        100.0 * sum(of) / sum(&|c| c.length)
    };
    println!(
        "{name:22} {:4} {:>22} {:3.0} % {:>22} {:3.0} % {:>20} {:>20} {:>+6.2}/{:>+6.2} {:8.1} {:8.1}",
        cases.len(),
        spread(&|c| c.ends()[0], 1.5),
        chance(0),
        spread(&|c| c.ends()[1], 1.5),
        chance(1),
        spread(&|c| c.ratio(), 4.0),
        spread(&|c| c.map_ratio(), 4.0),
        pooled(&|c| c.before_stop),
        pooled(&|c| c.after_stop),
        share(&|c| c.lost_ramps),
        share(&|c| c.lost_short),
    );
}

/// A field season drawn at random.
fn draw(seed: u64) -> (FieldSpec, String) {
    let mut d = Draw::new(seed);
    let shape = match d.one_of(&[0, 1, 2, 3]) {
        0 => Shape::rectangle(d.between(180.0, 350.0), d.between(200.0, 600.0)),
        1 => Shape::trapezoid(
            d.between(200.0, 400.0),
            d.between(150.0, 300.0),
            d.between(250.0, 500.0),
        ),
        2 => Shape::l_shape(
            d.between(300.0, 400.0),
            d.between(300.0, 450.0),
            120.0,
            150.0,
        ),
        _ => Shape::curved(
            d.between(200.0, 350.0),
            d.between(250.0, 500.0),
            d.between(10.0, 40.0),
        ),
    };
    let poor = d.chance(0.5);
    let interval = d.one_of(&[1.0, 1.0, 2.0, 3.0, 5.0]);
    let tau = d.between(1.0, 5.0);
    let delay = d.between(7.0f64.max(tau + 2.0), 16.0);
    let mut machine = MachineSpec {
        header_width: d.between(6.0, 12.0),
        speed: d.between(1.2, 2.4),
        ..MachineSpec::default()
    };
    machine.transport.stages = if d.chance(0.5) {
        vec![tau]
    } else {
        vec![0.6 * tau, 0.4 * tau]
    };
    machine.transport.dead_time = delay - tau;
    machine.sensor.noise = d.between(0.02, 0.10);
    machine.gnss.error_sd = 10f64.powf(d.between(0.02f64.log10(), 0.3f64.log10()));
    machine.log.interval = interval;
    machine.log.shift = match d.between(0.0, 1.0) {
        v if v < 0.3 => {
            // What a display is set to, right within a few seconds.
            let seconds = ((delay - d.between(-3.0, 3.0)) / interval).round() * interval;
            if v < 0.15 {
                Shift::WithinPass { seconds }
            } else {
                Shift::WholeClock { seconds }
            }
        }
        _ => Shift::None,
    };
    if d.chance(0.3) {
        machine.log.header_up = HeaderUp::Pause {
            after: d.between(0.0, 20.0),
        };
    }
    if d.chance(0.35) {
        machine.log.work_state = WorkStateLog::Absent;
        machine.log.columns.retain(|c| *c != Column::Pass);
    }
    if d.chance(0.3) {
        machine
            .log
            .columns
            .retain(|c| !matches!(c, Column::Speed | Column::Distance));
    }
    let mut spec = FieldSpec {
        shape,
        machines: vec![machine],
        ..FieldSpec::default()
    };
    spec.surface.cv = d.between(0.05, 0.25);
    spec.surface.range = d.between(30.0, 120.0);
    spec.surface.smoothness = d.one_of(&[Smoothness::Rough, Smoothness::Smooth]);
    spec.surface.headland_width = d.between(10.0, 25.0);
    spec.surface.headland_effect = if poor { -0.25 } else { 0.0 };
    spec.driving.heading = d.between(0.0, 180.0);
    spec.driving.headland_rounds = d.one_of(&[0, 1, 2, 2]);
    spec.driving.pattern = d.one_of(&[
        Pattern::Serpentine,
        Pattern::Serpentine,
        Pattern::Serpentine,
        Pattern::RoundAndRound,
    ]);
    spec.driving.speed_wander = d.between(0.02, 0.12);
    spec.driving.flow_hold = d.one_of(&[0.0, 0.5]);
    spec.driving.stops_per_hour = d.between(2.0, 8.0);
    let m = &spec.machines[0];
    let what = format!(
        "interval {interval} tau {tau:.1} {:?} {:?} {:?} noise {:.2} rounds {} poor {poor}",
        m.log.shift,
        m.log.header_up,
        m.log.work_state,
        m.sensor.noise,
        spec.driving.headland_rounds
    );
    (spec, what)
}

fn measure(seed: u64, told: Told) -> Option<Case> {
    let (spec, what) = draw(seed);
    let season = simulate(&spec, seed)
        .map_err(|e| println!("seed {seed}: {e}"))
        .ok()?;
    let input = season.to_input();
    let delay = match told.delay {
        true => format!("delay = \"{} s\"", season.truth.machines[0].log_delay_s),
        false => String::new(),
    };
    let (job, field) = job_of(&spec, |w| w, &delay);
    let run = run_with(&job, &field, season, input, |season, machines| {
        if told.ramps {
            let truth = season.truth.machines[0].response;
            machines[0].ramps.entry.seconds = truth.entry_ramp_s;
            machines[0].ramps.exit.seconds = truth.exit_ramp_s;
        }
    })
    .map_err(|e| println!("seed {seed}: {e}"))
    .ok()?;
    let truth = &run.season.truth.machines[0];
    let decision = &run.machines[0];
    let log = &spec.machines[0].log;
    let mut case = Case {
        seed,
        what,
        interval: log.interval,
        tau: spec.machines[0].transport.stages.iter().sum(),
        shifted: log.shift != Shift::None,
        work_state: log.work_state != WorkStateLog::Absent,
        pauses: log.header_up != HeaderUp::Rows,
        poor: spec.surface.headland_effect < 0.0,
        rounds: spec.driving.headland_rounds,
        refused: decision.delay.refused,
        delay_off: decision.delay.delay.value - truth.log_delay_s,
        ramps: [decision.ramps.entry.seconds, decision.ramps.exit.seconds],
        true_ramps: [truth.response.entry_ramp_s, truth.response.exit_ramp_s],
        from_data: [
            decision.ramps.entry.from_data,
            decision.ramps.exit.from_data,
        ],
        first: Against::default(),
        last: Against::default(),
        error: [f64::NAN; 2],
        by_pass: [Vec::new(), Vec::new()],
        middle: Against::default(),
        before_stop: Against::default(),
        after_stop: Against::default(),
        belt: Against::default(),
        interior: Against::default(),
        all_belt: Against::default(),
        all_interior: Against::default(),
        since: vec![Against::default(); PROFILE_S],
        until: vec![Against::default(); PROFILE_S],
        length: 0.0,
        lost_ramps: 0.0,
        lost_short: 0.0,
    };
    for track in tracks(&run.season) {
        let mut from = 0;
        while from < track.len() {
            let pass = run.season.rows[track[from]].pass;
            let mut end = from + 1;
            while end < track.len() && run.season.rows[track[end]].pass == pass {
                end += 1;
            }
            if pass.is_some() {
                of_pass(&run, &spec, &track[from..end], &mut case);
            }
            from = end;
        }
    }
    case.error = [&case.by_pass[0], &case.by_pass[1]].map(|passes| standard_error(passes));
    Some(case)
}

/// Standard error of how far a mean over passes is off, %, from how the passes scatter (ratio of sums: Cochran 1977,
/// "Sampling Techniques", section 6.4).
fn standard_error(passes: &[Against]) -> f64 {
    let mut sum = Against::default();
    passes.iter().for_each(|p| sum.join(p));
    let ratio = sum.found / sum.truth;
    let n = passes.len() as f64;
    let squares: f64 = (passes.iter())
        .map(|p| (p.found - ratio * p.truth).powi(2))
        .sum();
    100.0 * (squares * n / (n - 1.0)).sqrt() / sum.truth
}

/// Adds one pass of the truth: rows with the header down, in the order of time.
fn of_pass(run: &Run, spec: &FieldSpec, rows: &[usize], case: &mut Case) {
    let row = |i: usize| &run.season.rows[i];
    let cuts = |i: &usize| row(*i).truth.cut_share > 0.3;
    let (Some(a), Some(b)) = (rows.iter().position(cuts), rows.iter().rposition(cuts)) else {
        return;
    };
    let rows = &rows[a..=b];
    // Way from the first ground cut to the middle of each row's.
    let mut at = Vec::with_capacity(rows.len());
    let mut way = 0.0;
    for &i in rows {
        at.push(way + 0.5 * row(i).distance_m);
        way += row(i).distance_m;
    }
    let dt = spec.machines[row(rows[0]).machine as usize].log.interval;
    let is_standing = |k: usize| row(rows[k]).distance_m < 0.1 * dt;
    let mut stops = Vec::new();
    let mut stood = 0.0;
    for (k, &place) in at.iter().enumerate() {
        if is_standing(k) {
            stood += dt;
        } else {
            if stood >= STOP_S {
                stops.push(place);
            }
            stood = 0.0;
        }
    }
    let mut ends = [Against::default(); 2];
    let belt = spec.surface.headland_width;
    let (lon, lat): (Vec<f64>, Vec<f64>) = rows
        .iter()
        .map(|&i| (row(i).truth.lon_deg, row(i).truth.lat_deg))
        .unzip();
    let (x, y) = run.prepared.frame.forward(&lon, &lat);
    for (k, &i) in rows.iter().enumerate() {
        let truth = &row(i).truth;
        let verdict = run.map.verdicts.reason(i);
        case.length += row(i).distance_m;
        match verdict {
            Some(Reason::PassEntry | Reason::PassExit) => case.lost_ramps += row(i).distance_m,
            Some(Reason::ShortPass) => case.lost_short += row(i).distance_m,
            _ => {}
        }
        if matches!(
            verdict,
            None | Some(Reason::PassEntry | Reason::PassExit | Reason::ShortPass)
        ) {
            let add = |to: &mut [Against], seconds: f64| {
                if let Some(to) = to.get_mut(seconds as usize) {
                    to.add(run.map.yld_kg_ha[i], truth.reference_kg_ha, truth.area_m2);
                }
            };
            add(&mut case.since, (k as f64 + 0.5) * dt);
            add(&mut case.until, ((rows.len() - k) as f64 - 0.5) * dt);
        }
        let half = 0.5 * spec.machines[row(i).machine as usize].header_width;
        let deep = inside_by(&run.prepared, x[k], y[k]);
        // Ground wholly in the belt, or wholly beside it.
        let place = if deep < belt - half {
            Some(true)
        } else if deep > belt + half {
            Some(false)
        } else {
            None
        };
        let all = match place {
            Some(true) => Some(&mut case.all_belt),
            Some(false) => Some(&mut case.all_interior),
            None => None,
        };
        if let Some(all) = all {
            all.add(truth.reference_kg_ha, truth.reference_kg_ha, truth.area_m2);
        }
        if verdict.is_some() {
            continue;
        }
        let found = run.map.yld_kg_ha[i];
        let add = |to: &mut Against| to.add(found, truth.reference_kg_ha, truth.area_m2);
        match place {
            Some(true) => add(&mut case.belt),
            Some(false) => add(&mut case.interior),
            None => {}
        }
        let near_stop = |before: bool| {
            stops.iter().any(|s| {
                let d = if before { s - at[k] } else { at[k] - s };
                (0.0..END_M).contains(&d)
            })
        };
        if near_stop(true) {
            add(&mut case.before_stop);
        } else if near_stop(false) {
            add(&mut case.after_stop);
        }
        if at[k] < END_M {
            add(&mut ends[0]);
        } else if way - at[k] < END_M {
            add(&mut ends[1]);
        } else {
            add(&mut case.middle);
        }
    }
    let [first, last] = ends;
    for (e, (to, end)) in [(&mut case.first, first), (&mut case.last, last)]
        .into_iter()
        .enumerate()
    {
        if end.points > 0 {
            to.join(&end);
            case.by_pass[e].push(end);
        }
    }
}
