//! What was seen in photos before: when a growing folder is measured again and again, no photo
//! needs looking at again.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use crate::photo::{Impression, Photo, PhotoFacts};
use crate::sightings::PhotoSightings;

/// The first look at a photo.
#[derive(Clone, Debug)]
pub struct FirstLook {
    pub facts: PhotoFacts,
    pub sightings: PhotoSightings,
    pub impression: Impression,
}

/// First looks by the checksums of the photos' files: the same file gives the same look. Some 200
/// kB a photo.
#[derive(Debug, Default)]
pub struct Known(Mutex<BTreeMap<String, Arc<FirstLook>>>);

impl Known {
    /// Keeps what was seen in a photo.
    pub fn keep(&self, photo: &Photo, sightings: &PhotoSightings) {
        let look = FirstLook {
            facts: photo.facts.clone(),
            sightings: sightings.clone(),
            impression: Impression::of(&photo.luma),
        };
        self.looks().insert(photo.facts.sha256.clone(), Arc::new(look));
    }

    pub fn get(&self, sha256: &str) -> Option<Arc<FirstLook>> {
        self.looks().get(sha256).cloned()
    }

    /// Forgets all.
    pub fn clear(&self) {
        self.looks().clear();
    }

    fn looks(&self) -> std::sync::MutexGuard<'_, BTreeMap<String, Arc<FirstLook>>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
