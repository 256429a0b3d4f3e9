//! [`Link`]: what a port must offer to the sender.

/// The port is gone, or the system refused; what it said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LinkError(pub String);

/// A line to a machine. A serial port is one, a stand-in for tests another.
pub trait Link {
    /// Writes some of `bytes`; 0 when the line takes nothing at present.
    ///
    /// # Errors
    /// [`LinkError`] when the line is gone.
    fn write(&mut self, bytes: &[u8]) -> Result<usize, LinkError>;
    /// What the machine has said since; empty when nothing.
    ///
    /// # Errors
    /// [`LinkError`] when the line is gone.
    fn read(&mut self) -> Result<Vec<u8>, LinkError>;
    /// Whether the machine's wire says that it can take bytes (DSR; true where it is not wired).
    ///
    /// # Errors
    /// [`LinkError`] when the line is gone.
    fn may_send(&mut self) -> Result<bool, LinkError>;
    /// Bytes that the system holds and has not handed to the line; 0 where it does not say.
    ///
    /// # Errors
    /// [`LinkError`] when the line is gone.
    fn unsent(&mut self) -> Result<usize, LinkError>;
    /// Waits until the system has handed everything to the line.
    ///
    /// # Errors
    /// [`LinkError`] when the line is gone.
    fn drain(&mut self) -> Result<(), LinkError>;
}
