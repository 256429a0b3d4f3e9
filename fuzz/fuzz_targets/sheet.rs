//! Bytes as a recipe for a drawing that can be read, planned.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| bladewright_fuzz::sheet(bytes));
