//! Profiles: every built-in one reads, every value names its source, every slip is explained.

use bladewright::profile::{Library, ProfileError, machine_from_text, material_from_text};

fn library() -> (tempfile::TempDir, Library) {
    let folder = tempfile::tempdir().unwrap();
    let library = Library::with_folder(folder.path().to_owned());
    (folder, library)
}

/// Every value of a profile by its key, those in tables as `table.key`, its names left out.
fn leaves(table: &toml::Table, before: &str) -> Vec<String> {
    let named = |key: &str| before.is_empty() && matches!(key, "name" | "title" | "source");
    let of = |(key, value): (&String, &toml::Value)| match value {
        toml::Value::Table(inner) => leaves(inner, &format!("{before}{key}.")),
        _ => vec![format!("{before}{key}")],
    };
    table.iter().filter(|(key, _)| !named(key)).flat_map(of).collect()
}

/// Values of a profile without a source, and sources without a value.
fn unsourced(text: &str) -> Vec<String> {
    let table: toml::Table = text.parse().unwrap();
    let sources = table["source"].as_table().unwrap();
    let leaves = leaves(&table, "");
    let told = |key: &str| sources.get(key).and_then(|s| s.as_str()).is_some_and(|s| s.len() > 5);
    let stale = sources.keys().filter(|k| !leaves.contains(k)).map(|k| format!("stale {k}"));
    leaves.iter().filter(|key| !told(key)).cloned().chain(stale).collect()
}

#[test]
fn every_built_in_profile_reads_and_names_its_sources() {
    let (_folder, library) = library();
    assert!(library.machines().len() >= 5 && library.materials().len() >= 15);
    for listed in library.machines() {
        let machine = library.machine(&listed.name).unwrap();
        assert_eq!(machine.name, listed.name);
        let text = library.machine_text(&listed.name).unwrap().0;
        assert_eq!(unsourced(&text), [""; 0], "{}", listed.name);
    }
    for listed in library.materials() {
        let material = library.material(&listed.name).unwrap();
        assert_eq!(material.name, listed.name);
        let text = library.material_text(&listed.name).unwrap().0;
        assert_eq!(unsourced(&text), [""; 0], "{}", listed.name);
    }
}

#[test]
fn a_value_in_a_table_needs_its_own_source() {
    let text = "name = 'x'\nunit_mm = 1\n[motion]\nlift_s = 1\nlower_s = 2\n[source]\nunit_mm = 'a manual'\n\
                'motion.lift_s' = 'a manual'\nmotion = 'a manual'\n";
    assert_eq!(unsourced(text), ["motion.lower_s", "stale motion"]);
}

/// What a material is cut with: only a tool without an edge, or a material that is refused, leaves
/// something out.
#[test]
fn every_material_says_all_that_a_cut_needs() {
    let (_folder, library) = library();
    for listed in library.materials() {
        let table: toml::Table = library.material_text(&listed.name).unwrap().0.parse().unwrap();
        let missing = |keys: &[&str]| {
            keys.iter()
                .filter(|k| !table.contains_key(**k))
                .map(|k| k.to_string())
                .collect::<Vec<_>>()
        };
        let always = [
            "blade_offset_mm",
            "overcut_mm",
            "swing_tolerance_mm",
            "passes",
            "smallest_piece_mm",
            "smallest_stroke_mm",
            "smallest_letter_mm",
            "mirrored",
        ];
        assert_eq!(missing(&always), [""; 0], "{}", listed.name);
        if !table.contains_key("refused") {
            assert_eq!(missing(&["force_gf", "velocity_cm_s"]), [""; 0], "{}", listed.name);
            let edge = ["blade_angle_deg", "blade_extension_mm"];
            let wanted = if listed.name == "pen" { edge.len() } else { 0 };
            assert_eq!(missing(&edge).len(), wanted, "{}", listed.name);
        }
    }
}

#[test]
fn every_file_in_the_folder_is_built_in() {
    let (_folder, library) = library();
    for (folder, listed) in [("machines", library.machines()), ("materials", library.materials())] {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("machine-profiles");
        for entry in std::fs::read_dir(path.join(folder)).unwrap() {
            let name = entry.unwrap().path().file_stem().unwrap().to_string_lossy().into_owned();
            assert!(listed.iter().any(|l| l.name == name), "{folder}/{name} is not embedded");
        }
    }
}

/// ISO 216: an A4 sheet measures 210 × 297 mm, A3 297 × 420 mm; the flat-bed plotters' areas fit
/// on them and use most of them.
#[test]
fn the_flat_beds_areas_fit_their_sheets() {
    let (_folder, library) = library();
    for (name, long, short) in [("flatbed-a4", 297.0, 210.0), ("flatbed-a3", 420.0, 297.0)] {
        let area = library.machine(name).unwrap().limits_mm().unwrap();
        assert!(area.width() < long && area.width() > 0.85 * long, "{name} {}", area.width());
        assert!(area.height() < short && area.height() > 0.85 * short, "{name}");
    }
}

#[test]
fn a_users_file_takes_precedence() {
    let (folder, library) = library();
    let own = folder.path().join("materials");
    std::fs::create_dir_all(&own).unwrap();
    let text = library.material_text("vinyl-cast").unwrap().0;
    std::fs::write(
        own.join("vinyl-cast.toml"),
        text.replace("blade_offset_mm = 0.25", "blade_offset_mm = 0.31"),
    )
    .unwrap();
    assert_eq!(library.material("vinyl-cast").unwrap().blade_offset_mm, 0.31);
    let path = own.join("vinyl-cast.toml");
    assert_eq!(library.material(path.to_str().unwrap()).unwrap().blade_offset_mm, 0.31);
}

#[test]
fn slips_are_explained() {
    let (_folder, library) = library();
    let good = library.material_text("vinyl-cast").unwrap().0;
    let said = |text: String| material_from_text(&text, "mine.toml").unwrap_err().to_string();
    let unknown = said(good.replace("overcut_mm", "overcutt_mm"));
    assert!(unknown.contains("did you mean \"overcut_mm\"?"), "{unknown}");
    assert!(unknown.starts_with("mine.toml:"), "{unknown}");
    let negative = said(good.replace("blade_offset_mm = 0.25", "blade_offset_mm = -0.25"));
    assert!(negative.contains("blade_offset_mm is -0.25; it must be 0 or more"), "{negative}");
    let word = said(good.replace("blade_offset_mm = 0.25", "blade_offset_mm = \"wide\""));
    assert!(word.contains("mine.toml:6:"), "{word}");
    assert!(word.contains("the text \"wide\" stands where a number, as 0.25, belongs"), "{word}");
    for (slip, says) in [
        ("passes = 1.5", "the number 1.5 stands where a whole number"),
        ("passes = -1", "the number -1 stands where a whole number, 0 or more, belongs"),
        ("passes = [1]", "a list stands where a whole number"),
        ("passes = true", "the word true stands where a whole number"),
        ("passes = 1\npasses = 2", "this key stands here a second time"),
        ("passes 1", "a line is KEY = VALUE"),
    ] {
        let said = said(good.replace("passes = 1\n", &format!("{slip}\n")));
        assert!(said.contains(says) && said.starts_with("mine.toml:"), "{said}");
    }
    let from_another = said(format!("extends = \"vinyl-calendered\"\n{good}"));
    assert!(from_another.contains("takes no values from another; copy"), "{from_another}");
    let range = said(good.replace("[40.0, 90.0]", "[40.0]"));
    assert!(range.contains("a list of two numbers"), "{range}");
    let table = said(good.replace("[through]\n", "through = 3\n[score]\n"));
    assert!(table.contains("the number 3 stands where a table belongs"), "{table}");
    let alone = said(good.replace("passes = 1", "passes = 1\nswing_force = 5.0"));
    assert!(alone.contains("swing_force needs machine_force as well"), "{alone}");
    let empty = said(String::new());
    assert!(empty.contains("is missing"), "{empty}");
    let machine = library.machine_text("roll-15").unwrap().0;
    let zero = machine_from_text(&machine.replace("baud = 9600", "baud = 0"), "m").unwrap_err();
    assert!(zero.to_string().contains("serial.baud is 0"), "{zero}");
    // PCL 5 Technical Reference II, p. 20-36: base 64 needs a line of 8 bits.
    let line = |bits: &str, encoded: &str| {
        let text = machine.replace("data_bits = 8", &format!("data_bits = {bits}"));
        let lists = "lists = \"absolute\"";
        let encoded = format!("{lists}\nencoded = \"{encoded}\"");
        machine_from_text(&text.replace(lists, &encoded), "m")
    };
    let narrow = line("7", "base64").unwrap_err().to_string();
    assert!(narrow.contains("takes \"base32\""), "{narrow}");
    assert!(line("7", "base32").is_ok() && line("8", "base64").is_ok());
    let nan = machine_from_text(&machine.replace("unit_mm = 0.025", "unit_mm = nan"), "m");
    assert!(matches!(nan, Err(ProfileError::Value { .. })));
}

#[test]
fn values_that_contradict_sense_or_each_other_are_refused() {
    let (_folder, library) = library();
    let good = library.material_text("vinyl-cast").unwrap().0;
    let said = |key: &str, line: &str| {
        let old = good.lines().find(|old| old.starts_with(key)).unwrap();
        material_from_text(&good.replacen(old, line, 1), "m.toml").map_err(|e| e.to_string())
    };
    for (key, line, says) in [
        ("blade_angle_deg", "blade_angle_deg = 95.0", "is 95; it must be below 90"),
        ("name", "name = \"\"", "name is empty"),
        ("title", "title = \" \"", "title is empty"),
        (
            "force_gf",
            "force_gf = 900.0",
            "force_gf is 900, outside force_range_gf, which is [40, 90]",
        ),
    ] {
        let told = said(key, line).unwrap_err();
        assert!(told.contains(says), "{told}");
    }
    for (key, line) in
        [("blade_angle_deg", "blade_angle_deg = 60.0"), ("force_gf", "force_gf = 90.0")]
    {
        assert!(said(key, line).is_ok());
    }
    let machine = library.machine_text("roll-15").unwrap().0;
    let nameless = machine.replacen("name = \"roll-15\"", "name = \"\"", 1);
    let told = machine_from_text(&nameless, "m.toml").unwrap_err().to_string();
    assert!(told.contains("name is empty"), "{told}");
}

#[test]
fn an_unknown_name_lists_what_there_is() {
    let (_folder, library) = library();
    let near = library.material("vynil-cast").unwrap_err().to_string();
    assert!(near.contains("did you mean \"vinyl-cast\"?"), "{near}");
    let far = library.machine("steamroller").unwrap_err().to_string();
    assert!(far.contains("plain-hpgl"), "{far}");
    let missing = library.machine("./nowhere.toml").unwrap_err().to_string();
    assert!(missing.contains("nowhere.toml cannot be read"), "{missing}");
}

/// Slips of the unit: units to the millimetre instead of a unit's length, mm/s or mm/min instead of cm/s.
#[test]
fn values_in_another_unit_are_refused() {
    let (_folder, library) = library();
    // The values come before their sources.
    let with = |text: &str, key: &str, value: &str| {
        let old = text.lines().find(|line| line.starts_with(key)).unwrap();
        text.replacen(old, &format!("{key}{value}"), 1)
    };
    let machine = library.machine_text("roll-24").unwrap().0;
    let told = machine_from_text(&with(&machine, "unit_mm = ", "40"), "own.toml").unwrap_err();
    assert!(told.to_string().contains("0.025 where 40 of them are a millimetre"), "{told}");
    assert!(machine_from_text(&with(&machine, "unit_mm = ", "0.1"), "own.toml").is_ok());
    let material = library.material_text("vinyl-cast").unwrap().0;
    let told = material_from_text(&with(&material, "velocity_cm_s = ", "9000"), "own.toml");
    let told = told.unwrap_err().to_string();
    assert!(told.contains("velocity_cm_s is 9000; it must be at most 300"), "{told}");
    assert!(material_from_text(&with(&material, "velocity_cm_s = ", "150"), "own.toml").is_ok());
}

/// A profile in another encoding is told with what to do, and one with a mark of byte order is read.
#[test]
fn profiles_are_text_in_utf_8() {
    let (folder, library) = library();
    let text = library.material_text("pen").unwrap().0;
    let utf_16: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let marked = format!("\u{feff}{}", text.replace('\n', "\r\n"));
    let path = folder.path().join("own.toml");
    std::fs::write(&path, [&[0xff, 0xfe][..], &utf_16].concat()).unwrap();
    let told = library.material(path.to_str().unwrap()).unwrap_err().to_string();
    assert!(told.contains("own.toml cannot be read: save it as text in UTF-8"), "{told}");
    std::fs::write(&path, marked).unwrap();
    assert!(library.material(path.to_str().unwrap()).is_ok());
}

/// Lists say of no value which it is.
#[test]
fn a_list_in_place_of_a_table_is_refused() {
    let (_folder, library) = library();
    let machine = library.machine_text("plain-hpgl").unwrap().0;
    for (line, told) in [
        (
            "hard_clip = [0, 0, 600, 1000]",
            "own.toml:1:1: hard_clip is a list, in which no value has a name; write hard_clip = { x_min = 0, \
             y_min = 0, x_max = 600, y_max = 1000 }",
        ),
        (
            "motion = [1.0]",
            "own.toml:1:1: motion is a list, in which no value has a name; write [motion] with a line \
             KEY = VALUE for each below it",
        ),
    ] {
        let error = machine_from_text(&format!("{line}\n{machine}"), "own.toml").unwrap_err();
        assert_eq!(error.to_string(), told);
    }
}
