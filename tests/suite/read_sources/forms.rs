//! Logs in forms that people export by hand: each is read as it was driven, or asks with the line that settles it.
//!
//! One invented field, driven in straight passes, is written down in many ways; what comes back is held against what was
//! driven. Positions in projected systems are made by PROJ from EPSG codes.

use std::fmt::Write as _;
use std::path::Path;

use fanmill::read::FieldInput;
use proj::Proj;

use super::farm::{codes, read_crop, said, write};

/// Metres in a degree of latitude, about.
const DEGREE: f64 = 111_320.0;
const FOOT: f64 = 0.3048;
const POUND: f64 = 0.453_592_37;
const ACRE: f64 = 4_046.856_422_4;
/// Width of the header, m.
const WIDTH: f64 = 9.0;
/// 2026-03-14T13:05:07.250Z.
const START: f64 = 1_773_493_507.25;

/// A row as it was driven.
#[derive(Clone, Copy)]
struct Driven {
    time: f64,
    lon: f64,
    lat: f64,
    speed: f64,
    /// kg/s.
    flow: f64,
    moisture: f64,
}

/// Twelve passes of 120 rows, a second each, some 8 t/ha.
fn driven(lon: f64, lat: f64) -> Vec<Driven> {
    let mut rows = Vec::new();
    let mut time = START;
    for pass in 0..12 {
        for k in 0..120 {
            time += 1.0;
            let speed = 1.6 + 0.2 * (f64::from(k) / 15.0).sin();
            let along = 1.6 * f64::from(k) - 3.0 * ((f64::from(k) / 15.0).cos() - 1.0);
            let along = if pass % 2 == 0 { along } else { 191.0 - along };
            let yields = 0.8 + 0.1 * (f64::from(k) / 20.0 + f64::from(pass)).sin();
            rows.push(Driven {
                time,
                lon: lon + f64::from(pass) * WIDTH / (DEGREE * lat.to_radians().cos()),
                lat: lat + along / DEGREE,
                speed,
                flow: yields * speed * WIDTH,
                moisture: 15.0 + (f64::from(k) / 40.0).sin(),
            });
        }
        time += 25.0; // the turn
    }
    rows
}

fn here() -> Vec<Driven> {
    driven(10.2, 54.1)
}

/// `14.03.2026 13:05:07,250`.
fn dotted(t: f64) -> String {
    let at = civil(t);
    format!(
        "{:02}.{:02}.{:04} {:02}:{:02}:{:02},{:03}",
        at.day(),
        at.month(),
        at.year(),
        at.hour(),
        at.minute(),
        at.second(),
        at.millisecond()
    )
}

fn civil(t: f64) -> jiff::civil::DateTime {
    let stamp = jiff::Timestamp::from_millisecond((t * 1000.0).round() as i64).expect("a time");
    jiff::tz::TimeZone::UTC.to_datetime(stamp)
}

fn iso(t: f64) -> String {
    format!("{}Z", civil(t))
}

/// A number with a separator between thousands.
fn grouped(value: f64, thousands: &str, decimal: &str) -> String {
    let text = format!("{value:.1}");
    let (whole, part) = text.split_once('.').expect("a point");
    let mut out = String::new();
    for (k, digit) in whole.chars().enumerate() {
        if k > 0 && (whole.len() - k) % 3 == 0 {
            out += thousands;
        }
        out.push(digit);
    }
    out + decimal + part
}

fn comma(text: String) -> String {
    text.replace('.', ",")
}

fn try_read(folder: &Path, logs: &str, log: &str) -> Result<FieldInput, String> {
    let sections =
        format!("[log]\n{log}\n[[machine]]\nname = \"C1\"\nheader_width = \"{WIDTH} m\"\n");
    read_crop(
        folder,
        "F",
        &format!("logs = [\"{logs}\"]"),
        &sections,
        "wheat",
    )
    .map_err(|e| said(&e))
}

fn read_text(text: &str, log: &str) -> Result<FieldInput, String> {
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), "log.csv", text.as_bytes());
    try_read(folder.path(), "log.csv", log)
}

/// What was read is what was driven: positions within some centimetres, grain within a share, clock within a hundredth.
#[track_caller]
fn compare(input: &FieldInput, driven: &[Driven], grain: f64) {
    let log = &input.log;
    assert_eq!(
        (log.len(), input.unreadable.len()),
        (driven.len(), 0),
        "{:?} {:?}",
        codes(input),
        input.unreadable.first()
    );
    for (k, d) in driven.iter().enumerate() {
        assert!(
            (log.lon[k] - d.lon).abs() < 2e-6 && (log.lat[k] - d.lat).abs() < 1e-6,
            "row {k}: {} {} for {} {}",
            log.lon[k],
            log.lat[k],
            d.lon,
            d.lat
        );
        if !log.time[k].is_nan() {
            assert!(
                (log.time[k] - d.time).abs() < 0.01,
                "row {k}: {} for {}",
                log.time[k],
                d.time
            );
        }
        // A mass is a second's.
        let flow = if log.flow[k].is_nan() {
            log.mass[k]
        } else {
            log.flow[k]
        };
        assert!(
            (flow / d.flow - 1.0).abs() < grain,
            "row {k}: {flow} for {}; {:?}",
            d.flow,
            input.warnings
        );
        if !log.moisture[k].is_nan() {
            assert!(
                (log.moisture[k] - d.moisture).abs() < 0.06,
                "row {k}: {} for {}",
                log.moisture[k],
                d.moisture
            );
        }
    }
}

#[test]
fn a_spreadsheet_with_a_title_blank_lines_and_thousands() {
    let mut text = "Harvest 2026,,,,\n,,,,\nField: North hill,,,,\n,,,,\nTime,Longitude,Latitude,Grain flow (kg/h),Moisture (%)\n".to_owned();
    for (k, d) in here().iter().enumerate() {
        if k % 300 == 7 {
            text += ",,,,\n\n";
        }
        let flow = grouped(d.flow * 3600.0, ",", ".");
        writeln!(
            text,
            "{},{:.7},{:.7},\"{flow}\",{:.2}",
            iso(d.time),
            d.lon,
            d.lat,
            d.moisture
        )
        .expect("text");
    }
    text += ",,,,\nTotal,,,\"12,345,678.0\",15.0\n";
    let input = read_text(&text, "").expect("read");
    // The total under the table is a row without place and time: it must not become grain.
    let total: f64 = input.log.flow.iter().filter(|f| **f > 50.0).sum();
    assert_eq!(total, 0.0, "{:?}", codes(&input));
    let here = here();
    let kept: Vec<usize> = (0..input.log.len())
        .filter(|k| input.log.lat[*k].is_finite())
        .collect();
    assert_eq!(kept.len(), here.len());
    for (k, d) in kept.iter().zip(&here) {
        assert!((input.log.flow[*k] / d.flow - 1.0).abs() < 1e-4, "{k}");
        assert!((input.log.time[*k] - d.time).abs() < 0.01, "{k}");
    }
}

#[test]
fn german_numbers_and_times() {
    let mut text = "sep=;\nDatum Uhrzeit;geogr. Länge;geogr. Breite;Korndurchsatz [kg/h];Kornfeuchte [%];Geschwindigkeit [km/h]\n".to_owned();
    for d in here() {
        writeln!(
            text,
            "{};{};{};{};{};{}",
            dotted(d.time),
            comma(format!("{:.7}", d.lon)),
            comma(format!("{:.7}", d.lat)),
            grouped(d.flow * 3600.0, ".", ","),
            comma(format!("{:.2}", d.moisture)),
            comma(format!("{:.2}", d.speed * 3.6)),
        )
        .expect("text");
    }
    compare(&read_text(&text, "").expect("read"), &here(), 1e-4);
}

#[test]
fn french_spaces_and_swiss_apostrophes_between_thousands() {
    for (thousands, decimal) in [("\u{202f}", ","), ("\u{a0}", ","), ("'", "."), ("’", ".")] {
        let mut text =
            "Horodatage;Longitude;Latitude;Débit de grain (kg/h);Humidité du grain (%)\n"
                .to_owned();
        for d in here() {
            let cell =
                |value: f64, digits: usize| format!("{value:.digits$}").replace('.', decimal);
            let flow = grouped(d.flow * 3600.0, thousands, decimal);
            writeln!(
                text,
                "{};{};{};{flow};{}",
                iso(d.time),
                cell(d.lon, 7),
                cell(d.lat, 7),
                cell(d.moisture, 2)
            )
            .expect("text");
        }
        compare(&read_text(&text, "").expect("read"), &here(), 1e-4);
    }
}

#[test]
fn spanish_headers() {
    let mut text = "Fecha y hora,Longitud,Latitud,Flujo de grano (t/h),Humedad del grano (%),Velocidad (km/h),Ancho de corte (m)\n".to_owned();
    for d in here() {
        writeln!(
            text,
            "{},{:.7},{:.7},{:.4},{:.2},{:.2},{WIDTH}",
            iso(d.time),
            d.lon,
            d.lat,
            d.flow * 3.6,
            d.moisture,
            d.speed * 3.6
        )
        .expect("text");
    }
    compare(&read_text(&text, "").expect("read"), &here(), 1e-3);
}

#[test]
fn serial_days_feet_miles_and_bushels_with_moisture_as_a_share() {
    let mut text = "Date,Longitude,Latitude,Speed (mph),Header width (ft),Distance (ft),Wet yield (bu/ac),Moisture\n".to_owned();
    let bushel = 60.0 * POUND;
    for d in here() {
        let yields = d.flow / (d.speed * WIDTH) * ACRE / bushel;
        writeln!(
            text,
            "{:.9},{:.7},{:.7},{:.3},{:.3},{:.4},{yields:.3},{:.4}",
            d.time / 86_400.0 + 25_569.0,
            d.lon,
            d.lat,
            d.speed * 3600.0 / (5280.0 * FOOT),
            WIDTH / FOOT,
            d.speed / FOOT,
            d.moisture / 100.0
        )
        .expect("text");
    }
    compare(&read_text(&text, "").expect("read"), &here(), 1e-3);
}

/// Positions in a German system whose zone only the first digit of the easting tells: asked in a table, read where a
/// `.prj` says it.
#[test]
fn gauss_krueger_is_asked_for_in_a_table() {
    let to = Proj::new_known_crs("OGC:CRS84", "EPSG:31467", None).expect("known");
    let mut text = "Zeit;Rechtswert;Hochwert;Durchsatz (t/h)\n".to_owned();
    for d in here() {
        let (x, y) = to.convert((d.lon, d.lat)).expect("there");
        writeln!(text, "{};{x:.2};{y:.2};{:.4}", iso(d.time), d.flow * 3.6).expect("text");
    }
    let error = read_text(&text, "").expect_err("asked");
    assert!(error.contains("[log] crs = \"EPSG:"), "{error}");
    compare(
        &read_text(&text, "crs = \"EPSG:31467\"").expect("read"),
        &here(),
        1e-3,
    );
}

/// A shapefile of points with these columns; `prj`: its CRS as WKT.
fn shapefile(
    folder: &Path,
    name: &str,
    rows: &[Driven],
    place: impl Fn(&Driven) -> (f64, f64),
    prj: Option<&str>,
) {
    use shapefile::dbase::{FieldValue, Record, TableWriterBuilder};
    let field = |name: &str| name.try_into().expect("a name");
    let table = TableWriterBuilder::new()
        .add_character_field(field("TIME"), 24)
        .add_numeric_field(field("FLOW_LB_S"), 16, 6)
        .add_numeric_field(field("MOISTURE"), 10, 3);
    let mut writer =
        shapefile::Writer::from_path(folder.join(format!("{name}.shp")), table).expect("a writer");
    for d in rows {
        let mut record = Record::default();
        record.insert("TIME".to_owned(), FieldValue::Character(Some(iso(d.time))));
        record.insert(
            "FLOW_LB_S".to_owned(),
            FieldValue::Numeric(Some(d.flow / POUND)),
        );
        record.insert("MOISTURE".to_owned(), FieldValue::Numeric(Some(d.moisture)));
        let (x, y) = place(d);
        writer
            .write_shape_and_record(&shapefile::Point::new(x, y), &record)
            .expect("written");
    }
    drop(writer);
    if let Some(prj) = prj {
        write(folder, &format!("{name}.prj"), prj.as_bytes());
    }
}

/// North Carolina's state plane in US survey feet, as shapefiles have it.
const STATE_PLANE: &str = "PROJCS[\"NAD_1983_StatePlane_North_Carolina_FIPS_3200_Feet\",GEOGCS[\"GCS_North_American_1983\",DATUM[\"D_North_American_1983\",SPHEROID[\"GRS_1980\",6378137.0,298.257222101]],PRIMEM[\"Greenwich\",0.0],UNIT[\"Degree\",0.0174532925199433]],PROJECTION[\"Lambert_Conformal_Conic\"],PARAMETER[\"False_Easting\",2000000.002616666],PARAMETER[\"False_Northing\",0.0],PARAMETER[\"Central_Meridian\",-79.0],PARAMETER[\"Standard_Parallel_1\",34.33333333333334],PARAMETER[\"Standard_Parallel_2\",36.16666666666666],PARAMETER[\"Latitude_Of_Origin\",33.75],UNIT[\"Foot_US\",0.3048006096012192]]";

/// A German zone on its old datum, as shapefiles have it.
const GAUSS: &str = "PROJCS[\"DHDN_3_Degree_Gauss_Zone_3\",GEOGCS[\"GCS_Deutsches_Hauptdreiecksnetz\",DATUM[\"D_Deutsches_Hauptdreiecksnetz\",SPHEROID[\"Bessel_1841\",6377397.155,299.1528128]],PRIMEM[\"Greenwich\",0.0],UNIT[\"Degree\",0.0174532925199433]],PROJECTION[\"Gauss_Kruger\"],PARAMETER[\"False_Easting\",3500000.0],PARAMETER[\"False_Northing\",0.0],PARAMETER[\"Central_Meridian\",9.0],PARAMETER[\"Scale_Factor\",1.0],PARAMETER[\"Latitude_Of_Origin\",0.0],UNIT[\"Meter\",1.0]]";

#[test]
fn projected_shapefiles_in_metres_and_feet() {
    for (code, prj, rows) in [
        ("EPSG:2264", STATE_PLANE, driven(-78.6, 35.5)),
        ("EPSG:31467", GAUSS, here()),
    ] {
        let folder = tempfile::tempdir().expect("a folder");
        let to = Proj::new_known_crs("OGC:CRS84", code, None).expect("known");
        let place = |d: &Driven| to.convert((d.lon, d.lat)).expect("there");
        shapefile(folder.path(), "log", &rows, place, Some(prj));
        compare(
            &try_read(folder.path(), "log.shp", "").expect("read"),
            &rows,
            1e-5,
        );
    }
}

#[test]
fn a_zip_of_several_shapefiles_is_one_field() {
    let folder = tempfile::tempdir().expect("a folder");
    let rows = here();
    let wgs84 = "GEOGCS[\"GCS_WGS_1984\",DATUM[\"D_WGS_1984\",SPHEROID[\"WGS_1984\",6378137.0,298.257223563]],PRIMEM[\"Greenwich\",0.0],UNIT[\"Degree\",0.0174532925199433]]";
    for (k, part) in rows.chunks(480).enumerate() {
        shapefile(
            folder.path(),
            &format!("day {k}"),
            part,
            |d| (d.lon, d.lat),
            Some(wgs84),
        );
    }
    let mut zip =
        zip::ZipWriter::new(std::fs::File::create(folder.path().join("all.zip")).expect("a zip"));
    let mut files: Vec<_> = std::fs::read_dir(folder.path())
        .expect("a folder")
        .map(|e| e.expect("an entry").path())
        .collect();
    files.sort();
    for file in files
        .iter()
        .filter(|f| f.extension().is_none_or(|e| e != "zip"))
    {
        let name = format!(
            "export/{}",
            file.file_name().expect("a name").to_string_lossy()
        );
        zip.start_file(name, zip::write::SimpleFileOptions::default())
            .expect("an entry");
        std::io::Write::write_all(&mut zip, &std::fs::read(file).expect("readable"))
            .expect("packed");
    }
    zip.finish().expect("a zip");
    let input = try_read(folder.path(), "all.zip", "").expect("read");
    assert_eq!(input.log.sources.len(), 3);
    compare(&input, &rows, 1e-5);
}

#[test]
fn a_log_from_last_to_first() {
    let mut rows = here();
    rows.reverse();
    let mut text = "Time,Longitude,Latitude,Flow (kg/s)\n".to_owned();
    for d in &rows {
        writeln!(
            text,
            "{},{:.7},{:.7},{:.4}",
            iso(d.time),
            d.lon,
            d.lat,
            d.flow
        )
        .expect("text");
    }
    let input = read_text(&text, "").expect("read");
    compare(&input, &rows, 1e-3);
    let timeline = fanmill::log::Timeline::new(&input.log);
    assert_eq!(
        (timeline.restored, timeline.tracks[0].rows[0] as usize),
        (1, rows.len() - 1)
    );
}

/// Two machines whose rows take turns, each by its name: two tracks, and neither jumps to the other's place.
#[test]
fn two_machines_in_turn() {
    let mut text = "Time,Combine,Longitude,Latitude,Flow (kg/s),Speed\n".to_owned();
    let (a, b) = (here(), driven(10.21, 54.1));
    let rows: Vec<Driven> = a.iter().zip(&b).flat_map(|(a, b)| [*a, *b]).collect();
    for (k, d) in rows.iter().enumerate() {
        let name = ["A", "B"][k % 2];
        writeln!(
            text,
            "{},{name},{:.7},{:.7},{:.4},{:.2}",
            iso(d.time),
            d.lon,
            d.lat,
            d.flow,
            d.speed * 3.6
        )
        .expect("text");
    }
    let input = read_text(&text, "").expect("read");
    compare(&input, &rows, 1e-3);
    // No unit is named: one machine's steps prove km/h.
    for (k, d) in rows.iter().enumerate() {
        assert!(
            (input.log.speed[k] - d.speed).abs() < 0.01,
            "{k}: {}",
            input.log.speed[k]
        );
    }
    let timeline = fanmill::log::Timeline::new(&input.log);
    assert_eq!(timeline.tracks.len(), 2);
    assert!(timeline.interval.iter().all(|t| (t - 1.0).abs() < 1e-6));
}

/// The same without a name: nobody can say which row is whose, so it is asked.
#[test]
fn two_machines_in_turn_without_a_name_are_told() {
    let mut text = "Time,Longitude,Latitude,Flow (kg/s)\n".to_owned();
    let (a, b) = (here(), driven(10.21, 54.1));
    for (a, b) in a.iter().zip(&b) {
        for d in [a, b] {
            writeln!(
                text,
                "{},{:.7},{:.7},{:.4}",
                iso(d.time),
                d.lon,
                d.lat,
                d.flow
            )
            .expect("text");
        }
    }
    let error = read_text(&text, "").expect_err("asked");
    assert!(error.contains("[log] columns = { machine = "), "{error}");
}

#[test]
fn tabs_with_quotes_and_cells_of_several_words() {
    let mut text = "\"Time\"\t\"Remark, free\"\t\"Longitude\"\t\"Latitude\"\t\"Grain flow (lb/s)\"\t\"Moisture, %\"\n".to_owned();
    for (k, d) in here().iter().enumerate() {
        let remark = if k % 50 == 0 {
            "\"stone, \"\"big\"\"\tlook\""
        } else {
            "\"\""
        };
        writeln!(
            text,
            "\"{}\"\t{remark}\t\"{:.7}\"\t\"{:.7}\"\t\"{:.4}\"\t\"{:.2}\"",
            iso(d.time),
            d.lon,
            d.lat,
            d.flow / POUND,
            d.moisture
        )
        .expect("text");
    }
    compare(&read_text(&text, "").expect("read"), &here(), 1e-3);
}

#[test]
fn geojson_with_heights_and_features_without_a_place() {
    let rows = here();
    let features: Vec<serde_json::Value> = rows
        .iter()
        .enumerate()
        .map(|(k, d)| {
            let geometry = match k % 40 {
                5 => serde_json::Value::Null,
                _ => serde_json::json!({"type": "Point", "coordinates": [d.lon, d.lat, 31.4]}),
            };
            let properties = serde_json::json!({"Time": iso(d.time), "Grain flow (kg/s)": d.flow, "Moisture": d.moisture});
            serde_json::json!({"type": "Feature", "geometry": geometry, "properties": properties})
        })
        .collect();
    let text = serde_json::json!({"type": "FeatureCollection", "features": features}).to_string();
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), "log.geojson", text.as_bytes());
    let input = try_read(folder.path(), "log.geojson", "").expect("read");
    assert_eq!(input.log.len(), rows.len());
    for (k, d) in rows.iter().enumerate() {
        assert_eq!(input.log.lon[k].is_nan(), k % 40 == 5);
        assert!((input.log.flow[k] / d.flow - 1.0).abs() < 1e-9);
        assert!(input.log.lon[k].is_nan() || (input.log.lon[k] - d.lon).abs() < 1e-12);
    }
}

#[test]
fn degrees_minutes_and_seconds_with_units_in_cells() {
    let mut text = "Time,Position N,Position E,Flow,Moisture\n".to_owned();
    let dms = |v: f64, side: char| {
        let (degrees, minutes) = (v.trunc(), (v.fract() * 60.0).trunc());
        let seconds = (v.fract() * 60.0).fract() * 60.0;
        format!("\"{degrees}° {minutes:02}' {seconds:07.4}\"\" {side}\"")
    };
    for d in here() {
        writeln!(
            text,
            "{},{},{},{:.4} kg/s,{:.2} %",
            iso(d.time),
            dms(d.lat, 'N'),
            dms(d.lon, 'E'),
            d.flow,
            d.moisture
        )
        .expect("text");
    }
    match read_text(&text, "") {
        Ok(input) => compare(&input, &here(), 1e-3),
        Err(error) => assert!(error.contains("[log]") || error.contains("kg/s"), "{error}"),
    }
}

/// The side of the globe in columns of their own; a direction of driving is none. Whole numbers of 1e-7 degrees.
#[test]
fn hemispheres_in_columns_and_whole_numbers() {
    let rows = driven(-93.6, -42.03);
    for form in ["sides", "whole", "directions"] {
        let mut text = "Time,Lat,NS,Lon,EW,Flow (kg/s)\n".to_owned();
        for (k, d) in rows.iter().enumerate() {
            let heading = if (k / 120) % 2 == 0 { 'N' } else { 'S' };
            match form {
                "sides" => write!(text, "{},{:.7},S,{:.7},W", iso(d.time), -d.lat, -d.lon),
                "whole" => write!(
                    text,
                    "{},{:.0},,{:.0},",
                    iso(d.time),
                    d.lat * 1e7,
                    d.lon * 1e7
                ),
                _ => write!(text, "{},{:.7},{heading},{:.7},", iso(d.time), d.lat, d.lon),
            }
            .expect("text");
            writeln!(text, ",{:.4}", d.flow).expect("text");
        }
        compare(&read_text(&text, "").expect("read"), &rows, 1e-3);
    }
    // Driven to the north and to the south on the northern half: no row lies in the south.
    let rows = here();
    let mut text = "Time,Lat,Lon,Direction,Flow (kg/s)\n".to_owned();
    for (k, d) in rows.iter().enumerate() {
        let heading = if (k / 120) % 2 == 0 { 'N' } else { 'S' };
        writeln!(
            text,
            "{},{:.7},{:.7},{heading},{:.4}",
            iso(d.time),
            d.lat,
            d.lon,
            d.flow
        )
        .expect("text");
    }
    compare(&read_text(&text, "").expect("read"), &rows, 1e-3);
}
