//! What the page of `preview` and `compare` is made of: jobs, names, and the commands that write
//! them.

use std::ffi::OsString;
use std::path::Path;

use super::Failure;
use super::files::plain;
use crate::finding::Finding;
use crate::order::Strategy;
use crate::pipeline::{self, Plan, PlanSettings};
use crate::preview::{Page, PageJob, View, page_html};
use crate::report::Report;
use crate::simulate::Simulation;

/// Orders that are compared, and what they are called.
pub const ORDERS: [(Strategy, &str, &str); 3] = [
    (Strategy::Drawn, "drawn", "As drawn"),
    (Strategy::Nearest, "nearest", "Always the nearest"),
    (Strategy::Best, "best", "The best found"),
];

/// Floors are computed up to so many lines: beyond, they take longer than the page.
const MOST_BOUNDED: usize = 3000;

/// The plans of a drawing, one list for each of [`ORDERS`].
pub struct Drawn<'a> {
    /// What the drawing is called.
    pub title: &'a str,
    /// The plans.
    pub orders: &'a [Vec<Plan>],
    /// The names of the drawing's layers.
    pub layers: &'a [String],
    /// What they were planned with.
    pub settings: &'a PlanSettings,
    /// The words that were typed, the program's name first.
    pub typed: &'a [OsString],
}

impl Drawn<'_> {
    /// Their page.
    pub fn page(&self) -> Vec<String> {
        let mut jobs = Vec::new();
        for (plans, order) in self.orders.iter().zip(&ORDERS) {
            jobs.extend(plans.iter().map(|plan| self.job(plan, order)));
        }
        let (first, chosen) = (self.orders.first().map_or(0, Vec::len), self.settings.strategy);
        let place = ORDERS.iter().position(|(strategy, ..)| *strategy == chosen).unwrap_or(0);
        let layers = self.layers.iter().map(String::as_str).collect();
        let page = Page { layers, jobs, start: place * first, ..page(self.title, self.settings) };
        page_html(&page)
    }

    fn job<'a>(&self, plan: &'a Plan, order: &(Strategy, &str, &'a str)) -> PageJob<'a> {
        let few = plan.layout.lines.len() <= MOST_BOUNDED;
        PageJob {
            film: &plan.film,
            order: order.2,
            command: command(self.typed, order.1),
            view: View::of_plan(&plan.simulation, &plan.job, &plan.layout).marking(&plan.findings),
            report: Report::of_plan(plan),
            floors: few.then(|| pipeline::floors(plan, self.settings)),
        }
    }
}

/// The page of jobs from anywhere: names, simulations, findings.
pub fn of_jobs(
    jobs: &[(String, Simulation, Vec<Finding>)],
    settings: &PlanSettings,
) -> Vec<String> {
    let title = jobs.iter().map(|(name, ..)| name.as_str()).collect::<Vec<_>>().join(", ");
    let job = |name, simulation, findings: &Vec<Finding>| PageJob {
        film: "",
        order: name,
        command: String::new(),
        view: View::of_simulation(simulation),
        report: Report::of_simulation(simulation, findings.clone()),
        floors: None,
    };
    let jobs = jobs.iter().map(|(name, simulation, found)| job(name, simulation, found)).collect();
    // Jobs from anywhere do not say what they cut.
    page_html(&Page { jobs, material: "", ..page(&title, settings) })
}

fn page<'a>(title: &'a str, settings: &'a PlanSettings) -> Page<'a> {
    Page {
        title,
        machine: &settings.machine.title,
        material: &settings.material.title,
        feed: settings.machine.feed_axis,
        limits: settings.machine.limits_mm(),
        layers: Vec::new(),
        jobs: Vec::new(),
        start: 0,
    }
}

/// Options of `preview` and `compare` that `write` does not have, and whether a value follows.
const NOT_FOR_WRITE: [(&str, bool); 7] = [
    ("-o", true),
    ("--output", true),
    ("--order", true),
    ("--page", true),
    ("--open", false),
    ("--json", false),
    ("--csv", false),
];

/// The command that writes the job of what was `typed`, in the order named.
fn command(typed: &[OsString], order: &str) -> String {
    let mut words = vec!["bladewright".to_owned(), "write".to_owned()];
    let mut rest = typed.iter().skip(2).map(|word| word.to_string_lossy());
    while let Some(word) = rest.next() {
        match left_out(&word) {
            Some(true) => drop(rest.next()),
            Some(false) => {}
            None => words.push(quoted(&word)),
        }
    }
    words.extend(["--order".to_owned(), order.to_owned()]);
    words.join(" ")
}

/// Whether `word` is left out, and then whether the next one is its value.
fn left_out(word: &str) -> Option<bool> {
    for (name, valued) in NOT_FOR_WRITE {
        if word == name {
            return Some(valued);
        }
        let joined = word.strip_prefix(name).is_some_and(|value| {
            valued && (value.starts_with('=') || !name.starts_with("--") && !value.is_empty())
        });
        if joined {
            return Some(false);
        }
    }
    None
}

/// A word as a POSIX shell takes it (IEEE Std 1003.1, Shell Command Language, 2.2.2).
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./,:=+@%".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', r"'\''"))
    }
}

/// Shows the file at `path` with what the desktop has for it.
pub fn open(path: &Path) -> Result<(), Failure> {
    let program = if cfg!(target_os = "macos") {
        "open"
    } else if cfg!(windows) {
        "explorer"
    } else {
        "xdg-open"
    };
    let started = std::process::Command::new(program).arg(path).spawn();
    started.map(|_| ()).map_err(|error| {
        let why = format!("it cannot be opened with {program}: {}", plain(&error));
        Failure::failed(format!("{} is written, but {why}; open it by hand", path.display()))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(words: &str) -> String {
        let typed: Vec<OsString> = words.split(' ').map(OsString::from).collect();
        command(&typed, "nearest")
    }

    #[test]
    fn the_command_is_what_was_typed_but_for_the_page() {
        assert_eq!(
            of("bladewright preview a.svg -o a.html --width 80mm --order=best --open -m roll-15"),
            "bladewright write a.svg --width 80mm -m roll-15 --order nearest"
        );
        assert_eq!(of("x preview -oa.html a.svg"), "bladewright write a.svg --order nearest");
        assert_eq!(
            of("x preview --output=a.html --order-for time a.svg --order drawn"),
            "bladewright write --order-for time a.svg --order nearest"
        );
    }

    #[test]
    fn words_are_quoted_for_a_shell() {
        assert_eq!(quoted("it's here.svg"), r"'it'\''s here.svg'");
        assert_eq!(quoted("#ffffff"), "'#ffffff'");
        assert_eq!(quoted(""), "''");
    }
}
