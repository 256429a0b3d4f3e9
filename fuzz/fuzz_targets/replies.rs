//! Bytes as what a machine says while it is sent to, probed and asked for its place.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| bladewright_fuzz::replies(bytes));
