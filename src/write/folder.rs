//! Where a field season's results stand: `CLIENT/FARM/FIELD/SEASON-CROP`, whatever the names are.

use std::collections::BTreeSet;

use crate::job::FieldSeason;

/// Longest folder name, bytes. Our choice: file systems take 255 bytes a name, but Windows 260 characters for a
/// whole path, and four names and a file have to fit.
const LONGEST: usize = 100;

/// Folder of each field season, relative to the results, with `/` between its parts, in the order of the job.
///
/// A name that is a sound folder name everywhere stays as it is. Any other is altered and gets a short hash of
/// itself, so that distinct names stay distinct. Where two field seasons differ only in upper and lower case, the
/// later one gets a hash, because some file systems take them for one folder.
pub fn folders(fields: &[FieldSeason]) -> Vec<String> {
    let mut taken = BTreeSet::new();
    fields
        .iter()
        .map(|f| {
            let crop_season = format!("{}-{}", f.season, f.crop.name);
            let mut folder = [
                f.client.as_str(),
                f.farm.as_str(),
                f.name.as_str(),
                crop_season.as_str(),
            ]
            .map(folder_name)
            .join("/");
            if !taken.insert(folder.to_lowercase()) {
                let whole = format!("{}\n{}\n{}\n{crop_season}", f.client, f.farm, f.name);
                folder.push_str(&hash_suffix(&whole));
                taken.insert(folder.to_lowercase());
            }
            folder
        })
        .collect()
}

/// A name as a folder name that any file system takes.
pub fn folder_name(name: &str) -> String {
    let mut safe: String = name
        .chars()
        .map(|c| if forbidden(c) { '-' } else { c })
        .collect();
    // Windows drops dots and spaces at the end; a dot in front hides a folder elsewhere.
    safe = safe
        .trim()
        .trim_end_matches(['.', ' '])
        .trim_start_matches('.')
        .to_owned();
    if safe.len() > LONGEST {
        safe.truncate(safe.floor_char_boundary(LONGEST - 9)); // room for the hash
    }
    if safe.is_empty() {
        safe.push_str("unnamed");
    }
    if reserved(&safe) {
        safe.insert(0, '-');
    }
    if safe != name {
        safe.push_str(&hash_suffix(name));
    }
    safe
}

/// Characters that some file system does not take in a name, or that are invisible.
/// Source: Microsoft, "Naming Files, Paths, and Namespaces" (reserved characters); POSIX (slash and NUL).
fn forbidden(c: char) -> bool {
    c.is_control()
        || turns_direction(c)
        || matches!(c, '/' | '\\' | ':' | '*' | '?' | '"' | '<' | '>' | '|')
}

/// Invisible characters that turn the direction of what follows, or the byte order mark: with them a name in a list of files
/// can read as another. Joiners (U+200C, U+200D) stay, since scripts and emoji need them. Source: Unicode Standard Annex 9
/// (explicit formatting characters), Unicode Technical Report 36 (bidirectional text spoofing).
fn turns_direction(c: char) -> bool {
    matches!(c, '\u{200e}' | '\u{200f}' | '\u{061c}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}' | '\u{200b}' | '\u{2028}' | '\u{2029}')
}

/// Names that Windows keeps for devices, with any extension. Source: Microsoft, "Naming Files, Paths, and Namespaces".
fn reserved(name: &str) -> bool {
    let stem = name
        .split('.')
        .next()
        .unwrap_or(name)
        .trim_end()
        .to_ascii_uppercase();
    if matches!(stem.as_str(), "CON" | "PRN" | "AUX" | "NUL") {
        return true;
    }
    let number = stem
        .strip_prefix("COM")
        .or_else(|| stem.strip_prefix("LPT"));
    number.is_some_and(|n| n.chars().count() == 1 && n.chars().all(|c| "0123456789¹²³".contains(c)))
}

/// `-` and eight hexadecimal digits of the FNV-1a hash (Fowler, Noll and Vo) of the text.
fn hash_suffix(text: &str) -> String {
    let hash = text.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| {
        (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3)
    });
    format!("-{:08x}", (hash >> 32) ^ (hash & 0xffff_ffff))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::crop::Crop;
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;

    fn field(client: &str, name: &str) -> FieldSeason {
        FieldSeason {
            client: client.into(),
            farm: "Home".into(),
            name: name.into(),
            season: 2025,
            crop: Crop {
                name: "maize".into(),
                reference_moisture: 15.5,
                bushel_kg: 25.4,
                highest_yield: 25_000.0,
                row_spacing: None,
                moisture_bounds: (5.0, 50.0),
                credit_dry: false,
            },
            logs: vec![],
            boundary: None,
            tickets: vec![],
            machine: None,
        }
    }

    #[test]
    fn plain_names_stay() {
        let fields = [
            field("Heron Lane", "Brook field"),
            field("Heron Lane", "Grünfeld & Söhne (2)"),
        ];
        assert_eq!(
            folders(&fields),
            [
                "Heron Lane/Home/Brook field/2025-maize",
                "Heron Lane/Home/Grünfeld & Söhne (2)/2025-maize"
            ]
        );
    }

    #[test]
    fn names_that_would_leave_the_folder_do_not() {
        for bad in [
            "..",
            ".",
            "",
            "/etc",
            "a/../../b",
            "a\\b",
            "nul",
            "COM1.txt",
            "aux ",
            "x\0y",
            "tab\t",
            "end.",
            "<b>",
        ] {
            let name = folder_name(bad);
            assert_ne!(name, bad);
            assert!(
                !name.contains(['/', '\\', '\0']) && !name.starts_with('.'),
                "{bad:?} became {name:?}"
            );
        }
        assert_eq!(&folder_name("a/b")[..4], "a-b-");
        assert_ne!(folder_name("a/b"), folder_name("a:b"));
        assert_eq!(folder_name("COM10"), "COM10");
        assert_eq!(&folder_name("north\u{202e}dleif")[..12], "north-dleif-");
        assert_eq!(folder_name("شمال"), "شمال"); // its own direction is no control character
    }

    #[test]
    fn long_names_are_cut_between_characters_and_stay_distinct() {
        let (a, b) = (
            format!("{}a", "ü".repeat(80)),
            format!("{}b", "ü".repeat(80)),
        );
        assert!(folder_name(&a).len() <= LONGEST);
        assert_ne!(folder_name(&a), folder_name(&b));
    }

    #[test]
    fn names_that_differ_in_case_alone_do_not_share_a_folder() {
        let got = folders(&[field("A", "Brook"), field("A", "BROOK")]);
        assert_eq!(got[0], "A/Home/Brook/2025-maize");
        assert_ne!(got[0].to_lowercase(), got[1].to_lowercase());
    }

    /// Test vector of the FNV-1a authors: the 64-bit hash of "foobar" is 85944171f73967e8.
    #[test]
    fn hash_is_fnv_1a() {
        assert_eq!(
            hash_suffix("foobar"),
            format!("-{:08x}", 0x8594_4171_u32 ^ 0xf739_67e8)
        );
    }

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(1), ..ProptestConfig::default() })]

        #[test]
        fn any_name_becomes_a_sound_one(name in any::<String>()) {
            let safe = folder_name(&name);
            prop_assert!(!safe.is_empty() && safe.len() <= LONGEST + 10);
            prop_assert!(!safe.chars().any(forbidden) && safe != "." && safe != ".." && !reserved(&safe));
            prop_assert_eq!(safe.trim(), safe.as_str());
        }
    }
}
