//! What a number measures, and the units the tool knows for it.
//!
//! Factors are exact by definition: NIST Handbook 44, appendix C (avoirdupois pound, international foot, inch and
//! mile) and NIST Special Publication 811, appendix B (minute, hour, knot, degree, tonne).

use std::fmt;

use super::{ACRE_M2, FOOT_M, HECTARE_M2, POUND_KG};

/// What a number measures. Inside, each has one unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// A length; inside: m.
    Length,
    /// A mass; inside: kg.
    Mass,
    /// A mass per time; inside: kg/s.
    MassFlow,
    /// A speed; inside: m/s.
    Speed,
    /// A time span; inside: s.
    Time,
    /// A part of a whole; inside: %.
    Percent,
    /// An angle; inside: degrees.
    Angle,
    /// A mass per area; inside: kg/ha.
    Yield,
}

impl Quantity {
    /// Every quantity.
    pub const ALL: [Quantity; 8] = [
        Quantity::Length,
        Quantity::Mass,
        Quantity::MassFlow,
        Quantity::Speed,
        Quantity::Time,
        Quantity::Percent,
        Quantity::Angle,
        Quantity::Yield,
    ];

    /// The quantity with its article, for messages.
    pub fn phrase(self) -> &'static str {
        match self {
            Quantity::Length => "a length",
            Quantity::Mass => "a mass",
            Quantity::MassFlow => "a mass flow",
            Quantity::Speed => "a speed",
            Quantity::Time => "a time",
            Quantity::Percent => "a percentage",
            Quantity::Angle => "an angle",
            Quantity::Yield => "a yield",
        }
    }

    /// An amount of it as it is written in a job file, for messages.
    pub fn example(self) -> &'static str {
        match self {
            Quantity::Length => "9.1 m",
            Quantity::Mass => "56 lb",
            Quantity::MassFlow => "8 kg/s",
            Quantity::Speed => "1.5 m/s",
            Quantity::Time => "12 s",
            Quantity::Percent => "15.5 %",
            Quantity::Angle => "90 deg",
            Quantity::Yield => "9 t/ha",
        }
    }

    /// The units known for it.
    pub fn units(self) -> impl Iterator<Item = &'static Unit> {
        UNITS.iter().filter(move |u| u.quantity == self)
    }

    /// The symbols of its units, comma separated, for messages.
    pub fn symbols(self) -> String {
        self.units()
            .map(|u| u.symbol)
            .collect::<Vec<_>>()
            .join(", ")
    }

    /// The unit whose symbol, suffix or plain name is `text` (any case, blanks around it ignored).
    pub fn unit(self, text: &str) -> Option<&'static Unit> {
        let text = text.trim();
        self.units().find(|u| u.symbol == text).or_else(|| {
            let tokens = tokens(text);
            self.unit_of_tokens(&tokens)
        })
    }

    /// The unit that the words of a column name spell, e.g. `["km", "h"]`.
    pub fn unit_of_tokens(self, tokens: &[String]) -> Option<&'static Unit> {
        if tokens.is_empty() {
            return None;
        }
        let suffix = spelt(tokens);
        self.units().find(|u| u.suffix == suffix)
    }

    /// The units that the words can mean where they say a ton and not which: of 1,000 kg and of 2,000 lb.
    pub(crate) fn tons_of_tokens(self, tokens: &[String]) -> Option<[&'static Unit; 2]> {
        let rest = spelt(tokens).strip_prefix("ton")?.to_owned();
        let of = |ton: &str| self.units().find(|u| u.suffix == format!("{ton}{rest}"));
        Some([of("t")?, of("short_ton")?])
    }
}

/// A unit of one quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// As it is written beside a number: `km/h`.
    pub symbol: &'static str,
    /// As it ends a column name: `km_h`.
    pub suffix: &'static str,
    /// What it measures.
    pub quantity: Quantity,
    factor: Factor,
}

/// How a unit turns into the inner unit of its quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Factor {
    /// Multiply.
    Fixed(f64),
    /// Multiply, and by the crop's conversion bushel in kg.
    Bushels(f64),
}

impl Unit {
    /// What one of this unit is in the inner unit of its quantity. `bushel_kg`: the crop's conversion bushel, kg,
    /// which only bushels need.
    pub fn factor(&self, bushel_kg: f64) -> f64 {
        match self.factor {
            Factor::Fixed(f) => f,
            Factor::Bushels(f) => f * bushel_kg,
        }
    }

    /// Whether the unit counts bushels, so that it means nothing without a crop.
    pub fn needs_bushel(&self) -> bool {
        matches!(self.factor, Factor::Bushels(_))
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol)
    }
}

/// Seconds in an hour.
const HOUR_S: f64 = 3600.0;
/// International mile, m: 5,280 feet.
const MILE_M: f64 = 5280.0 * FOOT_M;
/// International nautical mile, m.
const NAUTICAL_MILE_M: f64 = 1852.0;

/// Short ton, kg: 2,000 lb (NIST Handbook 44, appendix C; its hundredweight is 100 lb).
const SHORT_TON_KG: f64 = 2000.0 * POUND_KG;

const fn unit(quantity: Quantity, symbol: &'static str, suffix: &'static str, factor: f64) -> Unit {
    Unit {
        symbol,
        suffix,
        quantity,
        factor: Factor::Fixed(factor),
    }
}

const fn bushels(
    quantity: Quantity,
    symbol: &'static str,
    suffix: &'static str,
    factor: f64,
) -> Unit {
    Unit {
        symbol,
        suffix,
        quantity,
        factor: Factor::Bushels(factor),
    }
}

/// Every unit, the inner one of each quantity first.
static UNITS: [Unit; 49] = [
    unit(Quantity::Length, "m", "m", 1.0),
    unit(Quantity::Length, "cm", "cm", 0.01),
    unit(Quantity::Length, "mm", "mm", 0.001),
    unit(Quantity::Length, "km", "km", 1000.0),
    unit(Quantity::Length, "ft", "ft", FOOT_M),
    unit(Quantity::Length, "in", "in", FOOT_M / 12.0),
    unit(Quantity::Length, "mi", "mi", MILE_M),
    unit(Quantity::Mass, "kg", "kg", 1.0),
    unit(Quantity::Mass, "g", "g", 0.001),
    unit(Quantity::Mass, "t", "t", 1000.0),
    unit(Quantity::Mass, "lb", "lb", POUND_KG),
    bushels(Quantity::Mass, "bu", "bu", 1.0),
    unit(Quantity::Mass, "short ton", "short_ton", SHORT_TON_KG),
    unit(Quantity::MassFlow, "kg/s", "kg_s", 1.0),
    unit(Quantity::MassFlow, "g/s", "g_s", 0.001),
    unit(Quantity::MassFlow, "kg/h", "kg_h", 1.0 / HOUR_S),
    unit(Quantity::MassFlow, "kg/min", "kg_min", 1.0 / 60.0),
    unit(Quantity::MassFlow, "t/h", "t_h", 1000.0 / HOUR_S),
    unit(Quantity::MassFlow, "lb/s", "lb_s", POUND_KG),
    unit(Quantity::MassFlow, "lb/min", "lb_min", POUND_KG / 60.0),
    unit(Quantity::MassFlow, "lb/h", "lb_h", POUND_KG / HOUR_S),
    unit(
        Quantity::MassFlow,
        "short ton/h",
        "short_ton_h",
        SHORT_TON_KG / HOUR_S,
    ),
    bushels(Quantity::MassFlow, "bu/s", "bu_s", 1.0),
    bushels(Quantity::MassFlow, "bu/h", "bu_h", 1.0 / HOUR_S),
    unit(Quantity::Speed, "m/s", "m_s", 1.0),
    unit(Quantity::Speed, "km/h", "km_h", 1000.0 / HOUR_S),
    unit(Quantity::Speed, "mph", "mph", MILE_M / HOUR_S),
    unit(Quantity::Speed, "kn", "kn", NAUTICAL_MILE_M / HOUR_S),
    unit(Quantity::Speed, "ft/s", "ft_s", FOOT_M),
    unit(Quantity::Time, "s", "s", 1.0),
    unit(Quantity::Time, "ms", "ms", 0.001),
    unit(Quantity::Time, "min", "min", 60.0),
    unit(Quantity::Time, "h", "h", HOUR_S),
    unit(Quantity::Percent, "%", "pct", 1.0),
    unit(Quantity::Percent, "ppm", "ppm", 1e-4),
    unit(Quantity::Percent, "fraction", "fraction", 100.0),
    unit(Quantity::Angle, "deg", "deg", 1.0),
    unit(Quantity::Angle, "rad", "rad", 180.0 / std::f64::consts::PI),
    unit(Quantity::Yield, "kg/ha", "kg_ha", 1.0),
    unit(Quantity::Yield, "t/ha", "t_ha", 1000.0),
    unit(Quantity::Yield, "dt/ha", "dt_ha", 100.0),
    unit(Quantity::Yield, "g/m2", "g_m2", HECTARE_M2 / 1000.0),
    unit(Quantity::Yield, "kg/m2", "kg_m2", HECTARE_M2),
    unit(Quantity::Yield, "kg/daa", "kg_daa", 10.0),
    bushels(Quantity::Yield, "bu/ac", "bu_ac", HECTARE_M2 / ACRE_M2),
    unit(
        Quantity::Yield,
        "lb/ac",
        "lb_ac",
        POUND_KG * HECTARE_M2 / ACRE_M2,
    ),
    unit(
        Quantity::Yield,
        "cwt/ac",
        "cwt_ac",
        100.0 * POUND_KG * HECTARE_M2 / ACRE_M2,
    ),
    unit(
        Quantity::Yield,
        "short ton/ac",
        "short_ton_ac",
        SHORT_TON_KG * HECTARE_M2 / ACRE_M2,
    ),
    unit(
        Quantity::Yield,
        "t/ac",
        "t_ac",
        1000.0 * HECTARE_M2 / ACRE_M2,
    ),
];

/// The suffix that the words of a unit spell: `pounds per acre` → `lb_ac`.
fn spelt(tokens: &[String]) -> String {
    let mut spelled: Vec<&str> = Vec::with_capacity(tokens.len());
    for (k, token) in tokens.iter().enumerate() {
        let inner = k > 0 && k + 1 < tokens.len();
        match (token.as_str(), tokens.get(k + 1).map(String::as_str)) {
            // "miles an hour", "a fraction of one"
            ("a" | "an", _) if inner => {}
            ("per", Some("cent")) => spelled.push("pct"),
            ("cent", _) if k > 0 && tokens[k - 1] == "per" => {}
            ("metric", Some("ton" | "tons")) => spelled.push("t"),
            ("ton" | "tons", _) if k > 0 && tokens[k - 1] == "metric" => {}
            (word, _) => spelled.extend(Some(abbreviation(word)).filter(|w| !w.is_empty())),
        }
    }
    let joined = spelled.join("_");
    match joined.as_str() {
        "mi_h" => "mph".to_owned(),
        "km_t" => "km_h".to_owned(), // per "time", an hour in Danish and Norwegian
        "fraction_of_one" | "fraction_of_1" => "fraction".to_owned(),
        "ton_ha" => "t_ha".to_owned(), // nobody counts short tons on a hectare
        _ => joined,
    }
}

/// The words of a column name in lower case: `"Speed (km/h)"` → `speed`, `km`, `h`; `%` and `°` count as words.
pub(crate) fn tokens(text: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    for c in text.chars() {
        match c {
            '%' => words.extend(["pct".to_owned(), String::new()]),
            '°' => words.extend(["deg".to_owned(), String::new()]),
            c if c.is_alphanumeric() => {
                if let Some(word) = words.last_mut() {
                    word.extend(c.to_lowercase());
                }
            }
            _ => words.push(String::new()),
        }
    }
    words.retain(|w| !w.is_empty());
    words
}

/// The abbreviation of a unit's plain name; empty for "per"; other words as they are.
fn abbreviation(word: &str) -> &str {
    ABBREVIATIONS
        .iter()
        .find(|(_, names)| names.contains(&word))
        .map_or(word, |(short, _)| short)
}

/// Plain names of units and their abbreviations (common practice; spelling from general knowledge).
#[rustfmt::skip]
const ABBREVIATIONS: &[(&str, &[&str])] = &[
    ("", &["per", "pro", "par", "por"]),
    ("s", &["second", "seconds", "sec", "secs", "sek", "sekunde", "sekunden", "seg", "segundo", "segundos", "seconde",
        "secondes", "secondi", "с", "сек"]),
    ("ms", &["millisecond", "milliseconds"]),
    ("min", &["minute", "minutes", "minuten", "minuto", "minutos"]),
    ("h", &["hour", "hours", "hr", "hrs", "std", "stunde", "heure", "hora", "uur", "u", "tim", "timme", "godz", "ч", "час"]),
    ("m", &["metre", "metres", "meter", "meters", "metros", "metri", "м"]),
    ("cm", &["см", "centimetre", "centimetres", "centimeter", "centimeters"]),
    ("mm", &["millimetre", "millimetres", "millimeter", "millimeters"]),
    ("km", &["kilometre", "kilometres", "kilometer", "kilometers", "км"]),
    ("ft", &["foot", "feet"]),
    ("in", &["inch", "inches", "zoll", "pulgadas"]),
    ("mi", &["mile", "miles"]),
    ("kg", &["kilogram", "kilograms", "kilogramme", "kilogrammes", "kgs", "кг"]),
    ("g", &["gram", "grams", "gramme", "grammes"]),
    ("t", &["tonne", "tonnes", "tn", "tonnen", "toneladas", "т"]),
    ("ton", &["tons"]),
    ("dt", &["decitonne", "decitonnes", "quintal", "quintals", "quintaux", "quintales", "q", "qq", "qx", "hkg", "ц"]),
    ("cwt", &["hundredweight"]),
    ("lb", &["pound", "pounds", "lbs"]),
    ("bu", &["bushel", "bushels", "bsh"]),
    ("km_h", &["kmh", "kph", "kmph"]),
    ("ha", &["hectare", "hectares", "hektar", "hectarea", "hectareas", "га"]),
    ("daa", &["decare", "decares", "dekar", "da"]),
    ("m2", &["m²"]),
    ("kn", &["knot", "knots", "kt", "kts"]),
    ("ft_s", &["fps"]),
    ("pct", &["percent", "prozent", "procent", "pourcent", "procenten"]),
    ("deg", &["degree", "degrees", "grad", "grados", "gradi", "graus", "graden", "degres", "grader", "stopnie"]),
    ("rad", &["radian", "radians"]),
    ("ac", &["acre", "acres"]),
];

#[cfg(test)]
mod tests {
    use super::*;

    fn factor(quantity: Quantity, unit: &str) -> f64 {
        quantity.unit(unit).expect(unit).factor(f64::NAN)
    }

    /// NIST SP 811, appendix B.8, prints these to seven digits (the digits from memory).
    #[test]
    fn factors_are_those_of_nist_sp_811() {
        for (quantity, unit, published) in [
            (Quantity::Length, "ft", 3.048e-1),
            (Quantity::Length, "in", 2.54e-2),
            (Quantity::Length, "mi", 1.609344e3),
            (Quantity::Mass, "lb", 4.535924e-1),
            (Quantity::Mass, "t", 1.0e3),
            (Quantity::MassFlow, "lb/s", 4.535924e-1),
            (Quantity::MassFlow, "lb/min", 7.559873e-3),
            (Quantity::MassFlow, "lb/h", 1.259979e-4),
            (Quantity::Speed, "km/h", 2.777778e-1),
            (Quantity::Speed, "mph", 4.4704e-1),
            (Quantity::Speed, "kn", 5.144444e-1),
            (Quantity::Speed, "ft/s", 3.048e-1),
            (Quantity::Time, "h", 3.6e3),
            (Quantity::Time, "min", 60.0),
        ] {
            let ours = factor(quantity, unit);
            assert!(
                (ours / published - 1.0).abs() < 5e-7,
                "{unit}: {ours} against {published}"
            );
        }
        assert!((1.0 / factor(Quantity::Angle, "rad") / 1.745329e-2 - 1.0).abs() < 5e-7); // degree to radian
    }

    #[test]
    fn bushels_weigh_what_the_crop_says() {
        let bushel = 56.0 * POUND_KG;
        let per_hour = Quantity::MassFlow.unit("bu/h").expect("known");
        assert!(per_hour.needs_bushel());
        assert!((per_hour.factor(bushel) * 3600.0 - 25.401_172_72).abs() < 1e-12);
        // 1 bu/ac of maize = 62.77 kg/ha (extension tables print 62.77; 56 lb × 2.471054 ac/ha × 0.45359237).
        assert!(
            (Quantity::Yield.unit("bu/ac").expect("known").factor(bushel) - 62.77).abs() < 0.005
        );
    }

    #[test]
    fn a_unit_is_known_by_symbol_suffix_and_plain_name() {
        for (quantity, spellings) in [
            (
                Quantity::Speed,
                &["km/h", "km_h", "KM/H", "kph", "km per hour"][..],
            ),
            (
                Quantity::MassFlow,
                &["lb/s", "lbs/sec", "pounds per second", "lb_s"],
            ),
            (Quantity::Percent, &["%", "pct", "percent", "Percent"]),
        ] {
            for spelling in spellings {
                assert_eq!(
                    quantity.unit(spelling).map(|u| u.symbol),
                    Some(spellings[0]),
                    "{spelling}"
                );
            }
        }
        assert_eq!(Quantity::Length.unit("kg"), None);
        assert_eq!(Quantity::Length.unit(""), None);
        assert_eq!(Quantity::Length.unit("per"), None);
    }

    #[test]
    fn no_two_units_of_a_quantity_share_a_spelling() {
        for (i, a) in UNITS.iter().enumerate() {
            for b in &UNITS[i + 1..] {
                assert!(
                    a.quantity != b.quantity || (a.symbol != b.symbol && a.suffix != b.suffix),
                    "{a} {b}"
                );
            }
        }
    }
}
