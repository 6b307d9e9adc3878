//! A set of task data: fields, crops, machines, tasks and their logs, as TASKDATA.XML has them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use geo::{Coord, LineString, MultiPolygon, Polygon};

use super::ddi::Ddi;
use super::xml::{Document, Element, parse};
use crate::place::Place;
use crate::read::error::{ReadError, ReadErrorKind};
use crate::read::source::read_whole;
use crate::read::text::decode;
use crate::summary::Remark;

/// A set of ISO 11783-10 task data, read.
#[derive(Debug, Clone, Default)]
pub struct TaskSet {
    /// Its name in messages: the folder as the user wrote it.
    pub shown: String,
    /// The fields.
    pub fields: Vec<TaskField>,
    /// The tasks, in the order of the file.
    pub tasks: Vec<Task>,
    /// The machines.
    pub machines: Vec<TaskMachine>,
    /// What the user should know about how it was read.
    pub warnings: Vec<Remark>,
    /// Its files: lower-case name, path.
    pub(super) files: BTreeMap<String, PathBuf>,
}

/// A field (PFD).
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TaskField {
    /// Id in the set.
    pub id: String,
    /// Name.
    pub name: String,
    /// Code that the farm gives it.
    pub code: Option<String>,
    /// Client.
    pub client: Option<String>,
    /// Farm.
    pub farm: Option<String>,
    /// Crop.
    pub crop: Option<String>,
    /// Area as the set states it, m².
    pub area_m2: Option<f64>,
    /// Boundary in longitude and latitude, where it has one.
    pub boundary: Option<MultiPolygon<f64>>,
}

/// A task (TSK).
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Task {
    /// Id in the set.
    pub id: String,
    /// Name.
    pub name: String,
    /// Id of its field.
    pub field: Option<String>,
    /// Its logs, by the stem of their files, e.g. `TLG00001`, in the order of the file.
    pub logs: Vec<String>,
    /// Start of the work that was done, as written.
    pub start: Option<String>,
    /// Total wet mass that the machine itself states (DDI 90, yield total mass), kg.
    pub total_mass_kg: Option<f64>,
    /// Total area that the machine itself states (DDI 116), m².
    pub total_area_m2: Option<f64>,
}

/// A machine (DVC).
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TaskMachine {
    /// Id in the set.
    pub id: String,
    /// Name; its id where it has none.
    pub name: String,
    /// Serial number.
    pub serial: Option<String>,
    /// Its parts.
    pub(super) elements: Vec<DeviceElement>,
}

/// A part of a machine (DET).
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct DeviceElement {
    pub id: String,
    pub object: u32,
    pub kind: u8,
    pub parent: u32,
    /// Fixed values (DPT), as integers.
    pub properties: Vec<(Ddi, i32)>,
}

impl DeviceElement {
    /// A fixed value.
    pub fn property(&self, ddi: Ddi) -> Option<i32> {
        let (_, value) = self.properties.iter().find(|(d, _)| *d == ddi)?;
        Some(*value)
    }
}

impl TaskSet {
    /// Reads the set in a folder. `shown`: its name in messages.
    ///
    /// # Errors
    ///
    /// Where TASKDATA.XML is not there, cannot be opened or is no task data. One that is cut short gives what came
    /// before, with a warning.
    pub fn read(folder: &Path, shown: &str) -> Result<TaskSet, ReadError> {
        let mut set = TaskSet {
            shown: shown.to_owned(),
            files: files(folder, shown)?,
            ..TaskSet::default()
        };
        let mut root = set.document("taskdata.xml", "ISO11783_TaskData")?;
        // Parts of the set may stand in files of their own.
        let parts: Vec<String> = root
            .all("XFR")
            .filter_map(|x| x.filled("A"))
            .map(str::to_lowercase)
            .collect();
        for part in parts {
            match set.document(&format!("{part}.xml"), "XFC") {
                Ok(mut more) => root.children.append(&mut more.children),
                Err(error) => set
                    .warnings
                    .push(Remark::new("task-data", error.in_a_line())),
            }
        }
        set.fill(&root);
        Ok(set)
    }

    /// The field of that id.
    pub fn field(&self, id: &str) -> Option<&TaskField> {
        self.fields.iter().find(|f| f.id == id)
    }

    /// The machine that a device element belongs to, and the element.
    pub(super) fn element(&self, id: &str) -> Option<(&TaskMachine, &DeviceElement)> {
        self.machines
            .iter()
            .find_map(|m| Some((m, m.elements.iter().find(|e| e.id == id)?)))
    }

    fn document(&mut self, name: &str, root: &str) -> Result<Element, ReadError> {
        let shown = format!("{}/{}", self.shown, name.to_uppercase());
        let path = self.files.get(name).ok_or_else(|| {
            ReadError::new(
                ReadErrorKind::Missing,
                Place::file(&shown),
                "a file of the task data",
                "none of that name",
            )
            .hinted("copy the whole folder of the task data")
        })?;
        let bytes = read_whole(path, &shown)?;
        let refuse = |found: &str| {
            ReadError::new(
                ReadErrorKind::Format,
                Place::file(&shown),
                format!("task data with the element {root}"),
                found,
            )
            .hinted("copy it again from the machine")
        };
        let Some(Document { root: element, cut }) = parse(&utf8(&bytes)) else {
            return Err(refuse("no XML"));
        };
        if element.name != root {
            return Err(refuse(&format!("\"{}\"", element.name)));
        }
        if let Some(cut) = cut {
            let text = format!(
                "{shown}: the file is cut short ({cut}); what stands before is read. Copy it again"
            );
            self.warnings.push(Remark::new("cut-short", text));
        }
        Ok(element)
    }

    fn fill(&mut self, root: &Element) {
        let names = |element: &str, first: Option<&str>| -> BTreeMap<String, String> {
            let name = |e: &Element| {
                let last = e.filled("B")?.to_owned();
                Some(match first.and_then(|f| e.filled(f)) {
                    Some(first) => format!("{first} {last}"),
                    None => last,
                })
            };
            root.all(element)
                .filter_map(|e| Some((e.filled("A")?.to_owned(), name(e)?)))
                .collect()
        };
        let (clients, farms, crops) = (
            names("CTR", Some("C")),
            names("FRM", None),
            names("CTP", None),
        );
        let look = |table: &BTreeMap<String, String>, id: Option<&str>| table.get(id?).cloned();
        self.fields = root
            .all("PFD")
            .map(|e| TaskField {
                id: text(e, "A"),
                name: text(e, "C"),
                code: e.filled("B").map(str::to_owned),
                client: look(&clients, e.filled("E")),
                farm: look(&farms, e.filled("F")),
                crop: look(&crops, e.filled("G")),
                area_m2: e.number("D"),
                boundary: boundary(e),
            })
            .collect();
        self.machines = root.all("DVC").map(machine).collect();
        self.tasks = root.all("TSK").map(task).collect();
    }
}

fn text(element: &Element, name: &str) -> String {
    element.filled(name).unwrap_or_default().to_owned()
}

/// Text of a file in UTF-8, UTF-16 or an older one-byte encoding.
pub(super) fn utf8(bytes: &[u8]) -> String {
    match encoding_rs::Encoding::for_bom(bytes) {
        Some((encoding, _)) => encoding.decode(bytes).0.into_owned(),
        None => decode(bytes).into_owned(),
    }
}

/// The files of a folder by their lower-case names.
fn files(folder: &Path, shown: &str) -> Result<BTreeMap<String, PathBuf>, ReadError> {
    let entries = std::fs::read_dir(folder).map_err(|e| ReadError::io(shown, e))?;
    let mut paths: Vec<PathBuf> = entries
        .flatten()
        .map(|e| e.path())
        .filter(|p| p.is_file())
        .collect();
    paths.sort();
    let name = |p: &Path| {
        p.file_name()
            .map(|n| n.to_string_lossy().to_lowercase())
            .unwrap_or_default()
    };
    Ok(paths.into_iter().rev().map(|p| (name(&p), p)).collect())
}

/// The boundary polygons (PLN of type 1) of a field.
fn boundary(field: &Element) -> Option<MultiPolygon<f64>> {
    let mut polygons = Vec::new();
    for pln in field.all("PLN").filter(|p| p.get("A") == Some("1")) {
        let rings = |kind: &str| -> Vec<LineString<f64>> {
            pln.all("LSG")
                .filter(|l| l.get("A") == Some(kind))
                .filter_map(ring)
                .collect()
        };
        let (outer, mut inner) = (rings("1"), rings("2"));
        let alone = outer.len() == 1;
        for ring in outer {
            // Holes belong to the only ring there is; of several, to the first that they lie in.
            let (own, others) = inner
                .into_iter()
                .partition(|hole| alone || holds(&ring, hole));
            inner = others;
            polygons.push(Polygon::new(ring, own));
        }
    }
    (!polygons.is_empty()).then_some(MultiPolygon(polygons))
}

fn holds(outer: &LineString<f64>, hole: &LineString<f64>) -> bool {
    use geo::Contains;
    let outer = Polygon::new(outer.clone(), Vec::new());
    hole.0
        .first()
        .is_some_and(|c| outer.contains(&geo::Point::from(*c)))
}

/// A ring, closed where the file leaves it open; `None` where it has fewer than three corners.
fn ring(line: &Element) -> Option<LineString<f64>> {
    let corner = |p: &Element| {
        let (y, x): (f64, f64) = (p.number("C")?, p.number("D")?);
        (x.abs() <= 180.0 && y.abs() <= 90.0).then_some(Coord { x, y })
    };
    let mut line = LineString(line.all("PNT").filter_map(corner).collect());
    line.close();
    (line.0.len() >= 4).then_some(line)
}

fn machine(dvc: &Element) -> TaskMachine {
    let fixed: BTreeMap<u32, (Ddi, i32)> = dvc
        .all("DPT")
        .filter_map(|p| {
            Some((
                p.number("A")?,
                (Ddi::parse(p.filled("B")?)?, p.number("C")?),
            ))
        })
        .collect();
    let element = |det: &Element| {
        let objects = det.all("DOR").filter_map(|d| d.number::<u32>("A"));
        DeviceElement {
            id: text(det, "A"),
            object: det.number("B").unwrap_or(u32::MAX),
            kind: det.number("C").unwrap_or(0),
            parent: det.number("F").unwrap_or(0),
            properties: objects.filter_map(|o| fixed.get(&o).copied()).collect(),
        }
    };
    let id = text(dvc, "A");
    TaskMachine {
        name: dvc.filled("B").map_or_else(|| id.clone(), str::to_owned),
        id,
        serial: dvc.filled("E").map(str::to_owned),
        elements: dvc.all("DET").map(element).collect(),
    }
}

fn task(tsk: &Element) -> Task {
    /// Work that was done; the others are planned, preliminary, idle or down.
    const EFFECTIVE: &str = "4";
    /// Total area.
    const TOTAL_AREA: Ddi = Ddi(0x0074);
    let done = || tsk.all("TIM").filter(|t| t.get("D") == Some(EFFECTIVE));
    // Totals run on through the pauses of a task: the last one holds.
    let total = |ddi: Ddi| {
        done()
            .filter_map(|tim| {
                tim.all("DLV")
                    .find(|d| d.filled("A").and_then(Ddi::parse) == Some(ddi))
            })
            .filter_map(|dlv| dlv.number::<f64>("B"))
            .last()
    };
    Task {
        id: text(tsk, "A"),
        name: text(tsk, "B"),
        field: tsk.filled("E").map(str::to_owned),
        logs: tsk
            .all("TLG")
            .filter_map(|t| t.filled("A"))
            .map(str::to_owned)
            .collect(),
        start: done().find_map(|t| t.filled("A")).map(str::to_owned),
        total_mass_kg: total(Ddi::TOTAL_MASS),
        total_area_m2: total(TOTAL_AREA),
    }
}
