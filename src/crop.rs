//! Crops: reference moisture, conversion bushel, and bounds no real crop leaves.

use crate::units::POUND_KG;

/// What the tool needs to know of a crop. Every value can be set in the job.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Crop {
    /// Name, lower case.
    pub name: String,
    /// Moisture to which yields are brought, % wet basis.
    pub reference_moisture: f64,
    /// Weight of the *conversion* bushel, kg (not the grade's minimum test weight).
    pub bushel_kg: f64,
    /// Highest yield believed at a point at reference moisture, kg/ha.
    pub highest_yield: f64,
    /// Lowest and highest moisture believed, %.
    pub moisture_bounds: (f64, f64),
    /// Whether loads drier than the reference are credited with water up to it.
    pub credit_dry: bool,
    /// Distance between planted rows, m, where cut widths are to be whole rows; `None`: any width.
    pub row_spacing: Option<f64>,
}

impl Crop {
    /// The built-in crop of that name, or `None`. Any case; a few crops have two plain names.
    ///
    /// ```
    /// use fanmill::crop::Crop;
    /// let maize = Crop::built_in("Maize").expect("in the table");
    /// assert_eq!(maize.reference_moisture, 15.5);
    /// assert_eq!(Crop::built_in("corn").map(|c| c.bushel_kg), Some(maize.bushel_kg));
    /// assert!(Crop::built_in("unobtainium").is_none());
    /// ```
    pub fn built_in(name: &str) -> Option<Crop> {
        let name = name.trim().to_lowercase();
        let known = Self::other_names().find(|(other, _)| *other == name);
        let key = known.map_or(name.as_str(), |(_, key)| key);
        let row = TABLE.iter().find(|row| row.name == key)?;
        Some(Crop {
            reference_moisture: row.reference_moisture,
            bushel_kg: row.bushel_lb * POUND_KG,
            highest_yield: row.highest_t_ha * 1000.0,
            moisture_bounds: row.moisture_bounds,
            credit_dry: false,
            row_spacing: None,
            name,
        })
    }

    /// A crop that the table does not have. Its bounds are the widest of the table's.
    pub fn described(name: &str, reference_moisture: f64, bushel_kg: f64) -> Crop {
        let (mut highest, mut driest, mut wettest) = (0.0f64, 100.0f64, 0.0f64);
        for row in &TABLE {
            highest = highest.max(row.highest_t_ha);
            driest = driest.min(row.moisture_bounds.0);
            wettest = wettest.max(row.moisture_bounds.1);
        }
        Crop {
            name: name.trim().to_lowercase(),
            reference_moisture,
            bushel_kg,
            highest_yield: highest * 1000.0,
            moisture_bounds: (driest, wettest),
            credit_dry: false,
            row_spacing: None,
        }
    }

    /// The name of [`Crop::any`].
    pub const UNNAMED: &str = "unnamed";

    /// Any crop: the widest bounds of the table, a wheat's bushel and 14 % (our choice, for a log whose crop nobody
    /// has named yet).
    pub fn any() -> Crop {
        Crop::described(Crop::UNNAMED, 14.0, 60.0 * POUND_KG)
    }

    /// Other plain names of built-in crops, each with the table's.
    pub fn other_names() -> impl Iterator<Item = (&'static str, &'static str)> {
        OTHER_NAMES.into_iter()
    }

    /// Names of the built-in crops.
    pub fn names() -> impl Iterator<Item = &'static str> {
        TABLE.iter().map(|row| row.name)
    }
}

/// Other plain names of crops, each with the table's.
const OTHER_NAMES: [(&str, &str); 7] = [
    ("corn", "maize"),
    ("soybeans", "soybean"),
    ("soya", "soybean"),
    ("rapeseed", "canola"),
    ("oilseed rape", "canola"),
    ("linseed", "flax"),
    ("sunflowers", "sunflower"),
];

struct Row {
    name: &'static str,
    bushel_lb: f64,
    reference_moisture: f64,
    highest_t_ha: f64,
    moisture_bounds: (f64, f64),
}

const fn row(
    name: &'static str,
    bushel_lb: f64,
    reference_moisture: f64,
    highest_t_ha: f64,
    moisture_bounds: (f64, f64),
) -> Row {
    Row {
        name,
        bushel_lb,
        reference_moisture,
        highest_t_ha,
        moisture_bounds,
    }
}

/// The built-in crops.
///
/// Bushel and reference moisture: harvest arithmetic of the University of Wisconsin extension and others; rice and
/// flax moisture from memory. Highest yield and moisture bounds are our choice: about the highest yield reported for
/// a whole field anywhere (from memory), and wider than any grain that a combine threshes and a meter reads. They
/// stop impossible numbers only; limits that judge a field come from its own data.
static TABLE: [Row; 11] = [
    row("maize", 56.0, 15.5, 40.0, (5.0, 45.0)),
    row("soybean", 60.0, 13.0, 15.0, (4.0, 35.0)),
    row("wheat", 60.0, 13.5, 20.0, (4.0, 40.0)),
    row("oats", 32.0, 14.0, 15.0, (4.0, 40.0)),
    row("barley", 48.0, 14.5, 18.0, (4.0, 40.0)),
    row("sorghum", 56.0, 14.0, 20.0, (4.0, 40.0)),
    row("rye", 56.0, 14.0, 16.0, (4.0, 40.0)),
    row("canola", 50.0, 8.5, 10.0, (3.0, 35.0)),
    row("sunflower", 25.0, 10.0, 10.0, (3.0, 35.0)),
    row("rice", 45.0, 13.0, 22.0, (5.0, 40.0)),
    row("flax", 56.0, 9.0, 7.0, (3.0, 30.0)),
];

#[cfg(test)]
mod tests {
    use super::*;

    /// USDA's legal-weight bushels as extension tables print them in kg: maize 25.40, wheat 27.22, oats 14.51.
    #[test]
    fn bushels_weigh_what_tables_print() {
        for (crop, kg) in [
            ("maize", 25.40),
            ("wheat", 27.22),
            ("oats", 14.51),
            ("canola", 22.68),
        ] {
            let ours = Crop::built_in(crop).expect(crop).bushel_kg;
            assert!((ours - kg).abs() < 0.006, "{crop}: {ours}");
        }
    }

    #[test]
    fn each_row_can_be_a_crop() {
        for name in Crop::names() {
            let crop = Crop::built_in(name).expect(name);
            assert_eq!(crop.name, name);
            assert!(crop.moisture_bounds.0 < crop.reference_moisture);
            assert!(crop.reference_moisture < crop.moisture_bounds.1);
            assert!(crop.highest_yield >= 5_000.0 && !crop.credit_dry);
        }
    }

    #[test]
    fn a_described_crop_is_bounded_as_widely_as_any() {
        let crop = Crop::described("Quinoa ", 12.0, 20.0);
        assert_eq!(
            (crop.name.as_str(), crop.highest_yield),
            ("quinoa", 40_000.0)
        );
        assert_eq!(crop.moisture_bounds, (3.0, 45.0));
    }
}
