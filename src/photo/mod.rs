//! A file becomes linear luminance, EXIF facts and an identity.

mod aside;
pub mod colour;
pub mod copies;
pub mod decoded;
pub mod error;
pub mod evenings;
pub mod exif;
pub mod file_bytes;
pub mod folder;
pub mod format;
mod grain;
#[cfg(feature = "heic")]
mod heic;
pub mod image;
mod impression;
pub mod job_photos;
mod jpeg;
pub mod listing;
pub mod luma_codes;
pub mod order;
mod png;
mod raster;
pub mod read;
pub mod room;
pub mod same_files;
pub mod segments;
pub mod srgb;

pub use error::PhotoError;
pub use exif::ExifFacts;
pub use format::{PhotoFormat, format_of};
pub use grain::Grain;
pub use image::LinearImage;
pub use impression::Impression;
pub use job_photos::{JobPhotos, PhotoFile, SetupFolder};
pub use listing::{ListError, list_job, list_photos};
pub use luma_codes::LumaCodes;
pub use read::{Photo, PhotoFacts, decode_photo, read_photo};
