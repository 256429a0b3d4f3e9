//! Numbers as they are typed: what reads as none is told in words, not in those of the parser.

use std::ops::RangeInclusive;

/// A finite number.
///
/// # Errors
/// What to write instead.
pub fn decimal(text: &str) -> Result<f64, String> {
    let number: Option<f64> = text.trim().parse().ok();
    number.filter(|n| n.is_finite()).ok_or_else(|| "write a number such as 1.5".to_owned())
}

/// Reads whole numbers of a range; its errors tell what to write instead.
pub fn whole<T: TryFrom<u64>>(
    range: RangeInclusive<u64>,
) -> impl Fn(&str) -> Result<T, String> + Clone + Send + Sync + 'static {
    move |text| {
        let number = text.trim().parse().ok().filter(|n| range.contains(n));
        number.and_then(|n| T::try_from(n).ok()).ok_or_else(|| match range.clone().into_inner() {
            (least, most) if most >= u64::from(u32::MAX) => {
                format!("write a whole number, {least} or more")
            }
            (least, most) => format!("write a whole number from {least} to {most}"),
        })
    }
}

/// The range that begins with `least`, of numbers that are counted in 32 bits.
pub const fn from(least: u64) -> RangeInclusive<u64> {
    least..=u32::MAX as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_and_others_told() {
        assert_eq!(decimal(" -1.5 "), Ok(-1.5));
        for text in ["", "abc", "nan", "inf", "1,5", "1e999"] {
            assert_eq!(decimal(text), Err("write a number such as 1.5".to_owned()), "{text}");
        }
        let passes = whole::<u32>(1..=20);
        assert_eq!((passes("1"), passes(" 20")), (Ok(1), Ok(20)));
        for text in ["0", "21", "-3", "2.5", "many", ""] {
            assert_eq!(passes(text), Err("write a whole number from 1 to 20".to_owned()), "{text}");
        }
        let rate = whole::<u32>(from(16));
        assert_eq!(rate("4294967295"), Ok(u32::MAX));
        assert_eq!(rate("4294967296"), Err("write a whole number, 16 or more".to_owned()));
    }
}
