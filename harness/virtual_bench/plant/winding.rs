//! Winding current of a brushed motor on a switched supply.
//!
//! In: supply voltage, back-EMF, duty, resistance. Out: mean winding current, mean supply current, mean square, and
//! how much the mean falls per volt of back-EMF. Never: a fine time step; within a PWM period the current is a
//! closed form: exponential while the switch is on, exponential through the free-wheel diode, and zero once the
//! diode has blocked (discontinuous conduction). Fast PWM (a period no longer than a step) is taken as periodic,
//! slow PWM is walked edge by edge with the current carried over.

use super::STEP_S;

/// What the winding is connected to. Ohm, V, s.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Circuit {
    /// Inductance, H.
    pub(crate) henry: f64,
    /// Resistance of the loop through the supply, without the winding, ohm.
    pub(crate) on_ohm: f64,
    /// Resistance of the free-wheeling loop, without the winding, ohm.
    pub(crate) off_ohm: f64,
    /// Voltage lost at the brushes, V.
    pub(crate) brush_v: f64,
    /// Forward voltage of the free-wheel diode, V.
    pub(crate) diode_v: f64,
    /// PWM period, s.
    pub(crate) period_s: f64,
}

/// Means over a step.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Mean {
    /// Winding current, A.
    pub(crate) current: f64,
    /// Current out of the supply, A.
    pub(crate) supply_current: f64,
    /// Mean square of the winding current, A2.
    pub(crate) square: f64,
    /// Fall of the mean current per volt of back-EMF, A/V.
    pub(crate) conductance: f64,
}

/// The winding, with what depends on duty and resistance alone kept from step to step.
#[derive(Clone, Debug)]
pub(crate) struct Winding {
    circuit: Circuit,
    duty: f64,
    ohm: f64,
    per_r_on: f64,
    per_r_off: f64,
    tau_on: f64,
    tau_off: f64,
    t_on: f64,
    t_off: f64,
    decay_on: f64,
    decay_off: f64,
    per_loop: f64,
    /// Slow PWM only: current at the end of the last step, and time into the period.
    current: f64,
    phase_s: f64,
}

impl Winding {
    pub(crate) fn new(circuit: Circuit, ohm: f64) -> Self {
        let mut w = Winding {
            circuit,
            duty: 0.0,
            ohm,
            per_r_on: 1.0,
            per_r_off: 1.0,
            tau_on: 1.0,
            tau_off: 1.0,
            t_on: 0.0,
            t_off: circuit.period_s,
            decay_on: 1.0,
            decay_off: 1.0,
            per_loop: 1.0,
            current: 0.0,
            phase_s: 0.0,
        };
        w.set(0.0, ohm);
        w
    }

    /// Takes another duty (0 to 1) or resistance of the winding.
    pub(crate) fn set(&mut self, duty: f64, ohm: f64) {
        self.duty = duty;
        self.ohm = ohm;
        self.per_r_on = 1.0 / (ohm + self.circuit.on_ohm);
        self.per_r_off = 1.0 / (ohm + self.circuit.off_ohm);
        self.tau_on = self.circuit.henry * self.per_r_on;
        self.tau_off = self.circuit.henry * self.per_r_off;
        self.t_on = duty * self.circuit.period_s;
        self.t_off = (1.0 - duty) * self.circuit.period_s;
        self.decay_on = (-self.t_on / self.tau_on).exp();
        self.decay_off = (-self.t_off / self.tau_off).exp();
        self.per_loop = 1.0 / (1.0 - self.decay_on * self.decay_off);
    }

    pub(crate) fn duty(&self) -> f64 {
        self.duty
    }

    /// Means over one step at a supply voltage and a back-EMF, both held.
    pub(crate) fn step(&mut self, supply_v: f64, emf_v: f64) -> Mean {
        if self.circuit.period_s <= STEP_S * 1.000_001 {
            self.periodic(supply_v, emf_v)
        } else {
            self.walk(supply_v, emf_v)
        }
    }

    /// Means over a PWM period in which the current ends as it began.
    fn periodic(&self, supply_v: f64, emf_v: f64) -> Mean {
        if self.duty <= 0.0 {
            return Mean::default();
        }
        let c = &self.circuit;
        // Where the current tends to while on, and while free-wheeling.
        let to_on = (supply_v - c.brush_v - emf_v) * self.per_r_on;
        let to_off = -(c.diode_v + c.brush_v + emf_v) * self.per_r_off;
        if to_on <= 0.0 {
            return Mean::default();
        }
        let (a, b) = (self.decay_on, self.decay_off);
        let low = (to_off * (1.0 - b) + b * to_on * (1.0 - a)) * self.per_loop;
        if low > 0.0 {
            let high = to_on + (low - to_on) * a;
            return self.means([low, high], to_on, to_off, self.t_off);
        }
        let high = to_on * (1.0 - a);
        // Free-wheeling ends where the exponential crosses zero.
        let until_zero = if to_off < 0.0 { self.tau_off * (1.0 - high / to_off).ln() } else { self.t_off };
        self.means([0.0, high], to_on, to_off, until_zero.min(self.t_off))
    }

    /// Means over a period from its lowest and highest current. The integral of an exponential over its own time is
    /// the end value times the time less the time constant times the change.
    fn means(&self, [low, high]: [f64; 2], to_on: f64, to_off: f64, free_s: f64) -> Mean {
        let on = to_on * self.t_on - self.tau_on * (high - low);
        let off = to_off * free_s + self.tau_off * (high - low);
        let per = 1.0 / self.circuit.period_s;
        // Where the current tends to `to`, i^2 = to i - tau i di/dt.
        let swing = 0.5 * (high * high - low * low);
        let square = to_on * on - self.tau_on * swing + to_off * off + self.tau_off * swing;
        Mean {
            current: (on + off) * per,
            supply_current: on * per,
            square: square * per,
            conductance: (self.t_on * self.per_r_on + free_s * self.per_r_off) * per,
        }
    }

    /// Means over one step of slow PWM, edge by edge.
    fn walk(&mut self, supply_v: f64, emf_v: f64) -> Mean {
        let c = self.circuit;
        let mut left = STEP_S;
        let mut mean = Mean::default();
        while left > 1e-12 {
            let on = self.phase_s < self.t_on;
            let edge = if on { self.t_on } else { c.period_s };
            let span = left.min(edge - self.phase_s);
            let (to, per_r, tau) = if on {
                ((supply_v - c.brush_v - emf_v) * self.per_r_on, self.per_r_on, self.tau_on)
            } else {
                (-(c.diode_v + c.brush_v + emf_v) * self.per_r_off, self.per_r_off, self.tau_off)
            };
            let begin = self.current;
            let mut flowing = span;
            let mut end = to + (begin - to) * (-span / tau).exp();
            if end <= 0.0 {
                end = 0.0;
                flowing =
                    if to < 0.0 && begin > 0.0 { (tau * (1.0 - begin / to).ln()).min(span) } else { 0.0 };
            }
            let charge = to * flowing - tau * (end - begin);
            mean.current += charge;
            mean.square += to * charge - 0.5 * tau * (end * end - begin * begin);
            mean.conductance += flowing * per_r;
            if on {
                mean.supply_current += charge;
            }
            self.current = end;
            left -= span;
            self.phase_s += span;
            if self.phase_s >= c.period_s - 1e-12 {
                self.phase_s = 0.0;
            }
        }
        let per = 1.0 / STEP_S;
        Mean {
            current: mean.current * per,
            supply_current: mean.supply_current * per,
            square: mean.square * per,
            conductance: mean.conductance * per,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CIRCUIT: Circuit =
        Circuit { henry: 0.9e-3, on_ohm: 0.1, off_ohm: 0.05, brush_v: 0.3, diode_v: 0.45, period_s: 1e-3 };

    /// Fine-step integration (explicit midpoint) of `L di/dt = u - R i` with a diode that lets no current back,
    /// over `periods`, and the means over the last whole step; the outside check of the closed form.
    fn integrate(c: Circuit, ohm: f64, duty: f64, supply_v: f64, emf_v: f64, periods: usize) -> [f64; 3] {
        let n = 100_000;
        let h = c.period_s / f64::from(n);
        let mut i = 0.0_f64;
        let mut sums = [0.0; 3];
        for period in 0..periods {
            for k in 0..n {
                let on = (f64::from(k) + 0.5) * h < duty * c.period_s;
                let slope = |i: f64| {
                    if on {
                        (supply_v - c.brush_v - emf_v - (ohm + c.on_ohm) * i) / c.henry
                    } else {
                        (-c.diode_v - c.brush_v - emf_v - (ohm + c.off_ohm) * i) / c.henry
                    }
                };
                let next = (i + h * slope(i + 0.5 * h * slope(i))).max(0.0);
                if period + 1 == periods {
                    let mid = 0.5 * (i + next);
                    sums[0] += mid * h;
                    sums[1] += if on { mid * h } else { 0.0 };
                    sums[2] += mid * mid * h;
                }
                i = next;
            }
        }
        sums.map(|s| s / c.period_s)
    }

    #[test]
    fn closed_form_agrees_with_fine_integration() {
        // Duty, supply V, back-EMF V: continuous, discontinuous, at the border, full on, below back-EMF.
        for (duty, supply_v, emf_v) in [
            (0.9, 13.8, 8.0),
            (0.5, 13.8, 1.0),
            (0.5, 13.8, 5.5),
            (0.12, 13.8, 0.6),
            (0.06, 9.0, 0.0),
            (1.0, 12.0, 7.0),
            (0.7, 6.0, 7.0),
        ] {
            let expected = integrate(CIRCUIT, 1.55, duty, supply_v, emf_v, 40);
            let mut w = Winding::new(CIRCUIT, 1.55);
            w.set(duty, 1.55);
            let got = w.step(supply_v, emf_v);
            assert!((got.current - expected[0]).abs() < 2e-4, "{duty} {emf_v}: {got:?} {expected:?}");
            assert!((got.supply_current - expected[1]).abs() < 2e-4, "{duty} {emf_v}: {got:?}");
            assert!(
                (got.square - expected[2]).abs() < 2e-4 * expected[2] + 1e-6,
                "{duty}: {got:?} {expected:?}"
            );
        }
    }

    #[test]
    fn slow_pwm_agrees_with_fine_integration() {
        let slow = Circuit { period_s: 1e-2, ..CIRCUIT };
        for (duty, emf_v) in [(0.35, 4.0), (0.05, 0.5), (0.95, 9.0)] {
            let expected = integrate(slow, 1.55, duty, 13.8, emf_v, 10);
            let mut w = Winding::new(slow, 1.55);
            w.set(duty, 1.55);
            let mut sum = 0.0;
            for step in 0..100 {
                let mean = w.step(13.8, emf_v);
                sum += if step >= 90 { mean.current / 10.0 } else { 0.0 };
            }
            assert!((sum - expected[0]).abs() < 3e-4, "{duty} {emf_v}: {sum} {expected:?}");
        }
    }

    #[test]
    fn fully_on_is_ohms_law() {
        let mut w = Winding::new(CIRCUIT, 1.55);
        w.set(1.0, 1.55);
        let mean = w.step(13.8, 5.0);
        assert!((mean.current - (13.8 - 0.3 - 5.0) / 1.65).abs() < 1e-12);
        assert!((mean.supply_current - mean.current).abs() < 1e-12);
    }
}
