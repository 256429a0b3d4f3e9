//! Options for single layers: `NAME=VALUE`, each as often as there are layers; where a value without
//! a name is taken, it holds for all layers that are cut.

use clap::Args;

use super::Failure;
use crate::ink::{Trace, Treatment};
use crate::pipeline::PlanSettings;
use crate::place::Dash;
use crate::profile::{Library, Material};
use crate::units::Length;
use crate::work::{Depth, Wish};

/// Options that are written `NAME=VALUE` only, and their key in a layer's table of a job file.
pub const NAMED: [(&str, &str); 3] =
    [("as", "as"), ("tool", "tool"), ("layer-material", "material")];
/// Options that hold for all layers when no name comes first; their key in a job file is the same.
pub const NAMED_OR_ALL: [(&str, &str); 3] =
    [("trace", "trace"), ("depth", "depth"), ("dash", "dash")];

/// What is wanted for single layers.
#[derive(Args, Debug, Clone)]
pub struct LayerOptions {
    /// What is done with a layer: cut, score, draw or skip. Scored and drawn layers follow the drawn
    /// lines
    #[arg(id = "as", long = "as", value_name = "LAYER=WHAT", help_heading = "Layers")]
    treatment: Vec<String>,
    /// Tool number for a layer [default: the machine's pen for drawn, its creasing tool for scored
    /// layers, else 1]
    #[arg(long, value_name = "LAYER=NUMBER", help_heading = "Layers")]
    tool: Vec<String>,
    /// Material of a layer, or of a colour's film (#rrggbb) with --sheets colour [default: that of
    /// --material]
    #[arg(long, value_name = "LAYER=NAME", help_heading = "Layers")]
    layer_material: Vec<String>,
    /// What is cut: the outlines of what is painted, or the drawn lines themselves (outlines or lines)
    /// [default: outlines]
    #[arg(long, value_name = "[LAYER=]WHAT", help_heading = "Layers")]
    trace: Vec<String>,
    /// How deep: kiss (the carrier stays whole) or through, as the material's profile says [default:
    /// kiss]
    #[arg(long, value_name = "[LAYER=]DEPTH", help_heading = "Layers")]
    depth: Vec<String>,
    /// Cut in stretches with bridges between them, for example 3mm,1mm: holds pieces of card in
    /// their sheet, perforates fold lines
    #[arg(long, value_name = "[LAYER=]CUT,BRIDGE", help_heading = "Layers")]
    dash: Vec<String>,
}

/// The names in a list; a comma that belongs to a name has a backslash before it.
pub fn names(list: &str) -> Vec<String> {
    let mut names = vec![String::new()];
    let mut letters = list.chars().peekable();
    while let Some(letter) = letters.next() {
        match (letter, names.last_mut()) {
            ('\\', Some(name)) if letters.peek() == Some(&',') => name.extend(letters.next()),
            (',', _) => names.push(String::new()),
            (letter, name) => name.into_iter().for_each(|name| name.push(letter)),
        }
    }
    names
}

/// The name and the value of what was typed.
pub fn parted(text: &str) -> (Option<&str>, &str) {
    match text.rsplit_once('=') {
        Some((name, value)) => (Some(name), value),
        None => (None, text),
    }
}

impl LayerOptions {
    /// Puts the wishes into `settings`.
    pub fn put(&self, settings: &mut PlanSettings) -> Result<(), Failure> {
        let mut wishes = Wishes(Vec::new());
        for (name, text) in named("as", &self.treatment)? {
            set("as", &mut wishes.of(name).treatment, treatment(name, text)?, name)?;
        }
        for (name, text) in named("tool", &self.tool)? {
            set("tool", &mut wishes.of(name).tool, tool(name, text)?, name)?;
        }
        for (name, text) in named("layer-material", &self.layer_material)? {
            set("layer-material", &mut wishes.of(name).material, material(text)?, name)?;
        }
        let mut for_all = (None, None, None);
        for (name, text) in self.trace.iter().map(|text| parted(text)) {
            let slot = match name {
                Some(name) => &mut wishes.of(name).trace,
                None => &mut for_all.2,
            };
            set("trace", slot, trace(text)?, name.unwrap_or_default())?;
        }
        for (name, text) in self.depth.iter().map(|text| parted(text)) {
            let slot = match name {
                Some(name) => &mut wishes.of(name).depth,
                None => &mut for_all.0,
            };
            set("depth", slot, depth(text)?, name.unwrap_or_default())?;
        }
        for (name, text) in self.dash.iter().map(|text| parted(text)) {
            let slot = match name {
                Some(name) => &mut wishes.of(name).dash,
                None => &mut for_all.1,
            };
            set("dash", slot, dash(text)?, name.unwrap_or_default())?;
        }
        wishes.0.iter().try_for_each(agrees)?;
        settings.wishes = wishes.0;
        settings.depth = for_all.0.unwrap_or_default();
        settings.placement.dash = for_all.1;
        settings.ink.trace = for_all.2.unwrap_or_default();
        Ok(())
    }
}

struct Wishes(Vec<Wish>);

impl Wishes {
    fn of(&mut self, name: &str) -> &mut Wish {
        let known = self.0.iter().position(|wish| wish.is_meant_by(name));
        let at = known.unwrap_or_else(|| {
            self.0.push(Wish { name: name.to_owned(), ..Wish::default() });
            self.0.len() - 1
        });
        &mut self.0[at]
    }
}

/// Refuses what a layer that is scored or drawn cannot be as well.
fn agrees(wish: &Wish) -> Result<(), Failure> {
    let (word, done) = match wish.treatment {
        Some(Treatment::Score) => ("score", "scored"),
        Some(Treatment::Draw) => ("draw", "drawn"),
        _ => return Ok(()),
    };
    let name = &wish.name;
    let clash = match (wish.depth, wish.trace) {
        (Some(Depth::Through), _) => {
            format!("--depth {name}=through: what is {done} is not cut through")
        }
        (_, Some(Trace::Outlines)) => {
            format!("--trace {name}=outlines: what is {done} follows the drawn lines")
        }
        _ => return Ok(()),
    };
    Err(Failure::usage(format!("--as {name}={word} and {clash}; leave one of them out")))
}

fn set<T>(option: &str, slot: &mut Option<T>, value: T, name: &str) -> Result<(), Failure> {
    if slot.is_some() {
        let whose =
            if name.is_empty() { String::new() } else { format!(" for the layer \"{name}\"") };
        return Err(Failure::usage(format!("--{option} is given twice{whose}")));
    }
    *slot = Some(value);
    Ok(())
}

fn named<'a>(option: &str, texts: &'a [String]) -> Result<Vec<(&'a str, &'a str)>, Failure> {
    let part = |text: &'a String| match parted(text) {
        (Some(name), value) if !name.is_empty() => Ok((name, value)),
        _ => Err(Failure::usage(format!(
            "--{option} {text}: write the layer's name, =, and the value"
        ))),
    };
    texts.iter().map(part).collect()
}

fn treatment(name: &str, text: &str) -> Result<Treatment, Failure> {
    match text {
        "cut" => Ok(Treatment::Cut),
        "score" => Ok(Treatment::Score),
        "draw" => Ok(Treatment::Draw),
        "skip" => Ok(Treatment::Skip),
        _ => {
            let text = format!("--as {name}={text}: a layer is cut, score, draw or skip");
            Err(Failure::usage(text))
        }
    }
}

fn trace(text: &str) -> Result<Trace, Failure> {
    match text {
        "outlines" => Ok(Trace::Outlines),
        "lines" => Ok(Trace::CentreLines),
        _ => Err(Failure::usage(format!("--trace {text}: what is cut are outlines or lines"))),
    }
}

fn tool(name: &str, text: &str) -> Result<u32, Failure> {
    let number = text.parse().ok().filter(|n| *n > 0);
    number.ok_or_else(|| {
        Failure::usage(format!("--tool {name}={text}: a tool is a number from 1 on, for example 2"))
    })
}

fn material(text: &str) -> Result<Material, Failure> {
    Library::of_user().material(text).map_err(super::options::wrong_profile)
}

fn depth(text: &str) -> Result<Depth, Failure> {
    match text {
        "kiss" => Ok(Depth::Kiss),
        "through" => Ok(Depth::Through),
        _ => Err(Failure::usage(format!("--depth {text}: the depth is kiss or through"))),
    }
}

fn dash(text: &str) -> Result<Dash, Failure> {
    let wrong = || {
        let text = format!(
            "--dash {text}: write the length of a cut and of a bridge, 0.1mm or more each, for \
             example 3mm,1mm"
        );
        Failure::usage(text)
    };
    let (cut, bridge) = text.split_once(',').ok_or_else(wrong)?;
    let length = |part: &str| {
        let parsed = part.parse::<Length>().map(Length::mm).ok();
        parsed.filter(|mm| *mm >= 0.1).ok_or_else(wrong)
    };
    Ok(Dash { cut_mm: length(cut)?, bridge_mm: length(bridge)? })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ink::as_listed;

    #[test]
    fn names_with_commas() {
        for all in [vec!["Cut"], vec!["Cut", "Crease, front"], vec!["a\\b", ",", "x=y", ""]] {
            let list: Vec<String> = all.iter().map(|name| as_listed(name)).collect();
            assert_eq!(names(&list.join(",")), all);
        }
    }
}
