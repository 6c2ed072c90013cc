//! The pump's surface as a sum of terms: flow at an effective voltage and a line pressure, linear in coefficients.
//!
//! `F(x, P) = level + rise s + bend s (s - 1) - slip p - ...`, with `s` the effective voltage over the measured range
//! (0 at its lower end, 1 at its upper), `p = P / P_s`. Physics of a brushed positive-displacement pump: level and rise
//! are `alpha (V_eff - V_0)`, slip is `beta P`, relief an internal bypass. The other terms are forms of loss that one
//! nozzle cannot tell from these three; they carry what is not known when a correction leaves the measured line.
//! In: scaling, terms, coefficients. Out: flow and its derivatives, mL/min. Never: data.

use std::f64::consts::PI;

/// Half-width of the range on which ripple terms live, in units of the measured range of effective voltage.
pub const RIPPLE_HALF: f64 = 0.9;
/// Softening of the root at zero pressure, fraction of `P_s`.
const ROOT_SOFT: f64 = 0.002;
/// Reach of the term that makes slip stronger at low effective voltage, in units of `s`.
const LOW_REACH: f64 = 0.25;

/// A term of the pump's surface. Coefficients are in mL/min.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LawTerm {
    /// Constant.
    Level,
    /// Proportional to effective voltage.
    Rise,
    /// Losses that grow with speed squared, a motor that saturates: `s (s - 1)`.
    Bend,
    /// Leakage and droop proportional to pressure: `-p`.
    Slip,
    /// Leakage through an opening, as the root of pressure.
    Seep,
    /// Losses that grow with pressure squared, a winding that warms.
    SlipBend,
    /// Slip that changes with speed: `-p (s - 1/2)`.
    SlipRise,
    /// Slip that is stronger at low effective voltage, where current stops between pulses: `-p exp(-s / 0.25)`.
    SlipLow,
    /// Leakage through thinner or thicker liquid than at the reference, `-p thin`.
    Thin,
    /// Droop of a motor warmer than at the reference, `-p warm / 10 K`.
    Warm,
    /// Friction of a motor warmer than at the reference, `-warm / 10 K`.
    WarmLevel,
    /// Internal bypass that opens at this pressure, softly over this width, kPa: `-soft(P - opens) / P_s`.
    Relief {
        /// Opening pressure, gauge kPa of the line.
        opens_kpa: f64,
        /// Softness, kPa.
        width_kpa: f64,
    },
    /// Voltage gained where the current stops between pulses, over the measured range of effective voltage; the mean
    /// current grows with pressure, `j = still + pressed p`.
    Pulsed {
        /// `j` without pressure.
        still: f64,
        /// Growth of `j` up to the highest pressure.
        pressed: f64,
    },
    /// The same where the current grows more with pressure than supposed: its derivative with respect to the logarithm
    /// of `pressed`.
    PulsedMore {
        /// `j` without pressure.
        still: f64,
        /// Growth of `j` up to the highest pressure.
        pressed: f64,
    },
    /// The winding's extra drop while the same current flows for a part of the period only: `-j (part / d - 1)` in the
    /// full range of voltage, for a coefficient of resistance over twice inductance and frequency.
    PulsedDrop {
        /// `j` without pressure.
        still: f64,
        /// Growth of `j` up to the highest pressure.
        pressed: f64,
    },
    /// Smooth remainder along effective voltage: sine of order `k`, from 1, on the range of half-width
    /// [`RIPPLE_HALF`].
    Ripple(u32),
    /// The same, growing with pressure: what a remainder does differently at another pressure.
    RipplePressed(u32),
}

/// How the pump is driven.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drive {
    /// Duty, fraction.
    pub duty: f64,
    /// Supply at the driver's terminals, V.
    pub supply_v: f64,
    /// Free-wheel diode voltage, V.
    pub freewheel_v: f64,
}

impl Drive {
    /// Voltage that drives the motor on average while its current never stops, V: `V_eff = d V - (1 - d) V_f`.
    #[must_use]
    pub fn effective_v(&self) -> f64 {
        self.duty * self.supply_v - (1.0 - self.duty) * self.freewheel_v
    }

    /// Range of that voltage from no duty to full, V.
    #[must_use]
    pub fn span_v(&self) -> f64 {
        self.supply_v + self.freewheel_v
    }

    /// The same supply at the duty that gives an effective voltage.
    #[must_use]
    pub fn with_effective_v(self, effective_v: f64) -> Self {
        Drive { duty: (effective_v + self.freewheel_v) / self.span_v(), ..self }
    }

    /// Voltage gained where the current stops between pulses, V: then the motor turns free for the rest of the period,
    /// and `V_eff + V_f` is `(V + V_f) d^2 / (d^2 + j)` instead of `(V + V_f) d`, where that is more. `j` is twice the
    /// inductance times mean current over period and voltage (conversion ratio of a buck converter in discontinuous
    /// conduction, Erickson and Maksimovic, Fundamentals of Power Electronics, chapter 5, from memory; ohmic drop left
    /// out).
    #[must_use]
    pub fn pulsed_v(&self, j: f64) -> f64 {
        let squared = self.duty * self.duty;
        self.span_v() * (squared / (squared + j) - self.duty).max(0.0)
    }
}

impl Drive {
    /// Fall of [`Drive::pulsed_v`] per rise of `j`, V; nothing where the current does not stop, or under such vacuum that
    /// `j` no longer falls.
    fn pulsed_loss(&self, still: f64, pressed: f64, p: f64) -> f64 {
        let j = pulsing(still, pressed, p);
        let squared = self.duty * self.duty;
        let open = self.pulsed_v(j) > 0.0 && j > still * STILL_LEAST;
        if open { self.span_v() * squared / (squared + j).powi(2) } else { 0.0 }
    }
}

/// Where the surface is evaluated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct At {
    /// How the pump is driven.
    pub drive: Drive,
    /// Line pressure, gauge kPa.
    pub line_kpa: f64,
    /// How far from the reference liquid and temperature.
    pub away: Away,
}

/// How far liquid and temperature are from the reference (water at 20 degC).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Away {
    /// Viscosity of the reference over that of the liquid, less 1: leakage through gaps grows by this fraction.
    pub thin: f64,
    /// Temperature above the reference, K.
    pub warm_k: f64,
}

/// What the terms are scaled by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scaling {
    /// Effective voltage at `s` = 0 and at `s` = 1, V.
    pub effective_v: (f64, f64),
    /// Line pressure at `p` = 1, kPa.
    pub pressure_kpa: f64,
    /// Full flow, mL/min.
    pub flow_ml_min: f64,
}

impl Scaling {
    /// Range of effective voltage measured, V.
    #[must_use]
    pub fn range_v(&self) -> f64 {
        self.effective_v.1 - self.effective_v.0
    }

    /// Effective voltage over the measured range.
    #[must_use]
    pub fn s(&self, effective_v: f64) -> f64 {
        (effective_v - self.effective_v.0) / self.range_v()
    }
}

/// Part of [`LawTerm::Pulsed`]'s `still` that is left under vacuum.
const STILL_LEAST: f64 = 0.2;

/// `j` at a pressure.
fn pulsing(still: f64, pressed: f64, p: f64) -> f64 {
    (still + pressed * p).max(STILL_LEAST * still)
}

/// `w ln(1 + exp(x / w))`, a corner at 0 rounded over `w`; the corner itself where `w` is 0.
fn soft_corner(x: f64, w: f64) -> f64 {
    if w <= 0.0 || x.abs() > 30.0 * w { x.max(0.0) } else { w * (x / w).exp().ln_1p() }
}

/// Derivative of [`soft_corner`].
fn soft_step(x: f64, w: f64) -> f64 {
    if w <= 0.0 || x.abs() > 30.0 * w { f64::from(u8::from(x > 0.0)) } else { 1.0 / (1.0 + (-x / w).exp()) }
}

/// Root of pressure that runs straight through zero and keeps the sign.
fn soft_root(p: f64) -> f64 {
    p.signum() * ((p.abs() + ROOT_SOFT).sqrt() - ROOT_SOFT.sqrt())
}

/// How a term goes with pressure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pressed {
    /// Not at all: its value.
    Not(f64),
    /// In proportion: its value at `p` = 1.
    Straight(f64),
    /// In another way.
    Bent,
}

impl LawTerm {
    /// The term's way with pressure under a drive.
    #[must_use]
    pub fn pressed(self, drive: &Drive, away: Away, scaling: &Scaling) -> Pressed {
        let at = At { drive: *drive, line_kpa: scaling.pressure_kpa, away };
        match self {
            LawTerm::Level | LawTerm::Rise | LawTerm::Bend | LawTerm::WarmLevel | LawTerm::Ripple(_) => {
                Pressed::Not(self.value(&at, scaling))
            }
            LawTerm::Slip
            | LawTerm::SlipRise
            | LawTerm::SlipLow
            | LawTerm::Thin
            | LawTerm::Warm
            | LawTerm::RipplePressed(_) => Pressed::Straight(self.value(&at, scaling)),
            LawTerm::Seep
            | LawTerm::SlipBend
            | LawTerm::Relief { .. }
            | LawTerm::Pulsed { .. }
            | LawTerm::PulsedMore { .. }
            | LawTerm::PulsedDrop { .. } => Pressed::Bent,
        }
    }

    /// The term's value for a coefficient of 1.
    #[must_use]
    pub fn value(self, at: &At, scaling: &Scaling) -> f64 {
        let s = scaling.s(at.drive.effective_v());
        let p = at.line_kpa / scaling.pressure_kpa;
        match self {
            LawTerm::Level => 1.0,
            LawTerm::Rise => s,
            LawTerm::Bend => s * (s - 1.0),
            LawTerm::Slip => -p,
            LawTerm::Seep => -soft_root(p),
            LawTerm::SlipBend => -p * p.abs(),
            LawTerm::SlipRise => -p * (s - 0.5),
            LawTerm::SlipLow => -p * (-s.max(-0.5) / LOW_REACH).exp(),
            LawTerm::Thin => -p * at.away.thin,
            LawTerm::Warm => -p * at.away.warm_k / 10.0,
            LawTerm::WarmLevel => -at.away.warm_k / 10.0,
            LawTerm::Relief { opens_kpa, width_kpa } => {
                -soft_corner(at.line_kpa - opens_kpa, width_kpa) / scaling.pressure_kpa
            }
            LawTerm::Pulsed { still, pressed } => {
                at.drive.pulsed_v(pulsing(still, pressed, p)) / scaling.range_v()
            }
            LawTerm::PulsedMore { still, pressed } => {
                -pressed * p * at.drive.pulsed_loss(still, pressed, p) / scaling.range_v()
            }
            LawTerm::PulsedDrop { still, pressed } => {
                let j = pulsing(still, pressed, p);
                let gained = at.drive.pulsed_v(j) / (at.drive.span_v() * at.drive.duty.max(1e-6));
                -j * gained * at.drive.span_v() / scaling.range_v()
            }
            LawTerm::Ripple(k) => ripple(k, s),
            LawTerm::RipplePressed(k) => ripple(k, s) * p,
        }
    }

    /// Its derivative with respect to line pressure, per kPa.
    #[must_use]
    pub fn per_kpa(self, at: &At, scaling: &Scaling) -> f64 {
        let s = scaling.s(at.drive.effective_v());
        let p = at.line_kpa / scaling.pressure_kpa;
        let per_p = match self {
            LawTerm::Level | LawTerm::Rise | LawTerm::Bend | LawTerm::WarmLevel | LawTerm::Ripple(_) => 0.0,
            LawTerm::Slip => -1.0,
            LawTerm::RipplePressed(k) => ripple(k, s),
            LawTerm::Seep => -0.5 / (p.abs() + ROOT_SOFT).sqrt(),
            LawTerm::SlipBend => -2.0 * p.abs(),
            LawTerm::SlipRise => 0.5 - s,
            LawTerm::SlipLow => -(-s.max(-0.5) / LOW_REACH).exp(),
            LawTerm::Thin => -at.away.thin,
            LawTerm::Warm => -at.away.warm_k / 10.0,
            LawTerm::Pulsed { still, pressed } => {
                -pressed * at.drive.pulsed_loss(still, pressed, p) / scaling.range_v()
            }
            LawTerm::PulsedMore { still, pressed } => {
                let j = pulsing(still, pressed, p);
                let bent = 1.0 - 2.0 * pressed * p / (at.drive.duty * at.drive.duty + j);
                -pressed * bent * at.drive.pulsed_loss(still, pressed, p) / scaling.range_v()
            }
            LawTerm::PulsedDrop { still, pressed } => {
                let j = pulsing(still, pressed, p);
                let duty = at.drive.duty.max(1e-6);
                let gained = at.drive.pulsed_v(j) / duty;
                let fall = j / duty * at.drive.pulsed_loss(still, pressed, p);
                if fall > 0.0 { -pressed * (gained - fall) / scaling.range_v() } else { 0.0 }
            }
            LawTerm::Relief { opens_kpa, width_kpa } => -soft_step(at.line_kpa - opens_kpa, width_kpa),
        };
        per_p / scaling.pressure_kpa
    }
}

/// Angular frequency of ripple `k`, per unit of `s`.
#[must_use]
pub fn ripple_frequency(k: u32) -> f64 {
    PI * f64::from(k) / (2.0 * RIPPLE_HALF)
}

/// Eigenfunction `k` of the Laplacian on `[1/2 - RIPPLE_HALF, 1/2 + RIPPLE_HALF]`, zero at and beyond its ends
/// (reduced-rank Gaussian process; Solin and Sarkka, Statistics and Computing 30, 419 (2020), from memory).
fn ripple(k: u32, s: f64) -> f64 {
    let inside = (s - 0.5 + RIPPLE_HALF).clamp(0.0, 2.0 * RIPPLE_HALF);
    (ripple_frequency(k) * inside).sin() / RIPPLE_HALF.sqrt()
}
