//! The colour scale with its numbers, as SVG.

use std::fmt::Write;

/// Stops of the gradient.
const STOPS: usize = 16;

/// A bar from `low` to `high` in `unit`. Numbers alone go into it, and a unit of ours.
pub(super) fn svg([low, high]: [f64; 2], unit: &str) -> String {
    let mut out = String::from(
        "<svg class=\"legend\" viewBox=\"0 0 420 46\" width=\"420\" height=\"46\" aria-hidden=\"true\"><defs><linearGradient id=\"scale\">",
    );
    for k in 0..=STOPS {
        let c = colorous::VIRIDIS.eval_continuous(k as f64 / STOPS as f64);
        let _ = write!(
            out,
            "<stop offset=\"{:.4}\" stop-color=\"#{c:x}\"/>",
            k as f64 / STOPS as f64
        );
    }
    out.push_str("</linearGradient></defs><rect x=\"20\" y=\"2\" width=\"330\" height=\"16\" fill=\"url(#scale)\"/>");
    let step = step((high - low) / 5.0);
    let first = (low / step).ceil() as i64;
    let last = (high / step + 1e-9).floor() as i64;
    let decimals = (-step.log10().floor()).clamp(0.0, 3.0) as usize;
    for k in first..=last {
        let value = k as f64 * step;
        let x = 20.0 + 330.0 * (value - low) / (high - low);
        let _ = write!(
            out,
            "<path d=\"M{x:.1} 18v5\" stroke=\"currentColor\"/><text x=\"{x:.1}\" y=\"37\" text-anchor=\"middle\">{value:.decimals$}</text>"
        );
    }
    let _ = write!(out, "<text x=\"362\" y=\"15\">{unit}</text></svg>");
    out
}

fn step(about: f64) -> f64 {
    let power = 10f64.powf(about.log10().floor());
    let times = [1.0, 2.0, 5.0, 10.0].into_iter().min_by(|a, b| {
        (a * power - about)
            .abs()
            .total_cmp(&(b * power - about).abs())
    });
    times.map_or(power, |t| t * power)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_numbers_are_round_and_inside() {
        let text = svg([6.4, 13.6], "t/ha");
        for number in [">8<", ">10<", ">12<", ">t/ha<"] {
            assert!(text.contains(number), "{text}");
        }
        assert!(!text.contains(">6<") && !text.contains(">14<"), "{text}");
        assert!(svg([0.4, 0.9], "t/ha").contains(">0.5<"));
    }
}
