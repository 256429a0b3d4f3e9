//! A profile that is taken can be written and read back, and gives sound jobs or a sentence.

use std::fmt::Debug;

use bladewright::pipeline::PlanSettings;
use bladewright::profile::{Library, ProfileError, machine_from_text, material_from_text};

use super::plans;

/// A ring, a sharp triangle and a hairline.
const DRAWING: &[u8] = b"<svg xmlns='http://www.w3.org/2000/svg' width='40mm' height='30mm' \
    viewBox='0 0 40 30'><circle cx='12' cy='12' r='7' fill='none' stroke='#000' stroke-width='2'/>\
    <path d='M22 5L38 9L22 9.5z'/><path d='M24 20h12' stroke='#000' stroke-width='.3'/></svg>";

pub fn profile(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let library = Library::default();
    if let Some(machine) = taken(machine_from_text(text, "m.toml"), |t| machine_from_text(t, "t")) {
        let material = library.material("vinyl-cast").expect("it is built in");
        plans::planned(DRAWING, &plans::quick(PlanSettings::new(machine, material)));
    }
    if let Some(material) =
        taken(material_from_text(text, "m.toml"), |t| material_from_text(t, "t"))
    {
        let machine = library.machine("roll-24").expect("it is built in");
        plans::planned(DRAWING, &plans::quick(PlanSettings::new(machine, material)));
    }
}

/// The profile, after its way through a file.
fn taken<P: serde::Serialize + PartialEq + Debug>(
    read: Result<P, ProfileError>,
    again: impl Fn(&str) -> Result<P, ProfileError>,
) -> Option<P> {
    match read {
        Err(error) => {
            assert!(error.to_string().len() > 10);
            None
        }
        Ok(profile) => {
            let text = toml::to_string(&profile).expect("a profile can be written");
            assert_eq!(again(&text).as_ref(), Ok(&profile), "{text}");
            Some(profile)
        }
    }
}
