//! Bytes as a machine's or a material's profile.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| bladewright_fuzz::profile(bytes));
