//! JSON Schemas (draft 2020-12) of the files that fanmill reads and writes: what they have in common. The types of a
//! file say its keys, words and units; doc comments are its descriptions.

use schemars::generate::SchemaSettings;
use schemars::transform::{RecursiveTransform, RestrictFormats};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde_json::{Map, Value};

/// The schema of a file that is read into `T`.
pub fn read<T: JsonSchema>(title: &str) -> Value {
    whole::<T>(SchemaSettings::draft2020_12().for_deserialize(), title)
}

/// The schema of a file that `T` is written to: every key is there, unknown values are null.
pub fn written<T: JsonSchema>(title: &str) -> Value {
    let settings = SchemaSettings::draft2020_12().for_serialize();
    // A default is for who reads an older file: serde's, and nothing that is written.
    let plain = RecursiveTransform(|schema: &mut Schema| {
        schema.remove("default");
    });
    whole::<T>(settings.with_transform(plain), title)
}

fn whole<T: JsonSchema>(settings: SchemaSettings, title: &str) -> Value {
    let mut schema = settings
        // Some validators refuse formats that the standard does not name, such as "double".
        .with_transform(RestrictFormats::default())
        .with_transform(RecursiveTransform(closed))
        .with_transform(RecursiveTransform(unwrapped))
        .into_generator()
        .into_root_schema_for::<T>();
    let version = concat!("fanmill ", env!("CARGO_PKG_VERSION"));
    schema.insert("$comment".to_owned(), version.into());
    schema.insert("title".to_owned(), title.into());
    // What the whole is, stands first.
    let mut ordered = Map::new();
    for key in ["$schema", "$comment", "title", "description"] {
        if let Some(value) = schema.remove(key) {
            ordered.insert(key.to_owned(), value);
        }
    }
    if let Value::Object(rest) = schema.to_value() {
        ordered.extend(rest);
    }
    ordered.into()
}

/// Makes one line of a paragraph that is wrapped in the sources.
fn unwrapped(schema: &mut Schema) {
    let description = schema.get("description").and_then(Value::as_str);
    if let Some(text) = description.filter(|t| t.contains('\n')) {
        let paragraphs: Vec<String> = text.split("\n\n").map(|p| p.replace('\n', " ")).collect();
        schema.insert("description".to_owned(), paragraphs.join("\n\n").into());
    }
}

/// Refuses keys that an object does not list: this version neither reads nor writes them.
fn closed(schema: &mut Schema) {
    if schema.get("properties").is_some() && schema.get("additionalProperties").is_none() {
        schema.insert("additionalProperties".to_owned(), false.into());
    }
}

/// Words of an enum whose variants all have a doc line, with these lines.
///
/// ```
/// let words = fanmill::schema::words::<fanmill::job::Layer>();
/// assert_eq!(words[0], ("points".to_owned(), "Kept points.".to_owned()));
/// ```
pub fn words<T: JsonSchema>() -> Vec<(String, String)> {
    let schema = T::json_schema(&mut SchemaGenerator::default());
    let variants = schema.get("oneOf").and_then(Value::as_array);
    let text = |variant: &Value, key| variant.get(key).and_then(Value::as_str).map(str::to_owned);
    variants
        .into_iter()
        .flatten()
        .filter_map(|v| text(v, "const").zip(text(v, "description")))
        .collect()
}

/// One word and what it means.
pub fn word(word: &str, meaning: &str) -> Schema {
    json_schema!({ "type": "string", "const": word, "description": meaning })
}

/// What one of several schemas takes.
pub fn any_of(schemas: impl IntoIterator<Item = Schema>) -> Schema {
    let schemas: Vec<Value> = schemas.into_iter().map(Schema::to_value).collect();
    json_schema!({ "anyOf": schemas })
}

/// An object with no keys but the words of `K`, none of them needed. `value`: the schema of a word's value, `None`
/// where the word is no key.
pub fn keyed_by<K: JsonSchema>(mut value: impl FnMut(&str) -> Option<Schema>) -> Schema {
    let mut properties = Map::new();
    for (word, meaning) in words::<K>() {
        if let Some(mut schema) = value(&word) {
            schema.insert("description".to_owned(), meaning.into());
            properties.insert(word, schema.to_value());
        }
    }
    json_schema!({ "type": "object", "properties": properties, "additionalProperties": false })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::{DateOrder, Epoch, LogColumn, SectionShare};
    use crate::log::Reason;
    use crate::units::YieldUnit;

    /// Words that a type gives by a function of its own are those of its schema, in their order.
    #[test]
    fn words_are_those_of_the_types() {
        fn same<T: JsonSchema>(names: &[&str]) {
            let words = words::<T>();
            assert!(words.iter().map(|w| w.0.as_str()).eq(names.iter().copied()));
            assert!(words.iter().all(|w| !w.1.is_empty()), "{words:?}");
        }
        same::<LogColumn>(&LogColumn::ALL.map(LogColumn::name));
        same::<DateOrder>(&DateOrder::ALL.map(DateOrder::name));
        same::<Epoch>(&Epoch::ALL.map(Epoch::name));
        same::<SectionShare>(&SectionShare::ALL.map(SectionShare::name));
        same::<Reason>(&Reason::ALL.map(Reason::name));
        same::<YieldUnit>(&YieldUnit::ALL.map(YieldUnit::symbol));
    }

    #[derive(JsonSchema)]
    #[allow(dead_code)]
    struct Inner {
        /// A length, m.
        length_m: Option<f64>,
    }

    #[derive(JsonSchema)]
    #[allow(dead_code)]
    struct Outer {
        /// Inner things,
        /// on two lines.
        things: Vec<Inner>,
    }

    #[test]
    fn objects_are_closed_at_every_depth_and_nulls_are_said() {
        let schema = written::<Outer>("outer");
        assert_eq!(schema["additionalProperties"], false);
        assert_eq!(
            schema["properties"]["things"]["description"],
            "Inner things, on two lines."
        );
        let inner = &schema["$defs"]["Inner"];
        assert_eq!(inner["additionalProperties"], false);
        assert_eq!(inner["required"], serde_json::json!(["length_m"]));
        assert_eq!(
            inner["properties"]["length_m"]["type"],
            serde_json::json!(["number", "null"])
        );
        assert_eq!(
            inner["properties"]["length_m"]["description"],
            "A length, m."
        );
    }
}
