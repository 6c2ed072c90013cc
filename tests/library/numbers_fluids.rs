//! Density and viscosity of water, mixes and air against reference formulations.
//!
//! Sources: IAPWS-95 and IF97 by CoolProp and iapws; Tanaka et al. 2001; Kell 1975; IAPWS R12-08 and SR6-08; ISO/TR
//! 3666; Melinder 2010 and de Reuck and Craven by way of CoolProp; CRC Handbook where present; CIPM-2007; OIML R 111-1.

use crate::common;
use common::{Tally, external, rows, table};
use dutycup::door::fluid::{Fluid, NumericsError, air, mix, water};

/// 1 psi in kPa, exact by the definitions of pound, inch and standard gravity.
const KPA_PER_PSI: f64 = 6.894_757_293_168_361;

#[test]
fn water_at_atmospheric_pressure() {
    let mut tally = Tally::new("water at 101.325 kPa: IAPWS-95, Tanaka 2001, Kell 1975, IAPWS 2008");
    for row in table("fluids/water_properties_101325Pa.csv") {
        let t = row.num("t90_degC");
        let rho = water::density_kg_m3(t, 0.0).unwrap();
        let iapws = row.num("rho_iapws95_coolprop_kg_m3");
        let (own, ppm) = match row.maybe("rho_cipm2001_tanaka_kg_m3") {
            Some(tanaka) => (tanaka, 1.2),
            None => (row.num("rho_kell1975_kg_m3"), 4.5),
        };
        tally.digits(format!("density {t}, its formula"), rho.value, own, 13.0);
        tally.within(format!("density {t}, IAPWS-95"), rho.value, iapws, ppm * 1e-6 * iapws);
        tally.holds(format!("density {t}, stated"), (rho.value - iapws).abs() < rho.u);
        let mu = water::viscosity_mpa_s(t).unwrap();
        let full = row.num("viscosity_iapws2008_coolprop_mPa_s");
        tally.within(format!("viscosity {t}"), mu.value, full, 3e-4 * full);
        tally.holds(format!("viscosity {t}, stated"), (mu.value - full).abs() < mu.u);
        let expansion = row.num("expansion_1_K");
        let got = Fluid::new(0.0).unwrap().expansion_per_k(t).unwrap();
        // Where one formula hands over to the other, 3 ppm of density show in the slope.
        tally.within(format!("expansion {t}"), got, expansion, 4e-6);
    }
    tally.done(6 * 40);
}

#[test]
fn water_under_line_pressure() {
    let mut tally = Tally::new("water at 0 to 300 psi: Tanaka 2001 with compressibility, IAPWS-95");
    for row in table("fluids/water_density_vs_line_pressure.csv") {
        let (t, psi) = (row.num("t90_degC"), row.num("line_pressure_psi_gauge"));
        let rho = water::density_kg_m3(t, psi * KPA_PER_PSI).unwrap();
        if let Some(tanaka) = row.maybe("rho_cipm2001_tanaka_with_compressibility_kg_m3") {
            tally.digits(format!("{t} degC {psi} psi"), rho.value, tanaka, 12.0);
        }
        let iapws = row.num("rho_iapws95_kg_m3");
        let ppm = if t <= 40.0 { 4.0 } else { 50.0 };
        tally.within(format!("{t} degC {psi} psi, IAPWS-95"), rho.value, iapws, ppm * 1e-6 * iapws);
        tally.holds(format!("{t} degC {psi} psi, stated"), (rho.value - iapws).abs() < rho.u);
    }
    tally.done(30 * 2 + 24);
}

#[test]
fn published_points_of_water() {
    let mut tally = Tally::new("printed values: IAPWS SR6-08, ISO/TR 3666, Tanaka 2001, Kell 1975");
    for row in table("fluids/published_points.csv") {
        let (source, inputs) = (row.text("source"), row.text("inputs"));
        let t: f64 = match inputs.rsplit_once("t68=").or_else(|| inputs.split_once("t=")) {
            Some((_, rest)) => rest.split(' ').next().unwrap().parse().unwrap(),
            None if source.starts_with("IAPWS SR6") => 25.0,
            None => continue,
        };
        let got = match (row.text("quantity"), source) {
            ("viscosity", _) => water::viscosity_mpa_s(t).unwrap().value,
            // Kell's formula is ours above 40 degC only, and on the scale of 1968.
            ("density", s) if s.starts_with("Kell") && t > 40.0 => {
                water::density_kg_m3(t / 1.000_24, 0.0).unwrap().value
            }
            ("density", s) if s.starts_with("Tanaka") || s.starts_with("IAPWS SR6") => {
                water::density_kg_m3(t, 0.0).unwrap().value
            }
            _ => continue,
        };
        tally.within(format!("{source} {inputs}"), got, row.num("published_value"), row.num("tolerance_abs"));
    }
    tally.done(8);
}

#[test]
fn methanol_and_water() {
    let mut tally = Tally::new("methanol and water: Melinder 2010 by CoolProp, handbook mixing line");
    for row in table("fluids/methanol_water_density.csv") {
        let (w, t) = (row.num("methanol_mass_fraction"), row.num("t90_degC"));
        let (rho, mu) = (mix::density_kg_m3(w, t, 0.0).unwrap(), mix::viscosity_mpa_s(w, t).unwrap());
        let want = row.num("rho_coolprop_mma_kg_m3");
        tally.within(format!("density w {w} {t} degC"), rho.value, want, 0.45);
        tally.holds(format!("density w {w} {t} degC, stated"), (rho.value - want).abs() < 2.0 * rho.u);
        let want = row.num("viscosity_coolprop_mma_mPa_s");
        tally.within(format!("viscosity w {w} {t} degC"), mu.value, want, 1e-3 * want);
        // Adding volumes is wrong, and the mix must not be near it.
        let ideal = row.num("rho_ideal_volume_additive_kg_m3");
        tally.holds(format!("contraction w {w} {t} degC"), rho.value - ideal > 3.0);
    }
    for row in table("fluids/methanol_water_volume_fraction_20degC.csv") {
        let volume = row.num("methanol_volume_fraction_before_mixing_at_20degC");
        let fluid = Fluid::from_volume_fraction(volume).unwrap();
        let w = fluid.methanol_mass_fraction();
        tally.within(format!("mass fraction of {volume}"), w, row.num("methanol_mass_fraction"), 1e-6);
        let rho = fluid.density_kg_m3(20.0, 0.0).unwrap();
        let want = row.num("rho_20degC_crc_pchip_kg_m3");
        tally.within(format!("density of {volume} by volume"), rho.value, want, 0.01);
        let water = Fluid::new(0.0).unwrap().density_kg_m3(20.0, 0.0).unwrap().value;
        let factor = row.num("nozzle_volume_flow_factor_vs_water_sqrt");
        tally.within(format!("nozzle factor of {volume}"), (water / rho.value).sqrt(), factor, 1e-5);
    }
    tally.done(48 * 4 + 33);
}

#[test]
fn pure_methanol() {
    let mut tally = Tally::new("methanol: de Reuck and Craven by CoolProp");
    for row in table("fluids/methanol_pure_101325Pa.csv") {
        let t = row.num("t90_degC");
        if t > mix::RANGE_DEGC.1 {
            assert!(matches!(mix::density_kg_m3(1.0, t, 0.0), Err(NumericsError::OutOfRange { .. })));
            continue;
        }
        let (rho, mu) = (mix::density_kg_m3(1.0, t, 0.0).unwrap(), mix::viscosity_mpa_s(1.0, t).unwrap());
        let want = row.num("rho_kg_m3_coolprop_heos");
        // Handbook and equation of state differ by 0.7 kg/m3 at the pure end.
        tally.within(format!("density {t}"), rho.value, want, 0.75);
        tally.holds(format!("density {t}, stated"), (rho.value - want).abs() < 2.0 * rho.u);
        let want = row.num("viscosity_mPa_s_coolprop");
        tally.within(format!("viscosity {t}"), mu.value, want, 1e-3 * want);
    }
    tally.done(24);
}

#[test]
fn handbook_mixing_line() {
    let Some(path) = external("fluids/methanol_water_crc_20degC.csv") else {
        return;
    };
    let mut tally = Tally::new("CRC Handbook, concentrative properties of aqueous solutions, 20 degC");
    for row in rows(&path) {
        let w = row.num("methanol_mass_percent") / 100.0;
        let (rho, mu) = (mix::density_kg_m3(w, 20.0, 0.0).unwrap(), mix::viscosity_mpa_s(w, 20.0).unwrap());
        let want = row.num("density_kg_m3");
        tally.within(format!("density w {w}"), rho.value, want, 2.0 * rho.u);
        if let Some(want) = row.maybe("viscosity_mPa_s_crc") {
            tally.within(format!("viscosity w {w}"), mu.value, want, 2.0 * mu.u);
        }
    }
    tally.done(120);
}

#[test]
fn air_of_the_room() {
    let mut tally = Tally::new("moist air: CIPM-2007, OIML R 111-1, CoolProp HumidAir");
    for row in table("fluids/air_density.csv") {
        let (t, p, h) = (row.num("t_degC"), row.num("p_hPa") / 10.0, row.num("relative_humidity_percent"));
        let label = format!("{t} degC {p} kPa {h} %");
        let rho = air::density_kg_m3(p, t, h).unwrap();
        tally.digits(format!("{label} CIPM"), rho.value, row.num("rho_air_cipm2007_kg_m3"), 12.0);
        let humid = row.num("rho_air_coolprop_humidair_kg_m3");
        tally.within(format!("{label} CoolProp"), rho.value, humid, 2.2e-4 * humid);
        // The simplified formula of OIML R 111-1, whose own uncertainty is 2e-4 in its range.
        let simplified = row.num("rho_air_oiml_r111_simplified_kg_m3");
        if (90.0..=110.0).contains(&p) && h <= 80.0 && (10.0..=30.0).contains(&t) {
            tally.within(format!("{label} simplified"), rho.value, simplified, 4e-4 * simplified);
        }
    }
    tally.done(30);
}

/// Out of range is refused, at both ends and with nonsense.
#[test]
fn ranges_are_kept() {
    for t in [-0.1, 60.1, f64::NAN] {
        assert!(water::density_kg_m3(t, 0.0).is_err() && water::viscosity_mpa_s(t).is_err(), "{t}");
    }
    assert!(water::density_kg_m3(20.0, 3000.1).is_err() && water::density_kg_m3(20.0, -101.0).is_err());
    assert!(
        Fluid::new(1.1).is_err() && Fluid::new(-0.1).is_err() && Fluid::from_volume_fraction(1.01).is_err()
    );
    assert!(mix::density_kg_m3(0.5, 4.9, 0.0).is_err() && mix::viscosity_mpa_s(0.5, 40.1).is_err());
    assert!(air::density_kg_m3(59.0, 20.0, 50.0).is_err() && air::density_kg_m3(100.0, 20.0, 101.0).is_err());
    // Water and a trace of methanol join without a step.
    let trace = Fluid::new(1e-6).unwrap();
    for t in [5.0, 20.0, 40.0] {
        let (a, b) = (
            Fluid::new(0.0).unwrap().density_kg_m3(t, 500.0).unwrap(),
            trace.density_kg_m3(t, 500.0).unwrap(),
        );
        assert!((a.value - b.value).abs() < 0.02, "{t}: {} {}", a.value, b.value);
    }
}
