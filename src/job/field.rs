//! `[[field]]`: the field seasons of a job.

use super::FieldSeason;
use super::document::{Table, Value};
use super::error::JobError;
use super::keys::FieldKeys;
use super::sections::CropSection;
use super::suggest::nearest;
use crate::crop::Crop;

/// Every `[[field]]`, each field season once.
pub(super) fn fields(
    root: &Table<'_>,
    crops: &[CropSection<'_>],
) -> Result<Vec<FieldSeason>, JobError> {
    let tables = root.tables("field")?;
    if tables.is_empty() {
        return Err(root
            .lacks("field", "at least one [[field]]")
            .hinted("examples/first-field/job.toml is one to copy"));
    }
    let mut fields: Vec<FieldSeason> = Vec::new();
    for (k, table) in tables.iter().enumerate() {
        let field = field(table, crops)?;
        let same = |f: &FieldSeason| {
            (&f.client, &f.farm, &f.name, f.season, &f.crop.name)
                == (
                    &field.client,
                    &field.farm,
                    &field.name,
                    field.season,
                    &field.crop.name,
                )
        };
        if let Some(first) = fields.iter().position(same) {
            let error = table.document.error(
                Some(table.start),
                &table.name,
                "each client, farm, field, season and crop once",
                &format!(
                    "the same as field {}: {}/{}/{}, {} {}",
                    first + 1,
                    field.client,
                    field.farm,
                    field.name,
                    field.season,
                    field.crop.name
                ),
            );
            return Err(error.hinted(format!(
                "list all logs of it in one [[field]], or rename field {}",
                k + 1
            )));
        }
        fields.push(field);
    }
    Ok(fields)
}

fn field(table: &Table<'_>, crops: &[CropSection<'_>]) -> Result<FieldSeason, JobError> {
    table.only(FieldKeys::KEYS)?;
    let text = |key: &str, expected: &str| table.need(key, expected)?.text(expected);
    let season_expected = "the year of harvest, such as 2025";
    let season = table.need("season", season_expected)?;
    let year = season.integer(season_expected)?;
    // Grain has been metered on combines since the 1990s; four digits catch slips such as 25 (our choice).
    let year = i32::try_from(year)
        .ok()
        .filter(|y| (1900..=2999).contains(y));
    let paths = |key: &str, expected: &str| -> Result<Vec<String>, JobError> {
        let Some(value) = table.get(key) else {
            return Ok(Vec::new());
        };
        Ok(value
            .texts(expected)?
            .into_iter()
            .map(|(_, t)| t.to_owned())
            .collect())
    };
    let logs_expected = "a list of log files or patterns, such as [\"logs/brook/*.csv\"]";
    let logs = paths("logs", logs_expected)?;
    if logs.is_empty() {
        return Err(match table.get("logs") {
            Some(value) => value.error(logs_expected),
            None => table.lacks("logs", logs_expected),
        });
    }
    let name = |key: &str, expected: &str| {
        table
            .get(key)
            .map(|v| v.text(expected).map(str::to_owned))
            .transpose()
    };
    Ok(FieldSeason {
        client: text("client", "the client's name")?.to_owned(),
        farm: text("farm", "the farm's name")?.to_owned(),
        name: text("name", "the field's name")?.to_owned(),
        season: year.ok_or_else(|| season.error(season_expected))?,
        crop: crop(&table.need("crop", "a crop")?, crops)?,
        logs,
        boundary: name("boundary", "a boundary file")?,
        tickets: paths(
            "tickets",
            "a list of ticket files, such as [\"tickets.csv\"]",
        )?,
        machine: name("machine", "a machine's name")?,
    })
}

/// The crop that a field names: the job's `[crop.NAME]` over the built-in table.
fn crop(value: &Value<'_>, crops: &[CropSection<'_>]) -> Result<Crop, JobError> {
    let name = value.text("a crop")?.to_lowercase();
    let own = crops.iter().find(|c| c.name == name);
    if let Some(crop) = own.map(|c| c.resolve()).transpose()? {
        return Ok(crop);
    }
    Crop::built_in(&name).ok_or_else(|| {
        let known: Vec<&str> = Crop::names().collect();
        let error = value.error(&format!("a crop of the job's [crop.NAME] or one of {}", known.join(", ")));
        let way_out = format!(
            "give it a section with both values: [crop.{}] reference_moisture = \"14 %\", bushel_weight = \"60 lb\"",
            if name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '-') { name.clone() } else { format!("\"{name}\"") }
        );
        error.hinted(match nearest(&name, known) {
            Some(near) => format!("did you mean \"{near}\"? Otherwise {way_out}"),
            None => way_out,
        })
    })
}
