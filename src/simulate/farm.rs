//! The demo farm: five invented fields, two machines, three crops, one season.

use super::machine_spec::{
    Column, Curve, FlowSensorSpec, GnssSpec, HeaderUp, LogSpec, MachineSpec, MoistureSensorSpec,
    Reading, Shift, TransportSpec, WorkStateLog,
};
use super::shape::Shape;
use super::spec::{
    DrivingSpec, FaultSpec, FieldSpec, NoFix, Pattern, Smoothness, SurfaceSpec, Unloading, Weighed,
    WeighingSpec, Zone,
};

/// The combine C1: 9 m header, a sensor that reads low and bends with flow.
fn c1(crop: &str) -> MachineSpec {
    let (dead_time, lag, speed) = match crop {
        "maize" => (9.2, 2.6, 1.9),
        "wheat" => (7.9, 2.2, 1.7),
        _ => (8.4, 2.3, 1.8),
    };
    MachineSpec {
        name: "C1".into(),
        header_width: 9.0,
        speed,
        bin: 9_000.0,
        transport: TransportSpec {
            dead_time,
            stages: vec![lag],
            ..TransportSpec::default()
        },
        sensor: FlowSensorSpec {
            factor: 0.93,
            curve: Curve::Power { exponent: 1.06 },
            load_sd: 0.015,
            trend: 0.03,
            ..FlowSensorSpec::default()
        },
        moisture: MoistureSensorSpec {
            offset: -0.8,
            ..MoistureSensorSpec::default()
        },
        ..MachineSpec::default()
    }
}

/// The combine C2: 7.5 m header, a sensor that reads high, an antenna on the cab.
fn c2(crop: &str) -> MachineSpec {
    let (dead_time, stages, speed) = match crop {
        "maize" => (7.4, vec![1.8, 1.1], 1.8),
        "wheat" => (6.6, vec![1.6, 1.0], 1.6),
        _ => (6.9, vec![1.7, 1.0], 1.9),
    };
    MachineSpec {
        name: "C2".into(),
        header_width: 7.5,
        speed,
        bin: 7_000.0,
        transport: TransportSpec {
            dead_time,
            stages,
            ..TransportSpec::default()
        },
        sensor: FlowSensorSpec {
            factor: 1.12,
            load_sd: 0.02,
            noise: 0.05,
            ..FlowSensorSpec::default()
        },
        moisture: MoistureSensorSpec {
            offset: 0.6,
            missing_per_hour: 0.4,
            ..MoistureSensorSpec::default()
        },
        gnss: GnssSpec {
            error_sd: 0.3,
            antenna_behind: 2.4,
            ..GnssSpec::default()
        },
        ..MachineSpec::default()
    }
}

/// The five fields of the demo farm.
pub fn demo_farm() -> Vec<FieldSpec> {
    vec![brook(), geese(), long_acre(), mill_piece(), far_meadow()]
}

/// Maize along a brook with a pond in it: raw log, every kind of fault, all loads weighed.
fn brook() -> FieldSpec {
    FieldSpec {
        shape: Shape::curved(330.0, 480.0, 60.0)
            .with_pond([150.0, 270.0], 22.0)
            .turned(8.0),
        surface: SurfaceSpec {
            trend: 0.08,
            ..SurfaceSpec::default()
        },
        driving: DrivingSpec {
            heading: 8.0,
            unloading: Unloading::Standing,
            ..DrivingSpec::default()
        },
        machines: vec![c1("maize")],
        faults: FaultSpec {
            duplicate_rows: 0.6,
            zero_flows: 0.2,
            stuck_readings: 0.1,
            ..FaultSpec::default()
        },
        ..FieldSpec::default()
    }
}

/// Maize on an L-shaped field, cut by both machines over two days; half the loads weighed.
fn geese() -> FieldSpec {
    FieldSpec {
        name: "Gänseweide".into(),
        key: "geese".into(),
        origin: [10.214, 54.108],
        start: 1_759_651_200.0, // 2025-10-05T08:00:00Z
        shape: Shape::l_shape(560.0, 520.0, 230.0, 240.0).turned(-21.0),
        surface: SurfaceSpec {
            mean_yield: 9_800.0,
            cv: 0.17,
            range: 90.0,
            moisture: 20.5,
            drying_per_day: 0.5,
            ..SurfaceSpec::default()
        },
        driving: DrivingSpec {
            heading: -21.0,
            land_width: 84.0,
            hours_per_day: 2.2,
            ..DrivingSpec::default()
        },
        machines: vec![c1("maize"), c2("maize")],
        weighing: WeighingSpec {
            weighed: Weighed::Random { share: 0.5 },
            ..WeighingSpec::default()
        },
        ..FieldSpec::default()
    }
}

/// Wheat with point rows: no work state, the log pauses in turns; all loads weighed.
fn long_acre() -> FieldSpec {
    let mut machine = c2("wheat");
    machine.log = LogSpec {
        work_state: WorkStateLog::Absent,
        header_up: HeaderUp::Pause { after: 18.0 },
        columns: vec![
            Column::Time,
            Column::Moisture,
            Column::Speed,
            Column::Heading,
            Column::Load,
        ],
        ..LogSpec::default()
    };
    FieldSpec {
        name: "Long acre".into(),
        key: "long-acre".into(),
        crop: "wheat".into(),
        reference_moisture: 13.5,
        origin: [10.187, 54.096],
        start: 1_754_222_400.0, // 2025-08-03T12:00:00Z
        shape: Shape::trapezoid(310.0, 170.0, 540.0).turned(35.0),
        surface: wheat_surface(7_600.0),
        driving: DrivingSpec {
            heading: 35.0,
            pattern: Pattern::RoundAndRound,
            ..DrivingSpec::default()
        },
        machines: vec![machine],
        faults: FaultSpec {
            no_fix: NoFix::Zero,
            ..FaultSpec::default()
        },
        ..FieldSpec::default()
    }
}

/// Wheat whose display had shifted the flow already, by too much; one ticket is wrong.
fn mill_piece() -> FieldSpec {
    let mut machine = c1("wheat");
    machine.log.shift = Shift::WholeClock { seconds: 13.0 };
    machine.log.header_up = HeaderUp::Pause { after: 2.0 };
    FieldSpec {
        name: "Mill piece".into(),
        key: "mill".into(),
        farm: "Mill".into(),
        crop: "wheat".into(),
        reference_moisture: 13.5,
        origin: [10.231, 54.087],
        start: 1_754_380_800.0, // 2025-08-05T08:00:00Z
        shape: Shape::rectangle(360.0, 470.0).turned(-12.0),
        surface: SurfaceSpec {
            zones: vec![Zone {
                centre: [260.0, 250.0],
                radius: 60.0,
                effect: -0.3,
            }],
            ..wheat_surface(8_200.0)
        },
        driving: DrivingSpec {
            heading: -12.0,
            ..DrivingSpec::default()
        },
        machines: vec![machine],
        weighing: WeighingSpec {
            weighed: Weighed::Random { share: 0.7 },
            wrong_ticket: 0.12,
            scale: "mill".into(),
            ..WeighingSpec::default()
        },
        ..FieldSpec::default()
    }
}

/// Soybean with truly poor headlands, a row every two seconds; some loads share a ticket, the last were never weighed.
fn far_meadow() -> FieldSpec {
    let mut machine = c2("soybean");
    machine.bin = 4_500.0;
    machine.log.interval = 2.0;
    machine.sensor.reading = Reading::Mean;
    machine.sensor.reference_flow = 5.0;
    machine.gnss.decimals = 6;
    FieldSpec {
        name: "Far meadow".into(),
        key: "far-meadow".into(),
        farm: "Mill".into(),
        crop: "soybean".into(),
        reference_moisture: 13.0,
        origin: [10.243, 54.093],
        start: 1_758_790_800.0, // 2025-09-25T09:00:00Z
        shape: Shape::rectangle(300.0, 620.0).turned(62.0),
        surface: SurfaceSpec {
            mean_yield: 3_400.0,
            cv: 0.16,
            range: 60.0,
            smoothness: Smoothness::Rough,
            headland_width: 22.0,
            headland_effect: -0.25,
            moisture: 14.2,
            moisture_sd: 0.4,
            drying_per_day: 0.2,
            ..SurfaceSpec::default()
        },
        driving: DrivingSpec {
            heading: 62.0,
            headland_rounds: 3,
            ..DrivingSpec::default()
        },
        machines: vec![machine],
        weighing: WeighingSpec {
            weighed: Weighed::First { share: 0.6 },
            joint_tickets: 1,
            scale_sd: 0.004,
            scale: "mill".into(),
            ..WeighingSpec::default()
        },
        ..FieldSpec::default()
    }
}

fn wheat_surface(mean_yield: f64) -> SurfaceSpec {
    SurfaceSpec {
        mean_yield,
        cv: 0.12,
        range: 80.0,
        moisture: 15.2,
        moisture_sd: 0.4,
        drying_per_day: 0.2,
        ..SurfaceSpec::default()
    }
}
