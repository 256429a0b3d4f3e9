//! Wishes + machine + material → the works of one film, with what has to be refused or told.

use super::{Depth, Wish, Work, WorkError, Works, usual_tool};
use crate::drawing::Layer;
use crate::finding::Finding;
use crate::ink::Treatment;
use crate::job::Pace;
use crate::place::{CutLine, Dash, Role};
use crate::profile::{Machine, Material, Tool};

/// What holds where nothing else is wished.
#[derive(Debug, Clone, Copy)]
pub struct Usual<'a> {
    /// What cuts.
    pub machine: &'a Machine,
    /// What is cut.
    pub material: &'a Material,
    /// How deep.
    pub depth: Depth,
    /// In stretches with bridges between them; cut lines only.
    pub dash: Option<Dash>,
    /// Offset instead of the material's, mm.
    pub blade_offset_mm: Option<f64>,
    /// Overcut instead of the material's, mm.
    pub overcut_mm: Option<f64>,
}

/// How the `lines` of the film called `film` are made, whose layers are `layers`.
///
/// # Errors
/// [`WorkError`] when a wish cannot be met.
pub fn works(
    (layers, film, lines): (&[Layer], &str, &[CutLine]),
    wishes: &[Wish],
    usual: &Usual,
) -> Result<Works, WorkError> {
    let of_film =
        wishes.iter().find(|wish| wish.is_for_film(film) && !is_layer(layers, &wish.name));
    let base =
        of_film.map_or_else(Wish::default, |wish| Wish { name: String::new(), ..wish.clone() });
    let mut all = vec![work(&base, Treatment::Cut, usual)?];
    let mut of_layer = vec![0; layers.len()];
    for (i, layer) in layers.iter().enumerate() {
        let Some(wish) = wishes.iter().find(|wish| wish.name == layer.name) else { continue };
        if !lines.iter().any(|line| line.layer == i && line.role.is_design()) {
            continue;
        }
        let wish = over(wish, &base);
        let mut own = work(&wish, wish.treatment.unwrap_or_default(), usual)?;
        match all.iter().position(|other| alike(other, &own)) {
            Some(known) => {
                all[known].layers.extend(if known > 0 { own.layers } else { Vec::new() });
                of_layer[i] = known;
            }
            None => {
                own.layers = vec![layer.name.clone()];
                of_layer[i] = all.len();
                all.push(own);
            }
        }
    }
    let mut works = Works { machine: usual.machine.clone(), all, of_layer, findings: Vec::new() };
    works.usual_where_needed(lines);
    works.fit_tools(lines, usual)?;
    works.tell(lines, film);
    Ok(works)
}

fn is_layer(layers: &[Layer], name: &str) -> bool {
    layers.iter().any(|layer| layer.name == name)
}

/// A layer's wish; where it says nothing, its film's.
fn over(wish: &Wish, film: &Wish) -> Wish {
    Wish {
        name: wish.name.clone(),
        treatment: wish.treatment,
        tool: wish.tool.or(film.tool),
        material: wish.material.clone().or_else(|| film.material.clone()),
        depth: wish.depth.or(film.depth),
        dash: wish.dash.or(film.dash),
        trace: wish.trace,
    }
}

/// Whether both are made in the same way but for bridges.
fn same(a: &Work, b: &Work) -> bool {
    alike(&Work { dash: None, ..a.clone() }, &Work { dash: None, ..b.clone() })
}

/// Whether both are the same but for the layers.
fn alike(a: &Work, b: &Work) -> bool {
    Work { layers: Vec::new(), ..a.clone() } == Work { layers: Vec::new(), ..b.clone() }
}

fn work(wish: &Wish, treatment: Treatment, usual: &Usual) -> Result<Work, WorkError> {
    let (machine, layer) = (usual.machine, &wish.name);
    let plain = wish.material.as_ref().unwrap_or(usual.material);
    if plain.mirrored != usual.material.mirrored {
        let (one, other) =
            if plain.mirrored { (plain, usual.material) } else { (usual.material, plain) };
        return Err(WorkError::Mirrored { one: one.title.clone(), other: other.title.clone() });
    }
    let cut = treatment == Treatment::Cut;
    let depth = if cut { wish.depth.unwrap_or(usual.depth) } else { Depth::Kiss };
    let differs = match (treatment, depth) {
        (Treatment::Score, _) => plain.score,
        (Treatment::Cut, Depth::Through) => Some(plain.through.ok_or_else(|| {
            let layer = if layer.is_empty() { "of all".to_owned() } else { format!("\"{layer}\"") };
            WorkError::NoDepth { title: plain.title.clone(), layer }
        })?),
        _ => None,
    };
    let material = differs.map_or_else(|| plain.clone(), |differs| plain.at_depth(&differs));
    let tool = wish.tool.unwrap_or_else(|| usual_tool(machine, treatment));
    if tool == 0 || tool > machine.language.tools.max(1) {
        let (machine, tools) = (machine.name.clone(), machine.language.tools.max(1));
        return Err(WorkError::NoSuchTool { layer: format!("\"{layer}\""), tool, machine, tools });
    }
    Ok(Work {
        layers: Vec::new(),
        treatment,
        depth,
        tool,
        offset_mm: 0.0,
        overcut_mm: if cut { usual.overcut_mm.unwrap_or(material.overcut_mm) } else { 0.0 },
        pace: pace(machine, &material, tool),
        material,
        dash: wish.dash.or(usual.dash.filter(|_| cut)),
        trace: wish.trace.filter(|_| cut),
    })
}

/// Speed and force, as far as `machine` takes them.
fn pace(machine: &Machine, material: &Material, tool: u32) -> Pace {
    let language = &machine.language;
    let taken = |value: Option<f64>, taken: bool, range: Option<[f64; 2]>| {
        value.filter(|_| taken).map(|v| range.map_or(v, |[low, high]| v.clamp(low, high)))
    };
    let velocity = |v| taken(v, language.velocity, language.velocity_range_cm_s);
    let force = |v| taken(v, language.force, language.force_range);
    Pace {
        tool,
        velocity_cm_s: velocity(material.velocity_cm_s),
        force: force(material.machine_force),
        swing_velocity_cm_s: velocity(material.swing_velocity_cm_s),
        swing_force: force(material.swing_force),
    }
}

impl Works {
    /// Marks and weed lines of a film whose lines are all made in other ways are made as they are: as
    /// those that are cut where some are, and through the carrier only where nothing is kiss cut.
    fn usual_where_needed(&mut self, lines: &[CutLine]) {
        let mut own = lines.iter().filter(|line| line.role.is_design());
        if own.clone().any(|line| line.role == Role::Design && self.index_of(line) == 0) {
            return;
        }
        let cut = own.clone().filter(|line| line.role == Role::Design);
        let cut = cut.min_by_key(|line| self.of(line).depth);
        let Some(first) = cut.or_else(|| own.next()).map(|line| self.index_of(line)) else {
            return;
        };
        self.all[0] = Work { layers: Vec::new(), dash: None, ..self.all[first].clone() };
    }

    /// Sees to it that every tool can do what it is to do, and gives each blade its offset.
    fn fit_tools(&mut self, lines: &[CutLine], usual: &Usual) -> Result<(), WorkError> {
        let mut used: Vec<usize> = lines.iter().map(|line| self.index_of(line)).collect();
        used.sort_unstable();
        used.dedup();
        // Those with layers first, since they can be named.
        for &i in used.iter().rev() {
            let work = &self.all[i];
            let others = used.iter().map(|&j| &self.all[j]).filter(|w| w.tool == work.tool);
            let kind = self.machine.tool_kind(work.tool);
            if work.treatment == Treatment::Draw && kind != Tool::Pen {
                if work.tool > 1 || others.clone().any(|w| w.treatment != Treatment::Draw) {
                    return Err(self.wrong(work, "drawn", says(kind)));
                }
                self.machine.tool = Tool::Pen;
                self.findings.push(pen_needed(work, usual.machine));
            }
            let pens = usual.machine.tool == Tool::Pen;
            if work.treatment == Treatment::Cut && !kind.cuts() && !pens {
                return Err(self.wrong(work, "cut", says(kind)));
            }
        }
        self.offsets(&used, usual)
    }

    fn wrong(&self, work: &Work, done: &'static str, other: &str) -> WorkError {
        let layer = match work.layers.first() {
            Some(name) => format!("\"{name}\""),
            None => "of all".to_owned(),
        };
        let (tool, machine) = (work.tool, self.machine.name.clone());
        WorkError::WrongTool { layer, done, tool, machine, other: other.to_owned() }
    }

    fn offsets(&mut self, used: &[usize], usual: &Usual) -> Result<(), WorkError> {
        for (n, &i) in used.iter().enumerate() {
            let (tool, material) = (self.all[i].tool, self.all[i].material.clone());
            if self.machine.tool_kind(tool) == Tool::TrailingBlade
                && let Some(why) = material.refused
            {
                return Err(WorkError::Refused { title: material.title, why });
            }
            if !self.machine.must_compensate(tool) {
                continue;
            }
            let first = used[..n].iter().map(|&j| &self.all[j]).find(|w| w.tool == tool);
            let known = first.map(|w| (w.offset_mm, w.material.title.clone()));
            let own = usual.blade_offset_mm.unwrap_or(material.blade_offset_mm);
            if let Some((offset, title)) = known.clone().filter(|(offset, _)| *offset != own) {
                self.findings.push(two_offsets(tool, (offset, &title), (own, &material.title)));
            }
            self.all[i].offset_mm = known.map_or(own, |(offset, _)| offset);
        }
        Ok(())
    }

    fn tell(&mut self, lines: &[CutLine], film: &str) {
        let used = |i: usize| lines.iter().any(|line| self.index_of(line) == i);
        let mut told = Vec::new();
        // The film's marks may be made as a layer of it, which is told by name.
        let named =
            |work: &Work| work.layers.is_empty() && self.all[1..].iter().any(|w| same(w, work));
        let works = (0..self.all.len()).filter(|&i| used(i)).map(|i| &self.all[i]);
        for work in works.filter(|work| !named(work)) {
            let who = who(work, film);
            if work.treatment == Treatment::Score {
                told.extend(self.as_deep(work, &who));
            }
            if work.treatment == Treatment::Cut && work.depth == Depth::Through {
                told.push(through(work, &who));
            }
            for held in out_of_range(work, &self.machine) {
                if !told.contains(&held) {
                    told.push(held);
                }
            }
        }
        self.findings.extend(told);
    }

    /// A score line with a knife that nothing makes lighter than a cut.
    fn as_deep(&self, work: &Work, who: &str) -> Option<Finding> {
        if !self.machine.tool_kind(work.tool).cuts() || work.dash.is_some() {
            return None;
        }
        let usual = work.pace.force.zip(self.all[0].pace.force);
        if usual.is_some_and(|(score, cut)| self.all[0].treatment != Treatment::Cut || score < cut)
        {
            return None;
        }
        let text = format!(
            "{who} is scored with the tool that cuts, and the job sets no lighter force for it: it may be \
             cut through."
        );
        let gf = work.material.force_gf.map_or(String::new(), |gf| format!(" to about {gf} gf"));
        let hint = format!(
            "Write it as a job of its own (--sheets layer) and set the machine's force{gf}, perforate it \
             with --dash NAME=3mm,1mm, or use a creasing tool."
        );
        Some(Finding::warning("score-as-deep", text).hint(hint))
    }
}

fn who(work: &Work, film: &str) -> String {
    match (&work.layers[..], film) {
        ([], "") => "The work".to_owned(),
        ([], film) => format!("The film {film}"),
        ([one], _) => format!("The layer {one}"),
        (several, _) => format!("Each of the layers {}", several.join(", ")),
    }
}

fn says(kind: Tool) -> &'static str {
    match kind {
        Tool::TrailingBlade | Tool::TangentialBlade => "is a knife",
        Tool::Pen => "is a pen",
        Tool::CreasingTool => "is a creasing tool",
    }
}

fn pen_needed(work: &Work, machine: &Machine) -> Finding {
    let text = format!(
        "{} is drawn, so this job is for a pen in the holder of {}: with the knife in it, it would cut.",
        who(work, ""),
        machine.name
    );
    Finding::warning("pen-needed", text).hint("Change the tool before you send this job.")
}

fn two_offsets(tool: u32, (offset, title): (f64, &str), (own, other): (f64, &str)) -> Finding {
    let text = format!(
        "Tool {tool} is one blade, but {title} asks for an offset of {offset:.3} mm and {other} for \
         {own:.3} mm; {offset:.3} mm is compensated."
    );
    Finding::warning("tool-offsets-differ", text)
        .hint("Say the offset of the blade that is in the machine with --blade-offset.")
}

/// What the material asks for and the machine does not take: the nearest that it takes is sent.
fn out_of_range(work: &Work, machine: &Machine) -> Vec<Finding> {
    let (material, pace, language) = (&work.material, &work.pace, &machine.language);
    let held = |(what, unit): (&str, &str), asked: Option<f64>, sent: Option<f64>| {
        let (asked, sent) = asked.zip(sent).filter(|(asked, sent)| asked != sent)?;
        Some(format!(
            "{} asks for a {what} of {asked}{unit}, which {} does not take: {sent}{unit} is sent.",
            material.title, machine.name
        ))
    };
    let speeds = [
        (material.velocity_cm_s, pace.velocity_cm_s),
        (material.swing_velocity_cm_s, pace.swing_velocity_cm_s),
    ];
    let forces = [(material.machine_force, pace.force), (material.swing_force, pace.swing_force)];
    let hint = |key: &str, range: Option<[f64; 2]>| {
        let [low, high] = range.unwrap_or_default();
        format!(
            "Its profile says {low} to {high} (language.{key}): correct that if the machine can do more, \
             else the material's."
        )
    };
    let speed = |(asked, sent)| held(("speed", " cm/s"), asked, sent);
    let slow = speeds.into_iter().filter_map(speed).map(|text| {
        let hint = hint("velocity_range_cm_s", language.velocity_range_cm_s);
        Finding::note("speed-out-of-range", text).hint(hint)
    });
    let force = |(asked, sent)| held(("force", ""), asked, sent);
    let weak = forces.into_iter().filter_map(force).map(|text| {
        Finding::warning("force-out-of-range", text).hint(hint("force_range", language.force_range))
    });
    slow.chain(weak).collect()
}

fn through(work: &Work, who: &str) -> Finding {
    let text = format!("{who} is cut through its carrier.");
    let bridges = match work.dash {
        Some(_) => "",
        None => " Bridges (--dash) keep pieces from moving before the last cut.",
    };
    let hint = format!(
        "The blade has to stand out further than for a kiss cut, on a mat or a strip that may be cut; the \
         machine's manual comes first.{bridges}"
    );
    Finding::note("cut-through", text).hint(hint)
}
