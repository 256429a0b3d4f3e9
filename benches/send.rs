//! Share of the line's rate that a send reaches, over a pseudo-terminal to the stand-in cutter, whose
//! motion takes no time: what is measured is the sender, its handshake and the kernel, not a machine.
//!
//! `cargo bench --bench send` (`-- Software` measures that row alone). Wanted: 97 % at 9600 and 115200
//! bits/s. Takes about four minutes.

#[cfg(unix)]
fn main() {
    on_a_pseudo_terminal::table();
}

#[cfg(not(unix))]
fn main() {
    println!("there are no pseudo-terminals here");
}

#[cfg(unix)]
mod on_a_pseudo_terminal {
    use std::sync::mpsc::channel;
    use std::time::{Duration, Instant};

    use bladewright::profile::{Handshake, Library, Machine};
    use bladewright::send::{self, SendSettings, SerialLink, StopFlag};
    use bladewright::stand_in::{self, Event, Port, StandIn, StandInSettings, Trouble};

    /// How long each job lasts on its line, s.
    const LASTS_S: f64 = 30.0;

    pub fn table() {
        println!("{:<30} {:>12} {:>12}", "handshake, buffer", "9600 bits/s", "115200 bits/s");
        let wanted: Vec<String> =
            std::env::args().skip(1).filter(|a| !a.starts_with('-')).collect();
        for (handshake, buffer) in [
            (Handshake::XonXoff, 255),
            (Handshake::EnqAck, 255),
            (Handshake::Software, 255),
            (Handshake::Software, 1024),
        ] {
            let name = format!("{handshake:?}, {buffer} bytes");
            if !wanted.is_empty() && !wanted.iter().any(|part| name.contains(part)) {
                continue;
            }
            let shares = [9600, 115_200].map(|baud| share(handshake, buffer, baud));
            println!("{name:<30} {:>10.1} % {:>10.1} %", shares[0], shares[1]);
        }
    }

    /// Percent of the line's rate, greeting and last answer included.
    fn share(handshake: Handshake, buffer: u32, baud: u32) -> f64 {
        let mut machine: Machine =
            Library::with_folder("/nowhere".into()).machine("flatbed-a4").unwrap();
        let serial = machine.serial.as_mut().unwrap();
        (serial.handshake, serial.buffer_bytes, serial.baud) = (handshake, buffer, baud);
        let serial = serial.clone();
        let job = job((LASTS_S * serial.bytes_per_s()) as usize);
        let (give, orders) = channel();
        let (name, named) = channel();
        let cutter = std::thread::spawn(move || {
            let settings = StandInSettings { fast: true, ..StandInSettings::of(&machine) };
            let rate_bytes_s = settings.rate_bytes_s;
            let port = Port { rate_bytes_s, baud: Some(baud), ..Port::default() };
            let mut stand_in = StandIn::new(settings);
            let mut tell = |event: &Event| {
                if let Event::Open(port) = event {
                    name.send(port.clone()).unwrap();
                }
            };
            stand_in::serve(&mut stand_in, &port, &orders, &mut tell).unwrap();
            (stand_in.lost(), stand_in.obeyed().len())
        });
        let mut link = SerialLink::open(&named.recv().unwrap(), &serial).unwrap();
        let settings = SendSettings::of(&serial);
        let start = Instant::now();
        send::send(&mut &job[..], &settings, &mut link, &StopFlag::new(), &mut |_| {}).unwrap();
        let seconds = start.elapsed().as_secs_f64();
        std::thread::sleep(Duration::from_millis(300));
        give.send(Trouble::End).unwrap();
        let (lost, obeyed) = cutter.join().unwrap();
        assert!(lost == 0 && obeyed > 0, "{handshake:?} at {baud}: {lost} bytes lost");
        100.0 * job.len() as f64 / (seconds * settings.rate_bytes_s)
    }

    /// Small rectangles, at least so many bytes.
    fn job(bytes: usize) -> Vec<u8> {
        let mut text = String::from("IN;SP1;");
        for i in 0.. {
            let (x, y) = (60 * (i % 100), 70 * (i / 100 % 100));
            text += &format!("PU{x},{y};PD{},{y},{},{},{x},{y};", x + 40, x + 40, y + 50);
            if text.len() >= bytes {
                break;
            }
        }
        (text + "PU0,0;SP0;").into_bytes()
    }
}
