//! Where profiles are found: by path, in the user's folder, built in; in that order.

use std::path::{Path, PathBuf};

use super::parse::{self, ProfileError};
use super::{Machine, Material};

/// Built-in machine profiles: name and text.
const MACHINES: &[(&str, &str)] = &[
    ("roll-24", include_str!("../../machine-profiles/machines/roll-24.toml")),
    ("roll-15", include_str!("../../machine-profiles/machines/roll-15.toml")),
    ("flatbed-cutter", include_str!("../../machine-profiles/machines/flatbed-cutter.toml")),
    ("flatbed-a3", include_str!("../../machine-profiles/machines/flatbed-a3.toml")),
    ("flatbed-a4", include_str!("../../machine-profiles/machines/flatbed-a4.toml")),
    ("plain-hpgl", include_str!("../../machine-profiles/machines/plain-hpgl.toml")),
];

/// Built-in material profiles: name and text.
const MATERIALS: &[(&str, &str)] = &[
    ("vinyl-cast", include_str!("../../machine-profiles/materials/vinyl-cast.toml")),
    ("vinyl-calendered", include_str!("../../machine-profiles/materials/vinyl-calendered.toml")),
    ("vinyl-metallic", include_str!("../../machine-profiles/materials/vinyl-metallic.toml")),
    ("stencil-film", include_str!("../../machine-profiles/materials/stencil-film.toml")),
    ("reflective-beaded", include_str!("../../machine-profiles/materials/reflective-beaded.toml")),
    (
        "reflective-prismatic",
        include_str!("../../machine-profiles/materials/reflective-prismatic.toml"),
    ),
    ("transfer-flex", include_str!("../../machine-profiles/materials/transfer-flex.toml")),
    ("transfer-flock", include_str!("../../machine-profiles/materials/transfer-flock.toml")),
    ("window-tint", include_str!("../../machine-profiles/materials/window-tint.toml")),
    ("paper-80g", include_str!("../../machine-profiles/materials/paper-80g.toml")),
    ("card-200g", include_str!("../../machine-profiles/materials/card-200g.toml")),
    ("sandblast-thin", include_str!("../../machine-profiles/materials/sandblast-thin.toml")),
    ("sandblast-heavy", include_str!("../../machine-profiles/materials/sandblast-heavy.toml")),
    ("magnetic", include_str!("../../machine-profiles/materials/magnetic.toml")),
    ("pen", include_str!("../../machine-profiles/materials/pen.toml")),
];

/// Where a profile was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FoundIn {
    /// Part of the program.
    BuiltIn,
    /// A file.
    File(PathBuf),
}

/// A profile that can be chosen by name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// Its name.
    pub name: String,
    /// Where it is.
    pub origin: FoundIn,
}

/// All profiles within reach.
#[derive(Debug, Clone, Default)]
pub struct Library {
    /// The user's folder, with `machines/` and `materials/` below it.
    folder: Option<PathBuf>,
}

/// What sets the two sorts of profiles apart.
struct Shelf {
    what: &'static str,
    subfolder: &'static str,
    built_in: &'static [(&'static str, &'static str)],
}

const MACHINE_SHELF: Shelf = Shelf { what: "machine", subfolder: "machines", built_in: MACHINES };
const MATERIAL_SHELF: Shelf =
    Shelf { what: "material", subfolder: "materials", built_in: MATERIALS };

impl Library {
    /// The built-in profiles and those in the user's config folder (`bladewright/` below the
    /// system's place for configuration, or the folder named by `BLADEWRIGHT_PROFILES`).
    pub fn of_user() -> Self {
        use etcetera::BaseStrategy;
        let chosen = std::env::var_os("BLADEWRIGHT_PROFILES").map(PathBuf::from);
        let usual =
            || Some(etcetera::choose_base_strategy().ok()?.config_dir().join("bladewright"));
        Self { folder: chosen.or_else(usual) }
    }

    /// The built-in profiles and those in `folder`.
    pub fn with_folder(folder: PathBuf) -> Self {
        Self { folder: Some(folder) }
    }

    /// The user's folder for material profiles.
    pub fn material_folder(&self) -> Option<PathBuf> {
        Some(self.folder.as_ref()?.join(MATERIAL_SHELF.subfolder))
    }

    /// The machine called `name`, or in the file `name`.
    ///
    /// # Errors
    /// [`ProfileError`] when there is none, or it is no machine profile.
    pub fn machine(&self, name: &str) -> Result<Machine, ProfileError> {
        let (text, file) = self.machine_text(name)?;
        parse::machine_from_text(&text, &file)
    }

    /// The material called `name`, or in the file `name`.
    ///
    /// # Errors
    /// [`ProfileError`] when there is none, or it is no material profile.
    pub fn material(&self, name: &str) -> Result<Material, ProfileError> {
        let (text, file) = self.material_text(name)?;
        parse::material_from_text(&text, &file)
    }

    /// The text of a machine profile and the name of its file.
    ///
    /// # Errors
    /// [`ProfileError`] when there is none.
    pub fn machine_text(&self, name: &str) -> Result<(String, String), ProfileError> {
        self.text(&MACHINE_SHELF, name)
    }

    /// The text of a material profile and the name of its file.
    ///
    /// # Errors
    /// [`ProfileError`] when there is none.
    pub fn material_text(&self, name: &str) -> Result<(String, String), ProfileError> {
        self.text(&MATERIAL_SHELF, name)
    }

    /// The machines that can be chosen by name.
    pub fn machines(&self) -> Vec<Listed> {
        self.list(&MACHINE_SHELF)
    }

    /// The materials that can be chosen by name.
    pub fn materials(&self) -> Vec<Listed> {
        self.list(&MATERIAL_SHELF)
    }

    fn text(&self, shelf: &Shelf, name: &str) -> Result<(String, String), ProfileError> {
        let is_path = name.ends_with(".toml") || name.contains(std::path::MAIN_SEPARATOR);
        let own = self.file(shelf, name).filter(|path| path.is_file());
        if let Some(path) = is_path.then(|| PathBuf::from(name)).or(own) {
            return read(&path);
        }
        if let Some((_, text)) = shelf.built_in.iter().find(|(known, _)| *known == name) {
            return Ok(((*text).to_owned(), format!("built-in {} {name}", shelf.what)));
        }
        Err(self.unknown(shelf, name))
    }

    fn file(&self, shelf: &Shelf, name: &str) -> Option<PathBuf> {
        Some(self.folder.as_ref()?.join(shelf.subfolder).join(format!("{name}.toml")))
    }

    fn unknown(&self, shelf: &Shelf, name: &str) -> ProfileError {
        let listed = self.list(shelf);
        let names: Vec<&str> = listed.iter().map(|l| l.name.as_str()).collect();
        let advice = match parse::closest(name, &names) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("there are: {}", names.join(", ")),
        };
        ProfileError::Unknown { what: shelf.what, name: name.to_owned(), advice }
    }

    fn list(&self, shelf: &Shelf) -> Vec<Listed> {
        let mut own = self.own(shelf);
        own.sort();
        let files = own.into_iter().map(|path| Listed {
            name: path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default(),
            origin: FoundIn::File(path),
        });
        let mut all: Vec<Listed> = files.collect();
        for (name, _) in shelf.built_in {
            if !all.iter().any(|listed| listed.name == *name) {
                all.push(Listed { name: (*name).to_owned(), origin: FoundIn::BuiltIn });
            }
        }
        all
    }

    fn own(&self, shelf: &Shelf) -> Vec<PathBuf> {
        let Some(folder) = &self.folder else { return Vec::new() };
        let Ok(entries) = std::fs::read_dir(folder.join(shelf.subfolder)) else {
            return Vec::new();
        };
        let paths = entries.flatten().map(|entry| entry.path());
        paths.filter(|path| path.extension().is_some_and(|e| e == "toml")).collect()
    }
}

fn read(path: &Path) -> Result<(String, String), ProfileError> {
    let file = path.display().to_string();
    match std::fs::read_to_string(path) {
        Ok(text) => Ok((text, file)),
        Err(why) => {
            let why = match why.kind() {
                std::io::ErrorKind::InvalidData => "save it as text in UTF-8".to_owned(),
                _ => why.to_string(),
            };
            Err(ProfileError::Unreadable { path: file, why })
        }
    }
}
