//! What is told about a job: every kind of fault in a few bytes, and none in a clean one.

use bladewright::check;
use bladewright::finding::{Finding, Severity};
use bladewright::pipeline;
use bladewright::profile::{Library, Machine};

fn machine(name: &str) -> Machine {
    Library::default().machine(name).unwrap()
}

fn told(text: &str, machine: &Machine, offset_mm: f64) -> Vec<Finding> {
    let back = pipeline::read_back(text.as_bytes(), machine, offset_mm);
    check::check(&back.simulation, &back.heard, machine)
}

fn codes(text: &str) -> Vec<&'static str> {
    told(text, &machine("plain-hpgl"), 0.0).iter().map(|f| f.code).collect()
}

#[test]
fn a_clean_job_is_passed_without_a_word() {
    let clean = "IN;PA;SP1;PU400,400;PD800,400,800,800,400,800,400,400;\
                 PU0,0;PD1200,0,1200,1200,0,1200,0,0;PU0,0;SP0;";
    assert!(codes(clean).is_empty(), "{:?}", told(clean, &machine("plain-hpgl"), 0.0));
}

#[test]
fn faults_of_the_lines_are_told() {
    assert_eq!(codes("PU0,0;PD400,0,400,400;"), ["left-down"]);
    // The end 10 units (0.25 mm) from the start.
    assert_eq!(codes("PU0,0;PD400,0,400,400,0,400,0,10;PU;"), ["nearly-closed"]);
    // As far from it, but across what was cut first: the piece is free.
    assert!(codes("PU0,0;PD400,0,400,400,10,400,10,-2;PU;").is_empty());
    assert_eq!(codes("PU0,0;PD400,400;PU400,0;PD0,400;PU;"), ["cuts-cross"]);
    // The outer square first.
    let late =
        "PU0,0;PD1200,0,1200,1200,0,1200,0,0;PU400,400;PD800,400,800,800,400,800,400,400;PU;";
    assert_eq!(codes(late), ["inner-after-outer"]);
    // In two that cross, the wider one first: the other is around the small square more closely.
    let wide = "PU0,0;PD1200,0,1200,1200,0,1200,0,0;";
    let flat = "PU-400,300;PD1600,300,1600,900,-400,900,-400,300;";
    let small = "PU400,400;PD800,400,800,800,400,800,400,400;";
    assert_eq!(codes(&format!("{wide}{small}{flat}PU;")), ["cuts-cross", "inner-after-outer"]);
    assert_eq!(codes(&format!("{small}{wide}{flat}PU;")), ["cuts-cross"]);
    assert_eq!(codes(&format!("{small}{flat}{wide}PU;")), ["cuts-cross"]);
}

#[test]
fn lines_cut_twice_are_told_in_whole_and_in_part() {
    let square = "PD400,0,400,400,0,400,0,0;";
    // Two squares with a common side of 10 mm.
    let side = told(
        &format!("PU0,0;{square}PU400,0;PD800,0,800,400,400,400,400,0;PU;"),
        &machine("plain-hpgl"),
        0.0,
    );
    assert_eq!(side.iter().map(|f| f.code).collect::<Vec<_>>(), ["cut-twice"]);
    assert!(side[0].text.contains("10.0 mm"), "{}", side[0].text);
    // The same square from another corner, the other way round, with another cut in between.
    let other = "PU2000,0;PD2400,0;PU400,400;PD400,0,0,0,0,400,400,400;PU;";
    assert_eq!(codes(&format!("PU0,0;{square}{other}")), ["cut-twice"]);
    // Two and three passes are meant.
    assert!(codes(&format!("PU0,0;{square}PU0,0;{square}PU0,0;{square}PU;")).is_empty());
    // A corner in common is no line.
    assert!(codes(&format!("PU0,0;{square}PU400,400;PD800,400,800,800,400,400;PU;")).is_empty());
}

/// Shapes that meet in a point cross by what the tips stray there, and no piece is cut through.
#[test]
fn lines_that_touch_do_not_cross() {
    let square = "PU0,0;PD400,0,400,400,0,400,0,0;";
    // A rhombus whose corner, and a line whose end, pokes through the square's right side.
    for (poke, told) in [(0, false), (1, false), (2, false), (4, true), (40, true)] {
        let x = 400 - poke;
        let rhombus = format!("{square}PU800,200;PD600,300,{x},200,600,100,800,200;PU;");
        let line = format!("{square}PU{x},200;PD900,233;PU;");
        // It grazes the side for a while, and ends beyond it or comes back.
        let graze = format!("{square}PU600,50;PD{x},60,402,90,{x},120,600,130;PU;");
        for job in [rhombus, line, graze] {
            let codes = codes(&job);
            assert_eq!(codes == ["cuts-cross"], told, "{job}: {codes:?}");
            assert!(told || codes.is_empty(), "{job}: {codes:?}");
        }
    }
    // Through both sides, though each way in is right at a corner of the other.
    assert_eq!(codes(&format!("{square}PU-50,1;PD450,399;PU;")), ["cuts-cross"]);
    // Over by a single unit, along for a while, and then on to the other side.
    assert_eq!(codes(&format!("{square}PU300,500;PD399,401,401,300,500,200;PU;")).len(), 0);
    assert_eq!(codes(&format!("{square}PU500,350;PD401,300,399,250,300,200;PU;")), ["cuts-cross"]);
}

/// HP PCL 5 manual, page 19-34, for the area of a flat-bed plotter: `RO 90` turns and shifts the axes, so
/// that x, y comes to lie at width − y, x.
#[test]
fn a_turned_job_lies_in_the_machines_area() {
    let a3 = machine("flatbed-a3");
    let limits = a3.limits_mm().unwrap();
    let back = pipeline::read_back(b"IN;RO90;SP1;PU40,40;PD400,40,400,80;PU;SP0;", &a3, 0.0);
    let first = back.simulation.cuts[0].axis[0];
    let unit = a3.unit_mm;
    assert!((first.x - (limits.max.x - 40.0 * unit)).abs() < 1e-9, "{first:?}");
    assert!((first.y - (limits.min.y + 40.0 * unit)).abs() < 1e-9, "{first:?}");
    let told = check::check(&back.simulation, &back.heard, &a3);
    assert!(told.iter().all(|f| f.code != "outside-limits"), "{told:?}");
}

/// A square of 30 mm as it is written for a blade of 0.25 mm. With a smaller offset the tip's end no longer
/// comes to its start, but the overcut crosses what was cut first: no piece hangs on.
#[test]
fn what_closes_beside_its_start_is_closed() {
    let square = "IN;SP1;PU442,4452;PD600,4452;PU410,3222;PD409,3218,407,3215,404,3212,400,3212,400,3190,4\
                  04,3191,407,3193,409,3196,410,3200,1610,3200,1609,3204,1607,3207,1604,3209,1600,3210,160\
                  0,4410,1596,4409,1593,4407,1591,4404,1590,4400,390,4400,391,4396,393,4393,396,4391,400,4\
                  390,400,3212,400,3200;PU0,0;SP0;";
    let machine = machine("plain-hpgl");
    for offset_mm in [0.1, 0.15, 0.2, 0.25] {
        let back = pipeline::read_back(square.as_bytes(), &machine, offset_mm);
        assert!(check::closing_gap(back.simulation.cuts[1].tip()) < machine.unit_mm);
        let told = check::check(&back.simulation, &back.heard, &machine);
        assert!(told.iter().all(|f| f.code != "nearly-closed"), "{offset_mm}: {told:?}");
    }
}

#[test]
fn what_the_machine_cannot_do_is_told() {
    let bed = machine("flatbed-a4");
    let codes = |text: &str| told(text, &bed, 0.0).iter().map(|f| f.code).collect::<Vec<_>>();
    assert_eq!(codes("PU0,0;PD20000,0;PU;"), ["outside-limits"]);
    // The way there and the way home count as well.
    assert_eq!(codes("PU0,0;PD100,0;PU0,20000;"), ["outside-limits"]);
    assert_eq!(codes("VS99;PU0,0;PD100,0;PU;"), ["setting-not-taken"]);
    assert_eq!(codes("PU0,0;PD;BZ100,0,200,0,300,100;PU;"), ["instruction-newer"]);
    let endless = Machine { hard_clip: None, sixteen_bit: true, ..machine("plain-hpgl") };
    let far = told("PU0,0;PD40000,0;PU;", &endless, 0.0);
    assert_eq!(far[0].code, "beyond-numbers");
    assert_eq!(far[0].severity, Severity::Error);
    assert_eq!(far[0].place.byte, Some(6));
    assert_eq!(far[0].place.x_mm, Some(1000.0));
}

#[test]
fn a_line_that_sets_the_pace_is_told_with_what_helps() {
    let mut slow = machine("roll-24");
    slow.serial.as_mut().unwrap().baud = 300;
    let mut text = String::from("IN;PU0,0;PD");
    for i in 1..200 {
        text += &format!("{},{},", i * 4, i % 2);
    }
    text = text.trim_end_matches(',').to_owned() + ";PU;";
    let findings = told(&text, &slow, 0.0);
    let pace: Vec<_> = findings.iter().filter(|f| f.code == "line-sets-pace").collect();
    assert_eq!(pace.len(), 1, "{findings:?}");
    assert!(pace[0].hint.contains("higher rate"), "{}", pace[0].hint);
    slow.serial.as_mut().unwrap().baud = 1_000_000;
    assert!(!told(&text, &slow, 0.0).iter().any(|f| f.code == "line-sets-pace"));
}

#[test]
fn an_assumed_heading_is_told_unless_the_job_turns_the_blade() {
    let roll = machine("roll-24");
    let assumed = |text: &str| told(text, &roll, 0.25).iter().any(|f| f.code == "heading-assumed");
    assert!(assumed("IN;PU400,400;PD800,400,800,800,400,800,400,400;PU;"));
    assert!(!assumed("IN;PU0,0;PD160,0;PU400,400;PD800,400,800,800,400,800,400,400;PU;"));
}

#[test]
fn many_cuts_upon_each_other_do_not_take_for_ever() {
    let text = "PU0,0;PD0,40;".repeat(60_000) + "PU;";
    assert!(codes(&text).contains(&"not-compared"));
}

/// The fuzzer's seeds, and what it found: whole turns by the hundred upon each other once took the
/// comparison of cuts more than ten seconds.
#[test]
fn the_fuzzers_seeds_are_done_with_soon() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus/hpgl_read");
    let mut count = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let bytes = std::fs::read(entry.unwrap().path()).unwrap();
        let roll = machine("roll-24");
        let back = pipeline::read_back(&bytes, &roll, 0.25);
        check::check(&back.simulation, &back.heard, &roll);
        count += 1;
    }
    assert!(count >= 30);
}

/// Base 64 ends each number with a byte of 191 to 254 (HP, PCL 5 Printer Language Technical Reference Manual II,
/// pp. 20-34 to 20-42), base 32 with one of 95 to 126: ten units are doubled to 20.
#[test]
fn encoded_lines_that_a_line_of_seven_bits_garbles_are_told() {
    let mut narrow = machine("roll-24");
    if let Some(serial) = &mut narrow.serial {
        serial.data_bits = 7;
    }
    let told = |body: &[u8], machine: &Machine| {
        let job = [b"IN;SP1;PU400,400;PD;PE", body, b";PU;SP0;"].concat();
        let back = pipeline::read_back(&job, machine, 0.0);
        let found = check::check(&back.simulation, &back.heard, machine);
        found.iter().any(|f| f.code == "eighth-bit-lost" && f.place.byte == Some(20))
    };
    let (base_64, base_32) = ([191 + 20, 191 + 20].repeat(3), [b"7", &[95 + 20; 6][..]].concat());
    assert!(told(&base_64, &narrow));
    assert!(!told(&base_64, &machine("roll-24")));
    assert!(!told(&base_32, &narrow));
}

/// What editors put before a text and old systems behind it is no instruction, and no puzzle either.
#[test]
fn marks_around_a_text_are_told_in_plain_words() {
    let told = |bytes: &[u8]| {
        let back = pipeline::read_back(bytes, &machine("plain-hpgl"), 0.0);
        (back.simulation.cuts.len(), back.findings.iter().map(|f| f.code).collect::<Vec<_>>())
    };
    let job = b"IN;SP1;PU0,0;PD400,0;PU;SP0;";
    assert_eq!(told(&[b"\xef\xbb\xbf", &job[..]].concat()), (1, vec!["byte-order-mark"]));
    assert_eq!(told(&[&job[..], b"\r\n\x1a"].concat()), (1, vec![]));
    assert_eq!(told(&[&job[..], b"\x1a\x1a\n"].concat()), (1, vec![]));
    // Amid a job it stands for nothing.
    assert_eq!(told(b"IN;\x1aSP1;PU0,0;PD400,0;PU;").1, ["stray-byte"]);
}
