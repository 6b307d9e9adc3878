//! A small picture of a corrected map, for the table of all fields.

use super::points::{Frame, scale};
use crate::evidence::Evidence;
use crate::map::YieldMap;

/// Longest side, pixels.
const LONGEST: f64 = 120.0;
/// Shades of the scale.
const SHADES: usize = 64;

/// A PNG of the kept points; ground without them is transparent. A single clear pixel where there is nothing to show.
pub(super) fn png(map: &YieldMap, evidence: &Evidence) -> Option<Vec<u8>> {
    picture(map, evidence).or_else(|| encode(&[0], 1, 1))
}

fn picture(map: &YieldMap, evidence: &Evidence) -> Option<Vec<u8>> {
    let frame = Frame::of(map, evidence)?;
    let [low, high] = scale(map)?;
    let size = frame.size();
    let cell = (size[0].max(size[1]) / LONGEST).max(1e-6);
    let [width, height] = size.map(|v| (v / cell).floor() as usize + 1);
    let mut sums = vec![(0.0f64, 0u32); width * height];
    for i in (0..evidence.x.len()).filter(|&i| map.verdicts.is_kept(i)) {
        let y = map.yields[i];
        if !(y.is_finite() && evidence.x[i].is_finite()) {
            continue;
        }
        let column = ((evidence.x[i] - frame.low[0]) / cell) as usize;
        let row = ((frame.high[1] - evidence.y[i]) / cell) as usize;
        let sum = &mut sums[row.min(height - 1) * width + column.min(width - 1)];
        *sum = (sum.0 + y, sum.1 + 1);
    }
    let reach = (0.5 * evidence.spacing.header_m.unwrap_or(cell) / cell).ceil() as usize;
    let cells: Vec<u8> = filled(&sums, width, height, reach.clamp(1, 6))
        .into_iter()
        .map(|v| match v {
            Some(y) => shade((y - low) / (high - low)),
            None => 0,
        })
        .collect();
    encode(&cells, width as u32, height as u32)
}

/// The mean of each cell; of the points up to `reach` cells away where it has none itself.
fn filled(sums: &[(f64, u32)], width: usize, height: usize, reach: usize) -> Vec<Option<f64>> {
    let mut out = Vec::with_capacity(sums.len());
    for row in 0..height {
        for column in 0..width {
            let at = |r: usize, c: usize| sums[r * width + c];
            let mut sum = at(row, column);
            let mut ring = 0;
            while sum.1 == 0 && ring < reach {
                ring += 1;
                for r in row.saturating_sub(ring)..=(row + ring).min(height - 1) {
                    for c in column.saturating_sub(ring)..=(column + ring).min(width - 1) {
                        let s = at(r, c);
                        sum = (sum.0 + s.0, sum.1 + s.1);
                    }
                }
            }
            out.push((sum.1 > 0).then(|| sum.0 / f64::from(sum.1)));
        }
    }
    out
}

/// The colour of a share of the scale; shares beyond its ends have theirs.
pub(super) fn shade(share: f64) -> u8 {
    1 + (share.clamp(0.0, 1.0) * (SHADES - 1) as f64).round() as u8
}

/// A PNG of colours of the scale, row by row from the top; 0 is transparent.
pub(super) fn encode(cells: &[u8], width: u32, height: u32) -> Option<Vec<u8>> {
    let mut palette = vec![255, 255, 255];
    for shade in 0..SHADES {
        let c = colorous::VIRIDIS.eval_rational(shade, SHADES);
        palette.extend([c.r, c.g, c.b]);
    }
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_palette(palette);
    encoder.set_trns(vec![0]);
    let mut writer = encoder.write_header().ok()?;
    writer.write_image_data(cells).ok()?;
    writer.finish().ok()?;
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_can_be_read_again() {
        let bytes = encode(&[0, 1, 64, 0, 0, 33], 3, 2).expect("a picture");
        let mut reader = png::Decoder::new(std::io::Cursor::new(bytes))
            .read_info()
            .expect("a PNG");
        let mut pixels = vec![0; reader.output_buffer_size().expect("a size")];
        reader.next_frame(&mut pixels).expect("pixels");
        assert_eq!(&pixels[..6], [0, 1, 64, 0, 0, 33]);
    }

    #[test]
    fn holes_are_filled_from_nearby_and_far_ones_are_not() {
        let mut sums = vec![(0.0, 0); 7];
        sums[0] = (6.0, 2);
        let row = filled(&sums, 7, 1, 2);
        assert_eq!(
            row,
            [Some(3.0), Some(3.0), Some(3.0), None, None, None, None]
        );
    }
}
