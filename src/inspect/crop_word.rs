//! A crop's plain name in the name of a file or folder.

use crate::crop::Crop;

/// Plain names of crops in other languages (general knowledge), beside those that [`Crop::built_in`] knows.
const NAMES: [(&str, &[&str]); 9] = [
    (
        "maize",
        &["mais", "koernermais", "körnermais", "milho", "maiz", "maíz"],
    ),
    (
        "wheat",
        &[
            "weizen",
            "winterweizen",
            "ble",
            "blé",
            "trigo",
            "frumento",
            "grano",
            "tarwe",
            "hvede",
            "vete",
        ],
    ),
    (
        "barley",
        &[
            "gerste",
            "wintergerste",
            "orge",
            "cebada",
            "cevada",
            "orzo",
            "gerst",
            "byg",
            "korn",
        ],
    ),
    ("canola", &["raps", "winterraps", "colza", "koolzaad"]),
    ("soybean", &["soja", "sojabohne", "soybeans", "beans"]),
    (
        "oats",
        &["hafer", "avoine", "avena", "aveia", "haver", "havre"],
    ),
    ("rye", &["roggen", "seigle", "centeno", "rug"]),
    (
        "sunflower",
        &[
            "sonnenblume",
            "sonnenblumen",
            "tournesol",
            "girasol",
            "girassol",
            "girasole",
        ],
    ),
    ("rice", &["reis", "riz", "arroz", "riso"]),
];

/// The crop that a word names, as the job file writes it.
pub(super) fn crop_of_word(word: &str) -> Option<Crop> {
    let word = word.trim().to_lowercase();
    Crop::built_in(&word).or_else(|| {
        let (name, _) = NAMES
            .iter()
            .find(|(_, words)| words.contains(&word.as_str()))?;
        Crop::built_in(name)
    })
}

/// The one crop that the words of a path name; `None` where none or several do.
pub fn crop_of_path(path: &str) -> Option<Crop> {
    let mut found: Option<Crop> = None;
    for word in path.split(|c: char| !c.is_alphabetic()) {
        let Some(crop) = crop_of_word(word).map(plain) else {
            continue;
        };
        match &found {
            Some(other)
                if other.reference_moisture != crop.reference_moisture
                    || other.bushel_kg != crop.bushel_kg =>
            {
                return None;
            }
            _ => found = Some(crop),
        }
    }
    found
}

/// By the name of the crop table, so that `corn` and `maize` are one crop.
fn plain(crop: Crop) -> Crop {
    let same = |name: &&str| {
        Crop::built_in(name).is_some_and(|c| {
            c.bushel_kg == crop.bushel_kg
                && c.reference_moisture == crop.reference_moisture
                && c.highest_yield == crop.highest_yield
        })
    };
    Crop::names()
        .find(same)
        .and_then(Crop::built_in)
        .unwrap_or(crop)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_files_tell_crops() {
        let name = |p: &str| crop_of_path(p).map(|c| c.name);
        assert_eq!(name("gartner.corn.txt").as_deref(), Some("maize"));
        assert_eq!(name("2025/Weizen/log.csv").as_deref(), Some("wheat"));
        assert_eq!(name("logs/a.csv"), None);
        assert_eq!(name("wheat after canola.csv"), None);
    }
}
