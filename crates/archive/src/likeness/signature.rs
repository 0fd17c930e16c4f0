//! A curve in few bytes, and how far its likeness to a curve that is sought can be told from them.
//!
//! A signature keeps the values of a curve at up to [`NODES`] evenly spaced places of its own range, as levels of 8 to 16 bits,
//! and E, the root mean square of what the straight lines between them miss. It is made from the record alone. It never
//! decides a rank: it bounds the likeness, and only what its bounds leave open is computed from the record.
//!
//! ```text
//! 0    axis: 0 wavelength, 1 time
//! 1    count of values
//! 2    ends of the range, two doubles; narrowest and widest step, two singles
//! 26   width of the levels (2 bits, of `WIDTHS`), order of the prediction less one (1 bit), k of the code (5 bits)
//! 27   E, and the spread at which the curve is flat: the upper halves of two singles
//! 31   the first level as it is; of each other what it differs from the level before, or from the line through the two before it,
//!      in Golomb's code with a power of two (Rice), the low bits of each byte first
//! ```
//!
//! # The bounds
//!
//! Let f be the curve less its mean over the common range, g the sought curve likewise, f̂ what the signature makes of f,
//! and ‖·‖ the root of the integral of the square over that range. r is the cosine of the angle between f and g as
//! vectors. Angles obey the inequality of the triangle:
//!
//! ```text
//! angle(f̂, g) - angle(f, f̂)  ≤  angle(f, g)  ≤  angle(f̂, g) + angle(f, f̂)
//! ```
//!
//! f differs from f̂ by no more than e, the error over the whole range: taking off means and leaving out a part of the
//! range make no norm longer. A vector in the ball of radius ‖e‖ about f̂ makes with it an angle of at most
//! asin(‖e‖/‖f̂‖) where ‖e‖ < ‖f̂‖; otherwise nothing is known. So
//!
//! ```text
//! cos(angle(f̂, g) + δ)  ≤  r  ≤  cos(angle(f̂, g) - δ),     δ = asin(E √(length of the range of f) / ‖f̂‖)
//! ```
//!
//! The sought curve is at hand in full, so that it adds no error of its own. [`SLACK`] covers the rounding of the sums.

use curvary_record::Run;

use super::curve::{Curve, CurveAxis, CurveWalk, FEWEST_POINTS, Merged, common, straight, together};

/// A signature has at most so many values: an evenly sampled curve of no more points is kept at its own, and 200 nm to
/// 800 nm are kept every 4.7 nm, a fraction of the width of the bands of dissolved molecules.
const NODES: usize = 128;
/// Half as many will do for a curve with noise, of which more nodes would keep more.
const FEWER: usize = 64;
/// The noise, of [`LEVELS`], from which on a curve is not smooth.
const NOISE: f64 = 10.0;
/// The largest value.
const LEVELS: f64 = 65_535.0;
/// In how many bits a value is kept when the straight lines miss so much, or when there is so much noise (root mean square,
/// of [`LEVELS`]): what rounding adds, the square root of 1/12 of a step, is then less than that.
const WIDTHS: [(f64, u32); 4] = [(100.0, 8), (20.0, 10), (5.0, 12), (0.0, 16)];
/// What is added to δ for the rounding of sums. The cosine of an angle comes out right to some 1e-14 (sums of a few
/// hundred products, each right to 1e-16), which is an angle of √(2·1e-14) = 1.4e-7 where it matters most, near zero.
const SLACK: f64 = 1e-6;
/// Steps of an axis are kept in 32 bits, right to 6e-8; they are taken as so much wider and narrower.
const STEPS: f64 = 1e-6;

/// Where the values begin.
const HEAD: usize = 31;
/// What is further from its prediction is kept as it is, in so many bits.
const ESCAPED: u32 = 19;
/// So many bits that are set announce it.
const LONGEST: u32 = 12;

/// The signatures of a run, as bytes: one for each curve that has a likeness.
pub(crate) fn signatures(run: &Run) -> Vec<Vec<u8>> {
    if run.question_about_curves().is_some() {
        return Vec::new();
    }
    run.traces
        .iter()
        .filter_map(|trace| Curve::of_trace(trace).ok())
        .map(|curve| signature(&curve))
        .collect()
}

/// Evenly spaced places of a range, its ends among them.
fn nodes(range: (f64, f64), count: usize) -> Vec<f64> {
    let parts = float(count.saturating_sub(1).max(1));
    (0..count)
        .map(|node| {
            if node + 1 == count {
                range.1
            } else {
                range.0 + (range.1 - range.0) * (float(node) / parts)
            }
        })
        .collect()
}

#[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
fn float(count: usize) -> f64 {
    count as f64
}

/// A 32-bit number that is no less.
#[expect(clippy::cast_possible_truncation, reason = "what is lost is made up for")]
fn no_less(value: f64) -> f32 {
    let near = value as f32;
    if f64::from(near) >= value {
        near
    } else {
        near.next_up()
    }
}

/// The upper half of a positive 32-bit number that is no less, by a two hundred and fiftieth at most.
fn upper_half(value: f64) -> [u8; 2] {
    let bits = no_less(value).to_bits();
    let up = u32::from(bits & 0xFFFF != 0);
    // Beyond the largest number comes infinity.
    u16::try_from((bits >> 16) + up).unwrap_or(0x7F80).to_le_bytes()
}

/// The signature of a curve as bytes. What many curves share, the range and its steps, comes first: the index keeps equal
/// beginnings once, and they stand beside each other there.
pub(crate) fn signature(curve: &Curve) -> Vec<u8> {
    let range = (curve.first(), curve.last());
    let (mut narrowest, mut widest) = (f64::INFINITY, 0.0_f64);
    for (one, two) in curve.x.iter().zip(curve.x.iter().skip(1)) {
        narrowest = narrowest.min(two - one);
        widest = widest.max(two - one);
    }
    let even = widest - narrowest <= 1e-3 * widest;
    let noise = if even { noise(&curve.y) * LEVELS } else { 0.0 };
    let most = if even && noise < NOISE { NODES } else { FEWER };
    let own = even && curve.x.len() <= most;
    let places = nodes(range, if own { curve.x.len() } else { most });
    let mut walk = CurveWalk::new((&curve.x, &curve.y));
    let mut values: Vec<f64> = places.iter().map(|&place| walk.at(place) * LEVELS).collect();
    // Where it is kept at its own points, or there is noise enough, it need not be asked how much is missed.
    let at_least = if own || noise >= WIDTHS[1].0 {
        noise
    } else {
        noise.max(missed(curve, &places, &values, range))
    };
    let width = WIDTHS.iter().position(|(least, _)| at_least >= *least);
    let width = width.unwrap_or(WIDTHS.len() - 1);
    let bits = WIDTHS[width].1;
    let step = step_of(bits);
    let mut levels = Vec::with_capacity(places.len());
    for value in &mut values {
        let level = (*value / step).round();
        *value = level * step;
        #[expect(
            clippy::cast_possible_truncation,
            reason = "levels are whole numbers from 0 to 65535"
        )]
        levels.push(level as i32);
    }
    let error = missed(curve, &places, &values, range) * (1.0 + STEPS) + STEPS;
    // Places that rounding makes equal say nothing: such a curve is always computed anew.
    let sound = places.windows(2).all(|two| two.first() < two.get(1));
    let error = if sound && error.is_finite() {
        error
    } else {
        f64::INFINITY
    };

    let mut bytes = Vec::with_capacity(HEAD + places.len());
    bytes.push(match curve.axis {
        CurveAxis::Wavelength => 0,
        CurveAxis::Time => 1,
    });
    bytes.push(u8::try_from(places.len()).unwrap_or(u8::MAX));
    for end in [range.0, range.1] {
        bytes.extend_from_slice(&end.to_le_bytes());
    }
    for number in [narrowest, widest] {
        bytes.extend_from_slice(&no_less(number).to_le_bytes());
    }
    let (second, k) = code_of(&levels);
    bytes.push(u8::try_from(width).unwrap_or(0) | u8::from(second) << 2 | u8::try_from(k).unwrap_or(0) << 3);
    bytes.extend_from_slice(&upper_half(error));
    bytes.extend_from_slice(&upper_half(curve.coarse * LEVELS));
    put_levels(&mut bytes, &levels, bits, (second, k));
    bytes
}

/// The standard deviation of what no smooth curve explains: the fifth differences of evenly spaced values vanish for
/// polynomials of the fourth degree, and have √252 times the deviation of independent noise.
fn noise(values: &[f64]) -> f64 {
    let (mut square, mut count) = (0.0, 0.0);
    for six in values.windows(6) {
        if let [a, b, c, d, e, f] = six {
            let fifth = f - a + 5.0 * (b - e) + 10.0 * (d - c);
            square += fifth * fifth;
            count += 1.0;
        }
    }
    (square / f64::max(count, 1.0) / 252.0).sqrt()
}

/// How far apart the levels of values are that are kept in so many bits.
fn step_of(bits: u32) -> f64 {
    LEVELS / f64::from((1_u32 << bits) - 1)
}

/// The root mean square of what the straight lines between values at some places miss of a curve.
fn missed(curve: &Curve, places: &[f64], values: &[f64], range: (f64, f64)) -> f64 {
    let mut square = 0.0;
    let mut before: Option<(f64, f64)> = None;
    together((&curve.x, &curve.y), (places, values), range, |(x, y, kept)| {
        let missed = y * LEVELS - kept;
        if let Some((from, less)) = before {
            square += (x - from) * straight((less, less), (missed, missed));
        }
        before = Some((x, missed));
    });
    (square / (range.1 - range.0)).sqrt()
}

/// What each level but the first differs from its prediction, without a sign: 0, -1, 1, -2, 2, … become 0, 1, 2, 3, 4, …
fn differences(levels: &[i32], second: bool) -> impl Iterator<Item = u32> + '_ {
    (1..levels.len()).map(move |place| {
        let before = levels[place - 1];
        let predicted = match place.checked_sub(2) {
            Some(other) if second => 2 * before - levels[other],
            _ => before,
        };
        let difference = levels[place] - predicted;
        (difference << 1 ^ difference >> 31).cast_unsigned()
    })
}

/// The shortest code: whether levels are predicted from the two before them, and k.
fn code_of(levels: &[i32]) -> (bool, u32) {
    let length = |&(second, k): &(bool, u32)| {
        differences(levels, second)
            .map(|difference| match difference >> k {
                quotient if quotient < LONGEST => quotient + 1 + k,
                _ => LONGEST + ESCAPED,
            })
            .sum::<u32>()
    };
    // About the mean, where the code is shortest (Golomb 1966).
    let about = |second: bool| {
        let sum: u32 = differences(levels, second).sum();
        let mean = sum / u32::try_from(levels.len()).unwrap_or(1).max(1);
        (32 - mean.leading_zeros()).saturating_sub(1)
    };
    let codes = [false, true].map(|second| {
        let k = about(second);
        [(second, k), (second, k + 1)]
    });
    let codes = codes.as_flattened().iter();
    codes.min_by_key(|code| length(code)).copied().unwrap_or_default()
}

/// Writes levels.
fn put_levels(bytes: &mut Vec<u8>, levels: &[i32], bits: u32, (second, k): (bool, u32)) {
    let (mut open, mut filled) = (0_u64, 0);
    let mut put = |value: u32, bits: u32| {
        open |= u64::from(value) << filled;
        filled += bits;
        while filled >= 8 {
            bytes.push((open & 0xFF) as u8);
            open >>= 8;
            filled -= 8;
        }
    };
    put(levels.first().map_or(0, |first| first.cast_unsigned()), bits);
    for difference in differences(levels, second) {
        let quotient = difference >> k;
        if quotient < LONGEST {
            put((1 << quotient) - 1, quotient + 1);
            put(difference & ((1 << k) - 1), k);
        } else {
            put((1 << LONGEST) - 1, LONGEST);
            put(difference, ESCAPED);
        }
    }
    put(0, 7);
}

/// Reads them again; `None` when the bytes are not what was written.
fn levels_of(bytes: &[u8], count: usize, bits: u32, (second, k): (bool, u32)) -> Option<[i32; NODES]> {
    let mut bytes = bytes.iter();
    let (mut open, mut filled) = (0_u64, 0_u32);
    let mut take = |bits: u32, of: Option<u32>| -> Option<u32> {
        while filled < 32 {
            // Zeros behind the end: what is missing is noticed by the sum of all.
            let Some(byte) = bytes.next() else { break };
            open |= u64::from(*byte) << filled;
            filled += 8;
        }
        let bits = of.map_or(bits, |most| open.trailing_ones().min(most));
        let taken = (open & ((1_u64 << bits) - 1)) as u32;
        open >>= bits;
        filled = filled.checked_sub(bits)?;
        Some(if of.is_some() { bits } else { taken })
    };
    let mut levels = [0_i32; NODES];
    let most = (1_i32 << bits) - 1;
    for place in 0..count {
        let level = if place == 0 {
            take(bits, None)?.cast_signed()
        } else {
            let quotient = take(0, Some(LONGEST))?;
            let difference = if quotient < LONGEST {
                take(1, None)?;
                quotient << k | take(k, None)?
            } else {
                take(ESCAPED, None)?
            };
            let before = levels[place - 1];
            let predicted = match place.checked_sub(2) {
                Some(other) if second => 2 * before - levels[other],
                _ => before,
            };
            predicted + ((difference >> 1).cast_signed() ^ -(difference & 1).cast_signed())
        };
        *levels.get_mut(place)? = Some(level).filter(|level| (0..=most).contains(level))?;
    }
    Some(levels)
}

/// What a signature tells of the likeness of its curve to the one that is sought.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum SignatureBound {
    /// There is nothing to compare.
    Nothing,
    /// There is a likeness, and it lies between these.
    Between {
        /// It is no less.
        low: f64,
        /// It is no more.
        high: f64,
    },
    /// Only the record can tell.
    Open,
}

impl SignatureBound {
    /// What is known of the best of two curves of one run.
    pub(crate) fn or(self, other: Self) -> Self {
        match (self, other) {
            (Self::Open, _) | (_, Self::Open) => Self::Open,
            (Self::Nothing, one) | (one, Self::Nothing) => one,
            (Self::Between { low, high }, Self::Between { low: a, high: b }) => Self::Between {
                low: low.max(a),
                high: high.max(b),
            },
        }
    }
}

/// A curve that is sought, with what is the same for all signatures of one range.
pub(crate) struct QuerySignature<'a> {
    curve: &'a Curve,
    /// The range and number of values that `shared` is for.
    of: (f64, f64, usize),
    shared: Option<CommonRange>,
}

/// Integrals over the common range, with the hat functions h_k that rise from 0 to 1 and fall again between the places
/// before and after the k-th: what a signature makes of a curve is Σ v_k h_k.
struct CommonRange {
    /// The length of the common range.
    length: f64,
    /// ‖g‖ of the sought curve g, less its mean.
    norm: f64,
    /// For each k: ∫ h_k, ∫ h_k g, ∫ h_k², 2 ∫ h_k h_(k+1).
    hats: Vec<[f64; 4]>,
}

/// The numbers of a signature.
struct SignatureNumbers<'a> {
    axis: CurveAxis,
    range: (f64, f64),
    narrowest: f64,
    widest: f64,
    error: f64,
    coarse: f64,
    count: usize,
    bits: u32,
    code: (bool, u32),
    values: &'a [u8],
}

impl<'a> SignatureNumbers<'a> {
    fn of(bytes: &'a [u8]) -> Option<Self> {
        let (head, values) = bytes.split_at_checked(HEAD)?;
        let double = |from: usize| Some(f64::from_le_bytes(head.get(from..from + 8)?.try_into().ok()?));
        let single = |from: usize| {
            let bytes = head.get(from..from + 4)?.try_into().ok()?;
            Some(f64::from(f32::from_le_bytes(bytes)))
        };
        let upper = |from: usize| {
            let half = u16::from_le_bytes(head.get(from..from + 2)?.try_into().ok()?);
            Some(f64::from(f32::from_bits(u32::from(half) << 16)))
        };
        let (axis, count, code) = (head.first()?, head.get(1)?, head.get(26)?);
        let read = Self {
            axis: match axis {
                0 => CurveAxis::Wavelength,
                1 => CurveAxis::Time,
                _ => return None,
            },
            range: (double(2)?, double(10)?),
            narrowest: single(18)? * (1.0 - STEPS),
            widest: single(22)? * (1.0 + STEPS),
            error: upper(27)?,
            coarse: upper(29)?,
            count: usize::from(*count),
            bits: WIDTHS.get(usize::from(code & 3))?.1,
            code: (code & 4 != 0, u32::from(code >> 3)),
            values,
        };
        (read.count <= NODES && read.code.1 <= ESCAPED).then_some(read)
    }

    fn values(&self) -> Option<[f64; NODES]> {
        let step = step_of(self.bits);
        let levels = levels_of(self.values, self.count, self.bits, self.code)?;
        Some(levels.map(|level| f64::from(level) * step))
    }

    /// Whether the curve has enough points in a part of its range; none where its steps do not tell. A stretch holds as
    /// many points as the widest step fits into it, and one more than the narrowest at most.
    fn has_points_in(&self, range: (f64, f64)) -> Option<bool> {
        #[expect(clippy::cast_precision_loss, reason = "a small constant")]
        const FEWEST: f64 = FEWEST_POINTS as f64;
        let length = range.1 - range.0;
        if range == self.range || length / self.widest >= FEWEST {
            Some(true)
        } else if length / self.narrowest + 1.0 < FEWEST {
            Some(false)
        } else {
            None
        }
    }
}

impl<'a> QuerySignature<'a> {
    pub(crate) fn new(curve: &'a Curve) -> Self {
        Self {
            curve,
            of: (0.0, 0.0, 0),
            shared: None,
        }
    }

    /// What a signature tells. It is quickest when signatures of one range come one after another.
    pub(crate) fn screen(&mut self, bytes: &[u8]) -> SignatureBound {
        // Bytes that are no signature are no reason to leave a run out.
        let Some(read) = SignatureNumbers::of(bytes) else {
            return SignatureBound::Open;
        };
        if read.axis != self.curve.axis {
            return SignatureBound::Nothing;
        }
        let own = (self.curve.first(), self.curve.last());
        let Some(range) = common(own, read.range) else {
            return SignatureBound::Nothing;
        };
        match read.has_points_in(range) {
            Some(true) => {}
            Some(false) => return SignatureBound::Nothing,
            None => return SignatureBound::Open,
        }
        let of = (read.range.0, read.range.1, read.count);
        if self.of != of {
            self.shared = CommonRange::new(self.curve, read.range, read.count, range);
            self.of = of;
        }
        match &self.shared {
            Some(shared) => shared.bounds(&read),
            None => SignatureBound::Nothing,
        }
    }
}

impl CommonRange {
    /// None where the sought curve has too few points or no shape in the common range.
    fn new(curve: &Curve, whole: (f64, f64), count: usize, range: (f64, f64)) -> Option<Self> {
        let places = nodes(whole, count);
        // The number of the place as a curve of its own tells where in which step a place lies.
        let numbers: Vec<f64> = (0..count).map(float).collect();
        let both = Merged::new((&places, &numbers), (&curve.x, &curve.y), range);
        if !curve.has_points_in(range) || both.spread(|one| one.2) <= curve.coarse {
            return None;
        }
        let mean = both.mean(|one| one.2);
        let mut hats = vec![[0.0; 4]; count];
        both.each(|one, two| {
            let step = ((one.1 + two.1) / 2.0).floor();
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "places are counted from 0 to 127"
            )]
            let index = step as usize;
            let length = two.0 - one.0;
            let (g, rising) = ((one.2 - mean, two.2 - mean), (one.1 - step, two.1 - step));
            let falling = (1.0 - rising.0, 1.0 - rising.1);
            let mut add = |index: usize, hat: (f64, f64)| {
                if let Some(sums) = hats.get_mut(index) {
                    sums[0] += length * (hat.0 + hat.1) / 2.0;
                    sums[1] += length * straight((hat.0, g.0), (hat.1, g.1));
                    sums[2] += length * straight((hat.0, hat.0), (hat.1, hat.1));
                }
            };
            add(index, falling);
            add(index + 1, rising);
            if let Some(sums) = hats.get_mut(index) {
                sums[3] += 2.0 * length * straight((falling.0, rising.0), (falling.1, rising.1));
            }
        });
        Some(Self {
            length: range.1 - range.0,
            norm: both.product((mean, mean), |one| (one.2, one.2)).sqrt(),
            hats,
        })
    }

    fn bounds(&self, read: &SignatureNumbers<'_>) -> SignatureBound {
        // The mean comes off before anything is squared: a small part of a curve may lie far from zero.
        let Some(values) = read.values() else {
            return SignatureBound::Open;
        };
        let weighed = values.iter().zip(&self.hats).map(|(value, hat)| value * hat[0]);
        let mean = weighed.sum::<f64>() / self.length;
        let (mut product, mut square) = (0.0, 0.0);
        let (mut before, mut twice) = (0.0, 0.0);
        for (value, hat) in values.iter().zip(&self.hats) {
            let [_, with_sought, own, with_next] = *hat;
            let value = value - mean;
            product += value * with_sought;
            square += value * (value * own + before * twice);
            (before, twice) = (value, with_next);
        }
        let norm = square.max(0.0).sqrt();
        let error = read.error * (read.range.1 - read.range.0).sqrt();
        // The root of the mean square about the mean is half the spread at most.
        let may_be_flat = 2.0 * (norm - error) <= read.coarse * self.length.sqrt() * (1.0 + STEPS);
        let angle = (product / (norm * self.norm)).clamp(-1.0, 1.0).acos();
        let about = (error / norm).asin() + SLACK;
        // Where the error is longer than what is known of the curve, the arcsine is no number, and nothing is known.
        if may_be_flat || !angle.is_finite() || !about.is_finite() {
            return SignatureBound::Open;
        }
        SignatureBound::Between {
            low: (angle + about).min(std::f64::consts::PI).cos(),
            high: (angle - about).max(0.0).cos(),
        }
    }
}
