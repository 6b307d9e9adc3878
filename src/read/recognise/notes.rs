//! What headers, and remarks above them, state beside names and units: the CRS of projected coordinates, the order of
//! day and month, the zone of a clock.

use jiff::tz::{Offset, TimeZone};

use super::words::folded;
use crate::job::DateOrder;
use crate::units::tokens;

/// A CRS that a text names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum StatedCrs {
    /// By its code.
    Code(String),
    /// A zone of UTM whose hemisphere is not said: north or south of the equator.
    EitherSide([String; 2]),
}

/// The words of a text, as headers have them.
pub(super) fn words(text: &str) -> Vec<String> {
    tokens(text).iter().map(|t| folded(t)).collect()
}

/// The CRS that words name, and how many of them, from where, do so. `northing`: a usual northing, m, which tells the
/// latitude band S from the southern hemisphere.
pub(super) fn crs(words: &[String], northing: Option<f64>) -> Option<(StatedCrs, (usize, usize))> {
    if let Some(at) = words.iter().position(|w| w == "epsg")
        && let Some(code) = words.get(at + 1).filter(|w| w.len() >= 4)
        && code.bytes().all(|b| b.is_ascii_digit())
    {
        return Some((StatedCrs::Code(format!("EPSG:{code}")), (at, at + 2)));
    }
    let at = words.iter().position(|w| {
        w.strip_prefix("utm")
            .is_some_and(|rest| rest.is_empty() || rest.starts_with(|c: char| c.is_ascii_digit()))
    })?;
    let (mut zone, mut side, mut datum, mut end) = (None, None, None, at + 1);
    let take = |word: &str, zone: &mut Option<u32>, side: &mut Option<Side>| {
        let digits = word.len() - word.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        match word[..digits].parse::<u32>() {
            Ok(n) if zone.is_none() && (1..=60).contains(&n) => *zone = Some(n),
            Ok(_) => return false,
            Err(_) if digits == 0 && zone.is_some() && side.is_none() => {}
            Err(_) => return false,
        }
        let rest = &word[digits..];
        if !rest.is_empty() {
            match Side::of(rest) {
                Some(found) => *side = Some(found),
                None => return false,
            }
        }
        true
    };
    let first = words[at].trim_start_matches("utm");
    if !first.is_empty() && !take(first, &mut zone, &mut side) {
        return None;
    }
    while let Some(word) = words.get(end) {
        let next = words.get(end + 1).map(String::as_str);
        match (word.as_str(), next) {
            (
                "zone" | "zona" | "fuso" | "huso" | "fuseau" | "strefa" | "zon" | "sone" | "m"
                | "datum",
                _,
            ) => end += 1,
            ("wgs", Some("84")) => (datum, end) = (Some(Datum::Wgs84), end + 2),
            ("wgs84", _) => (datum, end) = (Some(Datum::Wgs84), end + 1),
            ("etrs", Some("89")) => (datum, end) = (Some(Datum::Etrs89), end + 2),
            ("etrs89", _) => (datum, end) = (Some(Datum::Etrs89), end + 1),
            ("nad", Some("83")) => (datum, end) = (Some(Datum::Nad83), end + 2),
            ("nad83", _) => (datum, end) = (Some(Datum::Nad83), end + 1),
            (word, _) if take(word, &mut zone, &mut side) => end += 1,
            _ => break,
        }
    }
    let zone = zone?;
    let before: Vec<&str> = words[..at].iter().map(String::as_str).collect();
    let datum = datum.unwrap_or(match before.as_slice() {
        [.., "etrs", "89"] | [.., "etrs89"] => Datum::Etrs89,
        [.., "nad", "83"] | [.., "nad83"] => Datum::Nad83,
        _ => Datum::Wgs84,
    });
    let code = |south: bool| datum.code(zone, south).map(|n| format!("EPSG:{n}"));
    let stated = match side {
        Some(Side::North) => StatedCrs::Code(code(false)?),
        Some(Side::South) => StatedCrs::Code(code(true)?),
        // Band S lies between 32° and 40° N: 3.5 to 4.5 million metres; in the southern hemisphere that is the sea, or
        // Patagonia's south, where no grain grows.
        Some(Side::LetterS) => {
            let band = northing.is_some_and(|y| (3.5e6..4.5e6).contains(&y));
            StatedCrs::Code(code(!band)?)
        }
        None => match code(true) {
            Some(south) if datum == Datum::Wgs84 => StatedCrs::EitherSide([code(false)?, south]),
            _ => StatedCrs::Code(code(false)?),
        },
    };
    Some((stated, (at, end)))
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    North,
    South,
    /// South, or the latitude band S, which lies in the north.
    LetterS,
}

impl Side {
    /// By a word, or by the letter of a latitude band (C to M lie south of the equator, N to X north of it).
    fn of(word: &str) -> Option<Side> {
        const NORTH: &[&str] = &[
            "north", "nord", "norte", "noord", "norr", "norra", "polnoc", "northern",
        ];
        const SOUTH: &[&str] = &[
            "south", "sud", "sued", "sul", "sur", "zuid", "syd", "sodra", "poludnie", "southern",
        ];
        match word {
            "s" => Some(Side::LetterS),
            w if NORTH.contains(&w) => Some(Side::North),
            w if SOUTH.contains(&w) => Some(Side::South),
            w if w.len() == 1 => match w.as_bytes()[0] {
                b'n'..=b'x' => Some(Side::North),
                b'c'..=b'm' => Some(Side::South),
                _ => None,
            },
            _ => None,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Datum {
    Wgs84,
    Etrs89,
    Nad83,
}

impl Datum {
    /// EPSG's code of a zone: 326zz and 327zz (WGS 84), 258zz (ETRS89, zones 28 to 38), 269zz (NAD83, zones 1 to 23).
    fn code(self, zone: u32, south: bool) -> Option<u32> {
        match self {
            Datum::Wgs84 => Some(if south { 32_700 } else { 32_600 } + zone),
            Datum::Etrs89 => (!south && (28..=38).contains(&zone)).then_some(25_800 + zone),
            Datum::Nad83 => (!south && (1..=23).contains(&zone)).then_some(26_900 + zone),
        }
    }
}

/// Where three words in a row are a pattern of a date (`dd/mm/yyyy`, `month/day/year`), and the order that it says.
pub(super) fn date_pattern(words: &[String]) -> Option<(DateOrder, usize)> {
    #[derive(PartialEq, Clone, Copy)]
    enum Part {
        Day,
        Month,
        Year,
    }
    let part = |w: &String| -> Option<Part> {
        match w.as_str() {
            "day" | "tag" | "jour" | "dia" | "giorno" | "dag" => return Some(Part::Day),
            "month" | "monat" | "mois" | "mes" | "mese" | "maand" | "manad" => {
                return Some(Part::Month);
            }
            "year" | "jahr" | "annee" | "ano" | "anno" | "jaar" => return Some(Part::Year),
            _ => {}
        }
        let first = w.chars().next()?;
        if w.len() < 2 || !w.chars().all(|c| c == first) {
            return None;
        }
        match (first, w.len()) {
            ('m', 2) => Some(Part::Month),
            ('d' | 'j' | 't' | 'g', 2) => Some(Part::Day),
            ('y' | 'a' | 'r', 2 | 4) | ('j', 4) => Some(Part::Year),
            _ => None,
        }
    };
    (0..words.len().saturating_sub(2)).find_map(|k| {
        let three = [part(&words[k])?, part(&words[k + 1])?, part(&words[k + 2])?];
        let order = match three {
            [Part::Day, Part::Month, Part::Year] => DateOrder::DayMonthYear,
            [Part::Month, Part::Day, Part::Year] => DateOrder::MonthDayYear,
            [Part::Year, Part::Month, Part::Day] => DateOrder::YearMonthDay,
            _ => return None,
        };
        Some((order, k))
    })
}

/// The zone that a clock's header names: `UTC`, `GMT`, `UTC-5`, `UTC+05:30`.
pub(in crate::read) fn zone(header: &str) -> Option<TimeZone> {
    let upper = header.to_ascii_uppercase();
    let at = ["UTC", "GMT"].iter().find_map(|name| {
        let at = upper.find(name)?;
        let alone = |c: Option<char>| c.is_none_or(|c| !c.is_ascii_alphabetic());
        let before = upper[..at].chars().next_back();
        let small = header[..at]
            .chars()
            .next_back()
            .is_some_and(char::is_lowercase);
        (alone(before) || small).then_some(())?;
        alone(upper[at + 3..].chars().next()).then_some(at + 3)
    })?;
    let rest = upper[at..].trim_start();
    let (sign, rest) = match rest.chars().next() {
        Some('+') => (1, &rest[1..]),
        Some('-') => (-1, &rest[1..]),
        Some('\u{2212}') => (-1, &rest['\u{2212}'.len_utf8()..]),
        _ => return Some(TimeZone::UTC),
    };
    let mut parts = rest
        .split(|c: char| !(c.is_ascii_digit() || c == ':'))
        .next()
        .unwrap_or_default()
        .split(':');
    let hours: i32 = match parts.next().unwrap_or_default() {
        four if four.len() == 4 => {
            let n: i32 = four.parse().ok()?;
            return offset(sign * (n / 100 * 3600 + n % 100 * 60));
        }
        few => match few.parse() {
            Ok(hours) => hours,
            Err(_) => return Some(TimeZone::UTC), // "UTC - as logged"
        },
    };
    let minutes: i32 = parts.next().map_or(Ok(0), str::parse).ok()?;
    offset(sign * (hours * 3600 + minutes * 60))
}

fn offset(seconds: i32) -> Option<TimeZone> {
    // No zone is further from Greenwich than 14 hours.
    (seconds.abs() <= 14 * 3600).then(|| Offset::from_seconds(seconds).ok().map(TimeZone::fixed))?
}

#[cfg(test)]
mod tests {
    use super::*;

    /// EPSG's codes of zones: WGS 84 / UTM 32N is 32632, 20S 32720; ETRS89 / UTM 32N 25832; NAD83 / UTM 15N 26915.
    #[test]
    fn a_crs_is_named_by_code_or_zone() {
        let code = |text: &str| match crs(&words(text), None).map(|c| c.0) {
            Some(StatedCrs::Code(code)) => code,
            other => format!("{other:?}"),
        };
        for (text, expected) in [
            (
                "east and north: UTM zone 32 north, metres (EPSG:32632)",
                "EPSG:32632",
            ),
            ("Leste UTM fuso 20 Sul WGS 84 (m)", "EPSG:32720"),
            ("utm zone 20 south", "EPSG:32720"),
            ("x_utm15n_m", "EPSG:32615"),
            ("ETRS89 / UTM zone 32N", "EPSG:25832"),
            ("NAD 83 UTM 15 N easting", "EPSG:26915"),
            ("UTM 33U", "EPSG:32633"),
            ("UTM 20H", "EPSG:32720"),
        ] {
            assert_eq!(code(text), expected, "{text}");
        }
        let south = crs(&words("UTM 20 S"), Some(6_324_589.0));
        assert!(matches!(south, Some((StatedCrs::Code(c), _)) if c == "EPSG:32720"));
        let band = crs(&words("UTM 30S"), Some(4_100_000.0));
        assert!(matches!(band, Some((StatedCrs::Code(c), _)) if c == "EPSG:32630"));
        assert!(matches!(
            crs(&words("UTM 32"), None),
            Some((StatedCrs::EitherSide(_), _))
        ));
        assert_eq!(crs(&words("utm easting"), None), None);
        assert_eq!(crs(&words("x (m)"), None), None);
    }

    #[test]
    fn a_pattern_says_the_order_of_a_date() {
        let order = |t: &str| date_pattern(&words(t)).map(|p| p.0);
        assert_eq!(order("Date (jj/mm/aaaa)"), Some(DateOrder::DayMonthYear));
        assert_eq!(
            order("Date and time (month/day/year, UTC-5)"),
            Some(DateOrder::MonthDayYear)
        );
        assert_eq!(order("TT.MM.JJJJ"), Some(DateOrder::DayMonthYear));
        assert_eq!(order("yyyy-mm-dd hh:mm"), Some(DateOrder::YearMonthDay));
        assert_eq!(order("width mm"), None);
    }

    #[test]
    fn a_header_names_its_zone() {
        let seconds = |t: &str| {
            let at = jiff::Timestamp::UNIX_EPOCH;
            zone(t).map(|z| z.to_offset(at).seconds())
        };
        assert_eq!(seconds("Time (UTC)"), Some(0));
        assert_eq!(seconds("TimeUtc"), Some(0));
        assert_eq!(seconds("Data e hora (UTC-3)"), Some(-3 * 3600));
        assert_eq!(seconds("clock, UTC+05:30"), Some(19_800));
        assert_eq!(seconds("Local time"), None);
        assert_eq!(seconds("UTC+99"), None);
    }
}
