//! Bytes as a job from anywhere.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| bladewright_fuzz::hpgl_read(bytes));
