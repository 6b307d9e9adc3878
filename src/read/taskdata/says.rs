//! What a log and its device description say beside the rows: latency, times to ignore, where the header is.

use super::ddi::Ddi;
use super::header::TlgHeader;
use super::plan::{Plan, inherited};
use super::set::TaskSet;
use crate::summary::Remark;

/// What the device description and the log say beside the rows.
pub(super) struct Says<'a> {
    pub set: &'a TaskSet,
    pub header: &'a TlgHeader,
    pub plan: &'a Plan,
    /// The values at the end of the log.
    pub held: &'a [Option<i32>],
    pub shown: &'a str,
}

impl Says<'_> {
    /// A value of an element: logged for it, else fixed for it or for what it is part of.
    fn value(&self, element: Option<&String>, ddi: Ddi) -> Option<f64> {
        let id = element?;
        let at = self
            .header
            .values
            .iter()
            .position(|v| v.ddi == Some(ddi) && v.element == *id);
        let logged = at.and_then(|k| self.held[k]);
        let (machine, element) = self.set.element(id)?;
        let (_, factor) = ddi.meaning()?;
        Some(f64::from(logged.or_else(|| inherited(machine, element, ddi))?) * factor)
    }

    pub fn latency(&self) -> Option<Remark> {
        let element = self.plan.grain_element.as_ref();
        let seconds = self
            .value(element, Ddi::LATENCY)
            .or_else(|| self.value(element, Ddi::LATENCY_SET))?;
        if seconds == 0.0 {
            return None;
        }
        // Negative: measured after it happened.
        let text = format!(
            "{}: the machine states a latency of {seconds} s for its grain; by the standard the log is not shifted by it, and it is not \
             shifted here: the transport delay that is found takes it in (not applied)",
            self.shown
        );
        Some(Remark::new("latency", text))
    }

    pub fn ignore_times(&self) -> Option<Remark> {
        let element = self.plan.grain_element.as_ref();
        let (out, into) = (
            self.value(element, Ddi::IGNORE_OUT),
            self.value(element, Ddi::IGNORE_IN),
        );
        let says = |seconds: Option<f64>, when: &str| {
            seconds
                .filter(|s| *s > 0.0)
                .map(|s| format!("{s} s {when}"))
        };
        let times: Vec<String> = [
            says(into, "after work begins"),
            says(out, "after work ends"),
        ]
        .into_iter()
        .flatten()
        .collect();
        if times.is_empty() {
            return None;
        }
        let text = format!(
            "{}: the machine asks that its yield be ignored for {}; all grain is weighed here, and pass entries and exits are found from the \
             data (not applied)",
            self.shown,
            times.join(" and ")
        );
        Some(Remark::new("ignore-times", text))
    }

    /// How far the header is ahead and to the right of the receiver, m; `None` where it is nowhere stated, or nought.
    pub fn offset(&self) -> Option<(f64, f64)> {
        /// The element that is a receiver.
        const NAVIGATION: u8 = 7;
        let header = self.plan.header_element.as_ref();
        let (machine, _) = self.set.element(header?)?;
        let receiver = machine.elements.iter().find(|e| e.kind == NAVIGATION)?;
        let between =
            |ddi: Ddi| Some(self.value(header, ddi)? - self.value(Some(&receiver.id), ddi)?);
        let forward = between(Ddi::OFFSET_X);
        let right = between(Ddi::OFFSET_Y);
        match (forward, right) {
            (None, None) => None,
            (forward, right) => Some((forward.unwrap_or_default(), right.unwrap_or_default())),
        }
        .filter(|(f, r)| f.hypot(*r) > 0.0)
    }
}
