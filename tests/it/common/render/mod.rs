//! Photos of a scene, in pixels, with the truth in the geometry and the trouble in named knobs.
//!
//! ```ignore
//! let picture = scene.photograph(0, 3, &RenderKnobs::default());         // set-up 0, photo 3
//! let seen_by_the_detector = picture.linear();                           // linear luminance, 8 bits deep
//! let job = tempfile::tempdir()?;
//! scene.at_scale(0.5).write_job(job.path(), &RenderKnobs::default())?;   // a job folder of 1632 x 1224 JPEGs
//! ```

use std::fs;
use std::io;
use std::path::Path;

mod file;
pub mod imaging;
pub mod knobs;
mod paint;
mod print;
mod stage;
mod surface;
pub mod trace;

use super::scene::TruthScene;
use imaging::Picture;
use knobs::RenderKnobs;
use trace::Light;

impl TruthScene {
    /// Light on the ideal pixels of one photo: no lens blur, no noise.
    pub fn light(&self, setup_idx: usize, photo_idx: usize, knobs: &RenderKnobs) -> Light {
        let surfaces = stage::surfaces(self, setup_idx, photo_idx, knobs);
        trace::trace(&surfaces, &self.eye(setup_idx, photo_idx), knobs)
    }

    /// One developed photo.
    pub fn photograph(&self, setup_idx: usize, photo_idx: usize, knobs: &RenderKnobs) -> Picture {
        let photo_seed =
            self.seed.wrapping_mul(1_000_003).wrapping_add((setup_idx * 1000 + photo_idx) as u64);
        imaging::develop(self.light(setup_idx, photo_idx, knobs), knobs, photo_seed)
    }

    /// A job folder: the photos of every set-up, job.toml with what cannot be seen, expected.json
    /// with the true figures.
    pub fn write_job(&self, folder: &Path, knobs: &RenderKnobs) -> io::Result<()> {
        fs::create_dir_all(folder)?;
        fs::write(folder.join("job.toml"), self.job_toml())?;
        fs::write(folder.join("expected.json"), serde_json::to_string_pretty(&self.expected())?)?;
        for (setup_idx, photo_idx) in self.photo_indices() {
            self.write_photo(folder, setup_idx, photo_idx, knobs)?;
        }
        Ok(())
    }

    /// One photo of a job folder.
    pub fn write_photo(
        &self,
        folder: &Path,
        setup_idx: usize,
        photo_idx: usize,
        knobs: &RenderKnobs,
    ) -> io::Result<()> {
        let setup = &self.setups[setup_idx];
        let into = folder.join(&setup.name);
        fs::create_dir_all(&into)?;
        let picture = self.photograph(setup_idx, photo_idx, knobs);
        let second = setup_idx * 600 + photo_idx * 20;
        fs::write(into.join(&setup.photos[photo_idx].file), picture.jpeg(knobs, &self.lens, second))
    }

    /// What the job states: everything that a photo cannot show.
    pub fn job_toml(&self) -> String {
        let mut text = format!(
            "schema = \"sightcord-job/1\"\n\n[bike]\nname = \"Rendered test bike\"\nchain_side = \"{}\"\n",
            self.bike.chain_side.word()
        );
        if let Some(face) = &self.bike.hub_face {
            text += &format!(
                "\n[hub]\nface_side = \"{}\"\nface_turns = {}\n",
                face.side.word(),
                face.turns
            );
        }
        let mut tabs: Vec<u8> =
            self.print.tab_side_mm.keys().chain(self.print.backing_mm.keys()).copied().collect();
        tabs.sort_unstable();
        tabs.dedup();
        for number in tabs {
            text += &format!("\n[[tab]]\nnumber = {number}\n");
            if let Some(side) = self.print.tab_side_mm.get(&number) {
                text += &format!("side_mm = {side:?}\n");
            }
            if let Some(backing) = self.print.backing_mm.get(&number) {
                text += &format!("backing_mm = {backing:?}\n");
            }
        }
        for face in &self.bike.faces {
            text += &format!("\n[[face]]\nname = \"{}\"\ntabs = {:?}\n", face.name, face.tabs);
        }
        text
    }
}
