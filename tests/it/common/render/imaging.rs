//! From light on ideal pixels to the numbers in a file: smear, blur, vignetting, noise, tone curve,
//! sharpening, 8 bits.

use rayon::prelude::*;

use super::super::random::Random;
use super::knobs::RenderKnobs;
use super::paint::Rgb;
use super::trace::Light;

/// A developed photo: sRGB, 8 bits, row-major.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    pub width: usize,
    pub height: usize,
    pub data: Vec<[u8; 3]>,
}

/// Develops the light of one photo. `seed` and the row alone decide the noise.
pub fn develop(mut light: Light, knobs: &RenderKnobs, seed: u64) -> Picture {
    let [du, dv] = knobs.motion_px;
    if du != 0.0 || dv != 0.0 {
        smear(&mut light, knobs.motion_px);
    }
    if knobs.blur_px > 0.0 {
        blur(&mut light.data, light.width, knobs.blur_px);
    }
    expose(&mut light, knobs, seed);
    if knobs.sharpen > 0.0 {
        sharpen(&mut light, knobs.sharpen, knobs.sharpen_radius_px);
    }
    let data = light
        .data
        .par_iter()
        .map(|c| c.map(|v| (v * 255.0).round().clamp(0.0, 255.0) as u8))
        .collect();
    Picture { width: light.width, height: light.height, data }
}

/// sRGB's encoding of linear light (IEC 61966-2-1).
pub fn srgb_from_linear(v: f32) -> f32 {
    if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 }
}

/// And back.
pub fn linear_from_srgb(v: f32) -> f32 {
    if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
}

/// Vignetting, noise and the tone curve: afterwards the values are encoded, 0 to 1.
fn expose(light: &mut Light, knobs: &RenderKnobs, seed: u64) {
    let (width, height) = (light.width, light.height);
    let corner2 = (width * width + height * height) as f32 / 4.0;
    // White paper in full light is recorded at `exposure`.
    let gain = (knobs.exposure / 0.82) as f32;
    let full_well = knobs.full_well as f32;
    let read = (knobs.read_noise / knobs.full_well) as f32;
    light.data.par_chunks_mut(width).enumerate().for_each(|(v, row)| {
        let mut random = Random::stream(seed, &[4, v as u64]);
        let y = v as f32 + 0.5 - height as f32 / 2.0;
        for (u, colour) in row.iter_mut().enumerate() {
            let x = u as f32 + 0.5 - width as f32 / 2.0;
            let fall = 1.0 - knobs.vignetting as f32 * (x * x + y * y) / corner2;
            *colour = colour.map(|c| {
                let mut value = c * gain * fall;
                if full_well.is_finite() {
                    value +=
                        (value.max(0.0) / full_well + read * read).sqrt() * random.normal() as f32;
                }
                srgb_from_linear(value.clamp(0.0, 1.0))
            });
        }
    });
}

/// Unsharp mask on the encoded picture, by its brightness: what phones do.
fn sharpen(light: &mut Light, amount: f64, radius_px: f64) {
    let luma: Vec<f32> = light.data.par_iter().map(|&c| luma(c)).collect();
    let mut soft: Vec<[f32; 1]> = luma.iter().map(|&l| [l]).collect();
    blur(&mut soft, light.width, radius_px);
    light.data.par_iter_mut().zip(soft.par_iter()).zip(luma.par_iter()).for_each(
        |((colour, soft), luma)| {
            let more = amount as f32 * (luma - soft[0]);
            *colour = colour.map(|c| c + more);
        },
    );
}

/// Brightness of an encoded colour, as JPEG has it.
pub fn luma([r, g, b]: Rgb) -> f32 {
    0.299 * r + 0.587 * g + 0.114 * b
}

/// Gaussian blur of rows of this width, along them and then across; the outermost pixel is repeated
/// beyond the edge.
pub fn blur<const N: usize>(data: &mut [[f32; N]], width: usize, sigma: f64) {
    let reach = (4.0 * sigma).ceil() as usize;
    let height = data.len() / width;
    let kernel: Vec<f32> = (0..=2 * reach)
        .map(|i| (-0.5 * ((i as f64 - reach as f64) / sigma).powi(2)).exp() as f32)
        .collect();
    let sum: f32 = kernel.iter().sum();
    let kernel: Vec<f32> = kernel.into_iter().map(|k| k / sum).collect();
    let add = |total: &mut [f32; N], k: f32, colour: &[f32; N]| {
        total.iter_mut().zip(colour).for_each(|(t, c)| *t += k * c)
    };
    data.par_chunks_mut(width).for_each(|row| {
        let (first, last) = (row[0], row[width - 1]);
        let ends = |end| std::iter::repeat_n(end, reach);
        let source: Vec<[f32; N]> =
            ends(first).chain(row.iter().copied()).chain(ends(last)).collect();
        for (u, out) in row.iter_mut().enumerate() {
            *out = [0.0; N];
            kernel.iter().zip(&source[u..]).for_each(|(&k, colour)| add(out, k, colour));
        }
    });
    let source = data.to_vec();
    data.par_chunks_mut(width).enumerate().for_each(|(v, row)| {
        row.fill([0.0; N]);
        for (i, &k) in kernel.iter().enumerate() {
            let from = (v + i).saturating_sub(reach).min(height - 1) * width;
            row.iter_mut().zip(&source[from..]).for_each(|(out, colour)| add(out, k, colour));
        }
    });
}

/// Mean along a straight path centred on each pixel.
fn smear(light: &mut Light, [du, dv]: [f64; 2]) {
    let steps = (2.0 * du.hypot(dv)).ceil().max(2.0) as usize + 1;
    let (width, height) = (light.width, light.height);
    let source = light.data.clone();
    light.data.par_chunks_mut(width).enumerate().for_each(|(v, row)| {
        for (u, out) in row.iter_mut().enumerate() {
            let mut total = [0.0f32; 3];
            for i in 0..steps {
                let t = (i as f64 + 0.5) / steps as f64 - 0.5;
                let at = bilinear(&source, width, height, u as f64 + t * du, v as f64 + t * dv);
                for (sum, c) in total.iter_mut().zip(at) {
                    *sum += c;
                }
            }
            *out = total.map(|t| t / steps as f32);
        }
    });
}

pub fn bilinear(source: &[Rgb], width: usize, height: usize, u: f64, v: f64) -> Rgb {
    let (u, v) = (u.clamp(0.0, (width - 1) as f64), v.clamp(0.0, (height - 1) as f64));
    let (u0, v0) = ((u as usize).min(width - 2), (v as usize).min(height - 2));
    let (fu, fv) = ((u - u0 as f64) as f32, (v - v0 as f64) as f32);
    let at = |u: usize, v: usize| source[v * width + u];
    let (a, b, c, d) = (at(u0, v0), at(u0 + 1, v0), at(u0, v0 + 1), at(u0 + 1, v0 + 1));
    std::array::from_fn(|i| {
        (a[i] * (1.0 - fu) + b[i] * fu) * (1.0 - fv) + (c[i] * (1.0 - fu) + d[i] * fu) * fv
    })
}
