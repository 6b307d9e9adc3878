//! Angles as cells write them: degrees, minutes and seconds, with a hemisphere.

/// Which coordinate an angle is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hemisphere {
    /// North or south: a latitude.
    NorthSouth,
    /// East or west: a longitude.
    EastWest,
}

/// An angle in a cell: degrees, north and east positive, and the coordinate that its letter names.
///
/// `42°02.02214' N`, `W 93° 37' 16.9"`, `-93° 37,28`, `42.0337 N`: a mark of degrees, or a letter beside minutes or
/// decimals; a plain number or a name such as `N5` is none.
pub(super) fn angle(cell: &str) -> Option<(f64, Option<Hemisphere>)> {
    let cell = cell.trim();
    // Letters as English and most other languages have them; O is east in some and west in others, and is not taken.
    let of = |c: char| match c.to_ascii_uppercase() {
        'N' => Some((1.0, Hemisphere::NorthSouth)),
        'S' => Some((-1.0, Hemisphere::NorthSouth)),
        'E' => Some((1.0, Hemisphere::EastWest)),
        'W' => Some((-1.0, Hemisphere::EastWest)),
        _ => None,
    };
    let (front, back) = (
        cell.chars().next().and_then(of),
        cell.chars().next_back().and_then(of),
    );
    let (letter, rest) = match (front, back) {
        (Some(_), Some(_)) => return None,
        (Some(found), None) => (Some(found), &cell[1..]),
        (None, Some(found)) => (Some(found), &cell[..cell.len() - 1]),
        (None, None) => (None, cell),
    };
    let rest = rest.trim();
    let (negative, rest) = match rest.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (true, rest),
        None => (false, rest),
    };
    if negative && letter.is_some() {
        return None;
    }
    let marked = rest.contains(['°', 'º']);
    let part = |c: char| c.is_ascii_digit() || c == '.' || c == ',';
    let between = |c: char| c.is_whitespace() || "°º'′’\"″”".contains(c);
    if !rest.starts_with(|c: char| c.is_ascii_digit())
        || !rest.chars().all(|c| part(c) || between(c))
    {
        return None;
    }
    let parts: Vec<&str> = rest.split(between).filter(|p| !p.is_empty()).collect();
    let decimals = |p: &str| p.find(['.', ',']).map_or(0, |at| p.len() - at - 1);
    let known = marked || letter.is_some() && (parts.len() > 1 || decimals(parts.first()?) >= 3);
    if !known || parts.len() > 3 {
        return None;
    }
    let (mut degrees, mut scale) = (0.0, 1.0);
    for (k, part) in parts.iter().enumerate() {
        let last = k + 1 == parts.len();
        let value: f64 = part.replace(',', ".").parse().ok()?;
        if !last && decimals(part) > 0 || k > 0 && !(value < 60.0) {
            return None;
        }
        degrees += value / scale;
        scale *= 60.0;
    }
    if !(degrees <= 180.0) {
        return None;
    }
    let sign = letter.map_or(if negative { -1.0 } else { 1.0 }, |(sign, _)| sign);
    Some((sign * degrees, letter.map(|(_, which)| which)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_are_degrees_minutes_and_seconds() {
        use Hemisphere::{EastWest, NorthSouth};
        let near = |cell: &str, degrees: f64, which: Option<Hemisphere>| {
            let (found, axis) = angle(cell).unwrap_or_else(|| panic!("{cell}"));
            assert!(
                (found - degrees).abs() < 1e-12 && axis == which,
                "{cell}: {found} {axis:?}"
            );
        };
        near("42°02.02214' N", 42.0 + 2.02214 / 60.0, Some(NorthSouth));
        near(
            "W 93° 37' 16.5\"",
            -(93.0 + 37.0 / 60.0 + 16.5 / 3600.0),
            Some(EastWest),
        );
        near("93 37.28272 W", -(93.0 + 37.28272 / 60.0), Some(EastWest));
        near("-63° 54,52", -(63.0 + 54.52 / 60.0), None);
        near("42.0337° N", 42.0337, Some(NorthSouth));
        near("10,4321E", 10.4321, Some(EastWest));
        for cell in [
            "N5",
            "E 12",
            "W1.5",
            "42.0337",
            "14:03:05",
            "2024-08-17",
            "5°61'",
            "12 30",
            "N",
            "",
            "200° E",
            "é°",
            "42° 1.5' 3\"",
        ] {
            assert_eq!(angle(cell), None, "{cell}");
        }
    }
}
