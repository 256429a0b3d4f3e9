//! A job of small squares in rows of a hundred, one cut each.

/// So many squares, as a pen or a knife without offset is led.
pub fn job(cuts: usize) -> String {
    let mut text = String::from("IN;SP1;");
    for i in 0..cuts {
        let (x, y) = (60 * (i % 100), 70 * (i / 100));
        text += &format!("PU{x},{y};PD{},{y},{},{},{x},{y};", x + 40, x + 40, y + 50);
    }
    text + "PU0,0;SP0;"
}
