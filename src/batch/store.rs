//! Prepared fields between acts: in memory as far as it is meant to go, the others in a file without a name.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, OnceLock};

use geo::MultiPolygon;

use crate::geometry::Boundary;
use crate::prepare::Prepared;

/// Bytes that a row of a prepared field takes in memory, about (measured: 300, and room at the ends of columns).
const BYTES_A_ROW: u64 = 400;

/// Where so many times as much waits on the disk as in memory, the latter goes there as well while the batch is pooled (our
/// choice: pooling takes half a megabyte a field, so it then needs that room, and to write this little more takes no time).
const MUCH_WAITS: u64 = 2;

/// Prepared fields that are kept between acts.
///
/// The file is for the time of the run: it has no name, so it is gone when the run ends, however it ends. To read a field
/// back from it costs a fraction of reading and preparing its logs again. A full disk only costs that time.
pub(super) struct Store {
    slots: Vec<Mutex<Slot>>,
    /// Where each field stands in the file, once it does.
    places: Vec<OnceLock<Place>>,
    held: AtomicU64,
    most: u64,
    file: Mutex<Disk>,
}

#[derive(Default)]
enum Slot {
    #[default]
    Empty,
    Memory(Box<Prepared>),
    /// In the file, but for its boundary.
    Disk(Outline),
}

/// A boundary in degrees and in the field's frame: small, and nothing that could be written down as it is.
struct Outline(Option<MultiPolygon<f64>>, Option<Boundary>);

#[derive(Clone, Copy)]
struct Place {
    at: u64,
    bytes: usize,
}

/// The file.
enum Disk {
    /// Not needed yet.
    Folder(Option<PathBuf>),
    /// Open, and how far it is filled.
    Open(File, u64),
    /// It could not be made or written.
    Unusable,
}

impl Store {
    /// For so many fields; `most`: bytes to hold in memory; `folder`: of the file, else the
    /// system's for temporary files.
    pub fn new(fields: usize, most: u64, folder: Option<PathBuf>) -> Self {
        Self {
            slots: (0..fields).map(|_| Mutex::default()).collect(),
            places: (0..fields).map(|_| OnceLock::new()).collect(),
            held: AtomicU64::new(0),
            most,
            file: Mutex::new(Disk::Folder(folder)),
        }
    }

    /// Keeps a field for the next act, if there is room anywhere.
    pub fn keep(&self, f: usize, mut field: Box<Prepared>) {
        let bytes = size(&field);
        let kept = if self.held.fetch_add(bytes, Ordering::Relaxed) + bytes <= self.most {
            Slot::Memory(field)
        } else {
            self.held.fetch_sub(bytes, Ordering::Relaxed);
            if self.places[f].get().is_none() && self.write(f, &field).is_none() {
                return;
            }
            Slot::Disk(Outline(field.input.boundary.take(), field.boundary.take()))
        };
        if let Ok(mut slot) = self.slots[f].lock() {
            *slot = kept;
        }
    }

    /// Makes room for pooling, where the batch is so large that it takes any.
    pub fn make_room(&self) {
        let waits = match self.file.lock().as_deref() {
            Ok(Disk::Open(_, end)) => *end,
            _ => 0,
        };
        if waits < MUCH_WAITS * self.most {
            return;
        }
        for f in 0..self.slots.len() {
            let Ok(mut slot) = self.slots[f].lock() else {
                continue;
            };
            if let Slot::Memory(field) = &mut *slot
                && (self.places[f].get().is_some() || self.write(f, field).is_some())
            {
                self.held.fetch_sub(size(field), Ordering::Relaxed);
                let outline = Outline(field.input.boundary.take(), field.boundary.take());
                *slot = Slot::Disk(outline);
            }
        }
    }

    /// Takes a field out.
    pub fn take(&self, f: usize) -> Option<Box<Prepared>> {
        let slot = std::mem::take(&mut *self.slots[f].lock().ok()?);
        match slot {
            Slot::Empty => None,
            Slot::Memory(field) => {
                self.held.fetch_sub(size(&field), Ordering::Relaxed);
                Some(field)
            }
            Slot::Disk(Outline(degrees, boundary)) => {
                let mut field: Box<Prepared> = Box::new(self.read(f)?);
                field.input.boundary = degrees;
                field.boundary = boundary;
                Some(field)
            }
        }
    }

    fn write(&self, f: usize, field: &Prepared) -> Option<()> {
        let bytes = postcard::to_stdvec(field).ok()?;
        let mut disk = self.file.lock().ok()?;
        if let Disk::Folder(folder) = &*disk {
            let file = match folder {
                Some(folder) => tempfile::tempfile_in(folder),
                None => tempfile::tempfile(),
            };
            *disk = file.map_or(Disk::Unusable, |file| Disk::Open(file, 0));
        }
        let Disk::Open(file, end) = &mut *disk else {
            return None;
        };
        let written = file
            .seek(SeekFrom::Start(*end))
            .and_then(|_| file.write_all(&bytes));
        if written.is_err() {
            // What is there stays readable; the disk is full, and room is wanted for results.
            let _ = file.set_len(*end);
            return None;
        }
        let place = Place {
            at: *end,
            bytes: bytes.len(),
        };
        *end += bytes.len() as u64;
        self.places[f].set(place).ok()
    }

    fn read(&self, f: usize) -> Option<Prepared> {
        let place = self.places[f].get()?;
        let mut bytes = vec![0; place.bytes];
        let mut disk = self.file.lock().ok()?;
        let Disk::Open(file, _) = &mut *disk else {
            return None;
        };
        file.seek(SeekFrom::Start(place.at)).ok()?;
        file.read_exact(&mut bytes).ok()?;
        drop(disk);
        postcard::from_bytes(&bytes).ok()
    }
}

fn size(field: &Prepared) -> u64 {
    field.input.log.len() as u64 * BYTES_A_ROW
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{FieldSpec, Shape, simulate};

    #[test]
    fn a_field_comes_back_from_the_disk_to_the_last_bit() {
        let spec = FieldSpec {
            shape: Shape::rectangle(120.0, 90.0),
            ..FieldSpec::default()
        };
        let season = simulate(&spec, 5).unwrap();
        let text = format!(
            "[[machine]]\nname = \"{}\"\nheader_width = \"9 m\"\n[[field]]\nclient = \"c\"\nfarm = \"f\"\n\
             name = \"n\"\nseason = 2025\ncrop = \"{}\"\nlogs = [\"x\"]\n",
            spec.machines[0].name, spec.crop
        );
        let job = crate::job::parse(&text, "job.toml", std::path::Path::new(".")).unwrap();
        let field = || Box::new(Prepared::new(&job, &job.fields[0], season.to_input()).unwrap());
        let dir = tempfile::tempdir().unwrap();
        let shown = format!("{:?}", field());
        for most in [0, u64::MAX] {
            let store = Store::new(2, most, Some(dir.path().to_owned()));
            for _ in 0..3 {
                store.keep(1, field());
                assert!(store.take(0).is_none());
                assert_eq!(format!("{:?}", store.take(1).unwrap()), shown);
                assert!(store.take(1).is_none());
            }
            let filled = match &*store.file.lock().unwrap() {
                Disk::Open(_, filled) => *filled,
                _ => 0,
            };
            // Written once, however often it is kept, and nothing that would outlive the run.
            let rows = season.rows.len() as u64;
            assert!(filled < rows * BYTES_A_ROW && (filled > 0) == (most == 0));
            assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0);
        }
        // Room is made where most of a batch waits on the disk already, and not before.
        let bytes = size(&field());
        let store = Store::new(20, bytes, Some(dir.path().to_owned()));
        for f in 0..3 {
            store.keep(f, field());
            store.make_room();
        }
        assert_eq!(store.held.load(Ordering::Relaxed), bytes);
        (3..20).for_each(|f| store.keep(f, field()));
        store.make_room();
        assert_eq!(store.held.load(Ordering::Relaxed), 0);
        assert!((0..20).all(|f| format!("{:?}", store.take(f).unwrap()) == shown));
        // Where the file cannot be made, the field is not kept, and nothing else happens.
        let store = Store::new(2, 0, Some(dir.path().join("absent")));
        store.keep(1, field());
        assert!(store.take(1).is_none());
    }
}
