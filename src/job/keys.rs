//! The keys of a job file, section by section: the parser takes these and no others, and the schema is made of them.
//! Doc comments are what an editor shows beside a key.

use schemars::JsonSchema;

use super::parse::{CRS, FORMATS_WRITTEN, GRID_CELL_M, LAYERS_WRITTEN, NAME, RESULTS, TIMEZONE};
use super::shapes::{
    AnyNumber, AtMoisture, Columns, Crops, CutShare, Delay, Epsg, FieldCrop, Flag, Length, Mass,
    MoistureRange, OneOrMore, OutputCrs, Percent, Season, SpeedRange, Text, Time, Units, Width,
    Word, Yield, YieldRange,
};
use super::{DateOrder, Epoch, Format, Layer, SectionShare};
use crate::units::YieldUnit;

/// A section of a job file.
macro_rules! sections {
    ($(
        $(#[$meta:meta])*
        struct $name:ident {
            $($(#[$about:meta])* $key:ident: $shape:ty,)*
        }
    )*) => {$(
        #[derive(Default, JsonSchema)]
        $(#[$meta])*
        #[expect(dead_code, reason = "its keys and their shapes are all there is to it")]
        pub(super) struct $name {
            $($(#[$about])* $key: $shape,)*
        }

        impl $name {
            /// Its keys, in the order in which messages list them.
            pub const KEYS: &[&str] = &[$(plain(stringify!($key))),*];
        }
    )*};
}

/// A name as a file has it: without the mark of a word that is also Rust's.
const fn plain(name: &'static str) -> &'static str {
    match name.as_bytes() {
        [b'r', b'#', ..] => name.split_at(2).1,
        _ => name,
    }
}

sections! {
    /// Fields whose logs and tickets become maps, and what is known of machines and crops. Amounts carry their unit in
    /// the text, such as "9.1 m". Paths are relative to the job file.
    struct FileKeys {
        /// What is written, and where.
        #[schemars(default)]
        job: JobKeys,
        /// How logs are read, where their headers do not say.
        #[schemars(default)]
        log: LogKeys,
        /// Machines, each under its own [[machine]].
        #[schemars(default)]
        machine: AnyNumber<MachineKeys>,
        /// Crops, each in a section of its own, such as [crop.maize]: values over those that are built in.
        #[schemars(default)]
        crop: Crops,
        /// Limits of the checks. What is not given is found from the data and the crop.
        #[schemars(default)]
        limits: LimitKeys,
        /// Field seasons, each under its own [[field]]; at least one.
        field: OneOrMore<FieldKeys>,
    }

    /// What is written, and where.
    #[schemars(rename = "Job")]
    struct JobKeys {
        /// Name of the job, kept in run.json.
        #[schemars(default, extend("default" = NAME))]
        name: Text,
        /// Folder of the results.
        #[schemars(default, extend("default" = RESULTS))]
        results: Text,
        /// File formats of the layers.
        #[schemars(default, extend("default" = FORMATS_WRITTEN))]
        formats: OneOrMore<Format>,
        /// Layers that are written.
        #[schemars(default, extend("default" = LAYERS_WRITTEN))]
        layers: OneOrMore<Layer>,
        /// Side of a square of the grid, 2 to 200 m; never finer than the header cuts.
        #[schemars(default, extend("default" = format!("{GRID_CELL_M} m"), "examples" = ["10 m", "40 ft"]))]
        grid_cell: Length,
        /// CRS of the layers. GeoJSON is always WGS 84.
        #[schemars(default, extend("default" = CRS))]
        crs: OutputCrs,
        /// Unit of yields in layers and summaries.
        #[schemars(default, extend("default" = YieldUnit::default()))]
        yield_unit: Word<YieldUnit>,
        /// Zone of times that name none, by its name in the IANA time zone database.
        #[schemars(default, extend("default" = TIMEZONE, "examples" = ["UTC", "Europe/Berlin", "America/Chicago"]))]
        timezone: Text,
    }

    /// How logs are read, where their headers do not say.
    #[schemars(rename = "Log")]
    struct LogKeys {
        /// Which header stands for which column, for headers that are not recognised.
        #[schemars(default)]
        columns: Columns,
        /// Units of columns whose header names none.
        #[schemars(default)]
        units: Units,
        /// Header width where neither row nor machine gives one.
        #[schemars(default)]
        width: Width,
        /// Moisture of files that have none, wet basis.
        #[schemars(default, extend("examples" = ["15 %"]))]
        moisture: Percent,
        /// Interval of rows of files with neither interval nor time.
        #[schemars(default, extend("examples" = ["1 s"]))]
        interval: Time,
        /// CRS of x and y; needed where the log has those instead of degrees.
        #[schemars(default)]
        crs: Epsg,
        /// Order of day, month and year where dates leave it open.
        #[schemars(default)]
        date_order: Word<DateOrder>,
        /// What seconds count from where the numbers leave it open.
        #[schemars(default)]
        epoch: Word<Epoch>,
        /// Moisture at which flow, mass or yield is counted, where the header does not say.
        #[schemars(default, extend("examples" = ["harvest", "reference", "14 %"]))]
        at_moisture: AtMoisture,
        /// Whose the grain is in a row of one section of the header, where the values do not tell.
        #[schemars(default)]
        section_grain: Word<SectionShare>,
        /// Whose the width is in a row of one section of the header, where the values do not tell.
        #[schemars(default)]
        section_width: Word<SectionShare>,
    }

    /// A machine.
    #[schemars(rename = "Machine")]
    struct MachineKeys {
        /// The machine's name in the logs.
        name: Text,
        /// Width of its header. A row's own width wins.
        #[schemars(default)]
        header_width: Width,
        /// Transport delay of grain from the cutter bar to the flow sensor, -120 to 120 s.
        #[schemars(default, extend("default" = "auto"))]
        delay: Delay,
        /// Delay of moisture, -120 to 120 s.
        #[schemars(default, extend("default" = "auto"))]
        moisture_delay: Delay,
        /// Distance from the cutter bar back to the antenna; negative if it is in front.
        #[schemars(default, extend("examples" = ["2 m"]))]
        antenna_behind_cutter_bar: Length,
    }

    /// A crop: values over those that are built in. Another crop needs reference_moisture and bushel_weight.
    #[schemars(rename = "Crop")]
    struct CropKeys {
        /// Moisture that yields are brought to, wet basis, 0 to 99 %.
        #[schemars(default, extend("examples" = ["15.5 %"]))]
        reference_moisture: Percent,
        /// Weight of a conversion bushel.
        #[schemars(default)]
        bushel_weight: Mass,
        /// Highest yield believed at a point, at reference moisture.
        #[schemars(default, extend("examples" = ["25 t/ha", "400 bu/ac"]))]
        highest_yield: Yield,
        /// Lowest and highest moisture believed.
        #[schemars(default, extend("examples" = [["8 %", "40 %"]]))]
        moisture_bounds: MoistureRange,
        /// Whether loads drier than the reference are credited with water up to it.
        #[schemars(default, extend("default" = false))]
        credit_dry_grain: Flag,
        /// Distance between planted rows, 0.1 to 3 m: cut widths beside other passes become whole rows.
        #[schemars(default, extend("examples" = ["30 in", "75 cm"]))]
        row_spacing: Length,
    }

    /// Limits of the checks. What is not given is found from the data and the crop.
    #[schemars(rename = "Limits")]
    struct LimitKeys {
        /// Lowest and highest speed.
        #[schemars(default, extend("examples" = [["0.5 m/s", "3.5 m/s"]]))]
        speed: SpeedRange,
        /// Lowest and highest yield, at reference moisture.
        #[schemars(default, extend("examples" = [["0.5 t/ha", "20 t/ha"], ["10 bu/ac", "300 bu/ac"]]))]
        r#yield: YieldRange,
        /// Lowest and highest moisture.
        #[schemars(default, extend("examples" = [["10 %", "35 %"]]))]
        moisture: MoistureRange,
        /// Least part of the header on standing crop.
        #[schemars(default, extend("examples" = ["40 %", 0.4]))]
        cut_share: CutShare,
    }

    /// One field in one season with one crop.
    #[schemars(rename = "Field")]
    struct FieldKeys {
        /// Client.
        client: Text,
        /// Farm.
        farm: Text,
        /// Field.
        name: Text,
        /// Year of harvest.
        season: Season,
        /// A crop that is built in, or one that the job describes.
        crop: FieldCrop,
        /// Log files or patterns.
        #[schemars(extend("examples" = [["logs/brook/*.csv"]]))]
        logs: OneOrMore<Text>,
        /// Boundary file.
        #[schemars(default, extend("examples" = ["boundaries/brook.geojson"]))]
        boundary: Text,
        /// Ticket files.
        #[schemars(default, extend("examples" = [["tickets.csv"]]))]
        tickets: AnyNumber<Text>,
        /// Machine of logs that name none; without it, the job's only machine.
        #[schemars(default)]
        machine: Text,
    }
}
