//! The grain of a photo: what tells two photos that a camera on a stand takes of one thing from a
//! photo and its copy.

use super::LinearImage;

/// Pixels on a side of the blocks in which grain is compared.
const BLOCK: usize = 16;
/// Every other block in both directions is looked at, and this many at most: half a megabyte for
/// each photo that looks like another.
const MAX_BLOCKS: usize = 2048;
/// Grain is kept in halves of an 8-bit code, which adds a fiftieth of a squared code to its
/// variance; what stands out by more than 63 codes is no grain.
const UNIT: f32 = 0.5 / 255.0;
/// Variance of the grain in a block that coding left none of: a third of an 8-bit code.
const NO_GRAIN: f64 = (0.33 / 0.5) * (0.33 / 0.5);
/// The calmest share of blocks is looked at, where grain counts for more than what is in the
/// picture, and this many at least.
const CALM: usize = 4;
const MIN_BLOCKS: usize = 40;
/// Share of the weaker grain that two photos of one camera have in common in the calmest blocks:
/// less than 0.6 of photos with a grain of half a code to six codes (what is in the picture counts
/// as well), 0.95 and more of a copy of quality 90 and above.
const COMMON: f64 = 0.75;
/// How much weaker detail may be in one, in the calmest quarter, the calmer half and the whole of
/// the picture: two photos of one camera are alike within a hundredth, and a copy of quality 85 or
/// less differs by 8 hundredths and more in one of them.
const LIKE_DETAIL: f64 = 0.95;

/// What each pixel of some blocks stands out by from its four neighbours.
#[derive(Clone, Debug)]
pub struct Grain {
    /// Block after block, in `UNIT` of what a file's codes are about proportional to.
    values: Vec<i8>,
    /// Mean and variance of each block, in those units.
    blocks: Vec<[f64; 2]>,
}

impl Grain {
    pub fn of(luma: &LinearImage) -> Self {
        let (width, height) = (luma.width(), luma.height());
        let apart = ((width * height) as f64 / MAX_BLOCKS as f64).sqrt().ceil() as usize;
        let apart = apart.max(2 * BLOCK);
        let code = |x: usize, y: usize| luma.at(x, y).sqrt();
        let begins = |length: usize| (1..length.saturating_sub(BLOCK + 1)).step_by(apart);
        let (mut values, mut blocks) = (Vec::new(), Vec::new());
        for top in begins(height) {
            for left in begins(width) {
                let at = values.len();
                for y in top..top + BLOCK {
                    for x in left..left + BLOCK {
                        let around =
                            code(x - 1, y) + code(x + 1, y) + code(x, y - 1) + code(x, y + 1);
                        values.push(((code(x, y) - around / 4.0) / UNIT).round() as i8);
                    }
                }
                blocks.push(moments(&values[at..]));
            }
        }
        Self { values, blocks }
    }

    /// Whether two photos of one size that lie on each other have one grain, or one of them has lost
    /// detail.
    pub fn is_one_with(&self, other: &Self) -> bool {
        let mut blocks: Vec<[f64; 3]> = Vec::new();
        let both =
            self.values.chunks_exact(BLOCK * BLOCK).zip(other.values.chunks_exact(BLOCK * BLOCK));
        for ((here, there), (a, b)) in both.zip(self.blocks.iter().zip(&other.blocks)) {
            if a[1].max(b[1]) > NO_GRAIN {
                let products: i32 =
                    here.iter().zip(there).map(|(&a, &b)| i32::from(a) * i32::from(b)).sum();
                let common = f64::from(products) / here.len() as f64 - a[0] * b[0];
                blocks.push([a[1], b[1], common]);
            }
        }
        blocks.sort_by(|a, b| (a[0] + a[1]).total_cmp(&(b[0] + b[1])));
        let n_calm = (blocks.len() / CALM).max(MIN_BLOCKS);
        if blocks.len() < n_calm {
            // Coding left no grain that could tell; what lies on a photo to a part of a pixel is
            // taken for its copy.
            return true;
        }
        let sum = |n: usize, idx: usize| blocks[..n].iter().map(|block| block[idx]).sum::<f64>();
        // Coding again takes detail away, or puts its own there, and no camera does so in one of two
        // photos.
        let like = |n: usize| sum(n, 0).min(sum(n, 1)) >= LIKE_DETAIL * sum(n, 0).max(sum(n, 1));
        if ![n_calm, blocks.len() / 2, blocks.len()].into_iter().all(like) {
            return true;
        }
        sum(n_calm, 2) > COMMON * sum(n_calm, 0).min(sum(n_calm, 1))
    }
}

/// Mean and variance.
fn moments(values: &[i8]) -> [f64; 2] {
    let n = values.len() as f64;
    let sum = |of: fn(i32) -> i32| {
        f64::from(values.iter().map(|&value| of(i32::from(value))).sum::<i32>())
    };
    let mean = sum(|value| value) / n;
    [mean, sum(|value| value * value) / n - mean * mean]
}
