//! What a run found in a simulated farm against what is true of it.
//!
//! Works on files alone (`truth/` beside the job, `results/` after a run) and knows nothing of the library, so that
//! nothing judges itself. Definitions:
//!
//! - **Delay**: `log_delay_s`, what of the way from header to sensor is still in the log; the job gives the antenna's
//!   distance, so `delay_s` excludes it. **Ramps**: the simulator's, from the step response of the transport.
//! - **Load**: the wet mass that passed the sensor while the bin filled, logged or not, against `corrected_kg`.
//! - **Map error** (RMSE): over kept points whose row cut ground, each with the same weight. The truth of a row is the
//!   yield at reference moisture of the ground that was newly cut in its interval. `yld_kg_ha` and `yield_log` of the
//!   same row are held against the same truth, so a point set aside helps neither.
//! - **Faults**: a fault of position and a repeated record must be set aside on its own row. A fault of flow must be set
//!   aside on the row whose ground receives it, the one nearest to the row's time less the true delay; where the log
//!   has no row within one interval of it there is no point to judge. A fault of moisture must be set aside where the
//!   run itself puts it (its moisture delay is no bar, and where it finds none it says so and takes the grain's).
//! - **Sound**: the truth's own word: no fault in the row nor in the flow it receives, speed steady, at least 0.8 of the
//!   header on standing crop from an entry ramp before to an exit ramp behind.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde_json::Value;

/// A number that is true and one that was found.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Pair {
    pub truth: f64,
    pub found: f64,
}

impl Pair {
    pub fn error(self) -> f64 {
        self.found - self.truth
    }

    pub fn error_pct(self) -> f64 {
        100.0 * (self.found / self.truth - 1.0)
    }
}

#[derive(Debug, Clone)]
pub struct Machine {
    pub name: String,
    pub delay: Pair,
    pub interval: Option<(f64, f64)>,
    pub basis: String,
    pub entry: Pair,
    pub exit: Pair,
}

/// Errors of load totals, in %.
#[derive(Debug, Clone, Default)]
pub struct Loads {
    pub weighed: Vec<f64>,
    pub unweighed: Vec<f64>,
}

/// Faults of one kind.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Caught {
    pub injected: usize,
    pub set_aside: usize,
    pub without_point: usize,
}

impl Caught {
    fn add(&mut self, other: Caught) {
        self.injected += other.injected;
        self.set_aside += other.set_aside;
        self.without_point += other.without_point;
    }

    /// Share of those that have a point, %.
    pub fn pct(self) -> f64 {
        100.0 * self.set_aside as f64 / (self.injected - self.without_point) as f64
    }
}

/// All kinds of faults together.
pub fn total<'a>(faults: impl IntoIterator<Item = &'a Caught>) -> Caught {
    let mut sum = Caught::default();
    faults.into_iter().for_each(|&f| sum.add(f));
    sum
}

#[derive(Debug, Clone)]
pub struct Field {
    pub name: String,
    pub machines: Vec<Machine>,
    pub loads: Loads,
    pub wrong_tickets: Vec<String>,
    /// Codes of its warnings.
    pub warnings: Vec<String>,
    pub mean_kg_ha: Pair,
    pub area_ha: Pair,
    pub rows: usize,
    /// Usual time from row to row, s.
    pub interval_s: f64,
    pub kept: usize,
    /// Kept points whose row cut no ground: there is no truth to hold them against.
    pub kept_without_truth: usize,
    pub rmse_logged: f64,
    pub rmse_corrected: f64,
    pub faults: BTreeMap<String, Caught>,
    pub sound: usize,
    /// Sound points set aside, by reason.
    pub lost: BTreeMap<String, usize>,
}

impl Field {
    pub fn rmse_ratio(&self) -> f64 {
        self.rmse_corrected / self.rmse_logged
    }

    pub fn all_weighed(&self) -> bool {
        self.loads.unweighed.is_empty()
    }

    pub fn lost_pct(&self) -> f64 {
        100.0 * self.lost.values().sum::<usize>() as f64 / self.sound as f64
    }
}

/// Compares every field season of a farm.
///
/// # Panics
/// Where a file is missing or not as it is written by the simulator and the run.
pub fn compare(farm: &Path) -> Vec<Field> {
    let truth = json(&farm.join("truth/truth.json"));
    let run = json(&farm.join("results/run.json"));
    let fields = truth["fields"].as_array().expect("fields of the truth");
    fields
        .iter()
        .map(|true_field| {
            let done = run["fields"]
                .as_array()
                .expect("fields of the run")
                .iter()
                .find(|f| {
                    ["client", "farm", "field", "season", "crop"]
                        .iter()
                        .all(|k| f[k] == true_field[k])
                })
                .expect("the field is in the run");
            let folder = farm.join("results").join(text(&done["folder"]));
            compare_field(farm, true_field, &folder)
        })
        .collect()
}

fn compare_field(farm: &Path, truth: &Value, folder: &Path) -> Field {
    let summary = json(&folder.join("summary.json"));
    let points = Points::read(folder, text(&summary["yield"]["unit"]));
    let rows = true_rows(&farm.join(text(&truth["points"])));
    let totals = &truth["totals"];
    let machines = compare_machines(truth, &summary);
    let per_unit = 1.0 / points.unit_per_kg_ha;
    let mut out = Field {
        name: text(&truth["field"]).to_owned(),
        loads: compare_loads(truth, &summary),
        wrong_tickets: list(&truth["wrong_tickets"], text),
        warnings: list(&summary["warnings"], |w| text(&w["code"])),
        mean_kg_ha: Pair {
            truth: number(&totals["mean_reference_kg_ha"]),
            found: number(&summary["yield"]["mean"]) * per_unit,
        },
        area_ha: Pair {
            truth: number(&totals["cut_area_m2"]) / 1e4,
            found: number(&summary["area_ha"]),
        },
        machines,
        rows: rows.len(),
        interval_s: points.interval,
        kept: 0,
        kept_without_truth: 0,
        rmse_logged: f64::NAN,
        rmse_corrected: f64::NAN,
        faults: compare_faults(truth, &summary, &rows, &points),
        sound: 0,
        lost: BTreeMap::new(),
    };
    let (mut before, mut after, mut n) = (0.0, 0.0, 0.0);
    for row in &rows {
        let Some(point) = points.of_row.get(&row.id) else {
            panic!("row {:?} is in no layer", row.id);
        };
        if row.sound {
            out.sound += 1;
            if let Some(reason) = &point.reason {
                *out.lost.entry(reason.clone()).or_default() += 1;
            }
        }
        if point.reason.is_some() {
            continue;
        }
        out.kept += 1;
        let (Some(y), Some(corrected), Some(logged)) =
            (row.yield_kg_ha, point.corrected, point.logged)
        else {
            out.kept_without_truth += 1;
            continue;
        };
        before += (logged - y).powi(2);
        after += (corrected - y).powi(2);
        n += 1.0;
    }
    out.rmse_logged = f64::sqrt(before / n);
    out.rmse_corrected = f64::sqrt(after / n);
    out
}

fn compare_machines(truth: &Value, summary: &Value) -> Vec<Machine> {
    let found = summary["machines"].as_array().expect("machines");
    truth["machines"]
        .as_array()
        .expect("true machines")
        .iter()
        .map(|t| {
            let f = found
                .iter()
                .find(|f| f["name"] == t["name"])
                .expect("the machine is found");
            let delay = &f["delay_s"];
            let pair = |truth: &Value, found: &Value| Pair {
                truth: number(truth),
                found: number(found),
            };
            Machine {
                name: text(&t["name"]).to_owned(),
                delay: pair(&t["log_delay_s"], &delay["value"]),
                interval: delay["ci95_low"].as_f64().zip(delay["ci95_high"].as_f64()),
                basis: text(&delay["basis"]).to_owned(),
                entry: pair(&t["response"]["entry_ramp_s"], &f["entry_ramp_s"]),
                exit: pair(&t["response"]["exit_ramp_s"], &f["exit_ramp_s"]),
            }
        })
        .collect()
}

fn compare_loads(truth: &Value, summary: &Value) -> Loads {
    let mut out = Loads::default();
    let found = summary["loads"].as_array().expect("loads");
    for t in truth["loads"].as_array().expect("true loads") {
        let f = found
            .iter()
            .find(|f| f["load"] == t["load"])
            .expect("the load is found");
        let pair = Pair {
            truth: number(&t["sensor_kg"]),
            found: number(&f["corrected_kg"]),
        };
        let side = if f["basis"] == "ticket" {
            &mut out.weighed
        } else {
            &mut out.unweighed
        };
        side.push(pair.error_pct());
    }
    out
}

fn compare_faults(
    truth: &Value,
    summary: &Value,
    rows: &[TrueRow],
    points: &Points,
) -> BTreeMap<String, Caught> {
    let machines = truth["machines"].as_array().expect("true machines");
    let found = summary["machines"].as_array().expect("machines");
    let delays: BTreeMap<&str, (f64, f64)> = machines
        .iter()
        .zip(found)
        .map(|(t, f)| {
            assert_eq!(t["name"], f["name"]);
            let grain = number(&f["delay_s"]["value"]);
            let moisture = f["moisture_delay_s"].as_f64().unwrap_or(grain);
            (text(&t["name"]), (number(&t["log_delay_s"]), moisture))
        })
        .collect();
    let mut out: BTreeMap<String, Caught> = BTreeMap::new();
    for row in rows {
        let Some(fault) = &row.fault else { continue };
        let own = &points.of_row[&row.id];
        let (flow, moisture) = delays[own.machine.as_str()];
        let judged = match fault.as_str() {
            "flow-spike" | "stuck-reading" | "zero-flow" => points.near(&row.id.0, own.time - flow),
            "moisture-glitch" => points.near(&row.id.0, own.time - moisture),
            _ => Some(own),
        };
        out.entry(fault.clone()).or_default().add(Caught {
            injected: 1,
            set_aside: usize::from(judged.is_some_and(|p| p.reason.is_some())),
            without_point: usize::from(judged.is_none()),
        });
    }
    out
}

/// (log, row).
type Id = (String, u64);

struct TrueRow {
    id: Id,
    yield_kg_ha: Option<f64>,
    fault: Option<String>,
    sound: bool,
}

fn true_rows(path: &Path) -> Vec<TrueRow> {
    let mut table = csv::Reader::from_path(path).expect("a table of true points");
    let header = table.headers().expect("a header").clone();
    let column = |name: &str| header.iter().position(|h| h == name).expect("the column");
    let (log, row) = (column("log"), column("row"));
    let (reference, fault, sound) = (column("reference_kg_ha"), column("fault"), column("sound"));
    table
        .records()
        .map(|r| {
            let r = r.expect("a row");
            TrueRow {
                id: (r[log].to_owned(), r[row].parse().expect("a row number")),
                yield_kg_ha: r[reference].parse().ok(),
                fault: (!r[fault].is_empty()).then(|| r[fault].to_owned()),
                sound: &r[sound] == "1",
            }
        })
        .collect()
}

struct Point {
    time: f64,
    machine: String,
    /// kg/ha.
    corrected: Option<f64>,
    /// kg/ha.
    logged: Option<f64>,
    reason: Option<String>,
}

struct Points {
    unit_per_kg_ha: f64,
    of_row: BTreeMap<Id, Point>,
    /// Per log: (time in ms, row), sorted.
    clock: BTreeMap<String, Vec<(i64, u64)>>,
    interval: f64,
}

impl Points {
    fn read(folder: &Path, unit: &str) -> Self {
        assert_eq!(unit, "t/ha", "the demo's unit");
        let unit_per_kg_ha = 1e-3;
        let mut of_row = BTreeMap::new();
        let mut clock: BTreeMap<String, Vec<(i64, u64)>> = BTreeMap::new();
        for layer in ["points.geojson", "set-aside.geojson"] {
            let layer = json(&folder.join(layer));
            for feature in layer["features"].as_array().expect("features") {
                let p = &feature["properties"];
                let id = (
                    text(&p["log"]).to_owned(),
                    p["row"].as_u64().expect("a row number"),
                );
                let time: jiff::Timestamp = text(&p["time"]).parse().expect("a time");
                let ms = time.as_millisecond();
                clock.entry(id.0.clone()).or_default().push((ms, id.1));
                let point = Point {
                    time: ms as f64 / 1e3,
                    machine: text(&p["machine"]).to_owned(),
                    corrected: p["yld_kg_ha"].as_f64(),
                    logged: p["yield_log"].as_f64().map(|y| y / unit_per_kg_ha),
                    reason: p["reason"].as_str().map(str::to_owned),
                };
                let twice = of_row.insert(id, point);
                assert!(twice.is_none(), "a row stands in the layers twice");
            }
        }
        let mut steps: Vec<i64> = Vec::new();
        for times in clock.values_mut() {
            times.sort_unstable();
            steps.extend(times.windows(2).map(|w| w[1].0 - w[0].0).filter(|&s| s > 0));
        }
        steps.sort_unstable();
        let interval = steps[steps.len() / 2] as f64 / 1e3;
        Self {
            unit_per_kg_ha,
            of_row,
            clock,
            interval,
        }
    }

    /// The point of a log whose time is nearest, within one interval.
    fn near(&self, log: &str, time: f64) -> Option<&Point> {
        let clock = &self.clock[log];
        let at = clock.partition_point(|&(ms, _)| (ms as f64) < time * 1e3);
        [at.checked_sub(1), Some(at)]
            .into_iter()
            .flatten()
            .filter_map(|k| clock.get(k))
            .map(|&(_, row)| &self.of_row[&(log.to_owned(), row)])
            .filter(|p| (p.time - time).abs() <= self.interval)
            .min_by(|a, b| (a.time - time).abs().total_cmp(&(b.time - time).abs()))
    }
}

fn json(path: &Path) -> Value {
    let text = fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

fn text(value: &Value) -> &str {
    value
        .as_str()
        .unwrap_or_else(|| panic!("{value} is no text"))
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

fn list(value: &Value, f: impl Fn(&Value) -> &str) -> Vec<String> {
    let values = value.as_array().expect("a list");
    values.iter().map(|v| f(v).to_owned()).collect()
}
