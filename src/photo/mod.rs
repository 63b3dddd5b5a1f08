//! A file becomes linear luminance, EXIF facts and an identity.

pub mod image;

pub use image::LinearImage;
