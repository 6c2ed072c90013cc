//! The scale: a line ten times a second, and the same on request.
//!
//! Lines sent: `m +123.4 g stable`, `m +123.4 g moving`, `m over`, `m under`. Lines taken: `W?` the last reading
//! again, `Z` tares, `EMPTY` pours the cup back into the tank, `ID?`.

use super::{Answer, World, number};
use crate::clock::Moment;
use crate::virtual_bench::config::{CupConfig, ScaleConfig};
use crate::virtual_bench::noise::Source;
use std::time::Duration;

const IDENTITY: &str = "ID dutycup virtual scale 1.0";

/// Bytes of a line with its end, which times it.
pub(crate) const LINE_BYTES: u32 = 20;

/// Lines in a row that may hardly differ before the reading counts as stable.
const STABLE_LINES: u32 = 5;

/// How the scale is, apart from its errors.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum State {
    /// Works.
    Good,
    /// Sends its last value again and again.
    Frozen,
    /// Sends nothing.
    Silent,
    /// Never stable.
    Restless,
}

/// Scale.
#[derive(Clone, Debug)]
pub(crate) struct Scale {
    c: ScaleConfig,
    splash: f64,
    noise: Source,
    splash_noise: Source,
    splash_now: f64,
    splash_keep: f64,
    /// None until the first reading: it starts tared.
    tare_g: Option<f64>,
    gross_g: f64,
    quiet_lines: u32,
    /// When the next line is made.
    pub(crate) next_sample: Moment,
    /// How it is.
    pub(crate) state: State,
}

impl Scale {
    pub(crate) fn new(c: &ScaleConfig, cup: &CupConfig, noise: Source, splash_noise: Source) -> Self {
        let period_s = f64::from(c.period_ms) * 1e-3;
        Scale {
            splash: cup.splash_g_per_ml_s,
            noise,
            splash_noise,
            splash_now: 0.0,
            splash_keep: if c.lag_s > 0.0 { (-period_s / c.lag_s).exp() } else { 0.0 },
            tare_g: None,
            gross_g: cup.empty_g,
            quiet_lines: 0,
            next_sample: Moment::from_ms(u64::from(c.period_ms)),
            state: State::Good,
            c: c.clone(),
        }
    }

    /// Takes a reading and appends its line.
    pub(crate) fn sample(&mut self, world: &World<'_>, out: &mut Vec<u8>) {
        self.next_sample = self.next_sample + Duration::from_millis(u64::from(self.c.period_ms));
        if self.state == State::Silent {
            return;
        }
        if self.state != State::Frozen {
            self.read(world);
        }
        self.line(out);
    }

    /// Air carries part of any load; the scale is adjusted to be true for weights of its reference density.
    fn read(&mut self, world: &World<'_>) {
        let air = self.c.air_kg_m3;
        let carried = (1.0 - air / world.plant.water.density) / (1.0 - air / self.c.weights_kg_m3);
        let kick =
            (1.0 - self.splash_keep * self.splash_keep).sqrt() * self.splash * world.plant.flow().max(0.0);
        self.splash_now = self.splash_now * self.splash_keep + self.splash_noise.normal(kick);
        let gross = world.plant.cup.felt_g() * carried * (1.0 + world.errors.scale_gain)
            + self.splash_now
            + self.noise.normal(self.c.noise_g);
        let quiet = (gross - self.gross_g).abs() <= self.c.stable_within_g && self.state != State::Restless;
        self.quiet_lines = if quiet { self.quiet_lines + 1 } else { 0 };
        self.gross_g = gross;
        self.tare_g.get_or_insert(gross);
    }

    fn line(&self, out: &mut Vec<u8>) {
        out.extend_from_slice(b"m ");
        if self.gross_g > self.c.capacity_g {
            out.extend_from_slice(b"over");
        } else if self.gross_g < -20.0 * self.c.step_g {
            out.extend_from_slice(b"under");
        } else {
            let steps = ((self.gross_g - self.tare_g.unwrap_or(self.gross_g)) / self.c.step_g).round();
            number::fixed(out, steps * self.c.step_g, self.decimals(), true);
            let stable = self.quiet_lines >= STABLE_LINES;
            out.extend_from_slice(if stable { b" g stable" } else { b" g moving" });
        }
    }

    fn decimals(&self) -> usize {
        match self.c.step_g {
            s if s >= 1.0 => 0,
            s if s >= 0.1 => 1,
            s if s >= 0.01 => 2,
            s if s >= 0.001 => 3,
            _ => 4,
        }
    }
}

impl Answer for Scale {
    fn expected(&self, line: &str) -> usize {
        match line.trim() {
            _ if self.state == State::Silent => 0,
            "" => 0,
            "W?" => LINE_BYTES as usize - 2,
            "ID?" => IDENTITY.len(),
            _ => 2,
        }
    }

    fn answer(&mut self, line: &str, world: &mut World<'_>, out: &mut Vec<u8>) {
        match line.trim() {
            _ if self.state == State::Silent => {}
            "" => {}
            "W?" => self.line(out),
            "ID?" => out.extend_from_slice(IDENTITY.as_bytes()),
            "Z" => {
                self.tare_g = Some(self.gross_g);
                out.extend_from_slice(b"OK");
            }
            "EMPTY" => {
                world.plant.empty_cup();
                out.extend_from_slice(b"OK");
            }
            _ => out.extend_from_slice(b"ERR unknown command"),
        }
    }
}
