//! What happens between the light in the scene and the file: named, one field each.

use super::super::random::Random;

/// The camera's movement while its rows are read out, over the time of one whole frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RollingShutter {
    /// Shift of the camera in its own axes (right, down, forward), mm.
    pub shift_mm: [f64; 3],
    /// Turn about its own axes, degrees.
    pub turn_deg: [f64; 3],
}

impl RollingShutter {
    /// What a hand does in one photo: standard deviation of its shift, mm, and turn, degrees, about
    /// each axis.
    pub fn drawn(random: &mut Random, [shift_mm, turn_deg]: [f64; 2]) -> Self {
        let mut three = |sigma: f64| [0, 1, 2].map(|_| random.gauss(sigma));
        Self { shift_mm: three(shift_mm), turn_deg: three(turn_deg) }
    }
}

/// Everything that can be wrong with a photo. Lengths in pixels are pixels of the photo as it is
/// rendered.
#[derive(Clone, Debug, PartialEq)]
pub struct RenderKnobs {
    /// Optics, focus and sensor together: standard deviation of a Gaussian, px.
    pub blur_px: f64,
    /// Strength of the phone's sharpening (unsharp mask on the tone-mapped picture) and its
    /// radius, px.
    pub sharpen: f64,
    pub sharpen_radius_px: f64,
    /// Electrons in a pixel of full white: shot noise is their square root. Infinity: none.
    pub full_well: f64,
    /// Read noise, electrons.
    pub read_noise: f64,
    /// Brightness: the linear value at which white paper in full light is recorded.
    pub exposure: f64,
    /// Light lost at the corners of the picture.
    pub vignetting: f64,
    /// Straight smear of the whole picture by a moving hand, px along u and v.
    pub motion_px: [f64; 2],
    pub rolling_shutter: Option<RollingShutter>,
    /// JPEG quality, 1 to 100.
    pub jpeg_quality: u8,
    /// Colour or grey.
    pub colour: bool,
    /// Whether the file says anything about its camera.
    pub exif: bool,
    /// Rim, spokes, sprockets, tubes, room: what stands about and hides things. Without: cards,
    /// tabs, lines and a bench.
    pub clutter: bool,
    /// Tabs whose mirror image shows in a piece of chrome next to them.
    pub mirrored_tabs: Vec<u8>,
    /// Samples for a pixel that an edge of the print or a line crosses. 610 is proven in
    /// `tests/renderer.rs`.
    pub edge_samples: EdgeSamples,
}

/// Points in a pixel: a Fibonacci lattice, whose shadow on either axis has as many different places
/// as it has points.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EdgeSamples {
    /// 89 points: for quick looks.
    Few,
    /// 610 points: edges are right to 0.003 px.
    Many,
}

impl Default for RenderKnobs {
    /// A phone indoors: corners of cells of 20 px can be fitted to about 0.02 px.
    fn default() -> Self {
        Self {
            blur_px: 0.65,
            sharpen: 0.5,
            sharpen_radius_px: 1.0,
            full_well: 1500.0,
            read_noise: 6.0,
            exposure: 0.62,
            vignetting: 0.25,
            motion_px: [0.0, 0.0],
            rolling_shutter: None,
            jpeg_quality: 92,
            colour: true,
            exif: true,
            clutter: true,
            mirrored_tabs: Vec::new(),
            edge_samples: EdgeSamples::Many,
        }
    }
}

impl RenderKnobs {
    /// Edges from few points each: a picture in a third of the time, its edges right to 0.02 px.
    pub fn quick() -> Self {
        Self { edge_samples: EdgeSamples::Few, ..Self::default() }
    }

    /// Light as it falls on ideal pixels: no blur, noise, sharpening or vignetting.
    pub fn ideal() -> Self {
        Self {
            blur_px: 0.0,
            sharpen: 0.0,
            full_well: f64::INFINITY,
            read_noise: 0.0,
            vignetting: 0.0,
            ..Self::default()
        }
    }
}
