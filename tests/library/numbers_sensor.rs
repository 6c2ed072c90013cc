//! The manifold sensor's line: voltage to pressure and back, gauge and absolute.
//!
//! Source: facts of the trade (common practice, no source), worked out by hand computation outside this project; factor of
//! psi exact (NIST SP 811).

use crate::common;
use common::{Tally, table};
use dutycup::door::quantity::{Absolute, Gauge, PressureSensor};

const KPA_PER_PSI: f64 = 6.894_757_293_168_361;

#[test]
fn linear_sensors_of_the_trade() {
    let mut tally = Tally::new("linear manifold sensors");
    for row in table("trade/linear_sensor.csv") {
        let ambient = Absolute(row.num("atmosphere_kPa"));
        let point = |v: &str, p: &str| (row.num(v), Gauge(row.num(p) * KPA_PER_PSI).to_absolute(ambient));
        let points = [point("v1_V", "p1_psi_gauge"), point("v2_V", "p2_psi_gauge")];
        let sensor = PressureSensor { points };
        let id = row.text("case_id");
        let volts = row.num("v_query_V");
        let pressure = sensor.pressure(volts);
        tally.digits(format!("{id} slope"), sensor.kpa_per_v(), row.num("slope_kPa_V"), 12.0);
        tally.digits(format!("{id} absolute"), pressure.0, row.num("p_query_kPa_abs"), 12.0);
        let gauge_psi = pressure.to_gauge(ambient).0 / KPA_PER_PSI;
        tally.within(format!("{id} gauge"), gauge_psi, row.num("p_query_psi_gauge"), 1e-9);
        let at_zero = sensor.pressure(0.0).0;
        tally.within(format!("{id} at 0 V"), at_zero, row.num("offset_kPa_abs_at_0V"), 1e-9);
        tally.within(format!("{id} back"), sensor.volts(pressure), volts, 1e-12);
    }
    tally.done(20);
}
