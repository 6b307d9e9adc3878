//! Tickets drawn for a season, the pool's decisions beside one factor per machine, and both beside the truth.

use fanmill::calibrate::joint;
use fanmill::gather::ScaleEvidence;
use fanmill::loads::TicketRef;
use fanmill::place::Place;
use fanmill::pool;
use fanmill::read::{Ticket, TicketUse};
use fanmill::summary::FactorBasis;

use crate::Season;
use crate::study::{Draw, quantile};

/// Which loads are weighed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tickets {
    All,
    Half,
    FirstHalf,
    HalfOneWrong,
    OneMachine,
    Two,
    One,
    None,
}

const ALL: [(Tickets, &str); 8] = [
    (Tickets::All, "all weighed"),
    (Tickets::Half, "half weighed, at random"),
    (Tickets::FirstHalf, "first half weighed"),
    (Tickets::HalfOneWrong, "half weighed, one 12 % off"),
    (Tickets::OneMachine, "one machine of two weighed"),
    (Tickets::Two, "two tickets"),
    (Tickets::One, "one ticket"),
    (Tickets::None, "no ticket"),
];

/// One season with one draw of tickets.
pub struct Judged {
    tickets: Tickets,
    two_machines: bool,
    headland: bool,
    drifts: bool,
    /// Log errors of unweighed loads: one factor; joint, with its stated sd.
    one: Vec<f64>,
    joint: Vec<(f64, f64)>,
    /// Loads that are joined to others by neighbouring ground.
    by_neighbours: usize,
    /// Log error of the field's grain: one factor; joint, with its stated sd.
    field_one: f64,
    field: (f64, f64),
    /// The wrong ticket: whether it was named; and how many right ones were named.
    named: Option<bool>,
    named_wrongly: usize,
    /// The same of those that are called odd and obeyed.
    odd: bool,
    odd_wrongly: usize,
    warned: bool,
}

/// Draws tickets and judges the pool by them.
pub fn judge(season: &Season) -> Vec<Judged> {
    let links = joint::links(&season.patches);
    ALL.iter()
        .filter(|(t, _)| *t != Tickets::OneMachine || season.machines > 1)
        .filter_map(|(tickets, _)| one(season, *tickets, &links))
        .collect()
}

fn one(season: &Season, kind: Tickets, links: &Option<joint::Links>) -> Option<Judged> {
    let mut draw = Draw::new(1_000 * season.seed + kind as u64);
    let n = season.loads.len();
    let counts = |l: &usize| season.truth[*l] > 500.0;
    let mut picked: Vec<usize> = Vec::new();
    let mut names: Vec<&str> = season.loads.iter().map(|l| l.machine.as_str()).collect();
    names.dedup();
    for (m, name) in names.iter().enumerate() {
        let mut of: Vec<usize> = (0..n)
            .filter(|l| season.loads[*l].machine == **name && counts(l))
            .collect();
        let half = of.len().div_ceil(2);
        match kind {
            Tickets::All => {}
            Tickets::FirstHalf => of.truncate(half),
            Tickets::Half | Tickets::HalfOneWrong => {
                while of.len() > half {
                    of.remove(draw.between(0.0, of.len() as f64 - 1e-9) as usize);
                }
            }
            Tickets::OneMachine if m == 0 => {}
            _ => of.clear(),
        }
        picked.extend(of);
    }
    let any: Vec<usize> = (0..n).filter(counts).collect();
    let more = match kind {
        Tickets::Two => 2,
        Tickets::One => 1,
        _ => 0,
    };
    while picked.len() < more {
        let l = draw.one_of(&any);
        if !picked.contains(&l) {
            picked.push(l);
        }
    }
    picked.sort_unstable();
    let sd = 10f64.powf(draw.between(-3.0, -2.0));
    let mut normal = || (0..12).map(|_| draw.between(-0.5, 0.5)).sum::<f64>();
    let mut nets: Vec<f64> = (picked.iter())
        .map(|&l| season.truth[l] * (1.0 + sd * normal()))
        .collect();
    let wrong = (kind == Tickets::HalfOneWrong && picked.len() >= 5)
        .then(|| draw.between(0.0, picked.len() as f64 - 1e-9) as usize);
    if kind == Tickets::HalfOneWrong {
        nets[wrong?] *= draw.one_of(&[1.12, 1.0 / 1.12]);
    }
    let tickets: Vec<Ticket> = (picked.iter().zip(&nets).enumerate())
        .map(|(t, (&l, &net_kg))| Ticket {
            id: format!("T{t}"),
            place: Place::file("tickets.csv").row(t as u32 + 1),
            loads: season.loads[l].load.iter().cloned().collect(),
            net_kg,
            moisture_pct: None,
            field: None,
            machine: None,
            start: None,
            end: None,
            scale: None,
            usage: TicketUse::Auto,
        })
        .collect();
    let mut loads = season.loads.clone();
    for (t, &l) in picked.iter().enumerate() {
        loads[l].ticket = Some(TicketRef::of(&tickets[t]));
    }
    let evidence = ScaleEvidence {
        loads,
        tickets,
        links: links.clone(),
    };
    let decision = pool::scale(&[("maize", &evidence)]).remove(0);

    let plain = one_factor(season, &picked, &nets);
    let total: f64 = any.iter().map(|&l| season.truth[l]).sum();
    let mut out = Judged {
        tickets: kind,
        two_machines: season.machines > 1,
        headland: season.headland,
        drifts: season.trend != 0.0,
        one: Vec::new(),
        joint: Vec::new(),
        by_neighbours: 0,
        field_one: 0.0,
        field: (0.0, decision.grain_sd),
        named: wrong.map(|_| false),
        named_wrongly: 0,
        odd: false,
        odd_wrongly: 0,
        warned: decision.warnings.iter().any(|w| w.code == "single-ticket") || !decision.has_level,
    };
    let (mut sum_one, mut sum) = (0.0, 0.0);
    for &l in &any {
        let mass = season.loads[l].mass_kg;
        let d = &decision.loads[l];
        let at = picked.iter().position(|&p| p == l);
        sum += mass * d.factor;
        sum_one += at.map_or(mass * plain[l], |t| nets[t]);
        let truth = (season.truth[l] / mass).ln();
        let doubted = d.remarks.iter().any(|r| r.code == "doubtful-ticket");
        if doubted {
            if at.is_some() && at == wrong {
                out.named = Some(true);
            } else {
                out.named_wrongly += 1;
            }
        }
        if d.remarks.iter().any(|r| r.code == "odd-ticket") {
            if at.is_some() && at == wrong {
                out.odd = true;
            } else {
                out.odd_wrongly += 1;
            }
        }
        if at.is_none() {
            out.one.push(plain[l].ln() - truth);
            out.joint.push((d.factor.ln() - truth, d.relative_sd));
            out.by_neighbours += usize::from(d.basis == FactorBasis::Neighbours);
        }
    }
    out.field_one = (sum_one / total).ln();
    out.field.0 = (sum / total).ln();
    Some(out)
}

/// One factor per machine: weighed over logged mass of what was weighed; 1 where nothing was. A wrong ticket is obeyed.
fn one_factor(season: &Season, picked: &[usize], nets: &[f64]) -> Vec<f64> {
    (season.loads.iter())
        .map(|load| {
            let (w, m) = (picked.iter().zip(nets))
                .filter(|(l, _)| season.loads[**l].machine == load.machine)
                .fold((0.0, 0.0), |(w, m), (&l, net)| {
                    (w + net, m + season.loads[l].mass_kg)
                });
            if m > 0.0 { w / m } else { 1.0 }
        })
        .collect()
}

/// Prints everything.
pub fn tables(judged: &[Judged]) {
    println!("errors in %: median / 95th percentile; interval: truth inside the stated 95 %");
    println!(
        "{:34} {:>6} {:>6}  {:>15} {:>15} {:>8}  {:>15} {:>15} {:>8}",
        "tickets",
        "fields",
        "loads",
        "loads: one",
        "joint",
        "interval",
        "field: one",
        "joint",
        "interval"
    );
    for (kind, name) in ALL {
        let of: Vec<&Judged> = judged.iter().filter(|j| j.tickets == kind).collect();
        line(name, &of);
        if matches!(kind, Tickets::Half | Tickets::FirstHalf) {
            let part = |keep: &dyn Fn(&Judged) -> bool| -> Vec<&Judged> {
                of.iter().copied().filter(|j| keep(j)).collect()
            };
            line(
                "  one machine, no drift",
                &part(&|j| !j.two_machines && !j.drifts),
            );
            line("  drift", &part(&|j| j.drifts));
            line("  two machines", &part(&|j| j.two_machines));
            line("  poor headlands", &part(&|j| j.headland));
        }
    }
}

fn line(name: &str, of: &[&Judged]) {
    let percent = |v: Vec<f64>| {
        let v: Vec<f64> = v.iter().map(|x| 100.0 * x.abs()).collect();
        format!("{:5.2} / {:5.2}", quantile(&v, 0.5), quantile(&v, 0.95))
    };
    let inside = |v: &[(f64, f64)]| {
        let n = v.iter().filter(|(e, sd)| e.abs() <= 1.96 * sd).count();
        format!("{:.1}", 100.0 * n as f64 / v.len().max(1) as f64)
    };
    let joint: Vec<(f64, f64)> = of.iter().flat_map(|j| j.joint.iter().copied()).collect();
    let fields: Vec<(f64, f64)> = of.iter().map(|j| j.field).collect();
    let one: Vec<f64> = of.iter().flat_map(|j| j.one.iter().copied()).collect();
    print!(
        "{name:34} {:6} {:6}  {:>15} {:>15} {:>8}  {:>15} {:>15} {:>8}",
        of.len(),
        joint.len(),
        percent(one),
        percent(joint.iter().map(|e| e.0).collect()),
        inside(&joint),
        percent(of.iter().map(|j| j.field_one).collect()),
        percent(fields.iter().map(|e| e.0).collect()),
        inside(&fields),
    );
    let worst = fields.iter().map(|e| 100.0 * e.0.abs()).fold(0.0, f64::max);
    print!("  worst {worst:.2}");
    let by: usize = of.iter().map(|j| j.by_neighbours).sum();
    print!(", {by} by neighbours");
    let wrong = of.iter().filter(|j| j.named.is_some()).count();
    if wrong > 0 {
        let named = of.iter().filter(|j| j.named == Some(true)).count();
        let odd = of.iter().filter(|j| j.odd).count();
        print!(", wrong ticket named {named} (obeyed and called odd {odd}) of {wrong}");
    }
    let wrongly: usize = of.iter().map(|j| j.named_wrongly).sum();
    let warned = of.iter().filter(|j| j.warned).count();
    let odd: usize = of.iter().map(|j| j.odd_wrongly).sum();
    println!(
        ", right tickets named {wrongly} (called odd {odd}), warned of one or no ticket {warned}"
    );
}
