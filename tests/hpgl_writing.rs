//! What is written is read back as it was: for every sort of list and encoding a machine may want.
//!
//! Jobs are made up at random (proptest); the way back goes through the reader and the interpreter,
//! which are checked against worked examples of the language's references in `hpgl_language.rs`.

use bladewright::blade::Part;
use bladewright::hpgl::{self, Command, StepKind, TraceSettings, Written};
use bladewright::job::{Job, JobPath, Units};
use bladewright::profile::{EncodedLines, Language, Lists};
use proptest::prelude::*;

/// One tool-down stretch as read back.
#[derive(Debug, PartialEq, Default, Clone)]
struct Stretch {
    tool: u32,
    points: Vec<Units>,
    /// Velocity and force of each edge; of the dot, for a dot.
    settings: Vec<(Option<f64>, Option<f64>)>,
}

fn read_back(bytes: &[u8]) -> (Vec<Stretch>, Units, bool) {
    let (commands, findings) = hpgl::read(bytes);
    assert!(findings.is_empty(), "{findings:?}");
    let (trace, findings) = hpgl::trace(&commands, &TraceSettings::default());
    assert!(findings.is_empty(), "{findings:?}");
    let (mut all, mut at, mut down, mut tool) = (Vec::new(), Units::default(), false, 0);
    let mut now = (None, None);
    let mut open = Stretch::default();
    for step in trace.steps {
        match step.kind {
            StepKind::Tool(number) => tool = number,
            StepKind::Velocity(v) => now.0 = v,
            StepKind::Force(f) => now.1 = f,
            StepKind::Lower => {
                open = Stretch { tool, points: vec![at], settings: vec![] };
                down = true;
            }
            StepKind::Raise => {
                if open.points.len() == 1 {
                    open.settings.push(now);
                }
                all.push(std::mem::take(&mut open));
                down = false;
            }
            StepKind::Move(p) => {
                at = Units { x: p.x as i32, y: p.y as i32 };
                if down {
                    open.points.push(at);
                    open.settings.push(now);
                }
            }
        }
    }
    (all, at, down)
}

/// What the paths of `job` must come back as.
fn expected(job: &Job, language: &Language) -> Vec<Stretch> {
    let of_edge = |path: &JobPath, part: Option<&Part>| {
        let swing = part == Some(&Part::Swing);
        let pick = |cut: Option<f64>, slow: Option<f64>| if swing { slow.or(cut) } else { cut };
        (
            pick(path.velocity_cm_s, path.swing_velocity_cm_s).filter(|_| language.velocity),
            pick(path.force, path.swing_force).filter(|_| language.force),
        )
    };
    let stretch = |path: &JobPath| Stretch {
        tool: language.first_tool + path.tool - 1,
        points: path.points.clone(),
        settings: if path.points.len() == 1 {
            vec![of_edge(path, None)]
        } else {
            path.parts.iter().map(|part| of_edge(path, Some(part))).collect()
        },
    };
    job.paths.iter().map(stretch).collect()
}

fn units() -> impl Strategy<Value = Units> {
    let near = (-300..300i32, -300..300i32);
    let far = (-1_000_000_000..1_000_000_000i32, -1_000_000_000..1_000_000_000i32);
    prop_oneof![4 => near, 1 => far].prop_map(|(x, y)| Units { x, y })
}

fn path() -> impl Strategy<Value = JobPath> {
    let part = prop_oneof![Just(Part::Cut), Just(Part::Swing)];
    let setting = || prop_oneof![Just(5.0), Just(12.5), Just(40.0)];
    let settings = (setting(), setting(), proptest::option::of(setting()));
    (proptest::collection::vec((units(), part), 1..12), 1..3u32, settings).prop_map(
        |(points, tool, (velocity, force, swing))| {
            let mut points = points;
            points.dedup_by_key(|p| p.0);
            JobPath {
                arcs: Vec::new(),
                line: None,
                parts: points[1..].iter().map(|p| p.1).collect(),
                points: points.into_iter().map(|p| p.0).collect(),
                tool,
                velocity_cm_s: Some(velocity),
                force: Some(force),
                swing_velocity_cm_s: swing,
                swing_force: None,
            }
        },
    )
}

fn job() -> impl Strategy<Value = Job> {
    let paths = proptest::collection::vec(path(), 0..6);
    (paths, proptest::option::of(units())).prop_map(|(paths, park)| Job {
        unit_mm: 0.025,
        paths,
        park,
    })
}

fn language() -> impl Strategy<Value = Language> {
    let lists = prop_oneof![Just(Lists::Absolute), Just(Lists::Relative)];
    let encoded = prop_oneof![
        2 => Just(EncodedLines::Never),
        1 => Just(EncodedLines::Base32),
        1 => Just(EncodedLines::Base64),
    ];
    let most = prop_oneof![Just(None), Just(Some(1)), Just(Some(3))];
    (lists, encoded, most, any::<bool>(), any::<bool>()).prop_map(
        |(lists, encoded, pairs_per_instruction, velocity, force)| Language {
            lists,
            encoded,
            pairs_per_instruction,
            velocity,
            force,
            ..Language::default()
        },
    )
}

/// Every instruction in the widest-compatible form.
fn assert_plain_text(written: &Written) {
    let text = String::from_utf8(written.bytes.clone()).expect("plain lists are ASCII");
    assert!(text.ends_with(';'));
    for instruction in text.trim_end_matches(';').split(';') {
        let (letters, numbers) = instruction.split_at(2);
        assert!(letters.bytes().all(|c| c.is_ascii_uppercase()), "{instruction}");
        for number in numbers.split(',').filter(|_| !numbers.is_empty()) {
            let whole = number.parse::<i64>().is_ok();
            let setting = matches!(letters, "VS" | "FS") && number.parse::<f64>().is_ok();
            assert!(whole || setting, "{instruction}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn what_is_written_is_read_back(job in job(), language in language()) {
        let written = hpgl::write(&job, &language);
        let (stretches, at, down) = read_back(&written.bytes);
        prop_assert_eq!(stretches, expected(&job, &language));
        prop_assert!(!down);
        if let Some(park) = job.park {
            prop_assert_eq!(at, park);
        }
        if language.encoded == EncodedLines::Never {
            assert_plain_text(&written);
            let (commands, _) = hpgl::read(&written.bytes);
            let pairs = |c: &hpgl::Located| match &c.command {
                Command::Plain(_, numbers) => numbers.len() / 2,
                _ => 0,
            };
            if let Some(most) = language.pairs_per_instruction {
                prop_assert!(commands.iter().all(|c| pairs(c) <= most));
            }
        }
    }

    /// Header and any later part alone go where the whole job goes there: jobs can be resumed.
    #[test]
    fn every_path_stands_alone(job in job(), language in language()) {
        let written = hpgl::write(&job, &language);
        prop_assert_eq!(written.path_ends.len(), job.paths.len());
        for (i, range) in (0..job.paths.len()).map(|i| (i, written.path_bytes(i))) {
            let Some((from, to)) = range else { continue };
            let mut alone = written.bytes[..written.header_end as usize].to_vec();
            alone.extend_from_slice(&written.bytes[from as usize..to as usize]);
            alone.extend_from_slice(b"PU;");
            let (stretches, _, _) = read_back(&alone);
            prop_assert_eq!(stretches.len(), 1);
            prop_assert_eq!(&stretches[0].points, &job.paths[i].points);
        }
    }
}

#[test]
fn the_widest_form_is_what_it_says() {
    let at = |x, y| Units { x, y };
    let path = JobPath {
        points: vec![at(1000, 1000), at(1400, 1000), at(1400, 1400), at(1000, 1000)],
        parts: vec![Part::Cut; 3],
        tool: 1,
        ..JobPath::default()
    };
    let dot = JobPath { points: vec![at(5, 7)], tool: 1, ..JobPath::default() };
    let job = Job { unit_mm: 0.025, paths: vec![path, dot], park: Some(at(0, 0)) };
    let text = |language: &Language| {
        String::from_utf8_lossy(&hpgl::write(&job, language).bytes).into_owned()
    };
    let language = Language::default();
    assert_eq!(
        text(&language),
        "IN;SP1;PU1000,1000;PD1400,1000,1400,1400,1000,1000;PU5,7;PD;PU;PU0,0;SP0;"
    );
    assert_eq!(
        text(&Language { lists: Lists::Relative, ..language.clone() }),
        "IN;SP1;PU1000,1000;PD;PR400,0,0,400,-400,-400;PA;PU5,7;PD;PU;PU0,0;SP0;"
    );
    // The numbers of the reference's own example of PE in base 32 (PCL 5 manual, pp. 20-34 to 20-42).
    assert_eq!(
        text(&Language { encoded: EncodedLines::Base32, ..language }),
        "IN;SP1;PU1000,1000;PD;PE7?x__?x@x@x;PU5,7;PD;PU;PU0,0;SP0;"
    );
}
