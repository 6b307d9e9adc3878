//! Worked examples of extension bulletins, to the digits they print.

use fanmill::moisture::{
    DryGrain, area_of_interval, flow_from_yield, mass_equal_to, shrink_pct, to_reference,
    yield_from_flow, yield_over,
};
use fanmill::units::{ACRE_M2, FOOT_M, POUND_KG, YieldUnit};

const MAIZE_LB: f64 = 56.0;
/// A mile an hour, m/s (a mile is 5,280 ft).
const MPH: f64 = 5280.0 * FOOT_M / 3600.0;
const BUSHEL_PER_ACRE: YieldUnit = YieldUnit::BushelPerAcre;

fn maize_bu_ac(kg_ha: f64) -> f64 {
    kg_ha * BUSHEL_PER_ACRE.per_kg_ha(MAIZE_LB * POUND_KG)
}

#[track_caller]
fn prints(value: f64, printed: f64, decimals: i32) {
    let half = 0.5 * 10f64.powi(-decimals);
    assert!(
        (value - printed).abs() <= half * 1.000_001,
        "{value} is not printed as {printed}"
    );
}

/// Extension example: 1,000 lb at 25.5 % shrink by 11.83 % to 15.5 %; it goes on by a chain of rounded figures to
/// 15.8 bu, where 881.657 lb are 15.7439 bu.
#[test]
fn a_thousand_pounds_at_25_5() {
    prints(shrink_pct(25.5, 15.5).unwrap(), 11.83, 2);
    let dry = to_reference(1000.0, 25.5, 15.5, DryGrain::AsIs).unwrap();
    prints(dry, 881.657, 3);
    prints(dry / MAIZE_LB, 15.7439, 4);
    assert!((dry / MAIZE_LB - 15.8).abs() < 0.1);
}

/// South Dakota State University Extension: 25 % to 15.5 % shrinks by 11.24 %.
#[test]
fn shrink_from_25() {
    prints(shrink_pct(25.0, 15.5).unwrap(), 11.24, 2);
}

/// 20 % to 15.5 %: factor 80 / 84.5 (by hand).
#[test]
fn factor_from_20() {
    prints(
        to_reference(1.0, 20.0, 15.5, DryGrain::AsIs).unwrap(),
        0.946_746,
        6,
    );
}

/// University of Florida AG442 divides where it should multiply (9,240 lb/ac); dry matter kept gives 9,467.
#[test]
fn ten_thousand_pounds_an_acre_at_20() {
    prints(
        to_reference(10_000.0, 20.0, 15.5, DryGrain::AsIs).unwrap(),
        9_467.46,
        2,
    );
}

/// gocorn.net: 10,000 kg at 25.8 % is 8.781 t at 15.5 %.
#[test]
fn ten_tonnes_at_25_8() {
    prints(
        to_reference(10_000.0, 25.8, 15.5, DryGrain::AsIs).unwrap() / 1000.0,
        8.781,
        3,
    );
}

/// A farm press example: 1,000 bu at 26 % from 5 acres is 870.6 bu at 15 %, 174 bu/ac.
#[test]
fn a_thousand_bushels_at_26() {
    let wet_kg = 1000.0 * MAIZE_LB * POUND_KG;
    let dry = to_reference(wet_kg, 26.0, 15.0, DryGrain::AsIs).unwrap();
    prints(dry / POUND_KG / MAIZE_LB, 870.6, 1);
    prints(
        maize_bu_ac(yield_over(dry, 5.0 * ACRE_M2).unwrap()),
        174.0,
        0,
    );
}

/// Extension tables of the pounds that equal a standard bushel: maize 59.15 at 20 %, 63.09 at 25 %; soybean 58.65 at
/// 11 %, and 64.44 at 19 % (one table prints 64.64, but 60 × 87 / 81 is 64.44).
#[test]
fn pounds_that_equal_a_bushel() {
    prints(mass_equal_to(56.0, 15.5, 20.0).unwrap(), 59.15, 2);
    prints(mass_equal_to(56.0, 15.5, 25.0).unwrap(), 63.09, 2);
    prints(mass_equal_to(60.0, 13.0, 11.0).unwrap(), 58.65, 2);
    prints(mass_equal_to(60.0, 13.0, 19.0).unwrap(), 64.44, 2);
}

/// Extension example on selling soybeans too dry: of 75 bu at 13 %, 3.3 bu are lost at 9 % and 1.68 at 11 %.
#[test]
fn soybeans_sold_too_dry() {
    let lost = |at: f64| 75.0 - mass_equal_to(75.0, 13.0, at).unwrap();
    prints(lost(9.0), 3.3, 1);
    assert!((lost(11.0) - 1.68).abs() < 0.01, "{}", lost(11.0)); // 1.685, printed cut off
    prints(lost(11.0), 1.685, 3);
}

/// Virginia Cooperative Extension 442-502: 15 ft at 5 mph, logged every 2 s, is about 200 points an acre (198.0).
#[test]
fn points_an_acre() {
    prints(
        ACRE_M2 / area_of_interval(5.0 * MPH, 15.0 * FOOT_M, 2.0),
        198.0,
        1,
    );
}

/// 448 lb of maize from a twentieth of an acre: 160 bu/ac (extension arithmetic).
#[test]
fn a_twentieth_of_an_acre() {
    prints(
        maize_bu_ac(yield_over(448.0 * POUND_KG, ACRE_M2 / 20.0).unwrap()),
        160.0,
        6,
    );
}

/// 15 ft at 5 mph passes 110 ft²/s: 120 bu/ac flow at 16.970 lb/s, 150 bu/ac at 21.212 lb/s (by hand).
#[test]
fn flow_of_a_yield() {
    let kg_ha = |bu_ac: f64| bu_ac / BUSHEL_PER_ACRE.per_kg_ha(MAIZE_LB * POUND_KG);
    let lb_s = |bu_ac: f64| flow_from_yield(kg_ha(bu_ac), 5.0 * MPH, 15.0 * FOOT_M) / POUND_KG;
    prints(
        area_of_interval(5.0 * MPH, 15.0 * FOOT_M, 1.0) / (FOOT_M * FOOT_M),
        110.0,
        6,
    );
    prints(lb_s(120.0), 16.970, 3);
    prints(lb_s(150.0), 21.212, 3);
}

/// 22 lb/s, 30 ft, 4 mph at 20 %: 97.232 bu/ac wet, 92.054 at 15.5 % (by hand).
#[test]
fn yield_of_a_flow_in_bushels() {
    let wet = yield_from_flow(22.0 * POUND_KG, 4.0 * MPH, 30.0 * FOOT_M).unwrap();
    prints(maize_bu_ac(wet), 97.232, 3);
    prints(
        maize_bu_ac(to_reference(wet, 20.0, 15.5, DryGrain::AsIs).unwrap()),
        92.054,
        3,
    );
}

/// 10 kg/s, 9.144 m, 1.7882 m/s: 6.1157 t/ha (by hand).
#[test]
fn yield_of_a_flow_in_tonnes() {
    prints(
        yield_from_flow(10.0, 1.7882, 9.144).unwrap() / 1000.0,
        6.1157,
        4,
    );
}

/// Extension bulletins' shrink per point of moisture: 1.1834 % at 15.5 % and 1.1765 % at 15 %.
#[test]
fn shrink_a_point() {
    let point = |reference: f64| shrink_pct(reference + 1.0, reference).unwrap();
    prints(point(15.5), 1.1834, 4);
    prints(point(15.0), 1.1765, 4);
}
