use serde::Serialize;

use super::{InputRemark, MachineAudit, TicketAudit};

/// What a remark asks of its reader.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heading {
    /// To be looked up: on a paper or in a file.
    Check,
    /// To be known.
    Know,
    /// What these tickets cannot tell; only other loads can.
    NotTold,
}

/// What a remark is about, worst first: the order of the variants is the order of the audit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum AuditCode {
    /// A slip of the pen would explain a weight that the machine's other tickets contradict.
    MistypedTicket,
    /// Two weights fit each other's loads and not their own.
    SwappedTickets,
    /// A weight fits more, less or other loads than the ticket names.
    SplitLoad,
    /// The machine's other tickets contradict a weight, and no simple slip explains it.
    DoubtfulTicket,
    /// A machine's factor is farther from 1 than a monitor errs.
    UnlikelyLevel,
    /// A ticket names a load that no log has.
    UnknownLoad,
    /// Two tickets claim one load.
    TwoTickets,
    /// A row of the tickets cannot be read.
    BadTicket,
    /// A ticket names a field that does not list its file.
    UnknownField,
    /// A log cannot be read: loads may miss grain.
    BadLog,
    /// A ticket has a time window, and the log no clock.
    NoClock,
    /// A ticket weighed loads of which the log has no grain.
    NoLoggedGrain,
    /// A load is more than 3 % off after its machine's factor; the other tickets scatter too much to contradict it.
    OffAfterCorrection,
    /// A ticket's moisture is far from what the machine's other tickets lead to expect.
    OddMoisture,
    /// No ticket weighs this machine's grain.
    NoScale,
    /// The factors of a machine are one thing up to a load, and another from it on.
    LevelStep,
    /// The factors of a machine rise or fall with time.
    Drift,
    /// A ticket weighs less grain than 3,000 lb.
    SmallLoad,
    /// A load is mostly grain of the first headland and crossing passes.
    OpeningLoad,
    /// A load is less than half, or more than twice, the size of the machine's others.
    UnevenLoad,
    /// Fewer than four tickets for a machine in a crop.
    FewLoads,
    /// Wet and dry grain under one factor.
    MixedMoisture,
    /// All loads were cut at one flow.
    OneFlow,
    /// The tickets of a machine are days apart.
    DaysApart,
    /// The monitor's moisture is off the tester's.
    MoistureOffset,
    /// A ticket's row says that it is not to be used.
    NotUsed,
    /// A logged load has no ticket.
    NoTicket,
}

impl AuditCode {
    /// Every code, worst first.
    pub const ALL: [AuditCode; 27] = [
        Self::MistypedTicket,
        Self::SwappedTickets,
        Self::SplitLoad,
        Self::DoubtfulTicket,
        Self::UnlikelyLevel,
        Self::UnknownLoad,
        Self::TwoTickets,
        Self::BadTicket,
        Self::UnknownField,
        Self::BadLog,
        Self::NoClock,
        Self::NoLoggedGrain,
        Self::OffAfterCorrection,
        Self::OddMoisture,
        Self::NoScale,
        Self::LevelStep,
        Self::Drift,
        Self::SmallLoad,
        Self::OpeningLoad,
        Self::UnevenLoad,
        Self::FewLoads,
        Self::MixedMoisture,
        Self::OneFlow,
        Self::DaysApart,
        Self::MoistureOffset,
        Self::NotUsed,
        Self::NoTicket,
    ];

    /// The stable word.
    pub fn name(self) -> &'static str {
        match self {
            Self::MistypedTicket => "mistyped-ticket",
            Self::SwappedTickets => "swapped-tickets",
            Self::SplitLoad => "split-load",
            Self::DoubtfulTicket => "doubtful-ticket",
            Self::UnlikelyLevel => "unlikely-level",
            Self::UnknownLoad => "unknown-load",
            Self::TwoTickets => "two-tickets",
            Self::BadTicket => "bad-ticket",
            Self::UnknownField => "unknown-field",
            Self::BadLog => "bad-log",
            Self::NoClock => "no-clock",
            Self::NoLoggedGrain => "no-logged-grain",
            Self::LevelStep => "level-step",
            Self::Drift => "drift",
            Self::OffAfterCorrection => "off-after-correction",
            Self::OddMoisture => "odd-moisture",
            Self::SmallLoad => "small-load",
            Self::OpeningLoad => "opening-load",
            Self::UnevenLoad => "uneven-load",
            Self::NoScale => "no-scale",
            Self::FewLoads => "few-loads",
            Self::MixedMoisture => "mixed-moisture",
            Self::OneFlow => "one-flow",
            Self::DaysApart => "days-apart",
            Self::MoistureOffset => "moisture-offset",
            Self::NotUsed => "not-used",
            Self::NoTicket => "no-ticket",
        }
    }

    /// Whether it means that a row of a file is probably wrong, so that each case needs looking into by itself.
    pub fn is_about_a_row(self) -> bool {
        self < Self::OffAfterCorrection
    }

    /// Under which heading it stands.
    pub fn heading(self) -> Heading {
        match self {
            _ if self <= Self::NoScale => Heading::Check,
            Self::FewLoads | Self::OneFlow => Heading::NotTold,
            _ => Heading::Know,
        }
    }

    /// The code of a remark that reading made, where it is about tickets or lost grain.
    pub(super) fn of_reading(code: &str) -> Option<Self> {
        [
            Self::UnknownLoad,
            Self::TwoTickets,
            Self::BadTicket,
            Self::UnknownField,
            Self::BadLog,
        ]
        .into_iter()
        .find(|c| c.name() == code)
    }

    /// What to do about a remark of reading.
    pub(super) fn usual_action(self) -> &'static str {
        match self {
            Self::UnknownLoad => {
                "compare the load on the paper with the log's names, and correct the row"
            }
            Self::TwoTickets => {
                "find out which of the two is for another load or a copy; correct it, or set use = no on it"
            }
            Self::BadTicket => "correct the row: until then its load counts as never weighed",
            Self::UnknownField => "write the field's name as the job has it",
            _ => {
                "correct the file: its grain is missing, so loads in it look lighter in the log than they were"
            }
        }
    }
}

/// Something to know about a ticket, a load or a machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AuditRemark {
    /// Stable word.
    pub code: AuditCode,
    /// What it is and why it matters.
    pub text: String,
    /// What to do about it.
    pub action: String,
}

impl AuditRemark {
    pub(super) fn new(code: AuditCode, text: impl Into<String>, action: impl Into<String>) -> Self {
        Self {
            code,
            text: text.into(),
            action: action.into(),
        }
    }
}

/// What a remark of [`super::Audit::worst_first`] is about.
#[derive(Debug, Clone, Copy)]
pub enum Subject<'a> {
    /// A ticket.
    Ticket(&'a TicketAudit),
    /// A machine in a crop.
    Machine(&'a MachineAudit),
    /// A file of a field.
    Input(&'a InputRemark),
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_in_order_and_spelt_as_they_are_written() {
        assert!(AuditCode::ALL.is_sorted());
        for code in AuditCode::ALL {
            let written = serde_json::to_value(code).unwrap();
            assert_eq!(written, code.name());
        }
    }
}
