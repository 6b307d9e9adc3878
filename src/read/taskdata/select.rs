//! Which tasks of a set are a field's.

use geo::{Contains, MultiPolygon};

use super::set::{Task, TaskField, TaskSet};
use crate::job::FieldSeason;
use crate::place::Place;
use crate::read::error::{ReadError, ReadErrorKind};

/// What a name in the set and a name in the job have in common.
fn same(a: &str, b: &str) -> bool {
    !a.trim().is_empty() && a.trim().to_lowercase() == b.trim().to_lowercase()
}

impl TaskField {
    /// Whether its name, code or id is this one, in any case.
    pub(in crate::read) fn is_called(&self, name: &str) -> bool {
        let mut own = [
            Some(self.name.as_str()),
            Some(self.id.as_str()),
            self.code.as_deref(),
        ]
        .into_iter();
        own.any(|o| o.is_some_and(|o| same(o, name)))
    }
}

impl TaskSet {
    /// Whether a field, or a task on it, is called so.
    pub(in crate::read) fn is_field(&self, field: &TaskField, name: &str) -> bool {
        let on_it = |t: &&Task| t.field.as_deref() == Some(field.id.as_str());
        let mut tasks = self.tasks.iter().filter(on_it);
        field.is_called(name) || tasks.any(|t| same(&t.name, name) || same(&t.id, name))
    }
}

/// The tasks with logs that are a field's, in this order: those whose field (name, code or id) or own name (or id) is the
/// job's; else those whose field's boundary has its middle in the job's boundary; else all, where they are of one field.
pub(in crate::read) fn tasks_of<'a>(
    set: &'a TaskSet,
    field: &FieldSeason,
    boundary: Option<&MultiPolygon<f64>>,
) -> Result<Vec<&'a Task>, ReadError> {
    let with_logs: Vec<&Task> = set.tasks.iter().filter(|t| !t.logs.is_empty()).collect();
    let of = |task: &Task| set.field(task.field.as_deref()?);
    if field.name.is_empty() {
        return Ok(with_logs); // nobody's field: the set is only looked at
    }
    let named = |task: &&&Task| {
        same(&task.name, &field.name)
            || same(&task.id, &field.name)
            || of(task).is_some_and(|f| f.is_called(&field.name))
    };
    let found: Vec<&Task> = with_logs.iter().filter(named).copied().collect();
    if !found.is_empty() {
        return Ok(found);
    }
    if let Some(boundary) = boundary {
        let inside = |task: &&&Task| {
            let middle = of(task).and_then(|f| geo::Centroid::centroid(f.boundary.as_ref()?));
            middle.is_some_and(|m| boundary.contains(&m))
        };
        let found: Vec<&Task> = with_logs.iter().filter(inside).copied().collect();
        if !found.is_empty() {
            return Ok(found);
        }
    }
    let first = with_logs.first().map(|t| &t.field);
    if first.is_some() && with_logs.iter().all(|t| Some(&t.field) == first) {
        return Ok(with_logs);
    }
    let mut names: Vec<&str> = Vec::new();
    for task in &with_logs {
        let name = of(task).map_or(task.name.as_str(), |f| f.name.as_str());
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let found = match names.is_empty() {
        true => "no task with a log".to_owned(),
        false => format!("tasks of {}", names.join(", ")),
    };
    Err(ReadError::new(ReadErrorKind::Missing, Place::file(&set.shown), format!("a task of field \"{}\"", field.name), found)
        .hinted("name the field as the task data do, give it its boundary, or list its logs: logs = [\"TASKDATA/TLG00001.XML\"]"))
}
