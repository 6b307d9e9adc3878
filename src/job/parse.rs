//! The job file: TOML into a [`Job`], or a complaint that names the line.

use std::path::{Path, PathBuf};

use toml::de::DeTable;

use super::document::{Document, Table, Value};
use super::error::JobError;
use super::field::fields;
use super::keys::{FileKeys, JobKeys};
use super::suggest::nearest;
use super::{FieldSeason, Format, Job, Layer, LimitSettings, OutputCrs, sections};
use crate::units::{Quantity, YieldUnit, parse_amount};

impl Job {
    /// Reads and checks a job file.
    pub fn load(path: &Path) -> Result<Job, JobError> {
        let shown = path.display().to_string();
        let file = path
            .file_name()
            .map_or(shown.clone(), |n| n.to_string_lossy().into_owned());
        let unreadable = |expected: &str, cause: std::io::Error| {
            let found = match cause.kind() {
                std::io::ErrorKind::NotFound => "no file of that name".to_owned(),
                _ => format!("\"{cause}\""),
            };
            JobError::new(&shown, None, "", expected, &found)
                .hinted("give the path of a job file; `fanmill demo DIR` writes one to look at")
                .because(cause)
        };
        let bytes = std::fs::read(path).map_err(|e| unreadable("a job file", e))?;
        let text = String::from_utf8(bytes).map_err(|e| {
            unreadable(
                "UTF-8 text",
                std::io::Error::new(std::io::ErrorKind::InvalidData, e.utf8_error()),
            )
            .hinted("save the job file as UTF-8")
        })?;
        let base = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder.to_path_buf(),
            _ => PathBuf::from("."),
        };
        parse(text.trim_start_matches('\u{feff}'), &file, &base)
    }
}

/// Checks and resolves the text of a job file. `file`: its name, for messages; `base`: the folder that its paths are
/// relative to. Touches no file.
pub fn parse(text: &str, file: &str, base: &Path) -> Result<Job, JobError> {
    let document = Document { text, file };
    let root = DeTable::parse(text).map_err(|cause| {
        let at = cause.span().map(|s| s.start);
        document
            .error(at, "", "TOML", cause.message())
            .because(cause)
    })?;
    let root = Table::new(document, "", 0, root.get_ref());
    root.only(FileKeys::KEYS)?;

    let head = Head::read(root.table("job")?)?;
    let log = root
        .table("log")?
        .map(|t| sections::log(&t))
        .transpose()?
        .unwrap_or_default();
    let machines = sections::machines(&root.tables("machine")?)?;
    let crops = sections::crops(root.table("crop")?)?;
    let fields = fields(&root, &crops)?;
    let bushel = single_bushel(&fields);
    let limits = root
        .table("limits")?
        .map(|t| sections::limits(&t, bushel))
        .transpose()?
        .unwrap_or(LimitSettings::default());
    Ok(Job {
        name: head.name,
        base: base.to_path_buf(),
        file: file.to_owned(),
        results: base.join(head.results),
        formats: head.formats,
        layers: head.layers,
        grid_cell: head.grid_cell,
        crs: head.crs,
        yield_unit: head.yield_unit,
        timezone: head.timezone,
        log,
        machines,
        limits,
        fields,
    })
}

/// The bushel of the job's crops, where it is one and the same.
fn single_bushel(fields: &[FieldSeason]) -> Option<f64> {
    let first = fields.first()?.crop.bushel_kg;
    fields
        .iter()
        .all(|f| f.crop.bushel_kg == first)
        .then_some(first)
}

/// The `[job]` section.
struct Head {
    name: String,
    results: String,
    formats: Vec<Format>,
    layers: Vec<Layer>,
    grid_cell: f64,
    crs: OutputCrs,
    yield_unit: YieldUnit,
    timezone: String,
}

impl Head {
    fn read(table: Option<Table<'_>>) -> Result<Head, JobError> {
        let mut head = Head {
            name: NAME.to_owned(),
            results: RESULTS.to_owned(),
            formats: FORMATS_WRITTEN.to_vec(),
            layers: LAYERS_WRITTEN.to_vec(),
            grid_cell: GRID_CELL_M,
            crs: OutputCrs::Code(CRS.to_owned()),
            yield_unit: YieldUnit::default(),
            timezone: TIMEZONE.to_owned(),
        };
        let Some(table) = table else { return Ok(head) };
        table.only(JobKeys::KEYS)?;
        if let Some(v) = table.get("name") {
            head.name = v.text("a name")?.to_owned();
        }
        if let Some(v) = table.get("results") {
            head.results = v.text("a folder")?.to_owned();
        }
        if let Some(v) = table.get("formats") {
            head.formats = choices(&v, &FORMATS)?;
        }
        if let Some(v) = table.get("layers") {
            head.layers = choices(&v, &LAYERS)?;
        }
        if let Some(side) = amount(&table, "grid_cell", Quantity::Length, GRID_CELLS_M)? {
            head.grid_cell = side;
        }
        if let Some(v) = table.get("crs") {
            head.crs = match v.text(CRS_EXPECTED)? {
                "utm" => OutputCrs::Utm,
                code => OutputCrs::Code(epsg(&v, code, CRS_EXPECTED)?),
            };
        }
        if let Some(v) = table.get("yield_unit") {
            let names = YieldUnit::ALL.map(YieldUnit::symbol);
            let expected = format!("one of {}", names.join(", "));
            let symbol = v.text(&expected)?;
            head.yield_unit = YieldUnit::from_symbol(symbol)
                .ok_or_else(|| suggest(v.error(&expected), symbol, &names))?;
        }
        if let Some(v) = table.get("timezone") {
            let expected = "a time zone by its IANA name, such as \"Europe/Berlin\"";
            let name = v.text(expected)?;
            head.timezone = name.to_owned();
            jiff::tz::TimeZone::get(name).map_err(|cause| {
                v.error(expected)
                    .because(cause)
                    .hinted("the names are in the IANA time zone database; \"UTC\" always works")
            })?;
        }
        Ok(head)
    }
}

/// Name of a job that has none.
pub(super) const NAME: &str = "fanmill";
/// Folder of results where the job does not say.
pub(super) const RESULTS: &str = "results";
/// Formats where the job does not say.
pub(super) const FORMATS_WRITTEN: [Format; 2] = [Format::GeoJson, Format::Shapefile];
/// Layers where the job does not say.
pub(super) const LAYERS_WRITTEN: [Layer; 2] = [Layer::Points, Layer::SetAside];
/// CRS of the layers where the job does not say.
pub(super) const CRS: &str = "EPSG:4326";
/// Zone of times without one where the job does not say.
pub(super) const TIMEZONE: &str = "UTC";
const CRS_EXPECTED: &str = "\"utm\" or a code such as \"EPSG:4326\"";
const FORMATS: [(&str, Format); 5] = [
    ("geojson", Format::GeoJson),
    ("shapefile", Format::Shapefile),
    ("geopackage", Format::GeoPackage),
    ("geoparquet", Format::GeoParquet),
    ("flatgeobuf", Format::FlatGeobuf),
];
/// Side of a cell where the job does not say (common practice: 10 to 20 m).
pub(super) const GRID_CELL_M: f64 = 10.0;
/// Sides that a cell may have, m. Our choice: below, no machine tells cells apart; above, a field is a few of them.
const GRID_CELLS_M: (f64, f64) = (2.0, 200.0);
const LAYERS: [(&str, Layer); 4] = [
    ("points", Layer::Points),
    ("set-aside", Layer::SetAside),
    ("swaths", Layer::Swaths),
    ("grid", Layer::Grid),
];

/// A code such as `EPSG:4326`, in capitals.
pub(super) fn epsg(value: &Value<'_>, code: &str, expected: &str) -> Result<String, JobError> {
    let number = code
        .split_once(':')
        .filter(|(authority, _)| authority.eq_ignore_ascii_case("epsg"))
        .map(|(_, n)| n);
    match number.and_then(|n| n.trim().parse::<u32>().ok()) {
        Some(n) if n > 0 => Ok(format!("EPSG:{n}")),
        _ => Err(value
            .error(expected)
            .hinted("look the number up at epsg.org; \"EPSG:4326\" is WGS 84")),
    }
}

/// Words of a list, each one of `known`. Repeats count once.
fn choices<T: Copy + PartialEq>(list: &Value<'_>, known: &[(&str, T)]) -> Result<Vec<T>, JobError> {
    let names: Vec<&str> = known.iter().map(|(n, _)| *n).collect();
    let expected = format!("a list of {}", names.join(", "));
    let mut chosen = Vec::new();
    for (item, word) in list.texts(&expected)? {
        match known.iter().find(|(n, _)| *n == word) {
            Some((_, choice)) if chosen.contains(choice) => {}
            Some((_, choice)) => chosen.push(*choice),
            None => return Err(suggest(item.error(&expected), word, &names)),
        }
    }
    if chosen.is_empty() {
        Err(list.error(&expected))
    } else {
        Ok(chosen)
    }
}

/// The error, with the nearest of `known` as its hint.
pub(super) fn suggest(error: JobError, word: &str, known: &[&str]) -> JobError {
    let near = nearest(word, known.iter().copied());
    error.maybe_hinted(near.map(|k| format!("did you mean \"{k}\"?")))
}

/// The lowest number that limits and amounts may take where nothing bounds them.
pub(super) const ANY: (f64, f64) = (f64::MIN, f64::MAX);

/// Amounts above nought: the least is far below any real one (our choice).
pub(super) const POSITIVE: (f64, f64) = (1e-6, f64::MAX);

/// Percentages.
pub(super) const PERCENT: (f64, f64) = (0.0, 100.0);

/// The width of a header: an amount, or planted rows (`"8 rows of 75 cm"`, `"8 x 30 in"`).
pub(super) fn width(table: &Table<'_>, key: &str) -> Result<Option<f64>, JobError> {
    let Some(value) = table.get(key) else {
        return Ok(None);
    };
    let written = value.text("").ok().and_then(|text| {
        let (rows, rest) = text.trim().split_once(' ')?;
        let (word, apart) = rest.trim().split_once(' ')?;
        let apart = apart.trim();
        match word {
            "rows" => Some((rows.to_owned(), apart.strip_prefix("of ")?.to_owned())),
            "x" | "×" => Some((rows.to_owned(), apart.to_owned())),
            _ => None,
        }
    });
    let Some((rows, apart)) = written else {
        return value.amount(Quantity::Length, None, POSITIVE).map(Some);
    };
    let rows: Option<u32> = rows.parse().ok().filter(|n| (1..=48).contains(n));
    let apart = parse_amount(Quantity::Length, &apart, None).ok();
    // Rows are 0.1 to 3 m apart, as `row_spacing` has it.
    match rows.zip(apart.filter(|a| (0.1..=3.0).contains(a))) {
        Some((rows, apart)) => Ok(Some(f64::from(rows) * apart)),
        None => {
            Err(value.error("1 to 48 rows and how far they are apart, such as \"8 rows of 75 cm\""))
        }
    }
}

/// An amount of a key, where the table has it.
pub(super) fn amount(
    table: &Table<'_>,
    key: &str,
    quantity: Quantity,
    bounds: (f64, f64),
) -> Result<Option<f64>, JobError> {
    table
        .get(key)
        .map(|v| v.amount(quantity, None, bounds))
        .transpose()
}
