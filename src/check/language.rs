//! What this machine does not take: settings out of its range, instructions of newer machines.

use std::collections::HashMap;

use crate::finding::{Finding, Place, first_few};
use crate::hpgl::{Command, Located};
use crate::profile::Machine;

/// Speeds and forces that the machine does not take.
pub(super) fn settings(commands: &[Located], machine: &Machine) -> Vec<Finding> {
    let language = &machine.language;
    let mut all = Vec::new();
    for located in commands {
        let Command::Plain(mnemonic, numbers) = &located.command else { continue };
        let (what, taken, range) = match &mnemonic.0 {
            b"VS" => ("speed", language.velocity, language.velocity_range_cm_s),
            b"FS" => ("force", language.force, language.force_range),
            _ => continue,
        };
        let Some(&number) = numbers.first() else { continue };
        let text = if !taken {
            format!("{} does not take a {what} ({mnemonic}{number}).", machine.name)
        } else if let Some([low, high]) =
            range.filter(|[low, high]| !(*low..=*high).contains(&number))
        {
            format!(
                "The {what} {mnemonic}{number} is outside {low} to {high}, what {} takes.",
                machine.name
            )
        } else {
            continue;
        };
        all.push(Finding::warning("setting-not-taken", text).at(Place::byte(located.byte)));
    }
    first_few(all, |n| format!("{n} more settings are not taken."))
}

/// Instructions of newer machines in a job for an older one.
pub(super) fn unknown_to(commands: &[Located], machine: &Machine) -> Vec<Finding> {
    use crate::profile::{Arcs, EncodedLines};
    let language = &machine.language;
    let mut first: HashMap<String, u64> = HashMap::new();
    for located in commands {
        let name = match &located.command {
            Command::Encoded(_) if language.encoded == EncodedLines::Never => "PE".to_owned(),
            Command::Plain(mnemonic, _) => match &mnemonic.0 {
                b"AT" | b"RT" | b"BZ" | b"BR" => mnemonic.to_string(),
                b"AA" | b"AR" | b"CI" if language.arcs == Arcs::Never => mnemonic.to_string(),
                _ => continue,
            },
            _ => continue,
        };
        first.entry(name).or_insert(located.byte);
    }
    let mut found: Vec<_> = first.into_iter().collect();
    found.sort_by_key(|(_, byte)| *byte);
    let finding = |(name, byte): (String, u64)| {
        let text =
            format!("{} may not know the instruction {name}, first used here.", machine.name);
        Finding::warning("instruction-newer", text)
            .at(Place::byte(byte))
            .hint("An older machine passes over it without a word.")
    };
    found.into_iter().map(finding).collect()
}
