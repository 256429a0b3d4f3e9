//! A job of 20 MB is sent in the memory that a small one takes: what the system says of this process.
#![cfg(target_os = "linux")]

use std::time::Duration;

use bladewright::profile::Handshake;
use bladewright::send::{self, Ending, Link, LinkError, SendSettings, StopFlag};

/// A line that takes everything at its pace, and counts.
#[derive(Default)]
struct Sink {
    bytes: u64,
    sum: u64,
    now: Duration,
}

impl Link for Sink {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, LinkError> {
        self.bytes += bytes.len() as u64;
        for &byte in bytes {
            self.sum = self.sum.wrapping_mul(31).wrapping_add(u64::from(byte));
        }
        Ok(bytes.len())
    }
    fn read(&mut self) -> Result<Vec<u8>, LinkError> {
        Ok(Vec::new())
    }
    fn may_send(&mut self) -> Result<bool, LinkError> {
        Ok(true)
    }
    fn unsent(&mut self) -> Result<usize, LinkError> {
        Ok(0)
    }
    fn drain(&mut self) -> Result<(), LinkError> {
        Ok(())
    }
    fn now(&self) -> Duration {
        self.now
    }
    fn pause(&mut self, time: Duration) {
        self.now += time.max(Duration::from_micros(50));
    }
}

/// The most memory that this process ever had, kB.
fn most_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
    line.trim().trim_end_matches(" kB").parse().unwrap()
}

#[test]
fn twenty_megabytes_take_no_more_memory_than_one() {
    let job = b"PU100,200;PD300,200,300,400,100,400,100,200;".repeat(20_000_000 / 44);
    let settings = SendSettings {
        rate_bytes_s: 11_520.0,
        handshake: Handshake::XonXoff,
        buffer_bytes: 1024,
        stall: Duration::from_secs(600),
    };
    let send = |job: &[u8]| {
        let mut sink = Sink::default();
        let mut most = 0;
        let ending = send::send(job, &settings, &mut sink, &StopFlag::new(), &mut |progress| {
            most = most.max(progress.sent);
        });
        assert_eq!(ending, Ok(Ending::Done));
        assert_eq!((sink.bytes, most), (job.len() as u64, job.len() as u64));
        let sum = job.iter().fold(0u64, |sum, &b| sum.wrapping_mul(31).wrapping_add(u64::from(b)));
        assert_eq!(sink.sum, sum);
    };
    send(&job[..1_000_000]);
    let before = most_kb();
    send(&job);
    let grown = most_kb() - before;
    assert!(grown < 512, "{grown} kB more");
}
