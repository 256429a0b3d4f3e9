//! Colours that the SVG library does not read though CSS Color 4 has them in the sRGB space: channels and
//! opacity as numbers or percentages at will, `none`, `color(srgb ...)`.

use crate::drawing::survey::percentage;

/// A colour as #rrggbb or #rrggbbaa; `None` if the library knows it as it is, or it is none of these.
pub(super) fn written(value: &str) -> Option<String> {
    let value = value.trim();
    let is_read = value.parse::<svgtypes::Color>().is_ok();
    if value.eq_ignore_ascii_case("rebeccapurple") {
        return Some("#663399".to_owned());
    }
    let (name, inside) = value.strip_suffix(')')?.split_once('(')?;
    let words: Vec<_> =
        inside.split([',', '/', ' ', '\t', '\n']).filter(|w| !w.is_empty()).collect();
    let name = name.to_ascii_lowercase();
    if is_read && !is_misread(&name, &words) {
        return None;
    }
    match (name.as_str(), words.as_slice()) {
        ("rgb" | "rgba", [r, g, b, alpha @ ..]) => hex([r, g, b], 255.0, alpha),
        ("color", [space, r, g, b, alpha @ ..]) if space.eq_ignore_ascii_case("srgb") => {
            hex([r, g, b], 1.0, alpha)
        }
        ("hsl" | "hsla", [hue, s, l, alpha @ ..]) => {
            let hue = if is_none(hue) { "0" } else { hue };
            let (s, l) = (share(s, 100.0)? * 100.0, share(l, 100.0)? * 100.0);
            let color = format!("hsl({hue},{s}%,{l}%)").parse::<svgtypes::Color>().ok()?;
            let [r, g, b] = [color.red, color.green, color.blue].map(|c| c.to_string());
            hex([&r, &g, &b], 255.0, alpha)
        }
        _ => None,
    }
}

/// Where the library takes plain numbers for shares of one: white, mostly.
fn is_misread(name: &str, words: &[&str]) -> bool {
    let by_percent = |word: &&str| word.ends_with('%');
    match words {
        [first, others @ ..] if name.starts_with("hsl") || by_percent(first) => {
            !others.iter().take(2).all(by_percent)
        }
        _ => false,
    }
}

fn is_none(word: &str) -> bool {
    word.eq_ignore_ascii_case("none")
}

/// Channels, each a number up to `most` or a percentage, and an opacity if any.
fn hex(channels: [&str; 3], most: f64, alpha: &[&str]) -> Option<String> {
    let mut digits = String::from("#");
    for channel in channels {
        digits += &byte(share(channel, most)?);
    }
    match alpha {
        [] => Some(digits),
        [alpha] => Some(digits + &byte(share(alpha, 1.0)?)),
        _ => None,
    }
}

/// The share of the whole that a number, a percentage or `none` is.
fn share(word: &str, most: f64) -> Option<f64> {
    let of_one = match percentage(word) {
        Some(share) => share,
        None if is_none(word) => 0.0,
        None => word.parse::<f64>().ok()? / most,
    };
    of_one.is_finite().then(|| of_one.clamp(0.0, 1.0))
}

fn byte(share: f64) -> String {
    format!("{:02x}", (share * 255.0).round() as u8)
}

#[cfg(test)]
mod tests {
    use super::written;

    #[test]
    fn colours_become_numbers() {
        for (given, wanted) in [
            ("rgb(0 0 0 / 80%)", "#000000cc"),
            ("RGBA(255, 0, 51, 100%)", "#ff0033ff"),
            ("rgb(100% 0 none)", "#ff0000"),
            ("color(srgb 1 .2 0%/.5)", "#ff330080"),
            ("hsl(120 100 50)", "#00ff00"),
            ("rgb(100% 0 51)", "#ff0033"),
            ("hsl(120deg 100 50 / none)", "#00ff0000"),
            ("RebeccaPurple", "#663399"),
        ] {
            assert_eq!(written(given).as_deref(), Some(wanted), "{given}");
        }
        let others = [
            "rgb(0 0 0)",
            "#fff",
            "red",
            "lab(1 2 3)",
            "rgb(1 2)",
            "rgb(1 2 3 4 5)",
            "url(#a)",
            "rgb(x 0 0)",
        ];
        for other in others {
            assert_eq!(written(other), None, "{other}");
        }
    }
}
