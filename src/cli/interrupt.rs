//! What happens at Ctrl-C, or when the system asks the program to end.

use crate::file::atomic;

/// As a shell counts a program that was ended by Ctrl-C: 128 and the signal's number.
const INTERRUPTED: i32 = 130;

/// From now on Ctrl-C ends the program with what is half written taken away.
pub(super) fn clean_up() {
    // Without a handler the system ends the program: nothing is lost but a hidden file, which the next run removes.
    let _ = ctrlc::set_handler(|| {
        atomic::abandon_all(|| std::process::exit(INTERRUPTED));
    });
}
