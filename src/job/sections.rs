//! The sections of a job file below `[job]`: log, machines, crops, limits.

use super::document::{Table, Value};
use super::error::JobError;
use super::keys::{CropKeys, LimitKeys, LogKeys, MachineKeys};
use super::parse::{ANY, PERCENT, POSITIVE, amount, epsg, suggest, width};
use super::{
    DateOrder, Epoch, GrainMoisture, LimitSettings, LogColumn, LogSettings, MachineSettings,
    SectionShare,
};
use crate::crop::Crop;
use crate::units::Quantity;

/// `[log]`.
pub(super) fn log(table: &Table<'_>) -> Result<LogSettings, JobError> {
    table.only(LogKeys::KEYS)?;
    let names = LogColumn::ALL.map(LogColumn::name);
    let mut settings = LogSettings {
        width: width(table, "width")?,
        moisture: amount(table, "moisture", Quantity::Percent, PERCENT)?,
        interval: amount(table, "interval", Quantity::Time, POSITIVE)?,
        ..LogSettings::default()
    };
    if let Some(columns) = table.table("columns")? {
        columns.only(&names)?;
        for (name, header) in columns.entries() {
            let header_text = header.text("the header of that column in the log")?;
            if let Some((other, _)) = settings.columns.iter().find(|(_, h)| h == header_text) {
                return Err(header
                    .error("each header once")
                    .hinted(format!("it already stands for \"{other}\"")));
            }
            settings
                .columns
                .push((name.to_owned(), header_text.to_owned()));
        }
    }
    if let Some(units) = table.table("units")? {
        let measured: Vec<&str> = LogColumn::ALL
            .into_iter()
            .filter(|c| c.quantity().is_some())
            .map(LogColumn::name)
            .collect();
        units.only(&measured)?;
        for (name, unit) in units.entries() {
            let Some(quantity) = LogColumn::from_name(name).and_then(LogColumn::quantity) else {
                continue;
            };
            let expected = format!("a unit of {}: {}", quantity.phrase(), quantity.symbols());
            let text = unit.text(&expected)?;
            let known = quantity.unit(text).ok_or_else(|| {
                let symbols: Vec<&str> = quantity.units().map(|u| u.symbol).collect();
                suggest(unit.error(&expected), text, &symbols)
            })?;
            settings
                .units
                .push((name.to_owned(), known.symbol.to_owned()));
        }
    }
    if let Some(v) = table.get("crs") {
        let expected = "the CRS of the log's x and y, such as \"EPSG:32615\"";
        settings.crs = Some(epsg(&v, v.text(expected)?, expected)?);
    }
    if let Some(v) = table.get("date_order") {
        let names = DateOrder::ALL.map(DateOrder::name);
        settings.date_order = Some(DateOrder::ALL[word(&v, &names)?]);
    }
    if let Some(v) = table.get("epoch") {
        let names = Epoch::ALL.map(Epoch::name);
        settings.epoch = Some(Epoch::ALL[word(&v, &names)?]);
    }
    if let Some(v) = table.get("at_moisture") {
        let expected = "\"harvest\", \"reference\" or a moisture such as \"15 %\"";
        settings.at_moisture = Some(match v.text(expected)? {
            "harvest" => GrainMoisture::Harvest,
            "reference" => GrainMoisture::Reference,
            _ => v
                .amount(Quantity::Percent, None, PERCENT)
                .map(GrainMoisture::At)
                .map_err(|e| e.or_expected("\"harvest\" or \"reference\""))?,
        });
    }
    for (key, to) in [
        ("section_grain", &mut settings.section_grain),
        ("section_width", &mut settings.section_width),
    ] {
        if let Some(v) = table.get(key) {
            let names = SectionShare::ALL.map(SectionShare::name);
            *to = Some(SectionShare::ALL[word(&v, &names)?]);
        }
    }
    Ok(settings)
}

/// The position of a word among those that may stand there.
fn word(value: &Value<'_>, words: &[&str]) -> Result<usize, JobError> {
    let expected = format!("one of {}", words.join(", "));
    let text = value.text(&expected)?;
    words
        .iter()
        .position(|w| *w == text)
        .ok_or_else(|| suggest(value.error(&expected), text, words))
}

/// `[[machine]]`.
pub(super) fn machines(tables: &[Table<'_>]) -> Result<Vec<MachineSettings>, JobError> {
    let mut machines: Vec<MachineSettings> = Vec::new();
    for table in tables {
        table.only(MachineKeys::KEYS)?;
        let name = table.need("name", "the machine's name in the logs")?;
        let machine = MachineSettings {
            name: name.text("the machine's name in the logs")?.to_owned(),
            header_width: width(table, "header_width")?,
            delay: delay(table, "delay")?,
            moisture_delay: delay(table, "moisture_delay")?,
            antenna_behind_cutter_bar: amount(
                table,
                "antenna_behind_cutter_bar",
                Quantity::Length,
                ANY,
            )?,
        };
        if machines.iter().any(|m| m.name == machine.name) {
            return Err(name
                .error("each machine once")
                .hinted("put all its settings under one [[machine]]"));
        }
        machines.push(machine);
    }
    Ok(machines)
}

/// `"auto"` (or nothing) or a fixed time. Beyond two minutes it is a slip of the unit (our choice; 8–15 s is typical).
fn delay(table: &Table<'_>, key: &str) -> Result<Option<f64>, JobError> {
    match table.get(key) {
        None => Ok(None),
        Some(v) if v.text("\"auto\" or a time").is_ok_and(|t| t == "auto") => Ok(None),
        Some(v) => v
            .amount(Quantity::Time, None, (-120.0, 120.0))
            .map(Some)
            .map_err(|e| e.or_expected("\"auto\"")),
    }
}

/// One `[crop.NAME]`.
pub(super) struct CropSection<'a> {
    /// The crop's name, lower case.
    pub name: String,
    table: Table<'a>,
}

/// `[crop.NAME]`, all of them, checked.
pub(super) fn crops<'a>(table: Option<Table<'a>>) -> Result<Vec<CropSection<'a>>, JobError> {
    let Some(table) = table else {
        return Ok(Vec::new());
    };
    let mut sections: Vec<CropSection<'a>> = Vec::new();
    for (name, value) in table.entries() {
        let inner = table
            .table(name)
            .map_err(|e| e.hinted("crops have a section each: [crop.maize]"))?;
        let Some(inner) = inner else { continue };
        let section = CropSection {
            name: name.trim().to_lowercase(),
            table: inner,
        };
        section.resolve()?;
        if sections.iter().any(|s| s.name == section.name) {
            return Err(value
                .error("each crop once")
                .hinted("crop names are the same in any case"));
        }
        sections.push(section);
    }
    Ok(sections)
}

impl CropSection<'_> {
    /// The crop: the section's values over the built-in ones.
    pub fn resolve(&self) -> Result<Crop, JobError> {
        let t = &self.table;
        t.only(CropKeys::KEYS)?;
        let moisture = amount(t, "reference_moisture", Quantity::Percent, (0.0, 99.0))?;
        let bushel = amount(t, "bushel_weight", Quantity::Mass, POSITIVE)?;
        let mut crop = match (Crop::built_in(&self.name), moisture, bushel) {
            (Some(crop), _, _) => crop,
            (None, Some(moisture), Some(bushel)) => Crop::described(&self.name, moisture, bushel),
            (None, moisture, _) => {
                let missing = if moisture.is_none() {
                    "reference_moisture"
                } else {
                    "bushel_weight"
                };
                return Err(t
                    .lacks(
                        missing,
                        "reference_moisture and bushel_weight of a crop that is not built in",
                    )
                    .hinted(format!(
                        "built-in crops are {}",
                        Crop::names().collect::<Vec<_>>().join(", ")
                    )));
            }
        };
        crop.reference_moisture = moisture.unwrap_or(crop.reference_moisture);
        crop.bushel_kg = bushel.unwrap_or(crop.bushel_kg);
        if let Some(v) = t.get("highest_yield") {
            crop.highest_yield = v.amount(Quantity::Yield, Some(crop.bushel_kg), POSITIVE)?;
        }
        if let Some(v) = t.get("moisture_bounds") {
            crop.moisture_bounds = v.range(Quantity::Percent, None)?;
        }
        if let Some(v) = t.get("credit_dry_grain") {
            crop.credit_dry = v.boolean("true or false")?;
        }
        // Rows of a crop that is cut by the row are planted between a hand and three steps apart (common practice:
        // 15–40 in); beyond that it is a slip of the unit.
        crop.row_spacing = amount(t, "row_spacing", Quantity::Length, (0.1, 3.0))?;
        Ok(crop)
    }
}

/// `[limits]`. `bushel_kg`: the bushel of all the job's crops, where it is the same.
pub(super) fn limits(table: &Table<'_>, bushel_kg: Option<f64>) -> Result<LimitSettings, JobError> {
    table.only(LimitKeys::KEYS)?;
    let range = |key: &str, quantity| {
        table
            .get(key)
            .map(|v| v.range(quantity, bushel_kg))
            .transpose()
    };
    let cut_share = table.get("cut_share").map(|v| {
        let share = match v.number() {
            Some(share) => share,
            None => v.amount(Quantity::Percent, None, PERCENT)? / 100.0,
        };
        if (0.0..=1.0).contains(&share) {
            Ok(share)
        } else {
            Err(v.error("a share between 0 and 1, or a percentage such as \"30 %\""))
        }
    });
    Ok(LimitSettings {
        speed: range("speed", Quantity::Speed)?,
        yield_kg_ha: range("yield", Quantity::Yield)?,
        moisture: range("moisture", Quantity::Percent)?,
        cut_share: cut_share.transpose()?,
    })
}
