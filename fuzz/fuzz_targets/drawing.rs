//! Bytes as a drawing, planned.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| bladewright_fuzz::drawing(bytes));
