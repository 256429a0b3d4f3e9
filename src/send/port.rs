//! Real serial ports.

use std::io::{Read, Write};
use std::time::{Duration, Instant};

use serialport::{
    DataBits, ErrorKind, FlowControl, SerialPort, SerialPortInfo, SerialPortType, StopBits,
};

use super::link::{Link, LinkError};
use crate::profile::{Handshake, Parity, Serial};

/// Why a port could not be opened.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PortError {
    /// No such port.
    #[error("there is no port {port}; {present}")]
    Missing {
        /// What was asked for.
        port: String,
        /// The ports that there are.
        present: String,
    },
    /// Not allowed.
    #[error(
        "you are not allowed to use {port}; join the group that owns it: \
         sudo usermod -a -G {group} $USER, then log in again"
    )]
    Forbidden {
        /// What was asked for.
        port: String,
        /// The group that owns it.
        group: String,
    },
    /// Not allowed, and no group is.
    #[error(
        "you are not allowed to use {port}, and neither is any group: whoever looks after this computer \
         has to let one use it"
    )]
    Kept {
        /// What was asked for.
        port: String,
    },
    /// Another program has it.
    #[error(
        "the port {port} is in use by {holder}: close that program, or unplug the adapter and plug it \
         in again, then send anew"
    )]
    Busy {
        /// What was asked for.
        port: String,
        /// Who has it.
        holder: String,
    },
    /// Anything else.
    #[error(
        "{port} cannot be opened as a serial port ({why}); `bladewright ports` lists those there are"
    )]
    Refused {
        /// What was asked for.
        port: String,
        /// What the system said.
        why: String,
    },
}

/// Said where this computer has no port.
pub const NO_PORT: &str = "no serial port was found; plug in the adapter, or look at its cable";

/// The names of the serial ports of this computer.
pub fn ports() -> Vec<String> {
    let mut names: Vec<String> = available().into_iter().map(|port| port.port_name).collect();
    names.sort();
    names
}

/// The serial ports of this computer and what the system knows of each, the program that has it open
/// included; empty when nothing. None is opened.
pub fn ports_with_what_is_known() -> Vec<(String, String)> {
    let about = |port: SerialPortInfo| {
        let user = holder(&port.port_name).map(|holder| format!("in use by {holder}"));
        let known = [what_it_is(port.port_type), user];
        (port.port_name, known.into_iter().flatten().collect::<Vec<_>>().join(", "))
    };
    let mut all: Vec<_> = available().into_iter().map(about).collect();
    all.sort();
    all
}

fn available() -> Vec<SerialPortInfo> {
    // Where the kernel shows no devices, as in some containers, the serial library panics.
    if cfg!(target_os = "linux") && std::fs::read_dir("/sys/class/tty").is_err() {
        return Vec::new();
    }
    serialport::available_ports().unwrap_or_default()
}

/// What kind of port it is, and of an adapter what it says of itself and its numbers (maker:product, as
/// the system's lists of devices write them).
fn what_it_is(kind: SerialPortType) -> Option<String> {
    match kind {
        SerialPortType::UsbPort(usb) => {
            let numbers = format!("USB {:04x}:{:04x}", usb.vid, usb.pid);
            let number = usb.serial_number.map(|number| format!("serial number {number}"));
            let words = [usb.manufacturer, usb.product, number, Some(numbers)];
            Some(words.into_iter().flatten().collect::<Vec<_>>().join(", "))
        }
        SerialPortType::BluetoothPort => Some("over radio".into()),
        SerialPortType::PciPort => Some("built in".into()),
        SerialPortType::Unknown => None,
    }
}

/// An open serial port.
pub struct SerialLink(Box<dyn SerialPort>, Instant);

impl SerialLink {
    /// Opens `port` as `serial` says.
    ///
    /// # Errors
    /// [`PortError`] in plain words.
    pub fn open(port: &str, serial: &Serial) -> Result<Self, PortError> {
        let flow = match serial.handshake {
            Handshake::XonXoff => FlowControl::Software,
            Handshake::RtsCts => FlowControl::Hardware,
            _ => FlowControl::None,
        };
        let parity = match serial.parity {
            Parity::None => serialport::Parity::None,
            Parity::Even => serialport::Parity::Even,
            Parity::Odd => serialport::Parity::Odd,
        };
        let opened = serialport::new(port, serial.baud)
            .data_bits(if serial.data_bits == 7 { DataBits::Seven } else { DataBits::Eight })
            .stop_bits(if serial.stop_bits == 2 { StopBits::Two } else { StopBits::One })
            .parity(parity)
            .flow_control(flow)
            .timeout(Duration::from_millis(20))
            .open();
        opened.map(|port| Self(port, Instant::now())).map_err(|error| explained(port, &error))
    }
}

fn explained(port: &str, error: &serialport::Error) -> PortError {
    let port_name = port.to_owned();
    // The serial library may hide a refusal behind "no device": ask the system itself.
    let kind = refusal(port);
    match (error.kind, kind) {
        (_, Some(std::io::ErrorKind::PermissionDenied))
        | (ErrorKind::Io(std::io::ErrorKind::PermissionDenied), _) => {
            if lets_a_group(port) {
                PortError::Forbidden { port: port_name, group: group(port) }
            } else {
                PortError::Kept { port: port_name }
            }
        }
        (_, Some(std::io::ErrorKind::NotFound)) => {
            let names = ports();
            let present = if names.is_empty() {
                NO_PORT.to_owned()
            } else {
                format!("there are: {}", names.join(", "))
            };
            PortError::Missing { port: port_name, present }
        }
        // A program that keeps others out by TIOCEXCL or flock shows as "no device" on Unix.
        (ErrorKind::NoDevice, None | Some(std::io::ErrorKind::ResourceBusy)) if cfg!(unix) => {
            let holder = holder(port).unwrap_or_else(|| "another program".into());
            PortError::Busy { port: port_name, holder }
        }
        _ if !is_device(port) => {
            PortError::Refused { port: port_name, why: "it is no device".into() }
        }
        _ if !is_terminal(port) => {
            PortError::Refused { port: port_name, why: "it is a device without a line".into() }
        }
        _ => PortError::Refused { port: port_name, why: error.description.clone() },
    }
}

/// The group that owns `port`, by the system's list (group(5)); the usual one where that says nothing.
fn group(port: &str) -> String {
    let list = std::fs::read_to_string("/etc/group").unwrap_or_default();
    let number = group_number(port).filter(|&number| number != 0).map(|n| n.to_string());
    let of = |line: &str| {
        let mut parts = line.split(':');
        let (name, id) = (parts.next()?, parts.nth(1)?);
        (Some(id) == number.as_deref()).then(|| name.to_owned())
    };
    list.lines().find_map(of).unwrap_or_else(|| "dialout".to_owned())
}

/// Whether a port may be of that name: files, folders and disks are none.
#[cfg(unix)]
fn is_device(port: &str) -> bool {
    use std::os::unix::fs::FileTypeExt;
    std::fs::metadata(port).is_ok_and(|about| about.file_type().is_char_device())
}

#[cfg(not(unix))]
fn is_device(_: &str) -> bool {
    true
}

/// Whether the group that owns `port` may read and write it.
#[cfg(unix)]
fn lets_a_group(port: &str) -> bool {
    use std::os::unix::fs::PermissionsExt;
    std::fs::metadata(port).is_ok_and(|about| about.permissions().mode() & 0o060 == 0o060)
}

#[cfg(not(unix))]
fn lets_a_group(_: &str) -> bool {
    true
}

#[cfg(unix)]
fn group_number(port: &str) -> Option<u32> {
    use std::os::unix::fs::MetadataExt;
    std::fs::metadata(port).ok().map(|about| about.gid())
}

#[cfg(not(unix))]
fn group_number(_: &str) -> Option<u32> {
    None
}

/// What the system itself says against opening `port`; never waits for a modem's wires.
#[cfg(unix)]
fn refusal(port: &str) -> Option<std::io::ErrorKind> {
    use rustix::fs::{Mode, OFlags, open};
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
    open(port, flags, Mode::empty()).err().map(|error| std::io::Error::from(error).kind())
}

/// Whether a device is one that bytes travel from and to over a line, as termios(3) has it.
#[cfg(unix)]
fn is_terminal(port: &str) -> bool {
    use rustix::fs::{Mode, OFlags, open};
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
    open(port, flags, Mode::empty()).is_ok_and(|device| std::io::IsTerminal::is_terminal(&device))
}

#[cfg(not(unix))]
fn is_terminal(_: &str) -> bool {
    true
}

#[cfg(not(unix))]
fn refusal(port: &str) -> Option<std::io::ErrorKind> {
    std::fs::metadata(port).err().map(|error| error.kind())
}

/// The program that has `port` open, where the system lets us see it (Linux, /proc: proc(5)).
fn holder(port: &str) -> Option<String> {
    let port = std::fs::canonicalize(port).ok()?;
    let processes = std::fs::read_dir("/proc").ok()?.flatten();
    let has_it = |process: &std::fs::DirEntry| {
        let number = process.file_name().to_string_lossy().parse::<u32>();
        let files = std::fs::read_dir(process.path().join("fd")).into_iter().flatten().flatten();
        number.is_ok_and(|number| number != std::process::id())
            && files.filter_map(|file| file.path().read_link().ok()).any(|path| path == port)
    };
    let process = processes.into_iter().find(has_it)?;
    let name = std::fs::read_to_string(process.path().join("comm")).ok()?;
    Some(format!("\"{}\" (process {})", name.trim(), process.file_name().display()))
}

/// Time-outs and interruptions mean "nothing now"; everything else that the port is gone.
fn nothing_now(error: &std::io::Error) -> bool {
    use std::io::ErrorKind as Kind;
    matches!(error.kind(), Kind::TimedOut | Kind::WouldBlock | Kind::Interrupted)
}

impl Link for SerialLink {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, LinkError> {
        match self.0.write(bytes) {
            Err(error) if nothing_now(&error) => Ok(0),
            result => result.map_err(|error| LinkError(error.to_string())),
        }
    }

    fn read(&mut self) -> Result<Vec<u8>, LinkError> {
        let waiting = self.0.bytes_to_read().map_err(|error| LinkError(error.description))?;
        if waiting == 0 {
            return Ok(Vec::new());
        }
        let mut bytes = vec![0; waiting.min(4096) as usize];
        match self.0.read(&mut bytes) {
            Ok(count) => {
                bytes.truncate(count);
                Ok(bytes)
            }
            Err(error) if nothing_now(&error) => Ok(Vec::new()),
            Err(error) => Err(LinkError(error.to_string())),
        }
    }

    fn may_send(&mut self) -> Result<bool, LinkError> {
        self.0.read_data_set_ready().map_err(|error| LinkError(error.description))
    }

    fn unsent(&mut self) -> Result<usize, LinkError> {
        // Where the system does not say, pacing alone holds the sender back.
        Ok(self.0.bytes_to_write().unwrap_or(0) as usize)
    }

    fn drain(&mut self) -> Result<(), LinkError> {
        self.0.flush().map_err(|error| LinkError(error.to_string()))
    }

    fn now(&self) -> Duration {
        self.1.elapsed()
    }

    fn pause(&mut self, time: Duration) {
        std::thread::sleep(time);
    }
}

#[cfg(test)]
mod tests {
    use std::fs::File;

    use super::*;

    #[test]
    fn an_adapter_is_told_by_what_it_says_and_by_its_numbers() {
        let usb = serialport::UsbPortInfo {
            vid: 0x0abc,
            pid: 0x12,
            serial_number: Some("TL-7".into()),
            manufacturer: None,
            product: Some("Line adapter".into()),
        };
        let told = what_it_is(SerialPortType::UsbPort(usb.clone()));
        assert_eq!(told.unwrap(), "Line adapter, serial number TL-7, USB 0abc:0012");
        let silent = serialport::UsbPortInfo { serial_number: None, product: None, ..usb };
        assert_eq!(what_it_is(SerialPortType::UsbPort(silent)).unwrap(), "USB 0abc:0012");
        assert_eq!(what_it_is(SerialPortType::Unknown), None);
    }

    /// The listing knows who has a port: this program's own hand on it does not count.
    #[cfg(target_os = "linux")]
    #[test]
    fn a_port_that_somebody_has_is_told() {
        use std::process::{Command, Stdio};
        let file = tempfile::NamedTempFile::new().unwrap();
        let name = file.path().to_str().unwrap();
        assert_eq!(holder(name), None);
        let held = File::open(file.path()).unwrap();
        let mut other = Command::new("cat").stdin(Stdio::piped()).stdout(held).spawn().unwrap();
        let told = holder(name);
        other.kill().unwrap();
        other.wait().unwrap();
        assert_eq!(told.unwrap(), format!("\"cat\" (process {})", other.id()));
    }
}
