//! Colours and textures: linear light, smooth noise.

/// Linear red, green, blue.
pub type Rgb = [f32; 3];

pub fn scaled(colour: Rgb, by: f32) -> Rgb {
    colour.map(|c| c * by)
}

/// Brightness that varies over a surface.
#[derive(Clone, Copy, Debug)]
pub enum Texture {
    Flat,
    /// Smooth blotches of about this size, mm, and this relative depth.
    Blotches {
        size_mm: [f64; 2],
        depth: f32,
        seed: u32,
    },
}

impl Texture {
    pub fn at(&self, x: f64, y: f64) -> f32 {
        match *self {
            Self::Flat => 1.0,
            Self::Blotches { size_mm, depth, seed } => {
                let (x, y) = (x / size_mm[0], y / size_mm[1]);
                let coarse = smooth_noise(x, y, seed);
                let fine = smooth_noise(3.1 * x, 3.1 * y, seed ^ 0x55);
                1.0 + depth * (0.65 * coarse + 0.35 * fine)
            }
        }
    }
}

/// Value noise from -1 to 1, smooth between random values on whole numbers.
fn smooth_noise(x: f64, y: f64, seed: u32) -> f32 {
    let (x0, y0) = (x.floor(), y.floor());
    let (fx, fy) = ((x - x0) as f32, (y - y0) as f32);
    let (wx, wy) = (fx * fx * (3.0 - 2.0 * fx), fy * fy * (3.0 - 2.0 * fy));
    let (ix, iy) = (x0 as i32, y0 as i32);
    let top = hashed(ix, iy, seed) * (1.0 - wx) + hashed(ix + 1, iy, seed) * wx;
    let bottom = hashed(ix, iy + 1, seed) * (1.0 - wx) + hashed(ix + 1, iy + 1, seed) * wx;
    top * (1.0 - wy) + bottom * wy
}

fn hashed(x: i32, y: i32, seed: u32) -> f32 {
    let mut h = (x as u32).wrapping_mul(0x9E37_79B1)
        ^ (y as u32).wrapping_mul(0x85EB_CA77)
        ^ seed.wrapping_mul(0xC2B2_AE3D);
    h = (h ^ (h >> 15)).wrapping_mul(0x2C1B_3C6D);
    h = (h ^ (h >> 12)).wrapping_mul(0x297A_2D39);
    h ^= h >> 15;
    h as f32 / u32::MAX as f32 * 2.0 - 1.0
}
