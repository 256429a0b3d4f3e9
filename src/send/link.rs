//! [`Link`]: what a port must offer to the sender; [`ask`]: one question over it.

use std::time::Duration;

/// The port is gone, or the system refused; what it said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LinkError(pub String);

/// A line to a machine. A serial port is one, a stand-in for tests another.
///
/// The line brings its clock: in tests hours pass in a moment, and twice the same.
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
    /// Time since the line was opened.
    fn now(&self) -> Duration;
    /// Lets time pass.
    fn pause(&mut self, time: Duration);
}

/// How often somebody who waits looks again.
pub(super) const LOOK_AGAIN: Duration = Duration::from_millis(1);

/// Ends device control that was cut off half-way, and answers that are still to come (`ESC.J`, HP
/// 7470A manual, p. 10-31): otherwise the next request would complete it and be read as a coordinate.
pub(super) fn begin_anew(link: &mut dyn Link) -> Result<(), LinkError> {
    let mut rest = &b"\x1b.J"[..];
    let since = link.now();
    while !rest.is_empty() && link.now().saturating_sub(since) < Duration::from_secs(2) {
        let taken = link.write(rest)?;
        rest = &rest[taken..];
        link.pause(LOOK_AGAIN);
    }
    Ok(())
}

/// How long nothing may be said before nothing more is expected: what a sender that died has left on
/// the way (50 ms of the line), and its answer.
const SILENCE: Duration = Duration::from_millis(300);

/// Hears out what answers questions that somebody else asked; gives up a machine that talks on.
pub(super) fn hear_out(link: &mut dyn Link) -> Result<(), LinkError> {
    let since = link.now();
    let mut last = since;
    while link.now().saturating_sub(last) < SILENCE
        && link.now().saturating_sub(since) < Duration::from_secs(5)
    {
        if !link.read()?.is_empty() {
            last = link.now();
        }
        link.pause(LOOK_AGAIN);
    }
    Ok(())
}

/// Asks `request` and waits for the line of text that answers it; asks again after a silence that
/// lets a late answer pass, and waits twice as long. `None` when none comes.
pub(super) fn ask(
    link: &mut dyn Link,
    request: &[u8],
    patience: Duration,
) -> Result<Option<String>, LinkError> {
    if let Some(text) = ask_once(link, request, patience)? {
        return Ok(Some(text));
    }
    let since = link.now();
    while link.now().saturating_sub(since) < patience {
        link.read()?;
        link.pause(LOOK_AGAIN);
    }
    ask_once(link, request, 2 * patience)
}

/// Asks once. What was said before is thrown away.
pub(super) fn ask_once(
    link: &mut dyn Link,
    request: &[u8],
    patience: Duration,
) -> Result<Option<String>, LinkError> {
    link.read()?;
    let mut rest = request;
    let since = link.now();
    while !rest.is_empty() {
        let taken = link.write(rest)?;
        rest = &rest[taken..];
        if taken == 0 {
            if link.now().saturating_sub(since) > patience {
                return Ok(None);
            }
            link.pause(LOOK_AGAIN);
        }
    }
    let mut text = String::new();
    while link.now().saturating_sub(since) <= patience {
        for byte in link.read()? {
            match byte {
                b'\r' if !text.is_empty() => return Ok(Some(text)),
                // Stray line ends, fillers and holds belong to no answer.
                b'\r' | b'\n' | 0 | 17 | 19 => {}
                _ => text.push(byte as char),
            }
        }
        link.pause(LOOK_AGAIN);
    }
    Ok(None)
}
