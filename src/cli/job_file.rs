//! Job files: the options of a repeated job, written down once.
//!
//! A job file is TOML: `drawing = "decal.svg"` (from the job file's folder) and any long option of
//! the command by its name, as `width = "200mm"`, `pack = true` or `layers = ["Cut", "Crease"]`. What
//! is wanted for one layer stands in a table of its own: `[layer."Crease"]` with `as`, `tool`,
//! `material`, `depth`, `dash`. What is typed on the command line takes precedence, layer by layer, also
//! over options that exclude each other.
//! The known keys are read from the commands themselves, so no option can be forgotten here; what only
//! another command knows (as `output`, which `check` has not) is passed over.

use std::ffi::{OsStr, OsString};
use std::path::{Path, PathBuf};

use clap::{Arg, ArgAction, ArgMatches, Command, error::ErrorKind, parser::ValueSource};

use super::layers::{NAMED, NAMED_OR_ALL, names, parted};
use super::{Failure, files};
use crate::ink::as_listed;

/// The table of what is wanted for single layers.
const LAYER: &str = "layer";
/// The option that lists layers.
const LAYERS: &str = "layers";
/// Options that are about the job file itself.
const OWN: [&str; 3] = ["job", "save-job", "help"];

/// The arguments with those of a job file, if `--job` names one.
pub fn expand(command: &Command, arguments: Vec<OsString>) -> Result<Vec<OsString>, Failure> {
    let Some(path) = value_of(&arguments, "--job") else { return Ok(arguments) };
    let Some(sub) = arguments.get(1).and_then(|name| command.find_subcommand(name)) else {
        return Ok(arguments);
    };
    let text = files::read(&path)?;
    filled_in(command, sub, &arguments, (&path, &String::from_utf8_lossy(&text)))
}

/// `arguments` of `sub`, with those that the `text` of the job file `path` holds.
fn filled_in(
    command: &Command,
    sub: &Command,
    arguments: &[OsString],
    (path, text): (&Path, &str),
) -> Result<Vec<OsString>, Failure> {
    let table: toml::Table = text.parse().map_err(|error: toml::de::Error| {
        let before = error.span().and_then(|span| text.get(..span.start));
        let row = before.map_or(1, |before| before.matches('\n').count() + 1);
        refuse(path, &format!("row {row}: {}", crate::profile::explained(error.message())))
    })?;
    let mut all = arguments.to_vec();
    for (key, value) in table.iter().filter(|(key, _)| *key != "drawing") {
        if key == LAYER {
            all.extend(of_layers(value, sub, arguments).map_err(|text| refuse(path, &text))?);
            continue;
        }
        let Some(arg) = known(sub, key) else {
            if of_other_command(command, key) {
                continue;
            }
            return Err(unknown(sub, path, key));
        };
        let overridden = match NAMED_OR_ALL.iter().find(|(option, _)| option == key) {
            Some(_) => typed_for(key, None, arguments),
            None => overridden(sub, arg, arguments),
        };
        if !overridden {
            all.extend(typed(key, value, arg).map_err(|text| refuse(path, &text))?);
        }
    }
    if let Some(drawing) = table.get("drawing") {
        let name = drawing.as_str().ok_or_else(|| refuse(path, "drawing is no text"))?;
        add_drawing(command, &mut all, path, name);
    }
    Ok(all)
}

/// The `text` of a job file for the command `name`, read and written again as `--save-job` would.
pub fn rewritten(command: &Command, name: &str, text: &str) -> Result<String, Failure> {
    let sub = command.find_subcommand(name).ok_or_else(|| Failure::usage("no such command"))?;
    let path = Path::new("/job.toml");
    let typed = ["bladewright", name].map(OsString::from);
    let arguments = filled_in(command, sub, &typed, (path, text))?;
    let matches = command.clone().try_get_matches_from(arguments).map_err(Failure::usage)?;
    let used = matches.subcommand().map_or(&matches, |(_, used)| used);
    text_of(sub, used, path)
}

/// Adds the drawing unless one was typed.
fn add_drawing(command: &Command, all: &mut Vec<OsString>, job: &Path, name: &str) {
    let missing = command.clone().try_get_matches_from(all.iter());
    if missing.is_err_and(|error| error.kind() == ErrorKind::MissingRequiredArgument) {
        let folder = job.parent().unwrap_or(Path::new(""));
        all.push(folder.join(name).into_os_string());
    }
}

/// What the layers' tables want, as it would be typed.
fn of_layers(
    value: &toml::Value,
    sub: &Command,
    arguments: &[OsString],
) -> Result<Vec<OsString>, String> {
    let shape = "write a table for each layer, as [layer.\"Crease\"] and below it as = \"score\"";
    let layers = value.as_table().ok_or(shape)?;
    let mut all = Vec::new();
    for (layer, wishes) in layers {
        let wishes = wishes.as_table().ok_or(shape)?;
        for (key, value) in wishes {
            let mut options = NAMED.iter().chain(&NAMED_OR_ALL);
            let option = options.find(|(_, own)| own == key).map(|(option, _)| *option);
            let option = option.filter(|option| known_option(sub, option)).ok_or_else(|| {
                let words: Vec<&str> = NAMED.iter().chain(&NAMED_OR_ALL).map(|o| o.1).collect();
                let near = crate::profile::closest(key, &words);
                let near = near.map_or(String::new(), |near| format!("did you mean \"{near}\"? "));
                format!(
                    "the key \"{key}\" of the layer \"{layer}\" is not known; {near}known are {}",
                    words.join(", ")
                )
            })?;
            let text = plain(value).ok_or_else(|| {
                format!("{key} of the layer \"{layer}\" must be a text or a number")
            })?;
            if !typed_for(option, Some(layer), arguments) {
                all.push(OsString::from(format!("--{option}={layer}={text}")));
            }
        }
    }
    Ok(all)
}

fn known_option(sub: &Command, option: &str) -> bool {
    sub.get_arguments().any(|arg| arg.get_long() == Some(option))
}

/// Whether `option` was typed for `layer`, or, without one, for all.
fn typed_for(option: &str, layer: Option<&str>, arguments: &[OsString]) -> bool {
    let flag = format!("--{option}");
    let texts: Vec<&str> = arguments.iter().filter_map(|a| a.to_str()).collect();
    let apart = texts.windows(2).filter(|pair| pair[0] == flag).map(|pair| pair[1]);
    let joined = texts.iter().filter_map(|text| text.strip_prefix(&flag)?.strip_prefix('='));
    apart.chain(joined).any(|text| parted(text).0 == layer)
}

fn refuse(path: &Path, text: &str) -> Failure {
    Failure::usage(format!("job file {}: {text}", path.display()))
}

fn unknown(sub: &Command, path: &Path, key: &str) -> Failure {
    if let Some((_, own)) = NAMED.iter().find(|(option, _)| *option == key) {
        let text = format!(
            "\"{key}\" is wanted for single layers: write [layer.\"NAME\"] and below it {own} = ..."
        );
        return refuse(path, &text);
    }
    let names = keys(sub);
    let words: Vec<&str> = names.iter().map(String::as_str).collect();
    let advice = match crate::profile::closest(key, &words) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!("known are drawing, {}", names.join(", ")),
    };
    refuse(path, &format!("the key \"{key}\" is not known; {advice}"))
}

fn keys(sub: &Command) -> Vec<String> {
    let long = sub.get_arguments().filter_map(|arg| arg.get_long().map(str::to_owned));
    let own = |name: &String| OWN.contains(&name.as_str());
    let layer = |name: &String| NAMED.iter().any(|(option, _)| option == name);
    long.filter(|name| !own(name) && !layer(name)).chain([LAYER.to_owned()]).collect()
}

fn known<'a>(sub: &'a Command, key: &str) -> Option<&'a Arg> {
    let arg = sub.get_arguments().find(|arg| arg.get_long() == Some(key))?;
    let named = NAMED.iter().any(|(option, _)| *option == key);
    (!OWN.contains(&key) && !named).then_some(arg)
}

/// Whether another command that takes job files knows `key`: one file serves them all.
fn of_other_command(command: &Command, key: &str) -> bool {
    let takes_jobs = |sub: &&Command| known_option(sub, OWN[0]);
    command.get_subcommands().filter(takes_jobs).any(|sub| known(sub, key).is_some())
}

/// Whether `arg`, or an option that excludes it, was typed.
fn overridden(sub: &Command, arg: &Arg, arguments: &[OsString]) -> bool {
    let excludes = |other: &Arg| {
        sub.get_arg_conflicts_with(arg).iter().any(|c| c.get_id() == other.get_id())
            || sub.get_arg_conflicts_with(other).iter().any(|c| c.get_id() == arg.get_id())
    };
    let rivals =
        sub.get_arguments().filter(|other| other.get_id() == arg.get_id() || excludes(other));
    rivals.into_iter().any(|rival| is_typed(rival, arguments))
}

/// Whether `arg` stands among `arguments`, as they were typed.
pub fn is_typed(arg: &Arg, arguments: &[OsString]) -> bool {
    let long = arg.get_long().map(|name| format!("--{name}"));
    let short = arg.get_short().map(|letter| format!("-{letter}"));
    arguments.iter().filter_map(|a| a.to_str()).any(|text| {
        let by_long = long.as_deref().is_some_and(|name| {
            text == name || text.strip_prefix(name).is_some_and(|rest| rest.starts_with('='))
        });
        by_long || short.as_deref().is_some_and(|s| text.starts_with(s))
    })
}

/// The value as it would be typed.
fn typed(key: &str, value: &toml::Value, arg: &Arg) -> Result<Vec<OsString>, String> {
    let one = |text: String| OsString::from(format!("--{key}={text}"));
    let flag = matches!(arg.get_action(), ArgAction::SetTrue);
    match value {
        toml::Value::Boolean(on) if flag => {
            Ok(on.then(|| OsString::from(format!("--{key}"))).into_iter().collect())
        }
        _ if flag => Err(format!("{key} is on or off; write {key} = true or {key} = false")),
        toml::Value::Array(values) => {
            let texts: Option<Vec<String>> = values.iter().map(plain).collect();
            let texts = texts.ok_or_else(|| format!("{key} holds more than texts and numbers"))?;
            match arg.get_value_delimiter() {
                Some(comma) => Ok(vec![one(texts.join(&comma.to_string()))]),
                None if key == LAYERS => {
                    Ok(texts.iter().map(|text| one(as_listed(text))).collect())
                }
                None => Ok(texts.into_iter().map(one).collect()),
            }
        }
        value => {
            let text = plain(value).ok_or_else(|| format!("{key} must be a text or a number"))?;
            Ok(vec![one(text)])
        }
    }
}

fn plain(value: &toml::Value) -> Option<String> {
    match value {
        toml::Value::String(text) => Some(text.clone()),
        toml::Value::Integer(number) => Some(number.to_string()),
        toml::Value::Float(number) => Some(number.to_string()),
        _ => None,
    }
}

/// Writes what was typed as a job file, if `--save-job` asks for one.
pub fn save(command: &Command, matches: &ArgMatches) -> Result<(), Failure> {
    let Some((name, used)) = matches.subcommand() else { return Ok(()) };
    let wanted = used.try_get_one::<PathBuf>("save_job").ok().flatten();
    let (Some(path), Some(sub)) = (wanted, command.find_subcommand(name)) else { return Ok(()) };
    let text = text_of(sub, used, path)?;
    let input = drawing(used).map_or(Path::new("-"), PathBuf::as_path);
    files::Target::open(path, input)?.put(text.as_bytes())
}

fn drawing(used: &ArgMatches) -> Option<&PathBuf> {
    used.try_get_one::<PathBuf>("file").ok().flatten()
}

/// What a job file at `path` says of what was `used` of `sub`.
fn text_of(sub: &Command, used: &ArgMatches, path: &Path) -> Result<String, Failure> {
    let mut table = toml::Table::new();
    let drawing = drawing(used);
    if let Some(drawing) = drawing.filter(|file| *file != Path::new("-")) {
        table.insert("drawing".into(), near(path, drawing).into());
    }
    for arg in sub.get_arguments() {
        let id = arg.get_id().as_str();
        let Some(key) = arg.get_long().filter(|long| !OWN.contains(long)) else { continue };
        if used.value_source(id) != Some(ValueSource::CommandLine) {
            continue;
        }
        match NAMED.iter().chain(&NAMED_OR_ALL).find(|(option, _)| *option == key) {
            Some((_, own)) => store_layers(own, used.get_raw(id), &mut table),
            None => drop(table.insert(key.to_owned(), stored(arg, used))),
        }
    }
    toml::to_string(&table).map_err(Failure::failed)
}

/// Puts what was typed with a layer's name into its table, and the rest beside the other options.
fn store_layers(key: &str, typed: Option<clap::parser::RawValues>, table: &mut toml::Table) {
    for text in typed.into_iter().flatten().map(|text| text.to_string_lossy()) {
        let (layer, value) = parted(&text);
        let number = value.parse::<i64>().map(toml::Value::from);
        let value = number.unwrap_or_else(|_| value.into());
        let Some(layer) = layer else {
            table.insert(key.to_owned(), value);
            continue;
        };
        let empty = || toml::Value::Table(toml::Table::new());
        let layers = table.entry(LAYER).or_insert_with(empty).as_table_mut();
        let own = layers.and_then(|l| l.entry(layer).or_insert_with(empty).as_table_mut());
        own.map(|own| own.insert(key.to_owned(), value));
    }
}

fn stored(arg: &Arg, used: &ArgMatches) -> toml::Value {
    if matches!(arg.get_action(), ArgAction::SetTrue) {
        return true.into();
    }
    let raw = used.get_raw(arg.get_id().as_str()).into_iter().flatten();
    let texts: Vec<String> = raw.map(|text| text.to_string_lossy().into_owned()).collect();
    if arg.get_long() == Some(LAYERS) {
        return texts.iter().flat_map(|list| names(list)).collect::<Vec<_>>().into();
    }
    match <[String; 1]>::try_from(texts) {
        Ok([text]) => text.into(),
        Err(texts) => texts.into(),
    }
}

/// `drawing` as seen from the folder of the job file, or from the root.
fn near(job: &Path, drawing: &Path) -> String {
    let whole = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let (job, drawing) = (whole(job), whole(drawing));
    let folder = job.parent().unwrap_or(Path::new("/"));
    drawing.strip_prefix(folder).unwrap_or(&drawing).to_string_lossy().into_owned()
}

fn value_of(arguments: &[OsString], option: &str) -> Option<PathBuf> {
    let mut rest = arguments.iter();
    while let Some(argument) = rest.next() {
        if argument == OsStr::new(option) {
            return rest.next().map(PathBuf::from);
        }
        let text = argument.to_str().and_then(|text| text.strip_prefix(option));
        if let Some(path) = text.and_then(|text| text.strip_prefix('=')) {
            return Some(PathBuf::from(path));
        }
    }
    None
}
