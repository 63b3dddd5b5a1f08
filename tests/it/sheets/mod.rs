//! The printed sheets: drawn at exact scale, readable by the detector, valid as PDF, and never
//! written over anything else.

mod drawn;
mod files;
mod raster;
mod readback;
mod stored;
mod structure;
