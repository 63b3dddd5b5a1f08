//! Parts of reading photos: the segments of a JPEG file, and the memory that photos take turns in.

use std::sync::Mutex;
use std::time::Duration;

use sightcord::photo::room::{BUDGET_BYTES, Memory};
use sightcord::photo::segments::{Next, START_OF_SCAN, Segment, Segments};

/// Start, a comment that holds an end marker, a scan with a stuffed zero, a restart and fill
/// bytes, the end, a second picture.
const PICTURE: [u8; 31] = [
    0xFF, 0xD8, 0xFF, 0xFE, 0, 5, 0xFF, 0xD9, b'x', 0xFF, 0xDA, 0, 3, 1, 7, 0xFF, 0, 8, 0xFF, 0xD3,
    9, 0xFF, 0xFF, 0xD9, 0xFF, 0xD8, 0xFF, 0xFE, 0, 2, 0xFF,
];

#[test]
fn a_picture_ends_at_its_own_end_marker_and_its_coded_data_are_whole() {
    let mut segments = Segments::of(&PICTURE);
    let comment = Segment { code: 0xFE, body: &[0xFF, 0xD9, b'x'], coded: &[] };
    assert_eq!(segments.read_next(), Next::Segment(comment));
    let scan = Segment { code: START_OF_SCAN, body: &[1], coded: &PICTURE[14..22] };
    assert_eq!(segments.read_next(), Next::Segment(scan));
    assert_eq!(segments.read_next(), Next::End(24));
}

#[test]
fn a_file_that_ends_too_early_or_lies_about_a_length_is_recognised() {
    for length in 0..24 {
        let mut segments = Segments::of(&PICTURE[..length]);
        let last =
            (0..3).map(|_| segments.read_next()).find(|next| !matches!(next, Next::Segment(_)));
        assert_eq!(last, Some(Next::CutOff), "cut to {length} bytes");
    }
    assert_eq!(Segments::of(&[0xFF, 0xD8, 0xFF, 0xFE, 0, 1, 0, 0]).read_next(), Next::WrongLength);
}

/// Of its own: other tests read photos at the same time.
static MEMORY: Memory = Memory::of(BUDGET_BYTES);

#[test]
fn what_does_not_fit_waits_and_never_more_is_taken_than_there_is() {
    let most = Mutex::new(0_u64);
    std::thread::scope(|scope| {
        for bytes in [BUDGET_BYTES / 3, BUDGET_BYTES / 2, BUDGET_BYTES * 2, 5, BUDGET_BYTES / 2, 0]
        {
            let most = &most;
            scope.spawn(move || {
                for _ in 0..200 {
                    let room = MEMORY.room(bytes);
                    // Long enough for the others to try meanwhile.
                    std::thread::sleep(Duration::from_micros(50));
                    let taken = MEMORY.taken();
                    let mut most = most.lock().unwrap();
                    *most = (*most).max(taken);
                    drop(room);
                }
            });
        }
    });
    assert!(*most.lock().unwrap() <= BUDGET_BYTES);
    assert_eq!(MEMORY.taken(), 0);
}
