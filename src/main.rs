//! The program's door; everything else is in the library.

fn main() {}
