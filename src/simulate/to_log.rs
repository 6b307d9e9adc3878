//! A simulated season as the library's own columns, as a reader of its files would hand them over.

use super::machine_spec::Column;
use super::season::Simulated;
use super::truth::load_name;
use crate::log::{Clock, Log, Source, WorkState};
use crate::read::FieldInput;

impl Simulated {
    /// The log as the reader would hand it over: columns that a machine's log lacks are missing.
    pub fn to_log(&self) -> Log {
        let has = |machine: u32, column: Column| {
            self.spec.machines[machine as usize]
                .log
                .columns
                .contains(&column)
        };
        let mut log = Log {
            sources: self
                .files
                .iter()
                .map(|f| Source {
                    path: f.path.clone(),
                    clock: if has(f.machine, Column::Time) {
                        Clock::Unix
                    } else {
                        Clock::None
                    },
                })
                .collect(),
            machines: self.machines.clone(),
            ..Log::default()
        };
        let mut names: Vec<Vec<Option<u32>>> = vec![Vec::new(); self.machines.len()];
        for r in &self.rows {
            let m = r.machine;
            let given = |column: Column, value: f64| if has(m, column) { value } else { f64::NAN };
            let load = has(m, Column::Load).then(|| {
                let known = &mut names[m as usize];
                if known.len() <= r.load as usize {
                    known.resize(r.load as usize + 1, None);
                }
                *known[r.load as usize].get_or_insert_with(|| {
                    log.loads.push(load_name(
                        &self.spec.key,
                        &self.machines[m as usize],
                        r.load,
                    ));
                    log.loads.len() as u32 - 1
                })
            });
            log.source.push(r.file);
            log.row.push(r.row);
            log.machine.push(m);
            log.load.push(load);
            log.pass_label.push(r.pass.filter(|_| has(m, Column::Pass)));
            log.work.push(match r.work_state {
                None => WorkState::Unknown,
                Some(true) => WorkState::Working,
                Some(false) => WorkState::NotWorking,
            });
            log.lon.push(r.lon_deg);
            log.lat.push(r.lat_deg);
            log.time.push(given(Column::Time, r.time));
            log.interval.push(given(Column::Interval, r.interval_s));
            log.flow.push(r.flow_kg_s);
            log.mass.push(f64::NAN);
            log.moisture.push(given(Column::Moisture, r.moisture_pct));
            log.speed.push(given(Column::Speed, r.speed_m_s));
            log.distance.push(given(Column::Distance, r.distance_m));
            log.width.push(given(Column::Width, r.width_m));
            log.heading.push(given(Column::Heading, r.heading_deg));
            log.elevation.push(f64::NAN);
        }
        log
    }

    /// Log, boundary and tickets together, as the reader would hand them over.
    pub fn to_input(&self) -> FieldInput {
        FieldInput {
            log: self.to_log(),
            boundary: Some(self.boundary.clone()),
            tickets: self.tickets.clone(),
            ..FieldInput::default()
        }
    }
}
