//! Whether two photos are one: the same picture coded again, made smaller, turned, or drawn upon.
//!
//! A copy proves nothing that its original does not. A second photo taken from nearly the same
//! place does, and differs from a copy in two things that no copying changes. The hand that holds a
//! phone moves it by several pixels between two photos, while a copy lies on its original to a
//! small part of a pixel. And where a stand holds it, each photo has a grain of its own, while a
//! copy has its original's, as far as coding left any.

use super::Impression;

/// Shapes that differ by more are not one picture: sizes are rounded to whole pixels, of 100 at
/// least.
const SHAPE: f64 = 0.01;
/// One in this many cells is compared at first, of every two photos.
const COARSE: usize = 16;
/// Least correlation of the coarse cells: names and lines drawn all over a photo took it to 0.975,
/// other copies have 0.997 and more. Of no two photos in 46 sets it was above 0.865.
const COARSE_ALIKE: f64 = 0.95;
/// Cells on a side of the blocks in which impressions are compared.
const BLOCK: usize = 32;
/// A block with less contrast shows no motion: a hundredth of white, far above what grain leaves in
/// the mean of 200 pixels.
const CONTRAST: f64 = 0.01;
/// Share of a block's variance that brightness and motion may leave unexplained: JPEG of quality 40
/// stays below it in every block.
const UNEXPLAINED: f64 = 0.03;
/// Fewest blocks that show something, and the share of them that must be the same: what is drawn
/// upon a photo covers some.
const MIN_BLOCKS: usize = 6;
const SAME_BLOCKS: f64 = 0.6;
/// By how much a copy of the same size may seem moved, px: coding again was seen to do up to 0.06,
/// and a hand moves a phone by more than a pixel.
const MOVED: f64 = 0.25;
/// And one of another size, px of the smaller: programs that make photos smaller differ in where
/// they take a pixel's middle to be.
const MOVED_SMALLER: f64 = 1.0;

/// Quarter turns to the right by which the second picture is turned against the first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Turn(u8);

impl Turn {
    const ALL: [Self; 4] = [Self(0), Self(1), Self(2), Self(3)];

    /// Where the first picture's place (x, y), of width x height, lies in the second.
    fn place(self, (width, height): (usize, usize), (x, y): (usize, usize)) -> (usize, usize) {
        match self.0 {
            0 => (x, y),
            1 => (height - 1 - y, x),
            2 => (width - 1 - x, height - 1 - y),
            _ => (y, width - 1 - x),
        }
    }

    /// The second picture's size as the first one lies.
    fn size(self, (width, height): (usize, usize)) -> (usize, usize) {
        if self.0.is_multiple_of(2) { (width, height) } else { (height, width) }
    }
}

/// How the second photo may be a copy of the first, by their impressions: None where it is another
/// photo.
pub fn may_be_copy(first: &Impression, second: &Impression) -> Option<Turn> {
    // Where nothing is to be seen, nothing but the same pixels gives the same means.
    if first == second {
        return Some(Turn::ALL[0]);
    }
    Turn::ALL.into_iter().find(|&turn| {
        let (width, height) = turn.size((second.width, second.height));
        let shape = (first.width * height) as f64 / (first.height * width) as f64;
        // A square picture's grid lies along its width, and so may be turned wrongly.
        let same_grid = turn.size((second.columns, second.rows)) == (first.columns, first.rows);
        same_grid
            && shape.ln().abs() < SHAPE
            && coarsely_alike(first, second, turn)
            && lies_on(first, second, turn)
    })
}

fn cell(second: &Impression, first: &Impression, turn: Turn, x: usize, y: usize) -> f64 {
    let (x, y) = turn.place((first.columns, first.rows), (x, y));
    second.at(x, y)
}

fn coarsely_alike(first: &Impression, second: &Impression, turn: Turn) -> bool {
    let mut sums = Sums::default();
    // The middle cell of each represents it.
    for y in (COARSE / 2..first.rows).step_by(COARSE) {
        for x in (COARSE / 2..first.columns).step_by(COARSE) {
            sums.add(first.at(x, y), cell(second, first, turn, x, y));
        }
    }
    let (a, b, both) = sums.variances();
    both > 0.0 && both * both >= COARSE_ALIKE * COARSE_ALIKE * a * b
}

#[derive(Default)]
struct Sums {
    n: f64,
    a: f64,
    b: f64,
    aa: f64,
    bb: f64,
    ab: f64,
}

impl Sums {
    fn add(&mut self, a: f64, b: f64) {
        self.n += 1.0;
        self.a += a;
        self.b += b;
        self.aa += a * a;
        self.bb += b * b;
        self.ab += a * b;
    }

    /// Variances of both, and what they have in common.
    fn variances(&self) -> (f64, f64, f64) {
        let of = |sum: f64, a: f64, b: f64| sum / self.n - a / self.n * b / self.n;
        (of(self.aa, self.a, self.a), of(self.bb, self.b, self.b), of(self.ab, self.a, self.b))
    }
}

/// Whether the second lies on the first without motion: most blocks that show something are the
/// same, and the quarters stand still.
fn lies_on(first: &Impression, second: &Impression, turn: Turn) -> bool {
    let (n_blocks, same) = blocks(first, second, turn);
    if n_blocks < MIN_BLOCKS || (same.len() as f64) < SAME_BLOCKS * n_blocks as f64 {
        return false;
    }
    let (width, height) = turn.size((second.width, second.height));
    let allowed = if (width, height) == (first.width, first.height) {
        MOVED
    } else {
        MOVED_SMALLER * (first.width as f64 / width as f64).max(1.0)
    };
    let px = [first.width as f64 / first.columns as f64, first.height as f64 / first.rows as f64];
    let still = (0..4).filter(|&quarter| {
        let mut of_quarter: Vec<&Same> =
            same.iter().filter(|block| block.quarter == quarter).collect();
        of_quarter.sort_by(|a, b| a.unexplained.total_cmp(&b.unexplained));
        // What is drawn upon a photo seems to move it; the better half of the blocks is free of it.
        of_quarter.truncate(of_quarter.len().div_ceil(2));
        (0..2).all(|axis| {
            let mut moved: Vec<f64> =
                of_quarter.iter().map(|block| block.moved[axis] * px[axis]).collect();
            moved.sort_by(f64::total_cmp);
            moved.get(moved.len() / 2).is_none_or(|median| median.abs() <= allowed)
        })
    });
    // No motion of a camera leaves three quarters where they are.
    still.count() >= 3
}

/// A block in which the second shows the same.
struct Same {
    /// 0 to 3.
    quarter: usize,
    /// Share of its variance that brightness and motion do not explain.
    unexplained: f64,
    /// The motion that explains best what differs, in cells.
    moved: [f64; 2],
}

/// How many blocks of the first show something, and those in which the second shows the same.
fn blocks(first: &Impression, second: &Impression, turn: Turn) -> (usize, Vec<Same>) {
    let mut n_blocks = 0;
    let mut same = Vec::new();
    for top in (0..first.rows).step_by(BLOCK) {
        for left in (0..first.columns).step_by(BLOCK) {
            // Normal equations of second = gain * first + level - motion * slope.
            let (mut normal, mut right) =
                (nalgebra::Matrix4::<f64>::zeros(), nalgebra::Vector4::<f64>::zeros());
            let (mut sums, mut squares) = (Sums::default(), 0.0);
            for y in top.max(1)..(top + BLOCK).min(first.rows - 1) {
                for x in left.max(1)..(left + BLOCK).min(first.columns - 1) {
                    let slope_x = (first.at(x + 1, y) - first.at(x - 1, y)) / 2.0;
                    let slope_y = (first.at(x, y + 1) - first.at(x, y - 1)) / 2.0;
                    let (here, there) = (first.at(x, y), cell(second, first, turn, x, y));
                    let row = nalgebra::Vector4::new(here, 1.0, -slope_x, -slope_y);
                    normal += row * row.transpose();
                    right += row * there;
                    squares += there * there;
                    sums.add(here, there);
                }
            }
            let (variance, other, _) = sums.variances();
            if variance < CONTRAST * CONTRAST {
                continue;
            }
            n_blocks += 1;
            let Some(solved) = normal.cholesky().map(|normal| normal.solve(&right)) else {
                continue;
            };
            let unexplained = (squares - solved.dot(&right)) / sums.n / other;
            // What grows darker where the other grows brighter is a negative.
            if solved[0] > 0.0 && unexplained < UNEXPLAINED {
                let quarter =
                    usize::from(left >= first.columns / 2) + 2 * usize::from(top >= first.rows / 2);
                same.push(Same { quarter, unexplained, moved: [solved[2], solved[3]] });
            }
        }
    }
    (n_blocks, same)
}

/// Whether grain can tell a copy from a second photo: where they differ in size, coding and reducing
/// leave too little of it, and no camera turns one of two photos that it takes without moving.
pub fn grain_tells(first: &Impression, second: &Impression, turn: Turn) -> bool {
    turn == Turn::ALL[0] && (first.width, first.height) == (second.width, second.height)
}
