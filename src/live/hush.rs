//! Keeps the sound system's own complaints off the terminal: what is wrong is said once, by us.

/// From here on what ALSA's library has to say on this thread goes into a buffer that nobody reads; what it held before
/// is dropped. Without a card it would write a dozen lines to standard error for every look at the devices.
#[cfg(target_os = "linux")]
pub(super) fn hush() {
    // Without a buffer the lines go to the terminal, as they would have.
    let _ = alsa::Output::local_error_handler();
}

/// Other sound systems keep quiet by themselves.
#[cfg(not(target_os = "linux"))]
pub(super) fn hush() {}
