//! Modbus registers as numbers.
//!
//! In: register bytes as a frame carries them, high byte of each register first, or a number. Out: a number, or
//! registers. Never: a number that does not fit its registers, or one that is not finite.

use super::number::Numeric;

/// How registers become a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// One register, unsigned.
    U16,
    /// One register, two's complement.
    I16,
    /// Two registers, high word first, two's complement.
    I32,
    /// Two registers, high word first, IEEE 754.
    F32,
    /// Two registers, low word first, IEEE 754.
    F32Swapped,
}

impl Kind {
    /// How many registers a number takes.
    #[must_use]
    pub const fn registers(self) -> u16 {
        match self {
            Kind::U16 | Kind::I16 => 1,
            Kind::I32 | Kind::F32 | Kind::F32Swapped => 2,
        }
    }

    /// The number in `bytes`; none if they are not as many as the registers have.
    #[must_use]
    pub fn number(self, bytes: &[u8]) -> Option<Numeric> {
        Some(match (self, bytes) {
            (Kind::U16, &[a, b]) => Numeric::Finite(f64::from(u16::from_be_bytes([a, b]))),
            (Kind::I16, &[a, b]) => Numeric::Finite(f64::from(i16::from_be_bytes([a, b]))),
            (Kind::I32, &[a, b, c, d]) => Numeric::Finite(f64::from(i32::from_be_bytes([a, b, c, d]))),
            (Kind::F32, &[a, b, c, d]) | (Kind::F32Swapped, &[c, d, a, b]) => {
                float(f32::from_be_bytes([a, b, c, d]))
            }
            _ => return None,
        })
    }

    /// The registers of a number, rounded to what they can hold; none if it does not fit.
    #[must_use]
    pub fn registers_of(self, value: f64) -> Option<[u16; 2]> {
        let (low, high) = match self {
            Kind::U16 => (0.0, f64::from(u16::MAX)),
            Kind::I16 => (f64::from(i16::MIN), f64::from(i16::MAX)),
            Kind::I32 => (f64::from(i32::MIN), f64::from(i32::MAX)),
            Kind::F32 | Kind::F32Swapped => (f64::from(f32::MIN), f64::from(f32::MAX)),
        };
        let fitting = match self {
            Kind::F32 | Kind::F32Swapped => value,
            _ => value.round(),
        };
        if !(low..=high).contains(&fitting) {
            return None;
        }
        Some(match self {
            Kind::U16 => [fitting as u16, 0],
            Kind::I16 => [(fitting as i16) as u16, 0],
            Kind::I32 => words((fitting as i32) as u32),
            Kind::F32 => words((fitting as f32).to_bits()),
            Kind::F32Swapped => {
                let [high, low] = words((fitting as f32).to_bits());
                [low, high]
            }
        })
    }
}

fn words(bits: u32) -> [u16; 2] {
    [(bits >> 16) as u16, bits as u16]
}

fn float(value: f32) -> Numeric {
    if value.is_finite() {
        Numeric::Finite(f64::from(value))
    } else if value.is_nan() {
        Numeric::Missing
    } else if value > 0.0 {
        Numeric::Over
    } else {
        Numeric::Under
    }
}
