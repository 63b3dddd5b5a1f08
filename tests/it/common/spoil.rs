//! What a phone, a messenger or a hand does to a photo, done to a good one. All of it in linear
//! light, as it happens.

use std::path::Path;

use image::codecs::jpeg::JpegEncoder;
use image::imageops::FilterType;
use image::{
    DynamicImage, ExtendedColorType, ImageDecoder, ImageEncoder, ImageReader, Rgb, RgbImage,
};

use super::random::Random;
use super::render::imaging::{bilinear, blur, linear_from_srgb, srgb_from_linear};
use super::render::trace::Light;

/// One way of making a photo worse.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Spoil {
    Nothing,
    /// Standard deviation of a Gaussian, px.
    Blur(f32),
    /// Standard deviation of a grey pixel's noise as a part of a tab's contrast, which is taken for
    /// 0.5 of full white.
    Noise(f64),
    Jpeg(u8),
    /// Shrunk to this width or height, whichever is larger.
    Resized(u32),
    /// Exposure, in powers of two.
    Exposure(f32),
    /// A bright patch and a veil over everything, as a part of full white.
    Glare(f32),
    Grey,
    /// This part of the light goes into a wide halo.
    GreasyLens(f32),
    /// This part of the width cut off on the left, an eighth of it below.
    Crop(f32),
    Mirrored,
    /// Every other photo by a phone with smaller pictures and another lens.
    TwoPhones,
    /// Rows shifted against each other while the picture was read out: by so many px from top to
    /// bottom.
    RollingShutter(f32),
}

/// Writes photo number `i` spoilt, with its own EXIF.
pub fn write_spoilt(from: &Path, to: &Path, i: usize, spoil: Spoil) {
    let mut decoder = ImageReader::open(from).expect("a photo").into_decoder().expect("a JPEG");
    let exif = decoder.exif_metadata().expect("its metadata");
    let picture = DynamicImage::from_decoder(decoder).expect("pixels").into_rgb8();
    let mut random = Random::new(1000 + i as u64);
    let quality = if let Spoil::Jpeg(quality) = spoil { quality } else { 92 };
    let exif = if spoil == Spoil::TwoPhones && i % 2 == 1 { None } else { exif };
    let spoilt = spoilt(&picture, i, spoil, &mut random);
    let mut bytes = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut bytes, quality);
    if let Some(exif) = exif {
        encoder.set_exif_metadata(exif).expect("JPEG takes an EXIF block");
    }
    let (width, height) = spoilt.dimensions();
    if spoil == Spoil::Grey {
        let grey = DynamicImage::ImageRgb8(spoilt).into_luma8();
        encoder.write_image(grey.as_raw(), width, height, ExtendedColorType::L8).expect("a JPEG");
    } else {
        encoder
            .write_image(spoilt.as_raw(), width, height, ExtendedColorType::Rgb8)
            .expect("a JPEG");
    }
    std::fs::create_dir_all(to.parent().expect("a folder")).expect("a folder");
    std::fs::write(to, bytes).expect("a photo can be written");
}

fn spoilt(picture: &RgbImage, i: usize, spoil: Spoil, random: &mut Random) -> RgbImage {
    let (width, height) = picture.dimensions();
    match spoil {
        Spoil::Nothing | Spoil::Jpeg(_) | Spoil::Grey => picture.clone(),
        Spoil::Blur(sigma) => Light::of(picture).blurred(sigma).picture(),
        Spoil::Noise(part) => {
            // Shot noise: stronger where there is more light, equal to the stated one at a third of
            // full white.
            let sigma = |light: f32| part * 0.5 * (f64::from(light).max(0.02) * 3.0).sqrt();
            Light::of(picture).each(|light| light + random.gauss(sigma(light)) as f32).picture()
        }
        Spoil::Resized(longest) => {
            let ratio = f64::from(longest) / f64::from(width.max(height));
            let size = |px: u32| (f64::from(px) * ratio).round() as u32;
            image::imageops::resize(picture, size(width), size(height), FilterType::CatmullRom)
        }
        Spoil::Exposure(steps) => Light::of(picture).each(|light| light * steps.exp2()).picture(),
        Spoil::Glare(veil) => {
            let (x, y) = (0.2 + 0.6 * random.uniform(), 0.2 + 0.6 * random.uniform());
            let reach = 0.12 * width as f32;
            let mut light = Light::of(picture);
            light.each_at(|u, v, light| {
                let d = (u as f32 - x as f32 * width as f32)
                    .hypot(v as f32 - y as f32 * height as f32)
                    / reach;
                light + veil * (0.3 + 2.0 * (-d * d).exp())
            });
            light.picture()
        }
        Spoil::GreasyLens(part) => {
            let sharp = Light::of(picture);
            let halo = sharp.blurred(10.0);
            sharp.mixed(&halo, part).picture()
        }
        Spoil::Crop(part) => {
            let left = (part * width as f32) as u32;
            image::imageops::crop_imm(picture, left, 0, width - left, height - height / 8)
                .to_image()
        }
        Spoil::Mirrored => image::imageops::flip_horizontal(picture),
        Spoil::TwoPhones if i % 2 == 1 => {
            let size = |px: u32| px * 4 / 5;
            image::imageops::resize(picture, size(width), size(height), FilterType::CatmullRom)
        }
        Spoil::TwoPhones => picture.clone(),
        Spoil::RollingShutter(px) => {
            let shift = random.gauss(1.0) as f32 * px;
            Light::of(picture).sheared(shift).picture()
        }
    }
}

impl Light {
    fn of(picture: &RgbImage) -> Self {
        let table: Vec<f32> = (0..=255u8).map(|v| linear_from_srgb(f32::from(v) / 255.0)).collect();
        let data = picture.pixels().map(|Rgb(p)| p.map(|v| table[usize::from(v)])).collect();
        Self { width: picture.width() as usize, height: picture.height() as usize, data }
    }

    fn picture(&self) -> RgbImage {
        let value = |light: f32| (255.0 * srgb_from_linear(light.clamp(0.0, 1.0))).round() as u8;
        let raw: Vec<u8> = self.data.iter().flat_map(|p| p.map(value)).collect();
        RgbImage::from_raw(self.width as u32, self.height as u32, raw).expect("as many pixels")
    }

    fn each(mut self, mut change: impl FnMut(f32) -> f32) -> Self {
        self.data.iter_mut().flatten().for_each(|light| *light = change(*light));
        self
    }

    fn each_at(&mut self, change: impl Fn(usize, usize, f32) -> f32) {
        for (i, pixel) in self.data.iter_mut().enumerate() {
            *pixel = pixel.map(|light| change(i % self.width, i / self.width, light));
        }
    }

    fn mixed(mut self, other: &Self, part: f32) -> Self {
        let pixels = self.data.iter_mut().flatten().zip(other.data.iter().flatten());
        pixels.for_each(|(own, other)| *own = *own * (1.0 - part) + other * part);
        self
    }

    fn blurred(&self, sigma: f32) -> Self {
        let mut data = self.data.clone();
        blur(&mut data, self.width, f64::from(sigma));
        Self { data, ..*self }
    }

    /// Rows shifted to the right, from -half at the top to +half at the bottom, px.
    fn sheared(&self, px: f32) -> Self {
        let (width, height) = (self.width, self.height);
        let at = |i: usize| {
            let (u, v) = ((i % width) as f64, (i / width) as f64);
            let shift = f64::from(px) * (v / height as f64 - 0.5);
            bilinear(&self.data, width, height, u - shift, v)
        };
        Self { data: (0..self.data.len()).map(at).collect(), ..*self }
    }
}
