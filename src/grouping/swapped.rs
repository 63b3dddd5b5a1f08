//! Folders whose names say another position of the wheel than their photos show.

use super::assign::Work;
use super::places::Mark;
use crate::finding::Finding;
use crate::text::listed;

impl Work<'_> {
    /// Says once which folders' names say "forward" where their photos show "rearward", or the
    /// other way round. The figures follow the photos, whatever a folder is called.
    pub(super) fn report_swapped_names(&mut self) {
        let said: Vec<String> = (0..self.out.setups.len())
            .filter_map(|setup| {
                let mark = self.sorted.positions.get(*self.owns.get(&setup)?)?.mark?;
                let name = &self.out.setups[setup].name;
                let claimed = mark_in_name(name)?;
                // Photos of both positions in one folder are a finding of their own.
                let has_claimed = self.in_setup(setup).into_iter().any(|photo| {
                    let position = self.position(photo).map(|p| &self.sorted.positions[p]);
                    position.is_some_and(|position| position.mark == Some(claimed))
                });
                (claimed == opposite(mark)? && !has_claimed)
                    .then(|| format!("{name} shows it with the mark {}", mark.word()))
            })
            .collect();
        if said.is_empty() {
            return;
        }
        let names = if said.len() > 1 {
            "The folders' names are swapped"
        } else {
            "A folder's name does not fit its photos"
        };
        self.out.findings.push(Finding::warning(
            "setup-names-swapped",
            format!(
                "{names}, by the wheel's position: {}. The figures hold: they go by the photos, and only carry the folder's name.",
                listed(&said)
            ),
            "Rename the folders, so that the names in the report are true. But see first that tab 1 is on the bike's left and tab 2 on its \
             right: if they are swapped, every left and right here is the wrong way round.",
        ));
    }
}

/// The mark that a set-up's name claims, as a word of its own.
fn mark_in_name(name: &str) -> Option<Mark> {
    let name = name.to_lowercase();
    let has =
        |mark: &Mark| name.split(|c: char| !c.is_alphanumeric()).any(|word| word == mark.word());
    let [forward, rearward] = [Mark::Forward, Mark::Rearward].map(|mark| Some(mark).filter(has));
    forward.xor(rearward)
}

/// The mark half a turn on; only forward and rearward are names that new folders have.
fn opposite(mark: Mark) -> Option<Mark> {
    match mark {
        Mark::Forward => Some(Mark::Rearward),
        Mark::Rearward => Some(Mark::Forward),
        Mark::Up | Mark::Down => None,
    }
}
