//! Simulated jobs → one self-contained page: the sheet to look at, play and compare.
//!
//! The page is `page/page.html` with its style, its script and the jobs filled in. It fetches
//! nothing: its content-security policy forbids all sources and allows exactly this style and this
//! script, by their SHA-256 (W3C Content Security Policy Level 3, section 8.4). The figures are the
//! simulation's; the script only draws and adds no figure of its own.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::Serialize;
use sha2::{Digest, Sha256};

use super::{View, pack};
use crate::geometry::Bounds;
use crate::order::Floors;
use crate::profile::FeedAxis;
use crate::report::Report;

const HTML: &str = include_str!("page/page.html");
const STYLE: &str = include_str!("page/page.css");
const SCRIPT: &str = concat!(
    include_str!("page/data.js"),
    include_str!("page/plate.js"),
    include_str!("page/sheet.js"),
    include_str!("page/controls.js"),
    include_str!("page/playing.js"),
    include_str!("page/hands.js")
);

/// What a page shows.
#[derive(Debug, Clone)]
pub struct Page<'a> {
    /// Name of the drawing or the job.
    pub title: &'a str,
    /// The machine's title.
    pub machine: &'a str,
    /// The material's title; empty when unknown.
    pub material: &'a str,
    /// The axis along which film is fed, if it is fed.
    pub feed: Option<FeedAxis>,
    /// What the machine reaches, mm, if known.
    pub limits: Option<Bounds>,
    /// The drawing's layers, by their index.
    pub layers: Vec<&'a str>,
    /// Jobs to choose from; orders of the same film are compared with its first.
    pub jobs: Vec<PageJob<'a>>,
    /// Which of them is shown at first.
    pub start: usize,
}

/// One job of a page.
#[derive(Debug, Clone)]
pub struct PageJob<'a> {
    /// Name of its film; empty when there is only one.
    pub film: &'a str,
    /// How its cuts are ordered, in words.
    pub order: &'a str,
    /// The command that writes it; empty when there is none.
    pub command: String,
    /// What it does.
    pub view: View<'a>,
    /// Its figures and findings.
    pub report: Report,
    /// The least possible travel, where it was computed.
    pub floors: Option<Floors>,
}

/// The page as HTML text, in pieces that follow one another: nearly all of it are packed cuts, a hundred
/// megabytes of a large job, which are not copied.
pub fn page_html(page: &Page) -> Vec<String> {
    let data = Data::of(page).written();
    // Inside a script element only "<" could end it.
    let data = if data.contains('<') { data.replace('<', "\\u003c") } else { data };
    let parts = [
        ("{{policy}}", vec![policy()]),
        ("{{title}}", vec![escaped(page.title)]),
        ("{{style}}", vec![STYLE.to_owned()]),
        ("{{data}}", vec![data]),
        ("{{packed}}", page.jobs.iter().flat_map(packed).collect()),
        ("{{script}}", vec![SCRIPT.to_owned()]),
    ];
    filled(HTML, parts)
}

/// The cuts of a job, in an element of their own.
fn packed(job: &PageJob) -> Vec<String> {
    let mut pieces = vec!["<script type=\"text/plain\" class=\"packed\">".to_owned()];
    pieces.extend(pack::pack(&job.view));
    pieces.push("</script>\n".to_owned());
    pieces
}

fn policy() -> String {
    format!(
        "default-src 'none'; style-src '{}'; script-src '{}'; base-uri 'none'; form-action 'none'",
        source_hash(STYLE),
        source_hash(SCRIPT)
    )
}

fn source_hash(text: &str) -> String {
    format!("sha256-{}", STANDARD.encode(Sha256::digest(text.as_bytes())))
}

/// `template` with each mark replaced once; what is filled in is never searched for marks.
fn filled<const N: usize>(template: &str, parts: [(&str, Vec<String>); N]) -> Vec<String> {
    let mut pieces = Vec::new();
    let mut rest = template;
    for (mark, texts) in parts {
        if let Some((before, after)) = rest.split_once(mark) {
            pieces.push(before.to_owned());
            pieces.extend(texts);
            rest = after;
        }
    }
    pieces.push(rest.to_owned());
    pieces
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

/// What the script is given.
#[derive(Serialize)]
struct Data<'a> {
    title: &'a str,
    machine: &'a str,
    material: &'a str,
    /// "x", "y", or nothing.
    feed: Option<&'static str>,
    /// Left, bottom, right, top, mm.
    limits: Option<[f64; 4]>,
    layers: &'a [&'a str],
    jobs: Vec<JobData<'a>>,
    start: usize,
}

#[derive(Serialize)]
struct JobData<'a> {
    film: &'a str,
    order: &'a str,
    command: &'a str,
    report: &'a Report,
    /// No order with the same starts travels less; absent when not computed.
    floor_chosen_mm: Option<f64>,
    floor_any_mm: Option<f64>,
    cuts: usize,
    /// Places where weeding needs care, mm.
    care: Vec<[f64; 2]>,
}

impl<'a> Data<'a> {
    fn of(page: &'a Page) -> Self {
        Self {
            title: page.title,
            machine: page.machine,
            material: page.material,
            feed: page.feed.map(|axis| if axis == FeedAxis::X { "x" } else { "y" }),
            limits: page.limits.map(|b| [b.min.x, b.min.y, b.max.x, b.max.y]),
            layers: &page.layers,
            jobs: page.jobs.iter().map(JobData::of).collect(),
            start: page.start,
        }
    }

    /// As JSON.
    fn written(self) -> String {
        // Names, numbers and texts are always written.
        serde_json::to_string(&self).unwrap_or_default()
    }
}

impl<'a> JobData<'a> {
    fn of(job: &'a PageJob) -> Self {
        let floor = |pick: fn(&Floors) -> f64| job.floors.as_ref().map(pick).filter(|f| *f > 0.0);
        Self {
            film: job.film,
            order: job.order,
            command: &job.command,
            report: &job.report,
            floor_chosen_mm: floor(|f| f.chosen),
            floor_any_mm: floor(|f| f.any),
            cuts: job.view.simulation.cuts.len(),
            care: job.view.care.iter().map(|p| [p.x, p.y]).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::Simulation;

    fn page(title: &str) -> String {
        let simulation = Simulation::default();
        let job = PageJob {
            film: "",
            order: "as written",
            command: String::new(),
            view: View::of_simulation(&simulation),
            report: Report::of_simulation(&simulation, Vec::new()),
            floors: None,
        };
        page_html(&Page {
            title,
            machine: "",
            material: "",
            feed: None,
            limits: None,
            layers: Vec::new(),
            jobs: vec![job],
            start: 0,
        })
        .concat()
    }

    #[test]
    fn a_page_names_no_other_place() {
        // The name of SVG's namespace is a name, not a place.
        let page = page("wheel.svg").replace("'http://www.w3.org/2000/svg'", "");
        for word in ["http:", "https:", "src=", "url(", "@import", "fetch(", "{{"] {
            assert!(!page.contains(word), "{word}");
        }
    }

    #[test]
    fn names_cannot_become_markup() {
        let page = page("</script><img src=x>{{script}}");
        assert!(!page.contains("<img"));
        // The data, the cuts of one job, and the script.
        assert_eq!(page.matches("</script>").count(), 3);
        assert!(page.contains("&lt;img"));
    }

    /// SHA-256 of "abc": FIPS 180-4, example of NIST's Cryptographic Standards and Guidelines.
    #[test]
    fn the_policy_is_that_of_the_published_hash() {
        assert_eq!(source_hash("abc"), "sha256-ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=");
    }
}
