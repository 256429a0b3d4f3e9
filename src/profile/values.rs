//! Whether a profile's values make sense together.

use super::{Arcs, EncodedLines, Language, Lists, MOST_TOOLS, Machine, Material};

/// No machine steps so coarsely, mm; who writes more means units to the millimetre. From memory, not
/// verified: the coarsest common unit is 0.1 mm.
const COARSEST_UNIT_MM: f64 = 1.0;
/// No cutter is so fast, cm/s; who writes more means another unit. From memory, not verified: fast ones
/// reach some 150 cm/s.
const FASTEST_CM_S: f64 = 300.0;

/// Refuses what no machine can mean.
pub(super) fn machine(m: &Machine) -> Result<(), String> {
    said("name", &m.name)?;
    said("title", &m.title)?;
    above_zero("unit_mm", m.unit_mm)?;
    if m.unit_mm > COARSEST_UNIT_MM {
        let text = format!(
            "unit_mm is {}; it must be at most {COARSEST_UNIT_MM}: it is the length of a plotter unit, 0.025 \
             where 40 of them are a millimetre",
            m.unit_mm
        );
        return Err(text);
    }
    if let Some(clip) = &m.hard_clip
        && (clip.x_min >= clip.x_max || clip.y_min >= clip.y_max)
    {
        return Err("hard_clip is empty: x_min must be below x_max and y_min below y_max".into());
    }
    if let Some(most) = m.max_back_feed_mm {
        above_zero("max_back_feed_mm", most)?;
    }
    if let Some(motion) = &m.motion {
        above_zero("motion.cut_mm_s", motion.cut_mm_s)?;
        above_zero("motion.travel_mm_s", motion.travel_mm_s)?;
        above_zero("motion.acceleration_mm_s2", motion.acceleration_mm_s2)?;
        not_below_zero("motion.corner_jump_mm_s", motion.corner_jump_mm_s)?;
        not_below_zero("motion.lift_s", motion.lift_s)?;
        not_below_zero("motion.lower_s", motion.lower_s)?;
    }
    if m.language.tools > MOST_TOOLS || m.further_tools.len() as u32 >= m.language.tools.max(1) {
        let text = format!(
            "language.tools is {} and further_tools names {}; a machine selects 1 to {MOST_TOOLS} \
             tools, and all but the first may be named",
            m.language.tools,
            m.further_tools.len()
        );
        return Err(text);
    }
    range("language.velocity_range_cm_s", m.language.velocity_range_cm_s)?;
    range("language.force_range", m.language.force_range)?;
    if m.language.pairs_per_instruction == Some(0) {
        return Err("language.pairs_per_instruction is 0; it must be 1 or more".into());
    }
    arcs(m)?;
    serial(m)
}

fn arcs(m: &Machine) -> Result<(), String> {
    let Language { arcs, lists, encoded, finest_chord_deg: finest, .. } = &m.language;
    if !(0.1..=15.0).contains(finest) {
        return Err(format!("language.finest_chord_deg is {finest}; it must be 0.1 to 15"));
    }
    // Where an arc ends is not known to the unit, so no step may start there.
    let steps = *lists != Lists::Absolute || *encoded != EncodedLines::Never;
    if *arcs == Arcs::Fine && steps {
        let text = "language.arcs = \"fine\" needs lists = \"absolute\" and encoded = \"never\"";
        return Err(text.into());
    }
    Ok(())
}

fn serial(m: &Machine) -> Result<(), String> {
    let Some(serial) = &m.serial else { return Ok(()) };
    if serial.baud == 0 {
        return Err("serial.baud is 0; write the line's rate, for example 9600".into());
    }
    if !matches!(serial.data_bits, 7 | 8) {
        return Err(format!("serial.data_bits is {}; it must be 7 or 8", serial.data_bits));
    }
    // PCL 5 Technical Reference II, p. 20-36.
    if serial.data_bits == 7 && m.language.encoded == EncodedLines::Base64 {
        let text = "language.encoded = \"base64\" needs serial.data_bits = 8; a line of 7 bits takes \
                    \"base32\"";
        return Err(text.into());
    }
    if !matches!(serial.stop_bits, 1 | 2) {
        return Err(format!("serial.stop_bits is {}; it must be 1 or 2", serial.stop_bits));
    }
    if serial.buffer_bytes < 16 {
        let text = "serial.buffer_bytes is below 16; no instruction would fit";
        return Err(text.into());
    }
    Ok(())
}

/// Refuses what no material can mean.
pub(super) fn material(m: &Material) -> Result<(), String> {
    said("name", &m.name)?;
    said("title", &m.title)?;
    not_below_zero("blade_offset_mm", m.blade_offset_mm)?;
    at_most("blade_offset_mm", m.blade_offset_mm, 5.0)?;
    not_below_zero("overcut_mm", m.overcut_mm)?;
    at_most("overcut_mm", m.overcut_mm, 50.0)?;
    above_zero("swing_tolerance_mm", m.swing_tolerance_mm)?;
    not_below_zero("smallest_piece_mm", m.smallest_piece_mm)?;
    not_below_zero("smallest_stroke_mm", m.smallest_stroke_mm)?;
    not_below_zero("smallest_letter_mm", m.smallest_letter_mm.unwrap_or(0.0))?;
    for (name, value) in [
        ("velocity_cm_s", m.velocity_cm_s),
        ("swing_velocity_cm_s", m.swing_velocity_cm_s),
        ("force_gf", m.force_gf),
        ("machine_force", m.machine_force),
        ("swing_force", m.swing_force),
        ("blade_angle_deg", m.blade_angle_deg),
        ("blade_extension_mm", m.blade_extension_mm),
    ] {
        if let Some(value) = value {
            above_zero(name, value)?;
            not_too_fast(name, value)?;
        }
    }
    if let Some(angle) = m.blade_angle_deg.filter(|angle| *angle >= 90.0) {
        let text = format!(
            "blade_angle_deg is {angle}; it must be below 90: it is measured between the edge and the film"
        );
        return Err(text);
    }
    for (swing, value, cut, set) in [
        ("swing_velocity_cm_s", m.swing_velocity_cm_s, "velocity_cm_s", m.velocity_cm_s),
        ("swing_force", m.swing_force, "machine_force", m.machine_force),
    ] {
        if value.is_some() && set.is_none() {
            let text = format!("{swing} needs {cut} as well: it is what the machine goes back to");
            return Err(text);
        }
    }
    for (name, depth) in [("score", &m.score), ("through", &m.through)] {
        let Some(depth) = depth else { continue };
        for (key, value) in [
            ("force_gf", depth.force_gf),
            ("machine_force", depth.machine_force),
            ("velocity_cm_s", depth.velocity_cm_s),
        ] {
            if let Some(value) = value {
                above_zero(&format!("{name}.{key}"), value)?;
                not_too_fast(&format!("{name}.{key}"), value)?;
            }
        }
        passes(&format!("{name}.passes"), depth.passes.unwrap_or(1))?;
    }
    range("thickness_um", m.thickness_um)?;
    range("force_range_gf", m.force_range_gf)?;
    if let Some((force, [low, high])) = m.force_gf.zip(m.force_range_gf)
        && !(low..=high).contains(&force)
    {
        let text = format!("force_gf is {force}, outside force_range_gf, which is [{low}, {high}]");
        return Err(text);
    }
    passes("passes", m.passes)
}

fn said(key: &str, text: &str) -> Result<(), String> {
    if text.trim().is_empty() { Err(format!("{key} is empty; it is shown to you")) } else { Ok(()) }
}

fn passes(key: &str, count: u32) -> Result<(), String> {
    if (1..=20).contains(&count) {
        Ok(())
    } else {
        Err(format!("{key} is {count}; it must be 1 to 20"))
    }
}

fn above_zero(key: &str, value: f64) -> Result<(), String> {
    if value.is_finite() && value > 0.0 {
        Ok(())
    } else {
        Err(format!("{key} is {value}; it must be above 0"))
    }
}

fn not_below_zero(key: &str, value: f64) -> Result<(), String> {
    if value.is_finite() && value >= 0.0 {
        Ok(())
    } else {
        Err(format!("{key} is {value}; it must be 0 or more"))
    }
}

fn at_most(key: &str, value: f64, most: f64) -> Result<(), String> {
    if value <= most { Ok(()) } else { Err(format!("{key} is {value}; it must be at most {most}")) }
}

/// Refuses a speed of no cutter; other values pass.
fn not_too_fast(key: &str, value: f64) -> Result<(), String> {
    if key.ends_with("velocity_cm_s") { at_most(key, value, FASTEST_CM_S) } else { Ok(()) }
}

fn range(key: &str, values: Option<[f64; 2]>) -> Result<(), String> {
    match values {
        Some([low, high]) if !(low.is_finite() && high.is_finite() && low <= high) => {
            Err(format!("{key} is [{low}, {high}]; the first number must not be above the second"))
        }
        _ => Ok(()),
    }
}
