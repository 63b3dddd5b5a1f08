//! Random numbers that are the same on every machine: SplitMix64 (Steele, Lea and Flood, "Fast
//! splittable pseudorandom number generators", OOPSLA 2014) and the polar form of the Box-Muller
//! transform.

/// A stream of random numbers that depends on its seed alone.
#[derive(Clone, Debug)]
pub struct Random {
    state: u64,
    /// The second normal number of a pair, kept for the next call.
    spare: Option<f64>,
}

impl Random {
    pub fn new(seed: u64) -> Self {
        Self { state: seed, spare: None }
    }

    /// An independent stream for one named part of a job, so that a change in one part leaves the
    /// others' numbers alone.
    pub fn stream(seed: u64, part: &[u64]) -> Self {
        let mut mixed = Self::new(seed).word();
        for &step in part {
            mixed = Self::new(mixed ^ step.wrapping_mul(0xD6E8_FEB8_6659_FD93)).word();
        }
        Self::new(mixed)
    }

    pub fn word(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform in 0 (included) to 1 (excluded), 53 bits.
    pub fn uniform(&mut self) -> f64 {
        (self.word() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform between two limits.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// True with this probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        probability > 0.0 && self.uniform() < probability
    }

    /// Standard normal.
    pub fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (x, y) = (self.between(-1.0, 1.0), self.between(-1.0, 1.0));
            let s = x * x + y * y;
            if s > 0.0 && s < 1.0 {
                let scale = (-2.0 * s.ln() / s).sqrt();
                self.spare = Some(y * scale);
                return x * scale;
            }
        }
    }

    /// Normal with mean 0 and this standard deviation.
    pub fn gauss(&mut self, sigma: f64) -> f64 {
        sigma * self.normal()
    }
}
