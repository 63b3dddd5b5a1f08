//! Linear luminance: what every later stage sees of a photo.

/// Luminance proportional to light, 0 (black) to 1 (white), row-major, in the sensor's own
/// orientation: the centre of the top-left pixel is (0, 0), u to the right, v down. EXIF
/// orientation never turns it.
#[derive(Clone, Debug, PartialEq)]
pub struct LinearImage {
    width: usize,
    height: usize,
    data: Vec<f32>,
}

impl LinearImage {
    /// # Panics
    /// When `data` does not hold `width * height` values.
    pub fn new(width: usize, height: usize, data: Vec<f32>) -> Self {
        assert_eq!(data.len(), width * height, "an image holds width x height values");
        Self { width, height, data }
    }

    pub fn width(&self) -> usize {
        self.width
    }

    pub fn height(&self) -> usize {
        self.height
    }

    /// All values, row-major.
    pub fn data(&self) -> &[f32] {
        &self.data
    }

    /// One row of values.
    pub fn row(&self, v: usize) -> &[f32] {
        &self.data[v * self.width..(v + 1) * self.width]
    }

    /// The value at a pixel; panics outside.
    pub fn at(&self, u: usize, v: usize) -> f32 {
        self.data[v * self.width + u]
    }

    /// Bilinear value at a real-valued place (pixel centres are whole numbers), or None outside the
    /// outermost pixel centres.
    pub fn sample(&self, u: f64, v: f64) -> Option<f32> {
        if !(u >= 0.0 && v >= 0.0 && u <= (self.width - 1) as f64 && v <= (self.height - 1) as f64)
        {
            return None;
        }
        // By way of 32 bits, which is a single instruction.
        let [u0, v0] = [(u, self.width), (v, self.height)]
            .map(|(x, size)| (x as i32 as usize).min(size.saturating_sub(2)));
        let (fu, fv) = ((u - u0 as f64) as f32, (v - v0 as f64) as f32);
        let (u1, v1) = ((u0 + 1).min(self.width - 1), (v0 + 1).min(self.height - 1));
        let top = self.at(u0, v0) * (1.0 - fu) + self.at(u1, v0) * fu;
        let bottom = self.at(u0, v1) * (1.0 - fu) + self.at(u1, v1) * fu;
        Some(top * (1.0 - fv) + bottom * fv)
    }
}
