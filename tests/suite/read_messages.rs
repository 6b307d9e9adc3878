//! What a user reads when an input is not as it should be: whole messages, each with its place and a way out.
//! The fields and names are invented.

use std::fs;
use std::path::Path;

use fanmill::job::{Job, parse};
use fanmill::read::{FieldInput, ReadError, read_field};
use tempfile::TempDir;

/// A log of three rows near Heron Lane's Brook field.
const LOG: &str = "lon_deg,lat_deg,time,flow_kg_s,moisture_pct,load\n\
    10.0001,54.0001,2025-09-12T14:00:00Z,8.1,16.2,L1\n\
    10.0002,54.0001,2025-09-12T14:00:01Z,8.3,16.1,L1\n\
    10.0003,54.0001,2025-09-12T14:00:02Z,8.2,16.0,L2\n";

/// A folder with a job in it.
struct Farm {
    folder: TempDir,
    log_section: String,
    field_section: String,
}

impl Farm {
    fn new(log: &str) -> Self {
        let farm = Self {
            folder: tempfile::tempdir().expect("a folder"),
            log_section: String::new(),
            field_section: String::new(),
        };
        farm.write("logs/brook.csv", log.as_bytes());
        farm
    }

    fn write(&self, name: &str, bytes: &[u8]) -> &Self {
        let path = self.folder.path().join(name);
        fs::create_dir_all(path.parent().expect("in the folder")).expect("made");
        fs::write(path, bytes).expect("written");
        self
    }

    fn log(mut self, section: &str) -> Self {
        self.log_section = format!("[log]\n{section}\n");
        self
    }

    fn field(mut self, keys: &str) -> Self {
        self.field_section = keys.to_owned();
        self
    }

    fn job(&self) -> Job {
        let logs = if self.field_section.contains("logs =") {
            ""
        } else {
            "logs = [\"logs/*.csv\"]"
        };
        let text = format!(
            "{}[[field]]\nclient = \"Heron Lane\"\nfarm = \"Home\"\nname = \"Brook field\"\nseason = 2025\n\
             crop = \"maize\"\n{logs}\n{}\n",
            self.log_section, self.field_section
        );
        parse(&text, "job.toml", self.folder.path()).expect("a sound job")
    }

    fn read(&self) -> Result<FieldInput, ReadError> {
        let job = self.job();
        read_field(&job, &job.fields[0])
    }

    /// The error and its hint, as the terminal shows them.
    fn fails(&self) -> String {
        said(&self.read().expect_err("an error"))
    }

    /// Codes and texts of the warnings.
    fn warns(&self) -> Vec<(String, String)> {
        let input = self.read().expect("readable");
        input
            .warnings
            .into_iter()
            .map(|w| (w.code, w.text))
            .collect()
    }

    fn warns_once(&self) -> (String, String) {
        let warnings = self.warns();
        assert_eq!(warnings.len(), 1, "{warnings:?}");
        warnings.into_iter().next().expect("one")
    }
}

fn said(error: &ReadError) -> String {
    format!("{error}\nhint: {}", error.hint().unwrap_or("none"))
}

fn warning(code: &str, text: &str) -> (String, String) {
    (code.to_owned(), text.to_owned())
}

#[test]
fn a_sound_log_is_read_without_a_word() {
    let farm = Farm::new(LOG);
    assert_eq!(farm.warns(), []);
    let input = farm.read().expect("readable");
    assert_eq!(input.log.sources[0].path, "logs/brook.csv");
    assert_eq!(input.log.loads, ["L1", "L2"]);
    assert_eq!(input.log.load, [Some(0), Some(0), Some(1)]);
    assert_eq!(input.log.time[1] - input.log.time[0], 1.0);
}

#[test]
fn a_missing_file_names_the_pattern_and_what_is_there() {
    assert_eq!(
        Farm::new(LOG).field("logs = [\"logs/brok.csv\"]").fails(),
        "logs/brok.csv: expected a log of field \"Brook field\", found no file of that name or pattern
\
         hint: the folder \"logs\" holds only \"brook.csv\""
    );
}

#[test]
fn a_missing_folder_is_named() {
    assert_eq!(
        Farm::new(LOG).field("logs = [\"lgs/*.csv\"]").fails(),
        "lgs/*.csv: expected a log of field \"Brook field\", found no file of that name or pattern
\
         hint: the folder \"lgs\" is not there; paths are relative to the job file"
    );
}

#[test]
fn an_empty_file_says_so() {
    assert_eq!(
        Farm::new("").fails(),
        "logs/brook.csv: expected a header and rows, found an empty file\n\
         hint: export it again, or take it off the list"
    );
}

#[test]
fn a_header_alone_says_so() {
    assert_eq!(
        Farm::new("lon_deg,lat_deg,flow_kg_s\n").fails(),
        "logs/brook.csv: expected rows under the header, found none\n\
         hint: export it again, or take it off the list"
    );
}

#[test]
fn a_bad_file_costs_itself_alone() {
    let farm = Farm::new(LOG);
    farm.write("logs/empty.csv", b"");
    assert_eq!(farm.read().expect("readable").log.len(), 3);
    assert_eq!(
        farm.warns_once(),
        warning(
            "bad-log",
            "logs/empty.csv: expected a header and rows, found an empty file; export it again, or take it off the list; \
             the file is left out"
        )
    );
}

#[test]
fn a_log_without_flow_says_how_to_name_it() {
    assert_eq!(
        Farm::new("lon_deg,lat_deg,grain\n10,54,8\n").fails(),
        "logs/brook.csv: expected a column of grain flow such as flow_kg_s (or of mass per row, mass_kg, or of yield, yield_t_ha), \
         found the columns lon_deg, lat_deg, grain\n\
         hint: name it in the job file: [log] columns = { flow = \"HEADER\" }, units = { flow = \"kg/s\" }"
    );
}

#[test]
fn a_log_without_position_says_how_to_name_it() {
    assert_eq!(
        Farm::new("p,flow_kg_s\n10,8\n").fails(),
        "logs/brook.csv: expected position columns such as lon_deg and lat_deg (or x_m and y_m with a crs), \
         found the columns p, flow_kg_s\n\
         hint: name them in the job file: [log] columns = { lon = \"HEADER\", lat = \"HEADER\" }"
    );
}

#[test]
fn a_flow_without_unit_is_asked_for_one() {
    assert_eq!(
        Farm::new("lon_deg,lat_deg,flow\n10,54,8\n").fails(),
        "logs/brook.csv, column \"flow\": expected a unit of a mass flow: kg/s, g/s, kg/h, kg/min, t/h, lb/s, lb/min, lb/h, short ton/h, bu/s, \
         bu/h, found none in the header or the job file\n\
         hint: add it: [log] units = { flow = \"kg/s\" }"
    );
}

#[test]
fn a_mapped_header_that_is_not_there_finds_its_neighbour() {
    assert_eq!(
        Farm::new("lon_deg,lat_deg,grain per second\n10,54,8\n")
            .log("columns = { flow = \"grain per secnd\" }")
            .fails(),
        "logs/brook.csv: expected the column \"grain per secnd\" that [log] columns names for flow, \
         found the columns lon_deg, lat_deg, grain per second\n\
         hint: did you mean \"grain per second\"?"
    );
}

#[test]
fn text_in_a_number_costs_its_row() {
    let farm = Farm::new(&LOG.replace("8.3", "8.3x"));
    let input = farm.read().expect("readable");
    assert_eq!(input.log.row, [1, 3]);
    assert_eq!(input.unreadable.len(), 1);
    assert_eq!(
        farm.warns_once(),
        warning(
            "unreadable-rows",
            "1 of 3 rows cannot be read: logs/brook.csv, row 2, column \"flow_kg_s\": expected a number, found \"8.3x\""
        )
    );
}

#[test]
fn many_unreadable_rows_are_counted_and_the_first_shown() {
    let mut log = LOG.to_owned();
    for k in 0..5 {
        log.push_str(&format!("10,54,yesterday {k},8,16,L2\n"));
    }
    let at = |row: u32, k: u32| {
        format!(
            "logs/brook.csv, row {row}, column \"time\": expected a time in ISO 8601 such as 2025-09-12T14:03:00Z, \
             or in Unix seconds, found \"yesterday {k}\""
        )
    };
    assert_eq!(
        Farm::new(&log).warns_once(),
        warning(
            "unreadable-rows",
            &format!(
                "5 of 8 rows cannot be read: {}; {}; {}; and 2 more",
                at(4, 0),
                at(5, 1),
                at(6, 2)
            )
        )
    );
}

#[test]
fn latitude_95_is_no_position_but_still_grain() {
    let farm = Farm::new(&LOG.replace("10.0002,54.0001", "10.0002,95"));
    let log = farm.read().expect("readable").log;
    assert!(log.lat[1].is_nan() && log.lon[1].is_nan());
    assert_eq!(log.flow[1], 8.3);
    assert_eq!(
        farm.warns_once(),
        warning(
            "bad-position",
            "1 of 3 rows have no usable position; the first is logs/brook.csv, row 2, column \"lat_deg\": \
             expected a latitude from -90 to 90 degrees, found 95"
        )
    );
}

#[test]
fn nought_nought_and_nothing_are_no_positions() {
    let farm = Farm::new(
        &LOG.replace("10.0001,54.0001", "0,0")
            .replace("10.0003,", ","),
    );
    let log = farm.read().expect("readable").log;
    assert!(log.lon[0].is_nan() && log.lon[1] == 10.0002 && log.lat[2].is_nan());
    assert_eq!(
        farm.warns_once(),
        warning(
            "bad-position",
            "2 of 3 rows have no usable position; the first is logs/brook.csv, row 1, column \"lon_deg\": \
             expected a position, found 0/0"
        )
    );
}

#[test]
fn swapped_positions_that_cannot_be_say_how_to_swap_back() {
    let log = "lon_deg,lat_deg,flow_kg_s\n43.927,-93.978,8\n43.928,-93.978,8\n43.929,-93.978,8\n";
    assert_eq!(
        Farm::new(log).fails(),
        "logs/brook.csv: expected longitude and latitude in their own columns, found longitude 43.927 and \
         latitude -93.978: they look swapped\n\
         hint: write in the job file: [log] columns = { lon = \"lat_deg\", lat = \"lon_deg\" }"
    );
    let mended = Farm::new(log).log("columns = { lon = \"lat_deg\", lat = \"lon_deg\" }");
    assert_eq!(mended.read().expect("readable").log.lon, [-93.978; 3]);
}

fn square(lon: f64, lat: f64) -> String {
    let (e, n) = (lon + 0.01, lat + 0.01);
    format!("[[{lon},{lat}],[{e},{lat}],[{e},{n}],[{lon},{n}],[{lon},{lat}]]")
}

fn polygon(lon: f64, lat: f64) -> String {
    format!(
        "{{\"type\":\"Polygon\",\"coordinates\":[{}]}}",
        square(lon, lat)
    )
}

#[test]
fn swapped_positions_that_only_the_boundary_tells_say_how_to_swap_back() {
    let farm = Farm::new("lon_deg,lat_deg,flow_kg_s\n54.005,10.005,8\n")
        .field("boundary = \"brook.geojson\"");
    farm.write("brook.geojson", polygon(10.0, 54.0).as_bytes());
    assert_eq!(
        farm.fails(),
        "logs/brook.csv: expected longitude and latitude in their own columns, found positions that lie in \
         \"brook.geojson\" only the other way round: they look swapped\n\
         hint: write in the job file: [log] columns = { lon = \"lat_deg\", lat = \"lon_deg\" }"
    );
}

#[test]
fn a_boundary_far_away_says_how_far() {
    // 9° of latitude on a meridian of 40,030 km (mean radius 6,371.0088 km): 1,000.8 km.
    let farm = Farm::new("lon_deg,lat_deg,flow_kg_s\n10.005,54.005,8\n")
        .field("boundary = \"brook.geojson\"");
    farm.write("brook.geojson", polygon(10.0, 45.0).as_bytes());
    assert_eq!(
        farm.fails(),
        "brook.geojson: expected a boundary around the log's points, found none of them in it: the middle of the \
         boundary is 1001 km from that of the log\n\
         hint: check that it is the right field's file, and that its coordinates are longitude first, then latitude"
    );
}

#[test]
fn a_boundary_of_any_polygon_type_is_read() {
    let feature = format!(
        "{{\"type\":\"Feature\",\"properties\":null,\"geometry\":{}}}",
        polygon(10.0, 54.0)
    );
    let open_ring =
        "{\"type\":\"Polygon\",\"coordinates\":[[[10,54],[10.01,54],[10.01,54.01],[10,54.01]]]}";
    let multi = format!(
        "{{\"type\":\"MultiPolygon\",\"coordinates\":[[{}],[{}]]}}",
        square(10.0, 54.0),
        square(11.0, 54.0)
    );
    let collection = format!("{{\"type\":\"FeatureCollection\",\"features\":[{feature}]}}");
    for (json, parts) in [
        (&polygon(10.0, 54.0), 1),
        (&feature, 1),
        (&open_ring.to_owned(), 1),
        (&multi, 2),
        (&collection, 1),
    ] {
        let farm = Farm::new(LOG).field("boundary = \"brook.geojson\"");
        farm.write("brook.geojson", json.as_bytes());
        let boundary = farm.read().expect("readable").boundary.expect("a boundary");
        assert_eq!(boundary.0.len(), parts);
        assert!(
            boundary
                .0
                .iter()
                .all(|p| p.exterior().is_closed() && p.exterior().0.len() == 5)
        );
    }
}

#[test]
fn a_boundary_that_is_a_line_is_refused() {
    for (json, kind) in [
        (
            "{\"type\":\"LineString\",\"coordinates\":[[10,54],[11,55]]}",
            "a LineString (feature 1)",
        ),
        (
            "{\"type\":\"Point\",\"coordinates\":[10,54]}",
            "a Point (feature 1)",
        ),
        (
            "{\"type\":\"Polygon\",\"coordinates\":[[[10,54],[11,55]]]}",
            "a ring of 2 corners (feature 1)",
        ),
        (
            "{\"type\":\"Polygon\",\"coordinates\":[]}",
            "a polygon without a ring (feature 1)",
        ),
        (
            "{\"type\":\"FeatureCollection\",\"features\":[]}",
            "no geometry",
        ),
    ] {
        let farm = Farm::new(LOG).field("boundary = \"brook.geojson\"");
        farm.write("brook.geojson", json.as_bytes());
        assert_eq!(
            farm.fails(),
            format!(
                "brook.geojson: expected a boundary of polygons, found {kind}\n\
                 hint: draw the field's outline as a polygon, or leave `boundary` out"
            )
        );
    }
}

#[test]
fn a_boundary_in_metres_is_refused() {
    let farm = Farm::new(LOG).field("boundary = \"brook.geojson\"");
    farm.write("brook.geojson", polygon(565_000.0, 5_984_000.0).as_bytes());
    assert_eq!(
        farm.fails(),
        "brook.geojson: expected corners as longitude and latitude in degrees, found 565000, 5984000 (feature 1)\n\
         hint: GeoJSON is in WGS 84, longitude first: export it again with EPSG:4326"
    );
}

#[test]
fn a_boundary_that_is_not_geojson_is_refused() {
    let farm = Farm::new(LOG).field("boundary = \"brook.geojson\"");
    farm.write("brook.geojson", b"north east south west");
    let error = farm.read().expect_err("an error");
    assert_eq!(
        said(&error),
        "brook.geojson: expected a boundary in GeoJSON, found something else\n\
         hint: export the boundary as GeoJSON in WGS 84 (longitude, latitude)"
    );
    assert!(std::error::Error::source(&error).is_some());
}

#[test]
fn decimal_commas_are_read_where_they_can_be_told() {
    for separator in [";", "\t"] {
        let log = LOG.replace(',', separator).replace('.', ",");
        let log = Farm::new(&log).read().expect("readable").log;
        assert_eq!(log.lon, [10.0001, 10.0002, 10.0003]);
        assert_eq!(log.flow, [8.1, 8.3, 8.2]);
    }
}

#[test]
fn decimal_commas_between_commas_are_refused() {
    assert_eq!(
        Farm::new("lon_deg,lat_deg,flow_kg_s\n10,0001,54,0001,8,1\n10,0002,54,0001,8,3\n").fails(),
        "logs/brook.csv, row 1: expected 3 fields, found 6; none of the 2 row(s) can be read\n\
         hint: where numbers have decimal commas, export with semicolons or tabs between the columns, or with decimal points"
    );
    // In quotes they are read; groups of thousands are not taken for them.
    let quoted = Farm::new("lon_deg,lat_deg,flow_kg_s\n\"10,0001\",\"54,0001\",\"8,1\"\n");
    assert_eq!(quoted.read().expect("readable").log.flow, [8.1]);
    assert_eq!(
        Farm::new("lon_deg,lat_deg,flow_kg_s\n10.0001,54.0001,\"1,800\"\n").fails(),
        "logs/brook.csv, row 1, column \"flow_kg_s\": expected a number with a decimal point, found \"1,800\"; \
         none of the 1 row(s) can be read\n\
         hint: where numbers have decimal commas, export with semicolons or tabs between the columns, or with decimal points"
    );
}

#[test]
fn a_last_line_cut_off_costs_itself() {
    let farm = Farm::new(LOG.trim_end().strip_suffix(",16.0,L2").expect("the end"));
    assert_eq!(farm.read().expect("readable").log.row, [1, 2]);
    assert_eq!(
        farm.warns_once(),
        warning(
            "unreadable-rows",
            "1 of 3 rows cannot be read: logs/brook.csv, row 3: expected 6 fields, found 4 (the line ends early)"
        )
    );
}

#[test]
fn utf_16_and_byte_order_marks_are_read() {
    let log = LOG.replace("L1", "Mühle");
    let mut files = vec![[&b"\xEF\xBB\xBF"[..], log.as_bytes()].concat()];
    let units = || "\u{feff}".encode_utf16().chain(log.encode_utf16());
    files.push(units().flat_map(u16::to_le_bytes).collect());
    files.push(units().flat_map(u16::to_be_bytes).collect());
    files.push(log.encode_utf16().flat_map(u16::to_le_bytes).collect());
    for bytes in files {
        let farm = Farm::new("");
        farm.write("logs/brook.csv", &bytes);
        let log = farm.read().expect("readable").log;
        assert_eq!(log.flow, [8.1, 8.3, 8.2]);
        assert_eq!(log.loads, ["Mühle", "L2"]);
    }
}

const TICKETS: &str = "ticket,load,net_kg,moisture_pct\nT1,L1,5000,16.4\n";

#[test]
fn a_sound_ticket_is_read() {
    let farm = Farm::new(LOG).field("tickets = [\"tickets.csv\"]");
    farm.write(
        "tickets.csv",
        "Ticket;Load;Net (t);Moisture %;use\nT1;\"L1;L2\";5,5;16,4;YES\n".as_bytes(),
    );
    let input = farm.read().expect("readable");
    assert_eq!(input.warnings, []);
    let ticket = &input.tickets[0];
    assert_eq!(
        (ticket.id.as_str(), ticket.net_kg, ticket.moisture_pct),
        ("T1", 5500.0, Some(16.4))
    );
    assert_eq!(ticket.loads, ["L1", "L2"]);
    assert_eq!(ticket.usage, fanmill::read::TicketUse::Yes);
    assert_eq!(ticket.place.to_string(), "tickets.csv, row 1");
}

#[test]
fn a_ticket_of_an_unknown_load_costs_itself() {
    let farm = Farm::new(LOG).field("tickets = [\"tickets.csv\"]");
    farm.write(
        "tickets.csv",
        format!("{TICKETS}T2,L9,6000,16\n").as_bytes(),
    );
    assert_eq!(farm.read().expect("readable").tickets.len(), 1);
    assert_eq!(
        farm.warns_once(),
        warning(
            "unknown-load",
            "tickets.csv, row 2: expected a load of the field's logs, found \"L9\"; the logs have the loads L1, L2. \
             Ticket T2 is left out until the load's name is put right"
        )
    );
}

#[test]
fn bad_tickets_cost_themselves() {
    let left_out =
        "the ticket is left out: its loads count as unweighed until the row is put right";
    for (row, fault) in [
        (
            "T2,L2,-6000,16",
            "column \"net_kg\": expected a net weight above 0, found \"-6000\"",
        ),
        (
            "T2,L2,0,16",
            "column \"net_kg\": expected a net weight above 0, found \"0\"",
        ),
        (
            "T2,L2,,16",
            "column \"net_kg\": expected a net weight above 0, found nothing",
        ),
        (
            "T2,L2,six,16",
            "column \"net_kg\": expected a net weight above 0, found \"six\"",
        ),
        (
            "T2,L2,6000,116",
            "column \"moisture_pct\": expected a moisture between 0 and 100 %, found \"116\"",
        ),
        (
            "T2,,6000,16",
            "column \"load\": expected a load of the log, or a start and an end, found neither",
        ),
        (
            "T2,L2;L2,6000,16",
            "column \"load\": expected each load once, found \"L2\" twice",
        ),
    ] {
        let farm = Farm::new(LOG).field("tickets = [\"tickets.csv\"]");
        farm.write("tickets.csv", format!("{TICKETS}{row}\n").as_bytes());
        assert_eq!(farm.read().expect("readable").tickets.len(), 1, "{row}");
        let text = format!("tickets.csv, row 2, {fault}; {left_out}");
        assert_eq!(farm.warns_once(), warning("bad-ticket", &text));
    }
    let farm = Farm::new(LOG).field("tickets = [\"tickets.csv\"]");
    farm.write("tickets.csv", format!("{TICKETS}T2,L2\n").as_bytes());
    assert_eq!(
        farm.warns_once(),
        warning(
            "bad-ticket",
            &format!("tickets.csv, row 2: expected 4 fields, found 2; {left_out}")
        )
    );
}

#[test]
fn two_tickets_for_one_load_are_both_left_out() {
    let farm = Farm::new(LOG).field("tickets = [\"tickets.csv\"]");
    farm.write(
        "tickets.csv",
        format!("{TICKETS}T2,L2,4000,16\nT3,L1,6000,16\n").as_bytes(),
    );
    let input = farm.read().expect("readable");
    assert_eq!(
        input
            .tickets
            .iter()
            .map(|t| t.id.as_str())
            .collect::<Vec<_>>(),
        ["T2"]
    );
    assert_eq!(
        farm.warns_once(),
        warning(
            "two-tickets",
            "tickets.csv, row 1 and tickets.csv, row 3: expected one ticket for load \"L1\", found two, T1 and T3; \
             both are left out: correct the load of one, or set use = no on it"
        )
    );
}

#[test]
fn tickets_of_one_load_on_two_machines_or_at_two_times_go_together() {
    for (header, a, b) in [
        ("machine", "C1", "C2"),
        (
            "start,end",
            "2025-09-12T10:00:00Z,2025-09-12T11:00:00Z",
            "2025-09-12T11:00:00Z,2025-09-12T12:00:00Z",
        ),
    ] {
        let farm = Farm::new(LOG).field("tickets = [\"tickets.csv\"]");
        let text = format!("ticket,load,net_lb,{header}\nT1,L1,11000,{a}\nT2,L1,12000,{b}\n");
        farm.write("tickets.csv", text.as_bytes());
        let input = farm.read().expect("readable");
        assert_eq!((input.tickets.len(), input.warnings.len()), (2, 0));
        assert_eq!(input.tickets[0].net_kg, 11_000.0 * 0.453_592_37);
    }
}

#[test]
fn tickets_of_other_fields_are_not_ours() {
    let farm = Farm::new(LOG).field("tickets = [\"tickets.csv\"]");
    let text = "ticket,load,net_kg,field\nT1,L1,5000,Brook field\nT2,L2,5000,Heron Lane/Home/Brook field\nT3,L9,1,Mill\n";
    farm.write("tickets.csv", text.as_bytes());
    assert_eq!(farm.read().expect("readable").tickets.len(), 2);
    assert_eq!(
        farm.warns_once(),
        warning(
            "unknown-field",
            "tickets.csv, row 3, column \"field\": expected a field that lists this file: Brook field, found \"Mill\"; \
             the ticket is left out: correct the name, or leave it empty for any field"
        )
    );
}

#[test]
fn a_load_of_a_shared_ticket_file_may_be_in_another_field() {
    let farm = Farm::new(LOG).field(
        "logs = [\"logs/*.csv\"]\ntickets = [\"tickets.csv\"]\n[[field]]\nclient = \"Heron Lane\"\nfarm = \"Home\"\nname = \"Mill field\"\n\
         season = 2025\ncrop = \"maize\"\nlogs = [\"mill/*.csv\"]\ntickets = [\"tickets.csv\"]",
    );
    let text = "ticket,load,net_kg,field\nT1,L1,5000,\nT2,L9,5000,\nT3,L8,5000,Mill field\nT4,L7,5000,Brook field\n";
    farm.write("tickets.csv", text.as_bytes());
    let tickets = farm.read().expect("readable").tickets;
    assert_eq!(
        tickets.iter().map(|t| t.id.as_str()).collect::<Vec<_>>(),
        ["T1", "T2"]
    );
    assert_eq!(farm.warns_once().0, "unknown-load"); // T4 alone: Mill field's log may have L9
}

#[test]
fn a_ticket_file_that_cannot_be_used_fails_the_field() {
    let farm = Farm::new(LOG).field("tickets = [\"tickets.csv\"]");
    assert_eq!(
        farm.fails(),
        "tickets.csv: expected a readable file, found no file of that name\nhint: paths are relative to the job file"
    );
    farm.write("tickets.csv", b"ticket,load,net\nT1,L1,5000\n");
    assert_eq!(
        farm.fails(),
        "tickets.csv, column \"net\": expected a unit of a mass: kg, g, t, lb, bu, short ton, found none in the header\n\
         hint: name the column net_kg, net_t or net_lb"
    );
    farm.write("tickets.csv", b"ticket,net_kg\nT1,5000\n");
    assert_eq!(
        farm.fails(),
        "tickets.csv: expected a column load, or columns start and end, found the columns ticket, net_kg\n\
         hint: say which loads of the log each ticket weighed, or from when to when they were cut"
    );
}

#[test]
fn a_geopackage_that_is_none_says_so() {
    let farm = Farm::new(LOG).field("logs = [\"logs/brook.gpkg\"]");
    farm.write("logs/brook.gpkg", b"SQLite format 3\0");
    assert_eq!(
        farm.fails(),
        "logs/brook.gpkg: expected a GeoPackage, found \"file is not a database\"\nhint: export it again"
    );
}

#[test]
fn a_file_matched_twice_is_read_once_and_files_come_in_order() {
    let farm =
        Farm::new(LOG).field("logs = [\"logs/*.csv\", \"logs/a.csv\", \"./logs/brook.csv\"]");
    farm.write("logs/a.csv", LOG.as_bytes());
    let log = farm.read().expect("readable").log;
    let paths: Vec<&str> = log.sources.iter().map(|s| s.path.as_str()).collect();
    assert_eq!(paths, ["logs/a.csv", "logs/brook.csv"]);
    assert_eq!(log.source, [0, 0, 0, 1, 1, 1]);
}

#[test]
fn inputs_are_left_as_they_were() {
    let farm = Farm::new(LOG);
    let path: &Path = &farm.folder.path().join("logs/brook.csv");
    let before = fs::metadata(path)
        .expect("there")
        .modified()
        .expect("known");
    farm.read().expect("readable");
    assert_eq!(fs::read_to_string(path).expect("there"), LOG);
    assert_eq!(
        fs::metadata(path)
            .expect("there")
            .modified()
            .expect("known"),
        before
    );
}

#[test]
fn a_ticket_window_stands_in_for_a_load() {
    let farm = Farm::new(LOG).field("tickets = [\"tickets.csv\"]");
    farm.write(
        "tickets.csv",
        b"ticket,net_kg,start,end\nT1,5000,2025-09-12T14:00,2025-09-12T15:00\nT2,1,15:00,16:00\n",
    );
    let input = farm.read().expect("readable");
    let ticket = &input.tickets[0];
    assert_eq!(
        (ticket.start, ticket.end),
        (Some(input.log.time[0]), Some(input.log.time[0] + 3600.0))
    );
    assert_eq!(
        farm.warns_once(),
        warning(
            "bad-ticket",
            "tickets.csv, row 2, column \"start\": expected a time in ISO 8601 such as 2025-09-12T14:03:00Z, or in Unix \
             seconds, found \"15:00\"; the ticket is left out: its loads count as unweighed until the row is put right"
        )
    );
}

#[test]
fn columns_that_are_not_read_are_named() {
    let farm = Farm::new("lon_deg,lat_deg,flow_kg_s,speed,width_m,width_ft\n10,54,8,1.5,9.1,30\n");
    let log = farm.read().expect("readable").log;
    assert!(log.speed[0].is_nan() && log.width[0] == 9.1);
    assert_eq!(
        farm.warns(),
        [
            warning(
                "no-unit",
                "logs/brook.csv, column \"speed\": expected a unit of a speed: m/s, km/h, mph, kn, ft/s, found none in the \
                 header or the job file; add it: [log] units = { speed = \"m/s\" }; until then the column is not read"
            ),
            warning(
                "two-columns",
                "logs/brook.csv: both \"width_m\" and \"width_ft\" can be width; \"width_m\" is read. To read the other: \
                 [log] columns = { width = \"width_ft\" }"
            ),
        ]
    );
}

#[test]
fn a_log_of_another_crop_is_named() {
    let log = "lon_deg,lat_deg,flow_kg_s,crop\n10,54,8,maize\n10,54,8,Wheat\n10,54,8,Wheat\n";
    assert_eq!(
        Farm::new(log).warns_once(),
        warning(
            "other-crop",
            "logs/brook.csv, row 2: the log's crop is \"Wheat\", the job's is \"maize\" (2 of 3 rows); all are read as maize"
        )
    );
}

#[test]
fn machines_without_a_name_take_the_job_s() {
    let log = "lon_deg,lat_deg,flow_kg_s,machine\n10,54,8,C7\n10,54,8,\n";
    let machines = |farm: &Farm| farm.read().expect("readable").log.machines;
    let farm = Farm::new(log);
    assert_eq!(machines(&farm), ["C7", "machine 1"]);
    assert_eq!(farm.read().expect("readable").log.machine, [0, 1]);
    assert_eq!(
        machines(&Farm::new(log).field("machine = \"C8\"")),
        ["C7", "C8"]
    );
    assert_eq!(
        machines(&Farm::new(log).field("[[machine]]\nname = \"C9\"")),
        ["C7", "C9"]
    );
}

#[test]
fn constants_stand_in_for_columns_that_are_not_there() {
    let constants = "interval = \"2 s\"\nmoisture = \"15 %\"";
    let log = Farm::new("lon_deg,lat_deg,flow_kg_s\n10,54,8\n")
        .log(constants)
        .read()
        .expect("readable")
        .log;
    assert_eq!((log.interval[0], log.moisture[0]), (2.0, 15.0));
    let log = Farm::new(LOG).log(constants).read().expect("readable").log;
    assert!(log.interval[0].is_nan() && log.moisture[0] == 16.2);
}

/// EPSG:32632 is WGS 84 / UTM zone 32N: its central meridian is 9° E at 500,000 m (EPSG registry).
#[test]
fn x_and_y_are_read_through_their_crs() {
    let log = "x_m,y_m,flow_kg_s\n500000,5983000,8\n";
    let read = Farm::new(log)
        .log("crs = \"epsg:32632\"")
        .read()
        .expect("readable")
        .log;
    assert!((read.lon[0] - 9.0).abs() < 1e-9 && (53.9..54.1).contains(&read.lat[0]));
    assert_eq!(
        Farm::new(log).fails(),
        "logs/brook.csv: expected the CRS of its x and y, found none in the job file\n\
         hint: add it: [log] crs = \"EPSG:NUMBER\""
    );
}

#[test]
fn two_tickets_for_one_time_are_both_left_out() {
    let farm = Farm::new(LOG).field("tickets = [\"tickets.csv\"]");
    let day = "2025-09-12";
    let row = |id: &str, start: &str, end: &str| format!("{id},5000,{day}T{start},{day}T{end}\n");
    let rows =
        row("T1", "10:00", "11:00") + &row("T2", "11:00", "12:00") + &row("T3", "11:30", "13:00");
    farm.write(
        "tickets.csv",
        format!("ticket,net_kg,start,end\n{rows}").as_bytes(),
    );
    assert_eq!(farm.read().expect("readable").tickets.len(), 1);
    assert_eq!(
        farm.warns_once(),
        warning(
            "two-tickets",
            "tickets.csv, row 2 and tickets.csv, row 3: expected one ticket for one time, found two, T2 and T3; both are \
             left out: correct the start or end of one, or set use = no on it"
        )
    );
}

#[test]
fn a_quote_left_open_costs_the_rows_it_takes_along() {
    let farm = Farm::new(&LOG.replace("8.3", "\"8.3"));
    let input = farm.read().expect("readable");
    assert_eq!(
        (input.log.row.as_slice(), input.unreadable.len()),
        (&[1][..], 2)
    );
    let at = |row: u32| {
        format!(
            "logs/brook.csv, row {row}: expected a quote closed in its line, found one that is open over 2 lines"
        )
    };
    assert_eq!(
        farm.warns_once(),
        warning(
            "unreadable-rows",
            &format!("2 of 3 rows cannot be read: {}; {}", at(2), at(3))
        )
    );
}

#[test]
fn a_quote_left_open_in_a_name_takes_no_row_along_unseen() {
    let farm = Farm::new(&LOG.replacen("L1", "\"L1", 1));
    let input = farm.read().expect_err("no row is left");
    assert_eq!(
        said(&input),
        "logs/brook.csv, row 1: expected a quote closed in its line, found one that is open over 3 lines; none of the 3 \
         row(s) can be read\n\
         hint: see what the file was exported as; [log] columns says which header is which"
    );
    let remark = "lon_deg,lat_deg,flow_kg_s,remark\n10,54,8,\"stones,\nand rain\"\n10,54,9,\n";
    assert_eq!(Farm::new(remark).read().expect("readable").log.row, [1, 2]);
}

#[test]
fn a_mapped_header_that_one_log_lacks_is_only_missed() {
    let farm = Farm::new(LOG).log("columns = { flow = \"grain\", heading = \"course made good\" }");
    assert_eq!(farm.read().expect("readable").log.flow[0], 8.1); // by its own name
    assert_eq!(
        farm.warns_once(),
        warning(
            "absent-column",
            "logs/brook.csv: expected the column \"course made good\" that [log] columns names for heading, found the \
             columns lon_deg, lat_deg, time, flow_kg_s, moisture_pct, load; it is read as missing"
        )
    );
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig {
        cases: 200,
        failure_persistence: None,
        ..proptest::prelude::ProptestConfig::default()
    })]

    /// Whatever the bytes, there is a result or an error with a message: never a panic, and no row uncounted.
    #[test]
    fn no_bytes_make_the_reader_panic(
        log in "(lon_deg,lat_deg,flow_kg_s,time\n)?([-0-9.,;\"a-z\t\n\u{0}-\u{ff}]{0,60})",
        tickets in "(ticket,load,net_kg,start\n)?[-0-9.,;\"L\n]{0,40}",
        boundary in "(\\{\"type\":\"Polygon\",\"coordinates\":)?[\\[\\]0-9,.}-]{0,40}",
    ) {
        let farm = Farm::new(&log).field("tickets = [\"t.csv\"]\nboundary = \"b.geojson\"");
        farm.write("t.csv", tickets.as_bytes()).write("b.geojson", boundary.as_bytes());
        if let Err(error) = farm.read() {
            proptest::prop_assert!(error.to_string().contains(": expected "));
        }
        let bare = Farm::new(&log);
        if let Ok(input) = bare.read() {
            let rows = input.log.len();
            proptest::prop_assert!(rows > 0);
            proptest::prop_assert!([input.log.time.len(), input.log.flow.len(), input.log.lon.len()] == [rows; 3]);
        }
    }
}
