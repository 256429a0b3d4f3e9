//! Bytes as a job file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| bladewright_fuzz::job_file(bytes));
