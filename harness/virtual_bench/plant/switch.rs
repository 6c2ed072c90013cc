//! The pressure switch: trips, resets, scatters, drifts, bounces.
//!
//! In: line pressure, step by step. Out: the contact. Never: a state that depends on who reads it.

use crate::virtual_bench::config::SwitchConfig;
use crate::virtual_bench::noise::Source;

/// Pressure switch.
#[derive(Clone, Debug)]
pub(crate) struct Switch {
    c: SwitchConfig,
    noise: Source,
    bounce_noise: Source,
    cycles: f64,
    /// Pressure at which it changes next, kPa.
    next_kpa: f64,
    made: bool,
    bounce_steps: u32,
    /// The contact as a reader finds it.
    pub(crate) contact: bool,
}

impl Switch {
    pub(crate) fn new(c: &SwitchConfig, noise: Source, bounce_noise: Source) -> Self {
        let mut switch = Switch {
            c: c.clone(),
            noise,
            bounce_noise,
            cycles: 0.0,
            next_kpa: 0.0,
            made: false,
            bounce_steps: 0,
            contact: false,
        };
        switch.draw_next();
        switch
    }

    fn draw_next(&mut self) {
        let mean = if self.made { self.c.trip_kpa - self.c.differential_kpa } else { self.c.trip_kpa };
        self.next_kpa =
            mean + self.c.drift_kpa_per_cycle * self.cycles + self.noise.normal(self.c.scatter_kpa);
    }

    /// One step (1 ms) at a line pressure.
    pub(crate) fn step(&mut self, line_kpa: f64) {
        if (line_kpa > self.next_kpa) != self.made {
            self.made = !self.made;
            self.cycles += 0.5;
            if self.bounce_noise.is_on() && self.c.bounce_ms > 0.0 {
                self.bounce_steps = self.bounce_noise.uniform(0.3, 1.0).mul_add(self.c.bounce_ms, 0.5) as u32;
            }
            self.draw_next();
            self.contact = self.made;
        } else if self.bounce_steps > 0 {
            self.bounce_steps -= 1;
            self.contact = if self.bounce_steps > 0 { self.bounce_noise.coin() } else { self.made };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Seed;

    fn cycle(noise: bool, cycles: u32) -> (Vec<(f64, bool)>, u32) {
        let c = SwitchConfig::default();
        let mut s =
            Switch::new(&c, Source::new(Seed(3), "switch", noise), Source::new(Seed(3), "bounce", noise));
        let (mut changes, mut toggles) = (Vec::new(), 0);
        for _ in 0..cycles {
            for up in [true, false] {
                let mut previous = s.contact;
                for k in 0..6000 {
                    let p = 0.05 * f64::from(if up { k } else { 6000 - k });
                    let made = s.made;
                    s.step(p);
                    toggles += u32::from(s.contact != previous);
                    previous = s.contact;
                    if s.made != made {
                        changes.push((p, s.made));
                    }
                }
            }
        }
        (changes, toggles)
    }

    #[test]
    fn trips_and_resets_where_the_section_says() {
        let (changes, toggles) = cycle(false, 1);
        assert_eq!(changes.len(), 2);
        assert!((changes[0].0 - 204.0).abs() < 0.11 && changes[0].1);
        assert!((changes[1].0 - (204.0 - 26.0)).abs() < 0.11 && !changes[1].1);
        assert_eq!(toggles, 2);
    }

    #[test]
    fn scatter_is_of_the_stated_size_and_contacts_bounce() {
        let (changes, toggles) = cycle(true, 200);
        assert!(toggles > 450, "{toggles}");
        let trips: Vec<f64> =
            changes.iter().enumerate().filter(|(_, c)| c.1).map(|(i, c)| c.0 - 0.01 * i as f64).collect();
        let n = trips.len() as f64;
        let mean = trips.iter().sum::<f64>() / n;
        let sd = (trips.iter().map(|t| (t - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
        // A normal sample of 200: the standard deviation lies within 20 % (4 sigma, chi-squared).
        assert!((sd / 1.2 - 1.0).abs() < 0.2, "{sd}");
        assert!((mean - 204.0).abs() < 0.5, "{mean}");
    }
}
