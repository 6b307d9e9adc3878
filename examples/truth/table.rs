//! The comparison with the truth as an aligned text.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::truth::{Caught, Field, Pair, total};

/// The whole comparison.
pub fn table(fields: &[Field]) -> String {
    let mut out = String::new();
    for part in [
        machines(fields),
        maps(fields),
        totals(fields),
        faults(fields),
        overall(fields),
    ] {
        out.push_str(&part);
        out.push('\n');
    }
    out
}

fn machines(fields: &[Field]) -> String {
    let mut rows = vec![cells(&[
        "field",
        "machine",
        "delay true",
        "found, s",
        "95 % interval",
        "from",
        "entry ramp true",
        "found, s",
        "exit ramp true",
        "found, s",
    ])];
    for f in fields {
        for m in &f.machines {
            let interval = m
                .interval
                .map_or("none".into(), |(a, b)| format!("{a:.2} to {b:.2}"));
            rows.push(vec![
                f.name.clone(),
                m.name.clone(),
                format!("{:.2}", m.delay.truth),
                format!("{:.2}", m.delay.found),
                interval,
                m.basis.clone(),
                format!("{:.1}", m.entry.truth),
                format!("{:.1}", m.entry.found),
                format!("{:.1}", m.exit.truth),
                format!("{:.1}", m.exit.found),
            ]);
        }
    }
    aligned(&rows)
}

fn maps(fields: &[Field]) -> String {
    let mut rows = vec![cells(&[
        "field",
        "rows",
        "kept",
        "map RMSE logged",
        "corrected, kg/ha",
        "ratio",
        "sound points",
        "lost",
        "%",
        "lost as",
    ])];
    for f in fields {
        rows.push(vec![
            f.name.clone(),
            f.rows.to_string(),
            f.kept.to_string(),
            format!("{:.0}", f.rmse_logged),
            format!("{:.0}", f.rmse_corrected),
            format!("{:.2}", f.rmse_ratio()),
            f.sound.to_string(),
            f.lost.values().sum::<usize>().to_string(),
            format!("{:.2}", f.lost_pct()),
            by_name(&f.lost),
        ]);
    }
    aligned(&rows)
}

fn totals(fields: &[Field]) -> String {
    let mut rows = vec![cells(&[
        "field",
        "mean true",
        "found, kg/ha",
        "%",
        "area true",
        "found, ha",
        "%",
        "weighed loads",
        "median %",
        "worst %",
        "unweighed",
        "median %",
        "worst %",
        "wrong tickets",
    ])];
    for f in fields {
        let mut row = vec![f.name.clone()];
        row.extend(pair(f.mean_kg_ha, 0));
        row.extend(pair(f.area_ha, 3));
        row.extend(load_errors(&f.loads.weighed));
        row.extend(load_errors(&f.loads.unweighed));
        row.push(f.wrong_tickets.len().to_string());
        rows.push(row);
    }
    aligned(&rows)
}

fn faults(fields: &[Field]) -> String {
    let kinds: std::collections::BTreeSet<&str> = fields
        .iter()
        .flat_map(|f| f.faults.keys().map(String::as_str))
        .collect();
    let mut header = cells(&["faults set aside"]);
    header.extend(kinds.iter().map(|k| (*k).to_owned()));
    header.extend(cells(&["all", "%"]));
    let mut rows = vec![header];
    let mut sums: BTreeMap<String, Caught> = BTreeMap::new();
    let line = |name: &str, faults: &BTreeMap<String, Caught>| {
        let mut row = vec![name.to_owned()];
        row.extend(
            kinds
                .iter()
                .map(|k| faults.get(*k).map_or("0/0".into(), |&c| caught(c))),
        );
        let all = total(faults.values());
        row.extend([caught(all), format!("{:.1}", all.pct())]);
        row
    };
    for f in fields {
        rows.push(line(&f.name, &f.faults));
        for (kind, &c) in &f.faults {
            let sum = sums.entry(kind.clone()).or_default();
            *sum = total([&*sum, &c]);
        }
    }
    rows.push(line("all fields", &sums));
    aligned(&rows)
}

fn overall(fields: &[Field]) -> String {
    let machines = || fields.iter().flat_map(|f| &f.machines);
    let held = machines()
        .filter(|m| {
            m.interval
                .is_some_and(|(a, b)| a <= m.delay.truth && m.delay.truth <= b)
        })
        .count();
    let delays: Vec<f64> = machines().map(|m| m.delay.error()).collect();
    let collect = |f: &dyn Fn(&Field) -> Vec<f64>| fields.iter().flat_map(f).collect::<Vec<f64>>();
    let weighed = collect(&|f| f.loads.weighed.clone());
    let unweighed = collect(&|f| f.loads.unweighed.clone());
    let means = collect(&|f| vec![f.mean_kg_ha.error_pct()]);
    let ratios = collect(&|f| vec![f.rmse_ratio()]);
    let sound: usize = fields.iter().map(|f| f.sound).sum();
    let lost: usize = fields.iter().flat_map(|f| f.lost.values()).sum();
    let all = total(fields.iter().flat_map(|f| f.faults.values()));
    let shown = |errors: &[f64], digits: usize| {
        median_and_worst(errors).map_or("none".into(), |(m, w)| {
            format!("median {m:.digits$}, worst {w:.digits$}")
        })
    };
    let mut out = String::from("overall\n");
    let _ = write!(
        out,
        "  delay error, s          {}; the interval holds the truth {held} times of {}\n\
         \x20 loads, weighed, %       {}\n\
         \x20 loads, unweighed, %     {}\n\
         \x20 field mean, %           {}\n\
         \x20 map RMSE ratio          {}\n\
         \x20 faults set aside        {} ({:.1} %), {} without a point\n\
         \x20 sound points lost       {lost} of {sound} ({:.2} %)\n",
        shown(&delays, 2),
        delays.len(),
        shown(&weighed, 2),
        shown(&unweighed, 2),
        shown(&means, 2),
        shown(&ratios, 2),
        caught(all),
        all.pct(),
        all.without_point,
        100.0 * lost as f64 / sound as f64,
    );
    out
}

fn pair(p: Pair, digits: usize) -> [String; 3] {
    [
        format!("{:.digits$}", p.truth),
        format!("{:.digits$}", p.found),
        format!("{:+.2}", p.error_pct()),
    ]
}

fn load_errors(errors: &[f64]) -> [String; 3] {
    let (median, worst) = median_and_worst(errors).map_or(("".into(), "".into()), |(m, w)| {
        (format!("{m:.2}"), format!("{w:.2}"))
    });
    [errors.len().to_string(), median, worst]
}

fn caught(c: Caught) -> String {
    format!("{}/{}", c.set_aside, c.injected - c.without_point)
}

fn by_name(counts: &BTreeMap<String, usize>) -> String {
    let mut counts: Vec<(&String, &usize)> = counts.iter().collect();
    counts.sort_by(|a, b| b.1.cmp(a.1).then(a.0.cmp(b.0)));
    let shown: Vec<String> = counts
        .iter()
        .take(3)
        .map(|(name, n)| format!("{name} {n}"))
        .collect();
    shown.join(", ")
}

fn cells(texts: &[&str]) -> Vec<String> {
    texts.iter().map(|&t| t.to_owned()).collect()
}

/// The first column to the left, texts of the header above their numbers, a rule under it.
fn aligned(rows: &[Vec<String>]) -> String {
    let widths: Vec<usize> = (0..rows[0].len())
        .map(|c| {
            rows.iter()
                .filter_map(|r| r.get(c))
                .map(|t| t.chars().count())
                .max()
                .unwrap_or(0)
        })
        .collect();
    let mut out = String::new();
    for (r, row) in rows.iter().enumerate() {
        let line: Vec<String> = row
            .iter()
            .zip(&widths)
            .enumerate()
            .map(|(c, (text, &w))| {
                if c == 0 {
                    format!("{text:<w$}")
                } else {
                    format!("{text:>w$}")
                }
            })
            .collect();
        let _ = writeln!(out, "{}", line.join("  ").trim_end());
        if r == 0 {
            let _ = writeln!(
                out,
                "{}",
                "-".repeat(widths.iter().sum::<usize>() + 2 * (widths.len() - 1))
            );
        }
    }
    out
}

/// Median and worst of some errors' sizes; `None` where there are none.
fn median_and_worst(errors: &[f64]) -> Option<(f64, f64)> {
    let mut sizes: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let n = sizes.len();
    let median = 0.5 * (sizes.get((n.max(1) - 1) / 2)? + sizes[n / 2]);
    Some((median, sizes[n - 1]))
}
