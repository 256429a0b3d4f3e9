//! Units that people type and machines count in: [`Length`], [`PlotterUnit`], [`Velocity`], [`Force`].
//!
//! Everything inside the library is millimetres in `f64`. This file is the one place that turns
//! "12mm", "0.5in" or "3pt" into millimetres, and millimetres into the whole numbers that a
//! plotter counts in.
//!
//! Sources: 1 in = 25.4 mm exactly (international inch, 1959); 1 pt = 1/72 in and 1 px = 1/96 in
//! (W3C CSS Values 4, absolute lengths); nominal plotter unit 0.025 mm = 1/1016 in (HP 7470A
//! Interfacing and Programming Manual, 07470-90001, p. 2-3); 1 gf = 9.80665 mN (standard gravity).

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Millimetres in one inch, exactly.
pub const MM_PER_INCH: f64 = 25.4;
/// Millimetres in one CSS pixel (1/96 in), exactly.
pub const MM_PER_PX: f64 = MM_PER_INCH / 96.0;
/// The nominal HPGL plotter unit in millimetres.
pub const NOMINAL_UNIT_MM: f64 = 0.025;

/// A length in millimetres, written with its unit: `12mm`, `1.5cm`, `0.5in`, `36pt`, `96px`.
///
/// A bare number means millimetres.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct Length(f64);

impl Length {
    /// A length of `mm` millimetres.
    pub const fn from_mm(mm: f64) -> Self {
        Self(mm)
    }
    /// The length in millimetres.
    pub const fn mm(self) -> f64 {
        self.0
    }
}

impl fmt::Display for Length {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}mm", self.0)
    }
}

/// Why a length could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{0}\" is no length; write a number and a unit (mm, cm, in, pt or px), for example 12mm or 0.5in"
)]
pub struct LengthError(pub String);

impl FromStr for Length {
    type Err = LengthError;
    fn from_str(text: &str) -> Result<Self, LengthError> {
        let refuse = || LengthError(text.to_owned());
        let trimmed = text.trim();
        let split = trimmed
            .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '+' | '-')))
            .unwrap_or(trimmed.len());
        let number: f64 = trimmed[..split].parse().map_err(|_| refuse())?;
        let mm_per_unit = match trimmed[split..].trim_start().to_ascii_lowercase().as_str() {
            "" | "mm" => 1.0,
            "cm" => 10.0,
            "in" | "inch" | "\"" => MM_PER_INCH,
            "pt" => MM_PER_INCH / 72.0,
            "px" => MM_PER_PX,
            _ => return Err(refuse()),
        };
        let mm = number * mm_per_unit;
        if mm.is_finite() { Ok(Self(mm)) } else { Err(refuse()) }
    }
}

impl Serialize for Length {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Length {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

/// The size of one plotter unit: the step in which a machine counts, mm.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct PlotterUnit {
    mm: f64,
}

impl PlotterUnit {
    /// The nominal unit of 0.025 mm.
    pub const NOMINAL: Self = Self { mm: NOMINAL_UNIT_MM };

    /// A unit of `mm` millimetres; `None` unless it is finite and above zero.
    pub fn new(mm: f64) -> Option<Self> {
        (mm.is_finite() && mm > 0.0).then_some(Self { mm })
    }
    /// Millimetres in one unit.
    pub const fn mm(self) -> f64 {
        self.mm
    }
    /// The nearest whole number of units to `mm` millimetres, halves away from zero.
    ///
    /// Saturates at the limits of `i32`; [`crate::job`] refuses such jobs before.
    pub fn count(self, mm: f64) -> i32 {
        nearest_whole(mm / self.mm).clamp(i32::MIN.into(), i32::MAX.into()) as i32
    }
    /// Millimetres of `units` plotter units.
    pub fn to_mm(self, units: f64) -> f64 {
        units * self.mm
    }
}

/// A speed of the tool, mm/s. HPGL's `VS` counts in cm/s.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Velocity(f64);

impl Velocity {
    /// From millimetres a second.
    pub const fn from_mm_s(mm_s: f64) -> Self {
        Self(mm_s)
    }
    /// From centimetres a second.
    pub fn from_cm_s(cm_s: f64) -> Self {
        Self(cm_s * 10.0)
    }
    /// Millimetres a second.
    pub const fn mm_s(self) -> f64 {
        self.0
    }
    /// Centimetres a second.
    pub fn cm_s(self) -> f64 {
        self.0 / 10.0
    }
}

/// A downward force of the tool, in gram-force as the trade counts it.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Force(f64);

impl Force {
    /// From gram-force.
    pub const fn from_gf(gf: f64) -> Self {
        Self(gf)
    }
    /// Gram-force.
    pub const fn gf(self) -> f64 {
        self.0
    }
    /// Millinewtons.
    pub fn mn(self) -> f64 {
        self.0 * 9.80665
    }
}

/// The nearest whole number, of two the one farther from 0, as `f64::round` has it. That is a call on plain
/// x86-64, and this is asked for every vertex. What lies beyond the range gives its end.
pub fn nearest_whole(x: f64) -> i64 {
    let whole = x as i64;
    let rest = x - whole as f64;
    whole.saturating_add(i64::from(rest >= 0.5) - i64::from(rest <= -0.5))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lehmer::Lehmer;

    /// Referee: the standard library's `round`.
    #[test]
    fn whole_numbers_are_the_nearest() {
        let mut dice = Lehmer::new();
        let halves = (-9..9).map(|i| f64::from(i) / 2.0);
        let others =
            [0.49999999999999994, -0.49999999999999994, -0.0, 5e14, -5e14, 1e300, f64::NAN];
        let anywhere = (0..100_000).map(|_| (dice.share() - 0.5) * 1e6);
        for x in halves.chain(others).chain(anywhere) {
            assert_eq!(nearest_whole(x), x.round() as i64, "{x:e}");
        }
    }

    #[test]
    fn lengths_carry_their_unit() {
        for (text, mm) in [
            ("12mm", 12.0),
            ("1.5 cm", 15.0),
            ("0.5in", 12.7),
            ("72pt", 25.4),
            ("96px", 25.4),
            ("-3", -3.0),
        ] {
            assert!((text.parse::<Length>().unwrap().mm() - mm).abs() < 1e-12, "{text}");
        }
        for text in ["", "mm", "12 feet", "1e400mm", "1,5mm", "nan"] {
            assert!(text.parse::<Length>().is_err(), "{text}");
        }
    }

    /// 1 in = 1016 units, 100 mm = 4000 units: HP 7470A manual and PCL 5 Technical Reference.
    #[test]
    fn an_inch_has_1016_units() {
        assert_eq!(PlotterUnit::NOMINAL.count(MM_PER_INCH), 1016);
        assert_eq!(PlotterUnit::NOMINAL.count(100.0), 4000);
        // HP 7475A, Operation and Interconnection Manual p. 2-4: 0.02488 mm a unit.
        assert_eq!(PlotterUnit::new(0.02488).unwrap().count(100.0), 4019);
    }

    #[test]
    fn a_unit_is_above_zero() {
        for mm in [0.0, -0.025, f64::NAN, f64::INFINITY] {
            assert_eq!(PlotterUnit::new(mm), None);
        }
    }
}
