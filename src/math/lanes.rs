//! Eight numbers at once, in plain arrays: compiled once for every processor and once more for
//! those with 256-bit registers, where each operation on all eight is a single instruction. No
//! operation is fused or reordered, so both give the same bits.

use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub};

/// Numbers worked on at once.
pub const LANES: usize = 8;

/// Eight numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
#[repr(align(32))]
pub struct Lanes(pub [f32; LANES]);

impl Lanes {
    pub const ZERO: Self = Self([0.0; LANES]);
    pub const ONE: Self = Self([1.0; LANES]);

    #[inline(always)]
    pub fn splat(x: f32) -> Self {
        Self([x; LANES])
    }

    #[inline(always)]
    fn each(self, f: impl Fn(f32) -> f32) -> Self {
        // A plain loop: what `array::from_fn` makes is not always inlined, and then not compiled
        // for wide registers.
        let mut lanes = self.0;
        for lane in &mut lanes {
            *lane = f(*lane);
        }
        Self(lanes)
    }

    #[inline(always)]
    fn pairs(self, other: Self, f: impl Fn(f32, f32) -> f32) -> Self {
        let mut lanes = self.0;
        for (lane, other) in lanes.iter_mut().zip(other.0) {
            *lane = f(*lane, other);
        }
        Self(lanes)
    }

    #[inline(always)]
    pub fn abs(self) -> Self {
        self.each(f32::abs)
    }

    #[inline(always)]
    pub fn max(self, least: f32) -> Self {
        self.each(|x| x.max(least))
    }

    /// Each where `other` is above a limit, else 0.
    #[inline(always)]
    pub fn where_above(self, other: Self, limit: f32) -> Self {
        self.pairs(other, |x, other| if other > limit { x } else { 0.0 })
    }

    /// The sum of all eight.
    #[inline(always)]
    pub fn sum(self) -> f32 {
        let [a, b, c, d, e, f, g, h] = self.0;
        ((a + e) + (c + g)) + ((b + f) + (d + h))
    }

    /// The error function erf(z) and its slope 2/sqrt(pi) exp(-z^2), both good to 5e-7.
    ///
    /// Source: Abramowitz and Stegun, Handbook of Mathematical Functions (1964), formula 7.1.26
    /// (error below 1.5e-7), which needs the same exponential as the slope.
    #[inline(always)]
    pub fn erf_and_slope(self) -> (Self, Self) {
        // exp(-80) is far below the rounding of 1; beyond it the exponential would leave the range
        // of single precision.
        let bell = self.each(|z| exp((-z * z).max(-80.0)));
        let value = self.pairs(bell, |z, bell| {
            let t = 1.0 / (z.abs() * 0.327_591_1 + 1.0);
            let series = t
                * (t * (t * (t * (t * 1.061_405_4 - 1.453_152) + 1.421_413_7) - 0.284_496_74)
                    + 0.254_829_6);
            (1.0 - series * bell).copysign(z)
        });
        (value, bell * std::f32::consts::FRAC_2_SQRT_PI)
    }
}

/// exp(x) for x from -80 to 0, to three units of the last place: 2^n times the polynomial of the
/// Cephes library on half an octave about 1.
#[inline(always)]
fn exp(x: f32) -> f32 {
    // Added to a number below 2^22 this leaves its nearest whole number in the low bits.
    const ROUND: f32 = 12_582_912.0;
    const LN_2_HIGH: f32 = 0.693_359_4;
    const LN_2_LOW: f32 = -2.121_944_4e-4;
    let shifted = x * std::f32::consts::LOG2_E + ROUND;
    let n = shifted - ROUND;
    let r = (x - n * LN_2_HIGH) - n * LN_2_LOW;
    let p = ((((1.987_569_1e-4 * r + 1.398_2e-3) * r + 8.333_452e-3) * r + 4.166_579_6e-2) * r
        + 1.666_666_6e-1)
        * r
        + 0.5;
    let power =
        f32::from_bits(shifted.to_bits().wrapping_sub(ROUND.to_bits()).wrapping_add(127) << 23);
    (p * (r * r) + r + 1.0) * power
}

impl std::ops::Index<usize> for Lanes {
    type Output = f32;
    #[inline(always)]
    fn index(&self, lane: usize) -> &f32 {
        &self.0[lane]
    }
}

macro_rules! by_lane {
    ($name:ident, $function:ident, $operator:tt) => {
        impl $name for Lanes {
            type Output = Self;
            #[inline(always)]
            fn $function(self, other: Self) -> Self {
                self.pairs(other, |a, b| a $operator b)
            }
        }
        impl $name<f32> for Lanes {
            type Output = Self;
            #[inline(always)]
            fn $function(self, other: f32) -> Self {
                self.each(|a| a $operator other)
            }
        }
    };
}
by_lane!(Add, add, +);
by_lane!(Sub, sub, -);
by_lane!(Mul, mul, *);
by_lane!(Div, div, /);

impl Neg for Lanes {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        self.each(|a| -a)
    }
}

impl AddAssign for Lanes {
    #[inline(always)]
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}
