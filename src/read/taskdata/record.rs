//! The records of a log (TLGxxxxx.BIN): little-endian, packed, without a file header (ISO 11783-10, annex D).

use std::io::{self, Read};

use super::header::{Part, Ptn, TlgHeader};
use crate::read::source::fill;

/// One record, its values held from the records before.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Record {
    /// Milliseconds since midnight and days since 1980-01-01, local.
    pub time: Option<(u32, u16)>,
    /// The same in UTC, by the receiver.
    pub utc: Option<(u32, u16)>,
    /// Degrees north; NaN where the record has none.
    pub north: f64,
    /// Degrees east.
    pub east: f64,
    /// m.
    pub up: f64,
    pub status: f64,
    pub pdop: f64,
    pub hdop: f64,
    pub satellites: f64,
    /// By the place of the value in the header: the last one logged, or the constant.
    pub held: Vec<Option<i32>>,
}

/// Reads records one by one.
pub(super) struct Records<'a, R> {
    from: R,
    header: &'a TlgHeader,
    /// The record read last.
    pub record: Record,
    /// Bytes of a record before its values.
    fixed: usize,
    buffer: Vec<u8>,
    /// Values whose place the header does not have.
    pub unnamed: u64,
    /// Bytes of a record that the end of the file cuts.
    pub cut: usize,
}

/// Bytes of a field that is in the record.
fn bytes(part: Part, n: usize) -> usize {
    if part == Part::InRecord { n } else { 0 }
}

fn length(ptn: &Ptn) -> usize {
    bytes(ptn.north, 4)
        + bytes(ptn.east, 4)
        + bytes(ptn.up, 4)
        + bytes(ptn.status, 1)
        + bytes(ptn.pdop, 2)
        + bytes(ptn.hdop, 2)
        + bytes(ptn.satellites, 1)
        + bytes(ptn.utc_time, 4)
        + bytes(ptn.utc_date, 2)
}

impl<'a, R: Read> Records<'a, R> {
    pub fn new(from: R, header: &'a TlgHeader) -> Self {
        let positions: usize = header.positions.iter().map(length).sum();
        let fixed = positions + if header.time { 6 } else { 0 };
        let nothing = f64::NAN;
        Self {
            from,
            header,
            record: Record {
                time: None,
                utc: None,
                north: nothing,
                east: nothing,
                up: nothing,
                status: nothing,
                pdop: nothing,
                hdop: nothing,
                satellites: nothing,
                held: header.values.iter().map(|v| v.constant).collect(),
            },
            fixed,
            buffer: vec![0; fixed + 1 + 5 * 255],
            unnamed: 0,
            cut: 0,
        }
    }

    /// Reads the next record; `false` at the end, or where what is left is no whole record.
    pub fn advance(&mut self) -> io::Result<bool> {
        let n = fill(&mut self.from, &mut self.buffer[..=self.fixed])?;
        if n <= self.fixed {
            self.cut = n;
            return Ok(false);
        }
        let values = usize::from(self.buffer[self.fixed]) * 5;
        let from = self.fixed + 1;
        let n = fill(&mut self.from, &mut self.buffer[from..from + values])?;
        if n < values {
            self.cut = from + n;
            return Ok(false);
        }
        let mut field = Fields {
            bytes: &self.buffer[..self.fixed],
        };
        let record = &mut self.record;
        if self.header.time {
            record.time = Some((field.u32(), field.u16()));
        }
        // Only the first position is the machine's; what follows it is left unread.
        if let Some(ptn) = self.header.positions.first() {
            record.north = field.number(ptn.north, |f| f64::from(f.i32()) * 1e-7);
            record.east = field.number(ptn.east, |f| f64::from(f.i32()) * 1e-7);
            record.up = field.number(ptn.up, |f| f64::from(f.i32()) * 1e-3);
            record.status = field.number(ptn.status, |f| f64::from(f.u8()));
            record.pdop = field.number(ptn.pdop, |f| f64::from(f.u16()) * 0.1);
            record.hdop = field.number(ptn.hdop, |f| f64::from(f.u16()) * 0.1);
            record.satellites = field.number(ptn.satellites, |f| f64::from(f.u8()));
            let millis = field.number(ptn.utc_time, |f| f64::from(f.u32()));
            let days = field.number(ptn.utc_date, |f| f64::from(f.u16()));
            let whole = millis.is_finite() && days.is_finite();
            record.utc = whole.then_some((millis as u32, days as u16));
        }
        for value in self.buffer[from..from + values].chunks_exact(5) {
            let (place, number) = (
                usize::from(value[0]),
                [value[1], value[2], value[3], value[4]],
            );
            match (record.held.get_mut(place), self.header.values.get(place)) {
                // A constant of the header stands above the record.
                (Some(held), Some(dlv)) if dlv.constant.is_none() => {
                    *held = Some(i32::from_le_bytes(number))
                }
                (Some(_), _) => {}
                (None, _) => self.unnamed += 1,
            }
        }
        Ok(true)
    }
}

/// The fields of a record, in their order. Its length has been checked: past its end there are noughts.
struct Fields<'a> {
    bytes: &'a [u8],
}

impl Fields<'_> {
    fn take<const N: usize>(&mut self) -> [u8; N] {
        match self.bytes.split_first_chunk::<N>() {
            Some((head, rest)) => {
                self.bytes = rest;
                *head
            }
            None => [0; N],
        }
    }

    fn u8(&mut self) -> u8 {
        let [byte] = self.take();
        byte
    }

    fn u16(&mut self) -> u16 {
        u16::from_le_bytes(self.take())
    }

    fn u32(&mut self) -> u32 {
        u32::from_le_bytes(self.take())
    }

    fn i32(&mut self) -> i32 {
        i32::from_le_bytes(self.take())
    }

    fn number(&mut self, part: Part, read: impl Fn(&mut Self) -> f64) -> f64 {
        match part {
            Part::Absent => f64::NAN,
            Part::Constant(value) => value,
            Part::InRecord => read(self),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::taskdata::header::of_root;
    use crate::read::taskdata::xml::parse;

    fn header(text: &str) -> TlgHeader {
        of_root(&parse(text).expect("XML").root).expect("a header")
    }

    /// The first bytes of a real log, and what they mean by the standard: 2020-01-02 17:30:20, 54.5822941° N
    /// 10.2119904° E, status 15; here with two of its values.
    #[test]
    fn a_real_record_reads_as_the_standard_says() {
        let header = header(
            "<TIM A=\"\" D=\"4\"><PTN A=\"\" B=\"\" D=\"\"/><DLV A=\"0043\" B=\"\"/><DLV A=\"0054\" B=\"\"/></TIM>",
        );
        let bytes = [
            0xe0, 0x9b, 0xc1, 0x03, 0x13, 0x39, 0xdd, 0x98, 0x88, 0x20, 0xe0, 0x39, 0x16, 0x06,
            0x0f, 0x02, //
            0x00, 0x28, 0x23, 0x00, 0x00, 0x01, 0xff, 0xff, 0xff,
            0xff, // a record, then one that is cut
            0xe0, 0x9b,
        ];
        let mut records = Records::new(&bytes[..], &header);
        assert!(records.advance().expect("bytes"));
        let record = &records.record;
        assert_eq!(record.time, Some((63_020_000, 14_611)));
        assert!(
            (record.north - 54.582_294_1).abs() < 1e-9 && (record.east - 10.211_990_4).abs() < 1e-9
        );
        assert_eq!(
            (record.status, record.held.as_slice()),
            (15.0, &[Some(9000), Some(-1)][..])
        );
        assert!(!records.advance().expect("bytes"));
        assert_eq!(records.cut, 2);
    }

    #[test]
    fn values_are_held_and_constants_stand_above_them() {
        let header = header(
            "<TIM><PTN A=\"51.5\" B=\"7\"/><DLV A=\"0057\" B=\"\"/><DLV A=\"0043\" B=\"9000\"/></TIM>",
        );
        let bytes = [
            &[2, 0, 5, 0, 0, 0, 1, 7, 0, 0, 0][..],
            &[0],
            &[1, 9, 1, 1, 1, 1],
        ]
        .concat();
        let mut records = Records::new(&bytes[..], &header);
        for _ in 0..3 {
            assert!(records.advance().expect("bytes"));
            assert_eq!(records.record.held, [Some(5), Some(9000)]);
            assert_eq!((records.record.north, records.record.east), (51.5, 7.0));
        }
        assert!(!records.advance().expect("bytes"));
        assert_eq!((records.cut, records.unnamed), (0, 1));
    }
}
