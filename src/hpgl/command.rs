//! [`Command`]: one instruction as it stands in the bytes, before anything is made of it.

/// An instruction and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Located {
    /// What it is.
    pub command: Command,
    /// Offset of its first byte.
    pub byte: u64,
    /// Offset just past its last byte, terminator included.
    pub end: u64,
    /// It goes on with the list of the instruction before it, and stands in the bytes without letters.
    pub continues: bool,
    /// It is encoded in bytes above 127, which a line of 7 bits does not carry.
    pub is_eight_bit: bool,
}

/// One instruction.
#[derive(Debug, Clone, PartialEq)]
pub enum Command {
    /// Two letters (upper case) and numbers: nearly all of the language.
    Plain(Mnemonic, Vec<f64>),
    /// `LB` and other text instructions: the text without its terminator.
    Text(Mnemonic, Vec<u8>),
    /// `PE`: a polyline in its compact encoding.
    Encoded(Vec<Encoded>),
    /// An escape sequence: device control, or a switch of language.
    Escape(Vec<u8>),
}

/// The two letters of an instruction, upper case.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Mnemonic(pub [u8; 2]);

impl std::fmt::Display for Mnemonic {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}{}", self.0[0] as char, self.0[1] as char)
    }
}

/// One element of a `PE` instruction. Coordinates in current units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Encoded {
    /// Selects a tool.
    Tool(i64),
    /// A step or, when absolute, a position.
    Pair {
        /// Across.
        x: f64,
        /// Up.
        y: f64,
        /// The tool is up on the way.
        up: bool,
        /// A position instead of a step.
        absolute: bool,
    },
}

impl Command {
    /// A plain instruction by its two letters.
    pub fn plain(letters: &[u8; 2], numbers: Vec<f64>) -> Self {
        Self::Plain(Mnemonic(*letters), numbers)
    }
}
