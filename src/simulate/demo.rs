//! The demo farm as a folder: logs, tickets, boundaries, job file, truth.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use super::check::SimulateError;
use super::farm::demo_farm;
use super::files::{boundary_path, write, write_seasons};
use super::season::{Simulated, simulate};

/// Seed of the first field; the others follow.
const SEED: u64 = 20_250;

/// What [`write_demo`] wrote.
#[derive(Debug, Clone, PartialEq)]
pub struct DemoFiles {
    /// Paths relative to the folder.
    pub files: Vec<String>,
    /// Field seasons.
    pub fields: usize,
    /// Log rows.
    pub rows: usize,
    /// Scale tickets.
    pub tickets: usize,
    /// Area of the fields, ha.
    pub area_ha: f64,
}

/// Writes the demo farm: logs, boundaries, tickets, a job file, the truth and a README.
///
/// The folder must be new or empty; it appears whole or not at all.
///
/// # Errors
/// A folder that holds something, or a file that cannot be written.
pub fn write_demo(folder: &Path) -> Result<DemoFiles, SimulateError> {
    let failed = |path: &Path| {
        let path = path.display().to_string();
        move |source| SimulateError::Write { path, source }
    };
    if folder.exists() {
        let mut entries = fs::read_dir(folder).map_err(failed(folder))?;
        if entries.next().is_some() {
            return Err(SimulateError::NotEmpty {
                folder: folder.display().to_string(),
            });
        }
    }
    let seasons = demo_farm()
        .iter()
        .zip(SEED..)
        .map(|(spec, seed)| simulate(spec, seed))
        .collect::<Result<Vec<Simulated>, SimulateError>>()?;

    let parent = match folder.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    fs::create_dir_all(parent).map_err(failed(parent))?;
    let draft = tempfile::Builder::new()
        .prefix(".fanmill-demo-")
        .tempdir_in(parent)
        .map_err(failed(parent))?;
    let mut files = write_seasons(draft.path(), &seasons)?;
    write(draft.path(), "job.toml", Ok(job(&seasons)), &mut files)?;
    write(draft.path(), "README.txt", Ok(readme(&seasons)), &mut files)?;
    // A rename onto an empty folder replaces it where the system allows; elsewhere it must go first.
    if folder.exists() {
        fs::remove_dir(folder).map_err(failed(folder))?;
    }
    fs::rename(draft.keep(), folder).map_err(failed(folder))?;
    Ok(DemoFiles {
        files,
        fields: seasons.len(),
        rows: seasons.iter().map(|s| s.rows.len()).sum(),
        tickets: seasons.iter().map(|s| s.tickets.len()).sum(),
        area_ha: seasons.iter().map(|s| s.truth.field.area_m2).sum::<f64>() / 1e4,
    })
}

/// The job file, as a user would write it.
fn job(seasons: &[Simulated]) -> String {
    let mut text = String::from(
        "# The season of an invented farm. Run it with: fanmill run job.toml\n\n\
         [job]\n\
         name = \"Heron Lane, 2025\"\n\
         results = \"results\"\n\
         formats = [\"geojson\", \"shapefile\"]\n\
         layers = [\"points\", \"set-aside\"]\n\
         crs = \"EPSG:4326\"\n\
         yield_unit = \"t/ha\"\n\n\
         [[machine]]\n\
         name = \"C1\"\n\
         header_width = \"9 m\"\n\n\
         [[machine]]\n\
         name = \"C2\"\n\
         header_width = \"7.5 m\"\n\
         antenna_behind_cutter_bar = \"2.4 m\"\n",
    );
    let mut crops: Vec<(&str, f64)> = seasons
        .iter()
        .map(|s| (s.spec.crop.as_str(), s.spec.reference_moisture))
        .collect();
    crops.sort_by(|a, b| a.0.cmp(b.0));
    crops.dedup();
    for (crop, moisture) in crops {
        text += &format!("\n[crop.{crop}]\nreference_moisture = \"{moisture} %\"\n");
    }
    let quoted = |s: &str| toml::Value::from(s).to_string();
    for s in seasons {
        let spec = &s.spec;
        let _ = write!(
            text,
            "\n[[field]]\nclient = {}\nfarm = {}\nname = {}\nseason = {}\ncrop = {}\n\
             logs = [\"logs/{}/*.csv\"]\nboundary = \"{}\"\ntickets = [\"tickets.csv\"]\n",
            quoted(&spec.client),
            quoted(&spec.farm),
            quoted(&spec.name),
            spec.season,
            quoted(&spec.crop),
            spec.key,
            boundary_path(s),
        );
    }
    text
}

fn readme(seasons: &[Simulated]) -> String {
    let mut text = String::from(
        "An invented farm\n\
         ================\n\n\
         Fields, machines, names, tickets and yields in this folder are made up by fanmill's simulator, which knows\n\
         what is true of them.\n\n\
         job.toml      the job: start with \"fanmill run job.toml\"\n\
         logs/         what the machines wrote, a file per machine and day\n\
         tickets.csv   what the scale wrote\n\
         boundaries/   outlines of the fields\n\
         truth/        what a user never has: truth.json (delays, loads, totals) and a table of points per field,\n\
         \x20             where log and row name the row of the log\n\n\
         Fields\n\
         ------\n",
    );
    for s in seasons {
        let weighed = s.truth.loads.iter().filter(|l| l.ticket.is_some()).count();
        let _ = writeln!(
            text,
            "{}: {}, {:.1} ha, {} rows, {} of {} loads weighed",
            s.spec.name,
            s.spec.crop,
            s.truth.field.area_m2 / 1e4,
            s.rows.len(),
            weighed,
            s.truth.loads.len(),
        );
    }
    text += "\nWhat to look for\n\
             ----------------\n\
             Brook field   a raw log with every kind of fault; all loads weighed\n\
             Gänseweide    two machines whose sensors disagree; half of the loads weighed\n\
             Long acre     no work state, gaps in time where the header was up; all loads weighed\n\
             Mill piece    the display had shifted the flow already, by too much; one ticket is wrong\n\
             Far meadow    headlands that truly yield less; a row every two seconds; one ticket over two loads\n\n\
             Yield maps are not for settlement, rent or insurance: certified scale tickets decide.\n";
    text
}
