//! Letters and digits as a hand writes them, one stroke after another.

use crate::chance::Chance;

/// Strokes on a grid of 4 by 8: digits in pairs, from the left and from the top; a capital
/// reaches from 0 to 6, a small letter from 2, what hangs goes down to 8. Strokes of three
/// places and more are rounded, except where a place stands twice.
const LETTERS: &[(char, &str)] = &[
    ('a', "42220305162644 42424556"),
    ('b', "0006 0323324244362605"),
    ('c', "42220305163645"),
    ('d', "42220305162644 40404656"),
    ('e', "04444332120405163645"),
    ('f', "4030212226 0232"),
    ('g', "42220304152543 42424738281807"),
    ('h', "0006 04223343434446"),
    ('i', "1216 1011"),
    ('j', "22222718 2021"),
    ('k', "0006 4204 1446"),
    ('l', "10152636"),
    ('m', "0206 0412222326 2423334346"),
    ('n', "0206 0422334446"),
    ('o', "22120305163645433222"),
    ('p', "0208 0322324344362605"),
    ('q', "42220305162644 4248"),
    ('r', "0206 04122242"),
    ('s', "42120324453606"),
    ('t', "20253646 0242"),
    ('u', "02051636444242 4246"),
    ('v', "02262642"),
    ('w', "02161624243636 3642"),
    ('x', "0246 4206"),
    ('y', "0225 421708"),
    ('z', "0242420606 0646"),
    ('A', "0620 2046 1434"),
    ('B', "0006 0030413203 0333443506"),
    ('C', "4130100105163645"),
    ('D', "0006 002042442606"),
    ('E', "4000 0006 0333 0646"),
    ('F', "4000 0006 0333"),
    ('G', "4130100105163644 2343"),
    ('H', "0006 4046 0343"),
    ('I', "2026"),
    ('J', "4045361605"),
    ('K', "0006 4003 0346"),
    ('L', "0006 0646"),
    ('M', "0600 0024 2440 4046"),
    ('N', "0600 0046 4640"),
    ('O', "2001051636454130 3020"),
    ('P', "0006 0030413203"),
    ('Q', "2001051636454130 3020 2446"),
    ('R', "0006 0030413203 2346"),
    ('S', "4130100112334445361605"),
    ('T', "0040 2026"),
    ('U', "000516364540"),
    ('V', "0026 2640"),
    ('W', "0016 1623 2336 3640"),
    ('X', "0046 4006"),
    ('Y', "0023 4023 2326"),
    ('Z', "0040 4006 0646"),
    ('0', "200105163645413020"),
    ('1', "0220 2026"),
    ('2', "011030414206 0646"),
    ('3', "0110304123233445361605"),
    ('4', "3004 0444 3036"),
    ('5', "4000 0003 03233344453606"),
    ('6', "30110405163645341404"),
    ('7', "0040 4016"),
    ('8', "20101122344536160522313020"),
    ('9', "41201002133241 4146"),
];

/// Height of a capital on the grid.
const CAPITAL: f64 = 6.0;

/// Text in a hand: its strokes in millimetres from the left end of the baseline, y down, and
/// its width. Characters that are not known are left blank.
pub(crate) fn write(
    text: &str,
    capital_mm: f64,
    slant: f64,
    chance: &mut Chance,
) -> (Vec<Vec<[f64; 2]>>, f64) {
    let unit = capital_mm / CAPITAL;
    let mut strokes = Vec::new();
    let mut x = 0.0;
    for letter in text.chars() {
        let Some((_, shape)) = LETTERS.iter().find(|(known, _)| *known == letter) else {
            x += 3.0;
            continue;
        };
        let size = chance.between(0.9, 1.1);
        let lift = chance.between(-0.35, 0.35);
        let lean = slant + chance.between(-0.06, 0.06);
        let mut width = 0.0_f64;
        for stroke in shape.split(' ') {
            let digit = |byte: u8| f64::from(byte.wrapping_sub(b'0'));
            let places = stroke.as_bytes().chunks_exact(2);
            let places: Vec<[f64; 2]> = places
                .map(|pair| {
                    let (across, down) = (digit(pair[0]) * 0.9, digit(pair[1]));
                    width = width.max(across);
                    let jitter = [chance.between(-0.2, 0.2), chance.between(-0.2, 0.2)];
                    [across + jitter[0], down + jitter[1]]
                })
                .collect();
            let places = rounded(&places);
            let placed = places.iter().map(|&[across, down]| {
                let up = (CAPITAL - down) * size + lift;
                [unit * (x + across * size + lean * up), -unit * up]
            });
            strokes.push(placed.collect());
        }
        x += width * size + chance.between(1.2, 2.0);
    }
    (strokes, unit * x)
}

/// A curve through the places (Catmull and Rom 1974); two that nearly coincide make a corner.
fn rounded(places: &[[f64; 2]]) -> Vec<[f64; 2]> {
    const STEPS: usize = 6;
    let mut curve = Vec::new();
    for index in 0..places.len().saturating_sub(1) {
        let at = |offset: isize| {
            let wanted = (index as isize + offset).clamp(0, places.len() as isize - 1);
            places[wanted as usize]
        };
        let [p0, p1, p2, p3] = [at(-1), at(0), at(1), at(2)];
        for step in 0..STEPS {
            let t = step as f64 / STEPS as f64;
            let blend = |axis: usize| {
                let (a, b, c, d) = (p0[axis], p1[axis], p2[axis], p3[axis]);
                0.5 * (2.0 * b
                    + (c - a) * t
                    + (2.0 * a - 5.0 * b + 4.0 * c - d) * t * t
                    + (3.0 * b - a - 3.0 * c + d) * t * t * t)
            };
            curve.push([blend(0), blend(1)]);
        }
    }
    curve.extend(places.last());
    curve
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_letter_stays_within_its_box() {
        let chance = &mut Chance::new(1, "letters");
        for (letter, _) in LETTERS {
            let (strokes, width) = write(&letter.to_string(), 3.0, 0.0, chance);
            assert!(!strokes.is_empty() && width > 0.3, "{letter}");
            for point in strokes.iter().flatten() {
                assert!((-0.6..3.0).contains(&point[0]), "{letter} {point:?}");
                assert!((-4.0..2.0).contains(&point[1]), "{letter} {point:?}");
            }
        }
    }
}
