//! What a machine's error numbers mean, in words, and what to do.
//!
//! HP 7470A manual, pp. 7-6 (`OE`), 10-27 (`ESC.E`), 10-39 (`ESC.O`); 7 of `OE` from manuals of
//! later machines.

/// The meaning of an answer to `OE;`; `None` for 0.
pub fn language_error(number: u32) -> Option<&'static str> {
    Some(match number {
        0 => return None,
        1 => "it does not know an instruction of the job: look at the machine profile's language",
        2 => "an instruction had the wrong number of numbers: was something lost on the line?",
        3 => "a number was out of the machine's range: is the work too large or misplaced for it?",
        4 => "a character was not allowed",
        5 => "it does not know a character set",
        6 => "a position ran out of its range: is the work too large or misplaced for it?",
        7 => "a buffer of its own overflowed",
        8 => "it was told to move while its pinch rollers were raised: lower the lever, begin anew",
        _ => "it reports an error that the manuals known here do not list",
    })
}

/// The meaning of an answer to `ESC.E`; `None` for 0.
pub fn line_error(number: u32) -> Option<&'static str> {
    Some(match number {
        0 => return None,
        10 => "a request came while it was answering another: does another program use the port?",
        11..=14 => "it got a device-control sequence that it does not know: try another handshake",
        15 => {
            "bytes came garbled (framing, parity or overrun): rate, data bits, parity and stop bits \
             differ from the machine's"
        }
        16 => {
            "its buffer overflowed and bytes are lost: the handshake or buffer_bytes of the profile \
             is not the machine's"
        }
        17 => "the rate differs from the machine's",
        _ => "its line reports an error that the manuals known here do not list",
    })
}

/// The meaning of an answer to `ESC.O`, as far as it holds the sender up.
pub fn halt(bits: u32) -> Option<&'static str> {
    if bits & 32 != 0 {
        Some("the lever that raises its pinch rollers is up")
    } else if bits & 16 != 0 {
        Some("it is paused at its own keys")
    } else {
        None
    }
}
