//! The stand-in cutter does what the HP 7470A manual (07470-90001) says of such a machine.
//!
//! Page numbers are that manual's. Nothing here uses the sender.

use std::time::Duration;

use bladewright::hpgl::{self, TraceSettings};
use bladewright::profile::{Handshake, Library};
use bladewright::stand_in::{StandIn, StandInSettings};

fn settings(handshake: Handshake) -> StandInSettings {
    let library = Library::with_folder("/nowhere".into());
    let machine = library.machine("flatbed-a4").unwrap();
    StandInSettings { handshake, fast: true, ..StandInSettings::of(&machine) }
}

struct Bench {
    machine: StandIn,
    now: Duration,
}

impl Bench {
    fn new(handshake: Handshake) -> Self {
        Self { machine: StandIn::new(settings(handshake)), now: Duration::ZERO }
    }

    fn rest(&mut self, ms: u64) {
        self.now += Duration::from_millis(ms);
        self.machine.advance(self.now);
    }

    /// Sends `text` at 1000 bytes a second; returns what is said meanwhile and shortly after.
    fn ask(&mut self, text: &[u8]) -> String {
        for &byte in text {
            self.now += Duration::from_millis(1);
            self.machine.receive(byte, self.now);
        }
        self.rest(100);
        String::from_utf8(self.machine.said()).unwrap()
    }
}

#[test]
fn requests_are_answered_as_on_page_7_8() {
    let mut bench = Bench::new(Handshake::Paced);
    // 24 after power-on: initialised and ready; reading clears "initialised".
    assert_eq!(bench.ask(b"OS;"), "24\r");
    assert_eq!(bench.ask(b"OS"), "16\r", "executed without terminator: p. 7-3");
    assert_eq!(bench.ask(b"OF;OI;"), "40,40\rFLATBED-A4\r");
    assert_eq!(bench.ask(b"OP;"), "250,279,10250,7479\r");
    assert_eq!(bench.ask(b"OO;"), "0,1,0,0,1,0,0,0\r");
    assert_eq!(bench.ask(b"PA1000,1000;OA;"), "1000,1000,0\r");
    assert_eq!(bench.ask(b"PD;OC;"), "1000,1000,1\r");
    assert_eq!(bench.ask(b"OS;"), "17\r");
    assert_eq!(bench.ask(b"IN;OA;OS;"), "1000,1000,0\r24\r", "IN lifts and does not move: p. 1-12");
}

#[test]
fn errors_are_those_of_page_7_6() {
    let mut bench = Bench::new(Handshake::Paced);
    for (text, error) in [
        (&b"QQ;OE;"[..], "1\r"),
        (b"OE;", "0\r"),
        (b"PU100,200,300;OE;", "2\r"),
        (b"OA;OE;", "100,200,0\r0\r"),
        (b"PU33000,0;OE;", "3\r"),
        (b"QQ;IN;OE;", "0\r"),
    ] {
        assert_eq!(bench.ask(text), error, "{}", String::from_utf8_lossy(text));
    }
}

#[test]
fn buffer_space_and_size() {
    let mut bench = Bench::new(Handshake::Paced);
    assert_eq!(bench.ask(b"\x1b.B"), "255\r");
    bench.machine.pause(true);
    assert_eq!(
        bench.ask(b"PU1,1;PU2,2;\x1b.B"),
        "243\r",
        "answered at once, past the buffer: p. 10-26"
    );
    assert_eq!(bench.ask(b"\x1b.L"), "", "only when the buffer is empty: p. 10-32");
    bench.machine.pause(false);
    bench.rest(100);
    assert_eq!(bench.machine.said(), b"255\r");
}

#[test]
fn device_errors_are_those_of_page_10_27() {
    let mut bench = Bench::new(Handshake::Paced);
    assert_eq!(bench.ask(b"\x1b.E"), "0\r");
    assert_eq!(bench.ask(b"\x1b.?\x1b.E"), "11\r");
    assert_eq!(bench.ask(b"\x1b.I8x\x1b.E"), "12\r");
    bench.machine.garbled();
    assert_eq!(bench.ask(b"\x1b.E"), "15\r");
    bench.machine.pause(true);
    assert_eq!(bench.ask(&[b';'; 300]), "");
    assert_eq!(bench.machine.lost(), 300 - 255);
    assert_eq!(bench.ask(b"\x1b.E"), "16\r");
    assert_eq!(bench.ask(b"\x1b.E"), "0\r");
    // A second request while the first is being answered: none, and error 10.
    bench.machine.receive(27, bench.now);
    bench.machine.receive(b'.', bench.now);
    bench.machine.receive(b'B', bench.now);
    bench.machine.receive(27, bench.now);
    bench.machine.receive(b'.', bench.now);
    bench.machine.receive(b'B', bench.now);
    assert_eq!(bench.ask(b""), "0\r");
    assert_eq!(bench.ask(b"\x1b.E"), "10\r");
}

#[test]
fn status_tells_pause_and_lever() {
    // p. 10-39: 8 buffer empty, 16 pause pressed, 32 lever up.
    let mut bench = Bench::new(Handshake::Paced);
    assert_eq!(bench.ask(b"\x1b.O"), "8\r");
    bench.machine.pause(true);
    assert_eq!(bench.ask(b"\x1b.O"), "24\r");
    assert_eq!(bench.ask(b"PU;\x1b.O"), "16\r");
    bench.machine.lever(true);
    bench.machine.pause(false);
    assert_eq!(bench.ask(b"\x1b.O"), "32\r");
}

#[test]
fn xoff_and_xon_come_at_the_levels_of_page_10_20() {
    let mut bench = Bench::new(Handshake::XonXoff);
    bench.machine.pause(true);
    for stored in 1..=255usize {
        bench.machine.receive(b';', bench.now);
        let said = bench.machine.said();
        // 81 empty bytes left.
        assert_eq!(said, if stored == 255 - 81 { vec![19] } else { vec![] }, "{stored}");
    }
    assert_eq!(bench.machine.lost(), 0);
    bench.machine.pause(false);
    bench.rest(1);
    assert_eq!(bench.machine.said(), [17]);
}

/// Xon when 128 bytes are stored or fewer, while it moves.
#[test]
fn xon_waits_for_128_stored() {
    let motion = StandInSettings { fast: false, ..settings(Handshake::XonXoff) };
    let mut machine = StandIn::new(motion);
    // 9 bytes a move; each takes 100 units = 2.5 mm at 381 mm/s.
    let text: Vec<u8> =
        (0..24).flat_map(|i| format!("PU{:04},0;", 100 * (i + 1)).into_bytes()).collect();
    let mut stored_at_xon = None;
    for &byte in &text[..190] {
        machine.receive(byte, Duration::ZERO);
    }
    assert_eq!(machine.said(), [19]);
    for ms in 1..400 {
        machine.advance(Duration::from_millis(ms));
        if stored_at_xon.is_none() && machine.said() == [17] {
            for byte in *b"\x1b.B" {
                machine.receive(byte, Duration::from_millis(ms));
            }
            let free: usize = String::from_utf8(machine.said()).unwrap().trim().parse().unwrap();
            stored_at_xon = Some(255 - free);
        }
    }
    assert!(matches!(stored_at_xon, Some(119..=128)), "{stored_at_xon:?}");
}

#[test]
fn an_enquiry_is_answered_when_a_block_has_room() {
    let mut bench = Bench::new(Handshake::EnqAck);
    assert_eq!(bench.ask(&[5]), "\u{6}");
    bench.machine.pause(true);
    assert_eq!(bench.ask(&[b';'; 176]), "");
    // 79 bytes are free, the block is 80: p. 10-28.
    assert_eq!(bench.ask(&[5]), "");
    bench.machine.pause(false);
    bench.rest(1);
    assert_eq!(bench.machine.said(), [6]);
}

#[test]
fn the_wire_drops_below_a_block() {
    let mut bench = Bench::new(Handshake::DtrDsr);
    bench.machine.pause(true);
    for stored in 0..200usize {
        assert_eq!(bench.machine.wire_up(), 255 - stored >= 80, "{stored}");
        bench.machine.receive(b';', bench.now);
    }
}

#[test]
fn the_host_can_set_the_handshake() {
    // p. 10-31 and 10-36: Xon/Xoff by ESC.@ ESC.I ESC.N, in a machine that had none.
    let mut bench = Bench::new(Handshake::Paced);
    bench.ask(b"\x1b.@;0:\x1b.I81;;17:\x1b.N;19:");
    bench.machine.pause(true);
    assert_eq!(bench.ask(&[b';'; 180]).as_bytes(), [19]);
}

#[test]
fn abort_graphics_drops_buffer_and_half_an_instruction() {
    // p. 10-32.
    let mut bench = Bench::new(Handshake::Paced);
    assert_eq!(bench.ask(b"PU10,10;PU20,2\x1b.K;OA;"), "10,10,0\r");
    bench.machine.pause(true);
    assert_eq!(bench.ask(b"PU30,30;PU40,40;\x1b.K"), "");
    bench.machine.pause(false);
    assert_eq!(bench.ask(b"OA;"), "10,10,0\r");
}

#[test]
fn moves_take_their_time() {
    let motion = StandInSettings { fast: false, ..settings(Handshake::Paced) };
    let lower = motion.machine.motion.unwrap().lower_s;
    let mut machine = StandIn::new(motion);
    // 4000 units = 100 mm at 10 cm/s: one second, after the tool was lowered.
    for byte in *b"VS10;PD4000,0;" {
        machine.receive(byte, Duration::ZERO);
    }
    let until = machine.busy_until().unwrap().as_secs_f64();
    assert!((until - 1.0 - lower).abs() < 1e-6, "{until}");
    assert!(!machine.is_idle());
    machine.advance(Duration::from_secs(2));
    assert!(machine.is_idle());
}

/// The worked examples (tests/data/README.md names their sources): taken byte by byte, they do the
/// same as when they are read as a whole.
#[test]
fn worked_examples_are_obeyed() {
    let text = std::fs::read_to_string("tests/data/hpgl-vectors.json").unwrap();
    let data: serde_json::Value = serde_json::from_str(&text).unwrap();
    let mut count = 0;
    for vector in data["vectors"].as_array().unwrap() {
        let input: Vec<u8> =
            vector["input_latin1"].as_str().unwrap().chars().map(|c| c as u32 as u8).collect();
        // Without a final terminator the last instruction is not complete for a machine.
        let input = [&input[..], b";"].concat();
        if input.contains(&b'%') {
            continue;
        }
        let trace = |bytes: &[u8]| {
            let (commands, _) = hpgl::read(bytes);
            let (trace, _) = hpgl::trace(&commands, &TraceSettings::default());
            trace.steps.into_iter().map(|step| step.kind).collect::<Vec<_>>()
        };
        let mut machine = StandIn::new(settings(Handshake::Paced));
        for &byte in &input {
            machine.receive(byte, Duration::ZERO);
        }
        machine.advance(Duration::from_secs(10));
        assert_eq!(trace(machine.obeyed()), trace(&input), "{}", vector["name"]);
        count += 1;
    }
    assert!(count > 15, "{count}");
}
