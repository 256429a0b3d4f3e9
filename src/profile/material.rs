//! [`Material`]: what is cut, and how the knife is set for it.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// A material profile. Lengths in mm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Material {
    /// Short name used on the command line.
    pub name: String,
    /// One line about it.
    pub title: String,
    /// Thickness of the layer to be cut, µm; smallest and largest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub thickness_um: Option<[f64; 2]>,
    /// Angle of the blade's edge to the material, degrees; `None` for a pen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blade_angle_deg: Option<f64>,
    /// Distance of the blade's tip behind its axis, mm; 0 for a pen.
    pub blade_offset_mm: f64,
    /// How far the blade stands out of its holder, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blade_extension_mm: Option<f64>,
    /// How far a closed contour is cut past its start, mm.
    pub overcut_mm: f64,
    /// Largest deviation of the tip allowed for the chords of a swing, mm.
    #[serde(default = "default_swing_tolerance")]
    pub swing_tolerance_mm: f64,
    /// Cutting force to begin with, gf.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub force_gf: Option<f64>,
    /// Range of sensible forces, gf.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub force_range_gf: Option<[f64; 2]>,
    /// Force in the machine's own numbers (`FS`), if it was tuned.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine_force: Option<f64>,
    /// Cutting speed, cm/s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub velocity_cm_s: Option<f64>,
    /// Speed in swings, cm/s; `None` leaves the cutting speed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub swing_velocity_cm_s: Option<f64>,
    /// Force in swings in the machine's own numbers; `None` leaves the cutting force.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub swing_force: Option<f64>,
    /// How often each contour is cut.
    #[serde(default = "one")]
    pub passes: u32,
    /// Smallest piece that can be weeded: shorter side, mm.
    pub smallest_piece_mm: f64,
    /// Thinnest stroke that can be weeded, mm.
    pub smallest_stroke_mm: f64,
    /// Lowest letters that can be weeded, ascenders not counted, mm; `None` when nobody tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub smallest_letter_mm: Option<f64>,
    /// Cut from the back, so the drawing is mirrored.
    #[serde(default)]
    pub mirrored: bool,
    /// Not to be cut with a trailing blade; says why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refused: Option<String>,
    /// What differs when it is only scored, so that it folds; `None` when nobody tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub score: Option<DepthSettings>,
    /// What differs when it is cut through its carrier as well; `None` when nobody tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub through: Option<DepthSettings>,
    /// Where each value comes from: key → source.
    #[serde(default)]
    pub source: BTreeMap<String, String>,
}

/// What differs from the usual cut of a material when it is cut to another depth.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DepthSettings {
    /// Cutting force to begin with, gf.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub force_gf: Option<f64>,
    /// Force in the machine's own numbers (`FS`), if it was tuned.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine_force: Option<f64>,
    /// Cutting speed, cm/s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub velocity_cm_s: Option<f64>,
    /// How often each line is cut.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub passes: Option<u32>,
}

impl Material {
    /// The material as it is cut when `depth` says what differs. The force in the machine's numbers
    /// follows the force in gf where only that is told: the machine's numbers grow with the force,
    /// so their ratio is the best guess (common practice, no source).
    #[must_use]
    pub fn at_depth(&self, depth: &DepthSettings) -> Self {
        let ratio = depth.force_gf.zip(self.force_gf).map_or(1.0, |(new, usual)| new / usual);
        let scaled = |force: Option<f64>| force.map(|force| (force * ratio).round().max(1.0));
        let velocity_cm_s = depth.velocity_cm_s.or(self.velocity_cm_s);
        let slow = |swing: f64| velocity_cm_s.map_or(swing, |cut| swing.min(cut));
        Self {
            force_gf: depth.force_gf.or(self.force_gf),
            machine_force: depth.machine_force.or(scaled(self.machine_force)),
            velocity_cm_s,
            swing_velocity_cm_s: self.swing_velocity_cm_s.map(slow),
            swing_force: if depth.machine_force.is_some() {
                None
            } else {
                scaled(self.swing_force)
            },
            passes: depth.passes.unwrap_or(self.passes),
            ..self.clone()
        }
    }
}

fn default_swing_tolerance() -> f64 {
    0.005
}

fn one() -> u32 {
    1
}
