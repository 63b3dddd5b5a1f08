//! What fuzzing started from and found goes through the same functions again, without a fuzzer:
//! nothing of it may panic.

use std::path::Path;

#[path = "../../fuzz/targets.rs"]
mod targets;

#[test]
fn the_corpus_of_every_target_passes() {
    for (name, target) in targets::TARGETS {
        let folder = Path::new("fuzz/corpus").join(name);
        let mut files: Vec<_> =
            std::fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).collect();
        files.sort();
        assert!(files.len() >= 3, "{} is all but empty", folder.display());
        for file in files {
            let bytes = std::fs::read(&file).unwrap();
            // A panic is the failure; its message does not tell the file.
            eprintln!("{}", file.display());
            target(&bytes);
        }
    }
}
