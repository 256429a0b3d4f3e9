//! What this machine does not take: settings out of its range, instructions of newer machines.

use std::collections::HashMap;

use crate::finding::{Finding, Place};
use crate::hpgl::{Command, Located, Mnemonic};
use crate::profile::{Arcs, EncodedLines, Machine};

/// A speed or force that the machine does not take.
pub(super) fn setting_not_taken(located: &Located, machine: &Machine) -> Option<Finding> {
    let language = &machine.language;
    let Command::Plain(mnemonic, numbers) = &located.command else { return None };
    let (what, taken, range) = match &mnemonic.0 {
        b"VS" => ("speed", language.velocity, language.velocity_range_cm_s),
        b"FS" => ("force", language.force, language.force_range),
        _ => return None,
    };
    let &number = numbers.first()?;
    let text = if taken {
        let [low, high] = range.filter(|[low, high]| !(*low..=*high).contains(&number))?;
        format!(
            "The {what} {mnemonic}{number} is outside {low} to {high}, what {} takes.",
            machine.name
        )
    } else {
        format!("{} does not take a {what} ({mnemonic}{number}).", machine.name)
    };
    Some(Finding::warning("setting-not-taken", text).at(Place::byte(located.byte)))
}

/// Lines whose bytes the machine's line does not carry.
pub(super) fn eighth_bit_lost(located: &Located, machine: &Machine) -> Option<Finding> {
    let narrow = machine.serial.as_ref().is_some_and(|serial| serial.data_bits < 8);
    let text = || {
        format!(
            "The lines encoded from here on (PE in base 64) need 8 bits a byte, and the line of {} \
             carries 7: every cut would be garbled.",
            machine.name
        )
    };
    let hint = "Encode them in base 32, or write plain lists of numbers; or set machine and profile to 8 \
                data bits.";
    (located.is_eight_bit && narrow)
        .then(|| Finding::error("eighth-bit-lost", text()).at(Place::byte(located.byte)).hint(hint))
}

/// Instructions of newer machines in a job for an older one, and where each is used first.
#[derive(Debug, Clone, Default)]
pub(super) struct Newer(HashMap<Mnemonic, u64>);

impl Newer {
    pub fn hear(&mut self, located: &Located, machine: &Machine) {
        let language = &machine.language;
        let name = match &located.command {
            Command::Encoded(_) if language.encoded == EncodedLines::Never => Mnemonic(*b"PE"),
            Command::Plain(mnemonic, _) => match &mnemonic.0 {
                b"AT" | b"RT" | b"BZ" | b"BR" => *mnemonic,
                b"AA" | b"AR" | b"CI" if language.arcs == Arcs::Never => *mnemonic,
                _ => return,
            },
            _ => return,
        };
        self.0.entry(name).or_insert(located.byte);
    }

    pub fn end(self, machine: &Machine) -> Vec<Finding> {
        let mut found: Vec<_> = self.0.into_iter().collect();
        found.sort_by_key(|(_, byte)| *byte);
        let finding = |(name, byte): (Mnemonic, u64)| {
            let text =
                format!("{} may not know the instruction {name}, first used here.", machine.name);
            Finding::warning("instruction-newer", text)
                .at(Place::byte(byte))
                .hint("An older machine passes over it without a word.")
        };
        found.into_iter().map(finding).collect()
    }
}
