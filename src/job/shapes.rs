//! What the values of a job file look like, for its schema. Each stands beside the function that reads such a value
//! (`document.rs`, `parse.rs`, `sections.rs`), and a test holds the two together.

use std::borrow::Cow;
use std::marker::PhantomData;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde_json::{Value, json};

use super::LogColumn;
use super::keys::CropKeys;
use crate::crop::Crop;
use crate::schema::{any_of, keyed_by, word};
use crate::units::Quantity;

/// Shapes without parts, each with its schema.
macro_rules! shapes {
    ($($(#[$about:meta])* $name:ident = |$generator:ident| $schema:expr;)*) => {$(
        $(#[$about])*
        #[derive(Default)]
        pub(super) struct $name;

        impl JsonSchema for $name {
            fn inline_schema() -> bool {
                true
            }

            fn schema_name() -> Cow<'static, str> {
                stringify!($name).into()
            }

            fn json_schema($generator: &mut SchemaGenerator) -> Schema {
                $schema
            }
        }
    )*};
}

shapes! {
    /// A text that is not blank.
    Text = |_generator| text();
    /// True or false.
    Flag = |_generator| json_schema!({ "type": "boolean" });
    /// A year of four digits.
    Season = |_generator| json_schema!({ "type": "integer", "minimum": 1900, "maximum": 2999, "examples": [2025] });
    /// A length.
    Length = |_generator| amount(Quantity::Length, false);
    /// A mass; not in bushels, which are what it defines.
    Mass = |_generator| amount(Quantity::Mass, false);
    /// A time.
    Time = |_generator| amount(Quantity::Time, false);
    /// A percentage.
    Percent = |_generator| amount(Quantity::Percent, false);
    /// A yield of a crop.
    Yield = |_generator| amount(Quantity::Yield, true);
    /// Two speeds.
    SpeedRange = |_generator| range(Quantity::Speed, false);
    /// Two yields.
    YieldRange = |_generator| range(Quantity::Yield, true);
    /// Two moistures.
    MoistureRange = |_generator| range(Quantity::Percent, false);
    /// A width, or planted rows.
    Width = |_generator| any_of([amount(Quantity::Length, false), rows()]);
    /// A time, or left to the data.
    Delay = |_generator| any_of([word("auto", "Found from the data."), amount(Quantity::Time, false)]);
    /// A moisture, by name or number.
    AtMoisture = |_generator| any_of([
        word("harvest", "As it was harvested."),
        word("reference", "The crop's reference moisture."),
        amount(Quantity::Percent, false),
    ]);
    /// A share, as a number or a percentage.
    CutShare = |_generator| any_of([
        json_schema!({ "title": "a share between 0 and 1", "type": "number", "minimum": 0, "maximum": 1 }),
        amount(Quantity::Percent, false),
    ]);
    /// An EPSG code.
    Epsg = |_generator| epsg();
    /// An EPSG code, or each field's zone.
    OutputCrs = |_generator| any_of([word("utm", "The UTM zone of each field's centre (WGS 84)."), epsg()]);
    /// A header for each column.
    Columns = |_generator| keyed_by::<LogColumn>(|_| Some(text()));
    /// A unit for each column that has one.
    Units = |_generator| keyed_by::<LogColumn>(|name| {
        let quantity = LogColumn::from_name(name)?.quantity()?;
        Some(json_schema!({ "type": "string", "enum": quantity.written_units(true) }))
    });
    /// The crop of a field.
    FieldCrop = |_generator| {
        let names: Vec<&str> = known_crops().collect();
        any_of([
            json_schema!({ "type": "string", "enum": names, "description": "A crop that is built in." }),
            json_schema!({ "type": "string", "pattern": r"\S", "description": "A crop that the job describes." }),
        ])
    };
    /// Sections of crops by their names. One that is not built in needs both values.
    Crops = |generator| {
        let crop = generator.subschema_for::<CropKeys>();
        let named: serde_json::Map<String, Value> =
            known_crops().map(|name| (name.to_owned(), crop.clone().to_value())).collect();
        // Beside `properties`, a pattern that takes the same names is refused by some validators.
        let own = json!({
            "type": "object",
            "patternProperties": { (any_case()): true },
            "additionalProperties": { "type": "object", "required": ["reference_moisture", "bushel_weight"] },
        });
        json_schema!({
            "type": "object",
            "properties": named,
            "additionalProperties": crop,
            "allOf": [own],
        })
    };
}

/// A word of an enum.
pub(super) struct Word<T>(PhantomData<T>);

impl<T> Default for Word<T> {
    fn default() -> Self {
        Self(PhantomData)
    }
}

impl<T: JsonSchema> JsonSchema for Word<T> {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        T::schema_name()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        T::json_schema(generator)
    }
}

/// A list, and how many it has at least.
pub(super) struct List<T, const LEAST: usize>(PhantomData<T>);

/// A list of one or more.
pub(super) type OneOrMore<T> = List<T, 1>;

/// A list that may be empty.
pub(super) type AnyNumber<T> = List<T, 0>;

impl<T, const LEAST: usize> Default for List<T, LEAST> {
    fn default() -> Self {
        Self(PhantomData)
    }
}

impl<T: JsonSchema, const LEAST: usize> JsonSchema for List<T, LEAST> {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        format!("{LEAST}_or_more_{}", T::schema_name()).into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "array", "items": generator.subschema_for::<T>(), "minItems": LEAST })
    }
}

fn text() -> Schema {
    json_schema!({ "type": "string", "pattern": r"\S" })
}

/// An amount with the symbol of its unit; its title lists them. `bushels`: whether a crop says what a bushel weighs.
fn amount(quantity: Quantity, bushels: bool) -> Schema {
    json_schema!({
        "title": with_units(quantity, bushels),
        "type": "string",
        "pattern": format!(r"^\s*{}\s*$", quantity.pattern(bushels)),
        "examples": [quantity.example()],
    })
}

fn with_units(quantity: Quantity, bushels: bool) -> String {
    let units = quantity.written_units(bushels).join(", ");
    format!("{} with its unit: {units}", quantity.phrase())
}

fn range(quantity: Quantity, bushels: bool) -> Schema {
    let mut end = amount(quantity, bushels);
    end.remove("examples"); // of a pair, the key gives one
    json_schema!({
        "title": format!("two amounts, the lower one first, each {}", with_units(quantity, bushels)),
        "type": "array",
        "items": end,
        "minItems": 2,
        "maxItems": 2,
    })
}

/// 1 to 48 planted rows, as `parse::width` reads them.
fn rows() -> Schema {
    let apart = Quantity::Length.pattern(false);
    json_schema!({
        "title": "1 to 48 planted rows and how far they are apart, 0.1 to 3 m",
        "type": "string",
        "pattern": format!(r"^\s*([1-9]|[1-3][0-9]|4[0-8])\s+(rows\s+of|x|×)\s+{apart}\s*$"),
        "examples": ["8 rows of 75 cm", "8 x 30 in"],
    })
}

fn epsg() -> Schema {
    json_schema!({
        "title": "a code of the EPSG register",
        "type": "string",
        "pattern": r"^\s*[Ee][Pp][Ss][Gg]:\s*0*[1-9][0-9]*\s*$",
        "examples": ["EPSG:4326"],
    })
}

/// Crops that are built in, by all their names.
fn known_crops() -> impl Iterator<Item = &'static str> {
    Crop::names().chain(Crop::other_names().map(|(other, _)| other))
}

/// The names of built-in crops in any case, as a regular expression: schemas have no word for that.
fn any_case() -> String {
    let letter = |c: char| match c.is_ascii_lowercase() {
        true => format!("[{}{c}]", c.to_ascii_uppercase()),
        false => c.to_string(),
    };
    let names: Vec<String> = known_crops()
        .map(|n| n.chars().map(letter).collect())
        .collect();
    format!("^({})$", names.join("|"))
}
