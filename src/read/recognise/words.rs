//! A header taken apart into words, and the words into what they say.

use super::lexicon::{WORDS, Word};
use super::notes;
use crate::units::{Quantity, Unit, tokens};

/// A header's words without its unit.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct HeaderWords {
    /// What its known words say, in their order.
    pub says: Vec<Word>,
    /// How many words nobody knows.
    pub unknown: usize,
    /// Its unit, where it spells one.
    pub unit: Option<&'static Unit>,
    /// A unit in tons, of 1,000 kg or of 2,000 lb, where the header does not say which.
    pub tons: Option<[&'static Unit; 2]>,
    /// A moisture that stands in the name: `yield at 15 %`.
    pub at_pct: Option<f64>,
}

/// Every way to read a header: with each run of words that can be a unit taken as one, and with none.
pub(super) fn readings(header: &str) -> Vec<HeaderWords> {
    let (rest, at_pct) = without_moisture(header);
    let pieces = without_notes(pieces(&rest));
    let mut readings = Vec::new();
    let n = pieces.len();
    for from in 0..n {
        for to in (from + 1..=n.min(from + 4)).rev() {
            let run: Vec<String> = pieces[from..to].iter().map(|p| p.text.clone()).collect();
            let bracketed = pieces[from..to].iter().all(|p| p.bracketed);
            // One letter in the middle of a name (`m`, `t`) is no unit, and neither is "per second" without a mass.
            if to < n
                && !bracketed
                && (run.len() == 1 || pieces[to].bracketed && to - from == 1)
                && run.iter().all(|w| w.chars().count() < 2)
            {
                continue;
            }
            if bracketed && strangers_beside(&pieces, from, to) {
                continue; // `[l/h]` is no unit of time
            }
            for quantity in Quantity::ALL {
                let unit = quantity.unit_of_tokens(&run);
                let tons = quantity.tons_of_tokens(&run);
                if unit.is_none() && tons.is_none() {
                    continue;
                }
                let mut words: Vec<&Piece> = Vec::new();
                words.extend(&pieces[..from]);
                words.extend(&pieces[to..]);
                let unit = unit.or(tons.map(|t| t[0]));
                readings.push(HeaderWords {
                    tons,
                    ..said(&words, unit, at_pct)
                });
            }
        }
    }
    readings.push(said(&pieces.iter().collect::<Vec<_>>(), None, at_pct));
    readings
}

/// A word of a header.
#[derive(Debug, Clone, PartialEq)]
struct Piece {
    text: String,
    /// Whether it stood in brackets.
    bracketed: bool,
    /// In which brackets, counted from 1; 0 outside.
    group: usize,
}

/// Takes away what a header states beside name and unit: a CRS, the pattern of a date.
fn without_notes(mut pieces: Vec<Piece>) -> Vec<Piece> {
    let words = |pieces: &[Piece]| pieces.iter().map(|p| p.text.clone()).collect::<Vec<_>>();
    if let Some((_, (from, to))) = notes::crs(&words(&pieces), None) {
        // A column that is called nothing but a zone names the CRS of others.
        pieces.drain(from..to);
    }
    if let Some((_, at)) = notes::date_pattern(&words(&pieces)) {
        pieces.drain(at..at + 3);
    }
    pieces
}

/// Whether words that nobody knows stand in the same brackets as a run.
fn strangers_beside(pieces: &[Piece], from: usize, to: usize) -> bool {
    let beside = |k: &usize| !(from..to).contains(k) && pieces[*k].group == pieces[from].group;
    let stranger = |k: usize| {
        let text = &pieces[k].text;
        !text.chars().all(|c| c.is_ascii_digit())
            && meaning(text).is_none_or(|m| m.contains(&Word::Foreign))
    };
    (0..pieces.len()).filter(beside).any(stranger)
}

fn said(pieces: &[&Piece], unit: Option<&'static Unit>, at_pct: Option<f64>) -> HeaderWords {
    let mut words = HeaderWords {
        says: Vec::new(),
        unknown: 0,
        unit,
        tons: None,
        at_pct,
    };
    let mut k = 0;
    while k < pieces.len() {
        let text = &pieces[k].text;
        // "dry matter" is two words for one thing.
        let next = pieces.get(k + 1).map(|p| p.text.as_str());
        if (text == "dry" || text == "matiere") && matches!(next, Some("matter" | "seche")) {
            words.says.push(Word::DryMatter);
            k += 2;
            continue;
        }
        if text.chars().all(|c| c.is_ascii_digit()) {
            // A number in a name (`speed 2`) says nothing by itself.
        } else {
            match meaning(text) {
                Some(meant) => words.says.extend(meant),
                // A unit that is not this reading's: of something else.
                None if is_unit(text) => words.says.push(Word::Foreign),
                None => words.unknown += 1,
            }
        }
        k += 1;
    }
    words
}

fn is_unit(word: &str) -> bool {
    let word = [word.to_owned()];
    Quantity::ALL
        .into_iter()
        .any(|q| q.unit_of_tokens(&word).is_some())
}

/// What a word says: as it stands, as a compound of known words, or cut short as narrow tables cut names.
fn meaning(word: &str) -> Option<Vec<Word>> {
    exact(word)
        .map(|w| vec![w])
        .or_else(|| compound(word))
        .or_else(|| cut_short(word).map(|w| vec![w]))
}

fn exact(word: &str) -> Option<Word> {
    WORDS
        .iter()
        .find(|(_, words)| words.contains(&word))
        .map(|(w, _)| *w)
}

/// The longest compound looked at, bytes, and the most words in one (our choice).
const LONGEST_COMPOUND: usize = 60;
const MOST_PARTS: usize = 5;

/// Known words written as one (`groundspeed`, `Kornfeuchte`): each of at least three letters, the longest first.
fn compound(word: &str) -> Option<Vec<Word>> {
    match word.len() {
        ..=LONGEST_COMPOUND => compound_of(word, MOST_PARTS),
        _ => None,
    }
}

fn compound_of(word: &str, most: usize) -> Option<Vec<Word>> {
    if word.is_empty() {
        return Some(Vec::new());
    }
    if most == 0 {
        return None;
    }
    for at in (3..=word.len()).rev().filter(|&k| word.is_char_boundary(k)) {
        if word.len() - at != 0 && word.len() - at < 3 {
            continue;
        }
        let Some(first) = exact(&word[..at]) else {
            continue;
        };
        if let Some(mut rest) = compound_of(&word[at..], most - 1) {
            rest.insert(0, first);
            return Some(rest);
        }
    }
    // A letter that joins words (`Ertragswert`).
    None
}

/// A word cut short: at least four letters, and every known word that starts so says the same.
fn cut_short(word: &str) -> Option<Word> {
    if word.chars().count() < 4 {
        return None;
    }
    let mut found = None;
    for (meant, words) in WORDS {
        if words.iter().any(|w| w.starts_with(word)) {
            match found {
                None => found = Some(*meant),
                Some(one) if one != *meant => return None,
                _ => {}
            }
        }
    }
    found
}

/// The header without a moisture that its name states (`yield 15%`, `Rendement à 15,5 %`), and that moisture, %.
fn without_moisture(header: &str) -> (String, Option<f64>) {
    let chars: Vec<char> = header.chars().collect();
    for end in 0..chars.len() {
        if chars[end] != '%' {
            continue;
        }
        let mut at = end;
        while at > 0 && chars[at - 1] == ' ' {
            at -= 1;
        }
        let digits_end = at;
        while at > 0 && (chars[at - 1].is_ascii_digit() || matches!(chars[at - 1], '.' | ',')) {
            at -= 1;
        }
        let number: String = chars[at..digits_end].iter().collect();
        if let Ok(pct) = number.replace(',', ".").parse::<f64>()
            && (0.0..40.0).contains(&pct)
        {
            let rest = chars[..at]
                .iter()
                .chain([&' '])
                .chain(&chars[end + 1..])
                .collect();
            return (rest, Some(pct));
        }
    }
    (header.to_owned(), None)
}

/// The words of a header in lower case without accents: parted at anything that is no letter or digit, and where a
/// small letter meets a capital (`grainFlow`).
fn pieces(header: &str) -> Vec<Piece> {
    let mut spaced = String::with_capacity(header.len() + 8);
    let mut before: Option<char> = None;
    for c in header.chars() {
        if before.is_some_and(|b| b.is_lowercase() && c.is_uppercase()) {
            spaced.push(' ');
        }
        spaced.push(c);
        before = Some(c);
    }
    // Units keep their own spelling where capitals part them by accident: kgS is nobody's, but "km/H" and "T/Ha" are.
    let mut out = Vec::new();
    let (mut depth, mut run) = (0usize, String::new());
    let mut opened = 0usize;
    let mut flush = |run: &mut String, group: usize| {
        for word in tokens(run) {
            out.push(Piece {
                text: folded(&word),
                bracketed: group > 0,
                group,
            });
        }
        run.clear();
    };
    for c in spaced.chars() {
        let group = if depth > 0 { opened } else { 0 };
        match c {
            '(' | '[' | '{' => {
                flush(&mut run, group);
                (depth, opened) = (depth + 1, opened + 1);
            }
            ')' | ']' | '}' => {
                flush(&mut run, group);
                depth = depth.saturating_sub(1);
            }
            c => run.push(c),
        }
    }
    flush(&mut run, if depth > 0 { opened } else { 0 });
    out
}

/// A word in lower case without accents.
pub(super) fn folded(word: &str) -> String {
    let mut out = String::with_capacity(word.len());
    for c in word.chars().flat_map(char::to_lowercase) {
        match c {
            'á' | 'à' | 'â' | 'ä' | 'ã' | 'å' | 'ą' | 'ă' | 'ā' => out.push('a'),
            'é' | 'è' | 'ê' | 'ë' | 'ę' | 'ě' | 'ė' | 'ē' => out.push('e'),
            'í' | 'ì' | 'î' | 'ï' | 'ı' | 'ī' | 'į' => out.push('i'),
            'ó' | 'ò' | 'ô' | 'ö' | 'õ' | 'ø' | 'ő' => out.push('o'),
            'ú' | 'ù' | 'û' | 'ü' | 'ů' | 'ű' | 'ū' | 'ų' => out.push('u'),
            'ý' => out.push('y'),
            'ç' | 'ć' | 'č' => out.push('c'),
            'ď' | 'đ' | 'ð' => out.push('d'),
            'ğ' | 'ģ' => out.push('g'),
            'ķ' => out.push('k'),
            'ñ' | 'ń' | 'ň' | 'ņ' => out.push('n'),
            'ł' | 'ľ' | 'ĺ' | 'ļ' => out.push('l'),
            'ř' | 'ŕ' => out.push('r'),
            'ś' | 'š' | 'ș' | 'ş' => out.push('s'),
            'ť' | 'ț' | 'ţ' => out.push('t'),
            'ź' | 'ż' | 'ž' => out.push('z'),
            'ß' => out.push_str("ss"),
            'æ' => out.push_str("ae"),
            'œ' => out.push_str("oe"),
            'ё' => out.push('е'),
            '\u{307}' => {} // the dot that a Turkish capital İ leaves behind
            other => out.push(other),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn best(header: &str) -> HeaderWords {
        readings(header)
            .into_iter()
            .next()
            .expect("at least one reading")
    }

    #[test]
    fn units_come_off_wherever_they_stand() {
        for (header, unit) in [
            ("Flow (t/h)", "t/h"),
            ("flow_lb_s", "lb/s"),
            ("Ertrag [dt/ha] trocken", "dt/ha"),
            ("grainFlowKg/s", "kg/s"),
            ("Yield, bushels per acre", "bu/ac"),
        ] {
            assert_eq!(best(header).unit.map(|u| u.symbol), Some(unit), "{header}");
        }
    }

    #[test]
    fn words_are_known_in_compounds_and_cut_short() {
        assert_eq!(best("groundspeed").says, [Word::Plain, Word::Speed]);
        assert_eq!(best("Kornfeuchte").says, [Word::Grain, Word::Moisture]);
        assert_eq!(best("moistur").says, [Word::Moisture]);
        assert_eq!(best("Höhe").says, [Word::Elevation]);
        assert_eq!(best("gibberish").unknown, 1);
    }

    /// Found by fuzzing: every way to part a long word was tried, and each of those again.
    #[test]
    fn a_long_word_is_no_compound() {
        assert_eq!(best(&format!("time{}", "T".repeat(500))).unknown, 1);
        assert_eq!(best(&"grain".repeat(200)).unknown, 1);
        assert_eq!(best(&"xyz".repeat(18)).unknown, 1);
    }

    #[test]
    fn a_moisture_in_the_name_is_no_unit() {
        let words = best("Rendement à 15,5 % (t/ha)");
        assert_eq!(words.at_pct, Some(15.5));
        assert_eq!(words.unit.map(|u| u.symbol), Some("t/ha"));
        assert_eq!(best("moisture %").at_pct, None);
    }
}
