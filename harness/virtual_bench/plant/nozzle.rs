//! Nozzles: pressure to flow and thrust.
//!
//! In: pressure difference, density, viscosity. Out: flow, its slope, thrust. The loss is the sum of a kinetic term
//! (Bernoulli, with a discharge coefficient) and a laminar term, `dp = a q^2 + b q`, so that the discharge
//! coefficient falls with the Reynolds number and the flow is linear, not infinitely steep, at zero.

use crate::virtual_bench::config::NozzleConfig;
use std::f64::consts::PI;

/// Standard gravity, m/s2 (exact, CGPM 1901).
const GRAVITY: f64 = 9.80665;

/// A nozzle with the water as it is now.
#[derive(Clone, Debug)]
pub(crate) struct Nozzle {
    area_mm2: f64,
    discharge: f64,
    diameter_mm: f64,
    laminar_re: f64,
    /// kPa per (mL/s)^2.
    a: f64,
    /// kPa per mL/s.
    b: f64,
    /// Apparent mass of the jet's thrust, g per (mL/s)^2.
    thrust: f64,
}

impl Nozzle {
    pub(crate) fn new(c: &NozzleConfig) -> Self {
        let free = 1.0 - c.blocked;
        let diameter_mm = c.diameter_mm * free.sqrt();
        Nozzle {
            area_mm2: 0.25 * PI * diameter_mm * diameter_mm,
            discharge: c.discharge,
            diameter_mm,
            laminar_re: c.laminar_re,
            a: 1.0,
            b: 0.0,
            thrust: 0.0,
        }
    }

    /// Takes another density (kg/m3) and viscosity (Pa s).
    pub(crate) fn set_fluid(&mut self, density: f64, viscosity: f64) {
        let cd_a = self.discharge * self.area_mm2;
        // mL/s over mm2 is m/s.
        self.a = 0.5e-3 * density / (cd_a * cd_a);
        let laminar_m_s = self.laminar_re * viscosity / (density * self.diameter_mm * 1e-3);
        self.b = self.a * laminar_m_s * self.area_mm2;
        // Thrust rho q v with the speed of the contracted jet; g per N is 1000/g.
        self.thrust = density * 1e-6 / cd_a * 1000.0 / GRAVITY;
    }

    /// Blocks part of what is still free.
    pub(crate) fn block(&mut self, part: f64, density: f64, viscosity: f64) {
        self.diameter_mm *= (1.0 - part).sqrt();
        self.area_mm2 *= 1.0 - part;
        self.set_fluid(density, viscosity);
    }

    /// Flow (mL/s) and its slope (mL/s per kPa) at a pressure difference; odd in it.
    pub(crate) fn flow(&self, difference_kpa: f64) -> (f64, f64) {
        let root = (self.b * self.b + 4.0 * self.a * difference_kpa.abs()).sqrt().max(1e-9);
        (2.0 * difference_kpa / (self.b + root), 1.0 / root)
    }

    /// Apparent mass of the jet at a flow, g.
    pub(crate) fn thrust_g(&self, flow: f64) -> f64 {
        self.thrust * flow * flow
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turbulent_flow_is_the_orifice_equation() {
        // Source: table of orifice flows Q = Cd A sqrt(2 dP / rho), checked there with an independent fluids library.
        // Cd, diameter mm, density kg/m3, pressure kPa, flow mL/min.
        for (cd, d, rho, dp, expected) in [
            (0.7, 0.72, 998.2, 689.475_729_316_836_1, 635.579_485_553_618_3),
            (0.611, 1.0, 998.2, 344.737_864_658_418_06, 756.716_233_292_578_3),
            (0.98, 0.5, 997.05, 1_034.213_593_975_254, 525.858_460_940_404_8),
            (0.75, 0.65, 870.6, 1_378.951_458_633_672_2, 840.444_934_815_573_3),
            (0.6, 2.0, 1000.0, 68.947_572_931_683_61, 1_328.088_030_929_623_5),
        ] {
            let mut nozzle = Nozzle::new(&NozzleConfig {
                diameter_mm: d,
                discharge: cd,
                laminar_re: 0.0,
                ..NozzleConfig::default()
            });
            nozzle.set_fluid(rho, 1.0e-3);
            let got = nozzle.flow(dp).0 * 60.0;
            assert!((got / expected - 1.0).abs() < 1e-9, "{got} {expected}");
        }
    }

    #[test]
    fn thrust_is_the_momentum_of_the_jet() {
        // Source: own arithmetic of q v rho / g beside a published jet-force table: about 40 g at 100 psi and
        // 10.5 g/s for a jet that points straight down.
        let mut nozzle = Nozzle::new(&NozzleConfig {
            laminar_re: 0.0,
            discharge: 0.7,
            diameter_mm: 0.72,
            ..NozzleConfig::default()
        });
        nozzle.set_fluid(998.2, 1.0e-3);
        let thrust = nozzle.thrust_g(nozzle.flow(689.476).0);
        assert!((thrust - 40.0).abs() < 0.5, "{thrust}");
    }

    #[test]
    fn slope_is_the_derivative() {
        let mut nozzle = Nozzle::new(&NozzleConfig::default());
        nozzle.set_fluid(998.2, 1.0e-3);
        for dp in [-50.0_f64, 0.01, 1.0, 30.0, 600.0] {
            let h = dp.abs() * 1e-4;
            let numeric = (nozzle.flow(dp + h).0 - nozzle.flow(dp - h).0) / (2.0 * h);
            assert!((nozzle.flow(dp).1 / numeric - 1.0).abs() < 1e-5, "{dp}");
        }
    }
}
