//! Pictures of what is behind a map: the delay curve with its interval, the pass ramps with their band, the cut widths.
//!
//! `cargo run --release --example pictures -- FOLDER [FOLDER_OF_THE_MAIZE_LOG]` writes an SVG a field: two fields of the
//! demo farm and, where its folder is given, the maize log of `examples/maize` (University of Minnesota Precision
//! Agriculture Center, in the R package agridat, CC BY-SA 3.0; the picture names it).

mod study;
mod svg;

use std::path::Path;

use fanmill::delay::{CANDIDATE_STEP_S, LOWEST_CANDIDATE_S, candidate};
use fanmill::gather::{self, MachineEvidence};
use fanmill::passes::Activity;
use fanmill::pool::{self, MachineDecision};
use fanmill::prepare::Prepared;
use fanmill::ramps::Ramp;
use fanmill::simulate::{demo_farm, simulate};
use svg::{Page, Panel};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments.next().ok_or("expected a folder to write to")?;
    std::fs::create_dir_all(&folder)?;
    for (spec, key) in demo_farm().iter().filter_map(|spec| {
        ["brook", "mill"]
            .into_iter()
            .find(|k| spec.key == *k)
            .map(|k| (spec, k))
    }) {
        let season = simulate(spec, 1)?;
        let (job, field) = study::job_of(spec, |w| w, "");
        let prepared = Prepared::new(&job, &field, season.to_input())?;
        let truth = &season.truth.machines[0];
        let note = format!(
            "truth: delay in the log {:.1} s, ramps {:.1} s and {:.1} s (within 2 % of full)",
            truth.log_delay_s, truth.response.entry_ramp_s, truth.response.exit_ramp_s
        );
        draw(
            &format!("{folder}/{key}.svg"),
            &spec.name,
            &note,
            &prepared,
            &job,
        )?;
    }
    if let Some(log) = arguments.next() {
        let text = std::fs::read_to_string(
            Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/maize/job.toml"),
        )?;
        let job = fanmill::job::parse(&text, "job.toml", Path::new(&log))?;
        let input = fanmill::read::read_field(&job, &job.fields[0])?;
        let prepared = Prepared::new(&job, &job.fields[0], input)?;
        let note = "data: University of Minnesota Precision Agriculture Center, gartner.corn in agridat, CC BY-SA 3.0";
        draw(
            &format!("{folder}/maize.svg"),
            "Maize log",
            note,
            &prepared,
            &job,
        )?;
    }
    Ok(())
}

fn draw(
    file: &str,
    name: &str,
    note: &str,
    field: &Prepared,
    job: &fanmill::job::Job,
) -> Result<(), Box<dyn std::error::Error>> {
    let evidence = gather::machines(field);
    let machines = pool::machines(job, &[("c", &evidence)]).remove(0);
    let (evidence, machine) = (&evidence[0], &machines[0]);
    let mut page = Page::new(1640.0, 760.0);
    page.text(
        [40.0, 28.0],
        18.0,
        "start",
        &format!("{name}, machine {}", machine.machine),
    );
    page.text([40.0, 48.0], 12.0, "start", note);
    delay(&mut page, evidence, machine);
    ramp(&mut page, &machine.ramps.entry, true, 320.0);
    ramp(&mut page, &machine.ramps.exit, false, 560.0);
    widths(&mut page, field);
    std::fs::write(file, page.finish())?;
    println!(
        "{file}: delay {:.2} s, ramps {:.1} s {:?} and {:.1} s {:?}, {} entries ({} against passes beside), {:?}",
        machine.delay.delay.value,
        machine.ramps.entry.seconds,
        machine.ramps.entry.interval,
        machine.ramps.exit.seconds,
        machine.ramps.exit.interval,
        machine.ramps.entry.passes,
        machine.ramps.entry.against,
        field.width.spacing
    );
    Ok(())
}

/// Disagreement of opposed passes over candidate delays, at 3 s of mixing.
fn delay(page: &mut Page, evidence: &MachineEvidence, machine: &MachineDecision) {
    let curve = &evidence.delay.grain[2];
    let mut sums: Vec<(f64, f64)> = Vec::new();
    for block in &curve.along {
        sums.resize(block.disagreement.len().max(sums.len()), (0.0, 0.0));
        for (sum, (d, s)) in sums
            .iter_mut()
            .zip(block.disagreement.iter().zip(&block.spread))
        {
            sum.0 += f64::from(*d);
            sum.1 += f64::from(*s);
        }
    }
    let most = sums.iter().map(|s| s.1).fold(0.0, f64::max);
    let points: Vec<(f64, f64)> = (sums.iter().enumerate())
        .filter(|(_, s)| s.1 > 0.3 * most)
        .map(|(c, s)| (candidate(c), s.0 / s.1))
        .collect();
    let highest = points.iter().map(|p| p.1).fold(0.1, f64::max);
    let p = Panel {
        left: 80.0,
        top: 90.0,
        width: 540.0,
        height: 150.0,
        x: [
            LOWEST_CANDIDATE_S,
            LOWEST_CANDIDATE_S + 90.0 * CANDIDATE_STEP_S,
        ],
        y: [0.0, 1.05 * highest],
    };
    let d = &machine.delay.delay;
    page.axes(
        &p,
        &format!(
            "disagreement of opposed passes: delay {:.2} s, 95 % interval {} ({:?}{})",
            d.value,
            match (d.ci95_low, d.ci95_high) {
                (Some(a), Some(b)) => format!("{a:.2} to {b:.2} s"),
                _ => "unknown".into(),
            },
            d.basis,
            if machine.delay.refused {
                ", refused"
            } else {
                ""
            }
        ),
        ["candidate delay, s", ""],
        [&[-10.0, 0.0, 10.0, 20.0, 30.0], &ticks(highest)],
    );
    if let (Some(a), Some(b)) = (d.ci95_low, d.ci95_high) {
        let band = [
            p.at(a, p.y[0]),
            p.at(b, p.y[0]),
            p.at(b, p.y[1]),
            p.at(a, p.y[1]),
        ];
        page.polygon(&band, "fill=\"#c9b6e4\" fill-opacity=\"0.7\"");
    }
    let line: Vec<[f64; 2]> = points.iter().map(|q| p.at(q.0, q.1)).collect();
    page.line(&line, "stroke=\"#2a4b8d\" stroke-width=\"1.6\"");
    page.line(
        &[p.at(d.value, p.y[0]), p.at(d.value, p.y[1])],
        "stroke=\"#6b3fa0\" stroke-width=\"1.5\"",
    );
}

fn ticks(highest: f64) -> Vec<f64> {
    let step = if highest > 1.0 {
        0.5
    } else if highest > 0.4 {
        0.2
    } else {
        0.05
    };
    (0..=(highest / step) as usize)
        .map(|k| (k as f64 * step * 100.0).round() / 100.0)
        .collect()
}

fn ramp(page: &mut Page, ramp: &Ramp, entry: bool, top: f64) {
    let x = if entry { [0.0, 36.0] } else { [36.0, 0.0] };
    let p = Panel {
        left: 80.0,
        top: top + 10.0,
        width: 540.0,
        height: 150.0,
        x,
        y: [0.0, 1.3],
    };
    let title = format!(
        "{} ramp {:.1} s, 95 % interval {:.1} to {:.1} s, {} passes{}{}",
        if entry { "entry" } else { "exit" },
        ramp.seconds,
        ramp.interval[0],
        ramp.interval[1],
        ramp.passes,
        if ramp.against > 0 {
            ", against passes beside"
        } else {
            ""
        },
        if ramp.from_data {
            ""
        } else {
            " (not told by the data)"
        }
    );
    let names = if entry {
        ["seconds since the pass began", "share of level"]
    } else {
        ["seconds until the pass ends", "share of level"]
    };
    page.axes(
        &p,
        &title,
        names,
        [&[0.0, 10.0, 20.0, 30.0], &[0.0, 0.5, 1.0]],
    );
    let seconds = || {
        ramp.profile
            .iter()
            .take(36)
            .enumerate()
            .map(|(s, v)| (s as f64 + 0.5, v.map(f64::from)))
    };
    let end = ramp.seconds.min(36.0);
    let grey = [
        p.at(0.0, 0.0),
        p.at(end, 0.0),
        p.at(end, 1.3),
        p.at(0.0, 1.3),
    ];
    page.polygon(&grey, "fill=\"#efe3d0\"");
    let told: Vec<(f64, [f64; 3])> = seconds().filter(|(_, v)| v[1].is_finite()).collect();
    let mut band: Vec<[f64; 2]> = told.iter().map(|(s, v)| p.at(*s, v[2].min(1.3))).collect();
    band.extend(told.iter().rev().map(|(s, v)| p.at(*s, v[0].max(0.0))));
    if !band.is_empty() {
        page.polygon(&band, "fill=\"#b9cbe8\"");
    }
    let line: Vec<[f64; 2]> = told
        .iter()
        .map(|(s, v)| p.at(*s, v[1].clamp(0.0, 1.3)))
        .collect();
    page.line(&line, "stroke=\"#2a4b8d\" stroke-width=\"1.6\"");
    if let Some(response) = &ramp.response {
        let fitted: Vec<[f64; 2]> = (0..144)
            .map(|k| f64::from(k) / 4.0)
            .map(|s| {
                (
                    s,
                    if entry {
                        response.filling(s)
                    } else {
                        response.emptying(s)
                    },
                )
            })
            .map(|(s, v)| p.at(s, v.clamp(0.0, 1.3)))
            .collect();
        page.line(
            &fitted,
            "stroke=\"#b0472d\" stroke-width=\"1.4\" stroke-dasharray=\"5 3\"",
        );
    }
    page.line(
        &[p.at(end, 0.0), p.at(end, 1.3)],
        "stroke=\"#8a5a1c\" stroke-width=\"1.5\"",
    );
}

/// Rows by the share of the header on standing crop.
fn widths(page: &mut Page, field: &Prepared) {
    let passes = &field.passes;
    let cuts = |i: usize| matches!(passes.activity[i], Activity::Cutting | Activity::Turning);
    let rows: Vec<usize> = (0..passes.ground.len())
        .filter(|&i| cuts(i) && passes.pass_of[i].is_some() && field.width.share[i].is_finite())
        .collect();
    let middles: Vec<[f64; 2]> = rows
        .iter()
        .filter_map(|&i| passes.ground[i].map(|g| g.middle()))
        .collect();
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for m in &middles {
        for k in 0..2 {
            low[k] = low[k].min(m[k]);
            high[k] = high[k].max(m[k]);
        }
    }
    let scale = (760.0 / (high[0] - low[0]).max(1.0)).min(600.0 / (high[1] - low[1]).max(1.0));
    let place = |p: [f64; 2]| {
        [
            820.0 + (p[0] - low[0]) * scale,
            100.0 + (high[1] - p[1]) * scale,
        ]
    };
    page.text(
        [820.0, 82.0],
        14.0,
        "start",
        "share of the header on standing crop: pale all, dark blue little; ochre: too narrow for a yield",
    );
    for &i in &rows {
        let Some(g) = passes.ground[i] else { continue };
        let length = g.length();
        if length < 0.05 {
            continue;
        }
        let half = 0.5 * passes.header_width[i] / length;
        let across = [-(g.to[1] - g.from[1]) * half, (g.to[0] - g.from[0]) * half];
        let corner = |p: [f64; 2], s: f64| place([p[0] + s * across[0], p[1] + s * across[1]]);
        let quad = [
            corner(g.from, -1.0),
            corner(g.to, -1.0),
            corner(g.to, 1.0),
            corner(g.from, 1.0),
        ];
        let share = field.width.share[i];
        let colour = if field.width.narrow[i] {
            "#b8862b".to_owned()
        } else {
            let part = (1.0 - share).clamp(0.0, 1.0);
            let mix = |a: f64, b: f64| (a + (b - a) * part).round() as u8;
            format!(
                "#{:02x}{:02x}{:02x}",
                mix(226.0, 12.0),
                mix(234.0, 44.0),
                mix(244.0, 110.0)
            )
        };
        page.polygon(&quad, &format!("fill=\"{colour}\" fill-opacity=\"0.85\""));
    }
    let full = rows
        .iter()
        .filter(|&&i| field.width.share[i] > 0.95)
        .count();
    let narrow = rows.iter().filter(|&&i| field.width.narrow[i]).count();
    page.text(
        [820.0, 730.0],
        12.0,
        "start",
        &format!(
            "{} rows at work: {:.0} % with more than 95 % of the header, {:.1} % too narrow; usual gap between swaths {:+.2} m",
            rows.len(),
            100.0 * full as f64 / rows.len().max(1) as f64,
            100.0 * narrow as f64 / rows.len().max(1) as f64,
            field.width.spacing.usual
        ),
    );
}
