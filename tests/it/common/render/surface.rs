//! Shapes that a ray meets, and what is painted on them. Flat things are evaluated in their own
//! plane, so that an edge of the print lies exactly where the geometry says.

use super::super::geometry::{Pose, V3};
use super::paint::{Rgb, Texture, scaled};
use super::print::Print;

/// One thing in the scene.
#[derive(Clone, Debug)]
pub struct Surface {
    pub shape: Shape,
    pub paint: Paint,
    /// Light that falls on it.
    pub light: f32,
    /// Whether its edges carry truth (print, cord, lines) or only stand about.
    pub exact: bool,
    /// The cord's shadow on it.
    pub shadow: Option<Shadow>,
    /// The edge of a large shade that lies over it.
    pub shade: Option<Shade>,
}

#[derive(Clone, Debug)]
pub enum Shape {
    /// A sheet in its own frame, bowed by z = bow0 (1 - (x/half0)^2) + bow1 (1 - (y/half1)^2).
    Sheet { pose: Pose, bow_mm: [f64; 2], half_mm: [f64; 2] },
    /// A round bar or string from one end to the other.
    Tube { from: V3, to: V3, radius_mm: f64 },
}

#[derive(Clone, Debug)]
pub enum Paint {
    Print(Print),
    Plain {
        outline: Outline,
        colour: Rgb,
        texture: Texture,
    },
    /// A bar or string: brightest towards the camera, or where it faces the light.
    Bar {
        colour: Rgb,
        twist: Option<Twist>,
        lit: Option<Lit>,
    },
}

/// A second colour that winds round a cord.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Twist {
    pub colour: Rgb,
    pub pitch_mm: f64,
}

/// Light from one side on a bar: towards the light, and the part that comes from all round.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lit {
    pub to_light: V3,
    pub ambient: f64,
}

/// The edge of a shade on a sheet: light is left only in part where this affine distance is
/// negative.
#[derive(Clone, Copy, Debug)]
pub struct Shade {
    pub constant: f64,
    pub per_mm: [f64; 3],
    pub soft_mm: f64,
    pub left: f64,
}

impl Shade {
    fn light(&self, x: f64, y: f64, z: f64) -> f32 {
        let distance = self.constant + self.per_mm[0] * x + self.per_mm[1] * y + self.per_mm[2] * z;
        let open = (0.5 + distance / (2.0 * self.soft_mm)).clamp(0.0, 1.0);
        (self.left + (1.0 - self.left) * open * open * (3.0 - 2.0 * open)) as f32
    }
}

/// The edge of a flat thing in its own plane, mm.
#[derive(Clone, Debug)]
pub enum Outline {
    Rectangle {
        from: [f64; 2],
        to: [f64; 2],
    },
    Ring {
        inner: f64,
        outer: f64,
    },
    /// A toothed wheel: its radius swings by `depth` about `outer - depth`, `teeth` times round.
    Gear {
        inner: f64,
        outer: f64,
        depth: f64,
        teeth: f64,
    },
}

/// The band in which the cord keeps the light off a sheet: its distance is affine in the sheet's
/// own coordinates.
#[derive(Clone, Copy, Debug)]
pub struct Shadow {
    pub constant: f64,
    pub per_mm: [f64; 3],
    pub radius_mm: f64,
    /// Half-width of the soft edge.
    pub soft_mm: f64,
    /// Light that is left in the middle.
    pub left: f64,
}

/// What edges cross a pixel on one surface, the more demanding the later.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub enum Edges {
    None,
    /// One straight edge of the print, where this coordinate has this value.
    One {
        axis: usize,
        place: f64,
    },
    /// Edges of what only stands about.
    Rough,
    /// Edges of the print that carry no truth: dots, ticks, the paper's own.
    Coarse,
    /// Edges that do: corners of the print, strings.
    Fine,
}

impl Outline {
    /// Distance to the edge, mm, + inside. Never more than the true distance.
    pub fn inside(&self, x: f64, y: f64) -> f64 {
        match *self {
            Self::Rectangle { from, to } => {
                (x - from[0]).min(to[0] - x).min(y - from[1]).min(to[1] - y)
            }
            Self::Ring { inner, outer } => {
                let r = (x * x + y * y).sqrt();
                (outer - r).min(r - inner)
            }
            Self::Gear { inner, outer, depth, teeth } => {
                let r = (x * x + y * y).sqrt();
                if r < outer - 2.0 * depth - 1.0 {
                    return (outer - 2.0 * depth - r).min(r - inner);
                }
                let edge = outer - depth + depth * (teeth * y.atan2(x)).sin();
                // The flank is steeper than the radius shows: its slope bounds the true distance.
                let slope = 1.0 + teeth * depth / (outer - 2.0 * depth);
                ((edge - r) / slope).min(r - inner)
            }
        }
    }

    /// Corners and middles of the outline's box, for finding where it can be seen.
    pub fn hull(&self) -> Vec<[f64; 2]> {
        let (from, to) = match *self {
            Self::Rectangle { from, to } => (from, to),
            Self::Ring { outer, .. } | Self::Gear { outer, .. } => {
                ([-outer, -outer], [outer, outer])
            }
        };
        let at = |i: usize, axis: usize| from[axis] + (to[axis] - from[axis]) * i as f64 / 4.0;
        (0..5)
            .flat_map(|i| (0..5).map(move |j| (i, j)))
            .map(|(i, j)| [at(i, 0), at(j, 1)])
            .collect()
    }
}

impl Shadow {
    /// Signed distance from the middle of the shadow, mm.
    fn distance(&self, x: f64, y: f64, z: f64) -> f64 {
        self.constant + self.per_mm[0] * x + self.per_mm[1] * y + self.per_mm[2] * z
    }

    /// Part of the light that arrives.
    fn light(&self, x: f64, y: f64, z: f64) -> f32 {
        let edge = ((self.distance(x, y, z).abs() - self.radius_mm + self.soft_mm)
            / (2.0 * self.soft_mm))
            .clamp(0.0, 1.0);
        let open = edge * edge * (3.0 - 2.0 * edge);
        (self.left + (1.0 - self.left) * open) as f32
    }

    fn has_edge(&self, x: f64, y: f64, z: f64, reach: [f64; 2]) -> bool {
        (self.distance(x, y, z).abs() - self.radius_mm).abs() < self.soft_mm + reach[0] + reach[1]
    }
}

impl Surface {
    /// Colour of the place (x, y) of the thing, as light sees it; `None` where the thing is not.
    /// `front`: seen from its z side. `facing`: of a bar, how far its left edge and its middle
    /// face the light, 1 to -1.
    pub fn look(&self, x: f64, y: f64, front: bool, facing: [f64; 2]) -> Option<Rgb> {
        let light = match &self.shape {
            Shape::Sheet { bow_mm, half_mm, .. } => {
                let z = bow(*bow_mm, *half_mm, x, y);
                self.shadow.map_or(1.0, |shadow| shadow.light(x, y, z))
                    * self.shade.map_or(1.0, |shade| shade.light(x, y, z))
            }
            Shape::Tube { .. } => 1.0,
        };
        match &self.paint {
            Paint::Print(print) => {
                (print.paper.inside(x, y) > 0.0).then(|| scaled(print.colour(x, y, front), light))
            }
            Paint::Plain { outline, colour, texture } => {
                (outline.inside(x, y) > 0.0).then(|| scaled(*colour, light * texture.at(x, y)))
            }
            Paint::Bar { colour, twist, lit } => {
                let Shape::Tube { radius_mm, .. } = self.shape else { return None };
                let w = x / radius_mm;
                let deep = (1.0 - w * w).max(0.0).sqrt();
                let light = match lit {
                    None => 0.45 + 0.55 * deep,
                    Some(lit) => {
                        lit.ambient
                            + (1.0 - lit.ambient) * (facing[0] * w + facing[1] * deep).max(0.0)
                    }
                };
                let colour = match twist {
                    Some(twist) if (y / twist.pitch_mm + 0.25 * w).rem_euclid(1.0) < 0.5 => {
                        &twist.colour
                    }
                    _ => colour,
                };
                (w.abs() < 1.0 && y > 0.0).then(|| scaled(*colour, light as f32))
            }
        }
    }

    /// What edges of the thing cross the box of `reach` to each side of (x, y), in its own
    /// coordinates.
    pub fn edges(&self, x: f64, y: f64, reach: [f64; 2]) -> Edges {
        if let (Some(shadow), Shape::Sheet { bow_mm, half_mm, .. }) = (&self.shadow, &self.shape)
            && shadow.has_edge(x, y, bow(*bow_mm, *half_mm, x, y), reach)
        {
            return Edges::Fine;
        }
        match &self.paint {
            Paint::Print(print) => print.edges(x, y, reach),
            _ if self.inside(x, y) > reach[0] + reach[1] => Edges::None,
            Paint::Bar { .. } if self.exact => Edges::Fine,
            _ => Edges::Rough,
        }
    }

    /// How far (x, y) lies inside the thing, mm; negative outside.
    pub fn inside(&self, x: f64, y: f64) -> f64 {
        match &self.paint {
            Paint::Print(print) => print.paper.inside(x, y),
            Paint::Plain { outline, .. } => outline.inside(x, y),
            Paint::Bar { .. } => {
                let Shape::Tube { from, to, radius_mm } = &self.shape else { return -1.0 };
                (radius_mm - x.abs()).min(y).min((to - from).norm() - y)
            }
        }
    }

    /// Points of the world that span what can be seen of it.
    pub fn hull(&self) -> Vec<V3> {
        match &self.shape {
            Shape::Sheet { pose, .. } => {
                let outline = match &self.paint {
                    Paint::Print(print) => &print.paper,
                    Paint::Plain { outline, .. } => outline,
                    Paint::Bar { .. } => return Vec::new(),
                };
                outline.hull().into_iter().map(|[x, y]| pose.world(V3::new(x, y, 0.0))).collect()
            }
            Shape::Tube { from, to, .. } => {
                (0..=16).map(|i| from + (to - from) * (f64::from(i) / 16.0)).collect()
            }
        }
    }
}

/// Height of a bowed sheet over its frame's plane.
pub fn bow(bow_mm: [f64; 2], half_mm: [f64; 2], x: f64, y: f64) -> f64 {
    let (rx, ry) = (x / half_mm[0], y / half_mm[1]);
    bow_mm[0] * (1.0 - rx * rx) + bow_mm[1] * (1.0 - ry * ry)
}
