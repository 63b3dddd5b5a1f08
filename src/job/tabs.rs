//! What each tab stands for, according to the job.

use super::TabRole;
use super::roles::{FIRST_RIDER, LAST_RIDER, MovesWith, Role};
use super::settings::Job;

impl Job {
    /// What the tab with this number stands for, according to the job.
    pub fn tab(&self, number: u8) -> TabRole {
        let mut tab = self.tabs.get(&number).cloned().unwrap_or_else(|| {
            let mut tab = TabRole::of_number(number);
            if let (Role::HubFace, Some(turns)) = (tab.role, self.hub.face_turns) {
                tab.moves_with = if turns { MovesWith::Wheel } else { MovesWith::Frame };
            }
            tab
        });
        tab.face = self
            .faces
            .iter()
            .find(|face| face.tabs.contains(&number))
            .map(|face| face.name.clone());
        if tab.face.is_some() && is_rider(&tab) && !self.tabs.contains_key(&number) {
            // A job from before numbers 39 to 44 became riders names them as tabs of a face.
            let face = tab.face.take();
            tab = TabRole { role: Role::Free, moves_with: MovesWith::Frame, face, ..tab };
        }
        tab
    }

    /// Tabs whose numbers stand for riders on the cord unless a job changes that, and which this
    /// one has as free tabs.
    pub(super) fn riders_kept_free(&self) -> Vec<u8> {
        let kept = |number: &u8| {
            is_rider(&TabRole::of_number(*number)) && self.tab(*number).role == Role::Free
        };
        (FIRST_RIDER..=LAST_RIDER).filter(kept).collect()
    }

    /// Tabs that by their numbers stand for a place which job.toml gives to another tab, each with
    /// that one.
    pub fn displaced_tabs(&self) -> Vec<(u8, u8)> {
        let named = |role: Role| {
            self.tabs.iter().find(|(_, tab)| tab.role == role).map(|(number, _)| *number)
        };
        // Higher numbers stand for no place unless the job gives them one.
        (1..=LAST_RIDER)
            .filter(|number| !self.tabs.contains_key(number))
            .filter_map(|number| {
                let role = self.tab(number).role;
                Some((number, role.is_of_one_tab().then(|| named(role)).flatten()?))
            })
            .collect()
    }
}

fn is_rider(tab: &TabRole) -> bool {
    matches!(tab.role, Role::CordRider { .. })
}
