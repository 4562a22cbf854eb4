//! Whether a stream is well: dropouts by the incident, silence by the watchdog; what a driver complains about meanwhile.

use std::time::{Duration, Instant};

use cpal::ErrorKind;

/// Dropouts closer together than this are one: a hiccup is told two to five times.
const INCIDENT: Duration = Duration::from_millis(100);
/// Time without a callback after which a stream counts as stuck.
const PATIENCE: Duration = Duration::from_secs(1);
/// The same at its beginning: some sound servers take two seconds for the first.
const FIRST_PATIENCE: Duration = Duration::from_secs(4);
/// First and longest wait before a stream is built again.
const FIRST_WAIT: Duration = Duration::from_millis(250);
const LONGEST_WAIT: Duration = Duration::from_secs(30);

/// What is to be done about a stream.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Verdict {
    Well,
    /// It must be built again.
    Lost {
        because: String,
        /// The card is there and could not keep up.
        is_worn: bool,
    },
    /// It must be built again, on whatever is there now.
    Stuck {
        because: String,
    },
}

/// A stream's record.
pub(super) struct Health {
    dropouts: u32,
    last_dropout: Option<Instant>,
    /// The last error that ends nothing by itself, since the last callback.
    complaint: Option<String>,
    lost: Option<String>,
    callbacks: u64,
    heard_at: Instant,
    has_answered: bool,
}

impl Health {
    pub(super) fn new(now: Instant) -> Self {
        Self {
            dropouts: 0,
            last_dropout: None,
            complaint: None,
            lost: None,
            callbacks: 0,
            heard_at: now,
            has_answered: false,
        }
    }

    /// A stream begins; dropouts go on counting.
    pub(super) fn begin(&mut self, callbacks: u64, now: Instant) {
        *self = Self {
            dropouts: self.dropouts,
            callbacks,
            ..Self::new(now)
        };
    }

    pub(super) fn dropouts(&self) -> u32 {
        self.dropouts
    }

    /// Takes an error of the stream in.
    pub(super) fn note(&mut self, error: &cpal::Error, now: Instant) {
        match error.kind() {
            // The stream runs on by itself: building it again would make a gap of a click.
            ErrorKind::Xrun => {
                if self
                    .last_dropout
                    .is_none_or(|at| now.duration_since(at) > INCIDENT)
                {
                    self.dropouts = self.dropouts.saturating_add(1);
                }
                self.last_dropout = Some(now);
            }
            ErrorKind::DeviceNotAvailable
            | ErrorKind::StreamInvalidated
            | ErrorKind::HostUnavailable => self.lost = Some(one_line(error)),
            ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied => {}
            // ALSA's plugin for PulseAudio says "I/O error" at every look for as long as the server has not yet said what the
            // time is, hundreds of them after each start and each dropout (alsa-plugins, issue 65). The sound goes on as soon
            // as it has: only a card that gives errors and no callbacks is lost, whatever their number.
            _ => self.complaint = Some(one_line(error)),
        }
    }

    /// What is to be done, now that there were `callbacks` in all.
    pub(super) fn verdict(&mut self, callbacks: u64, now: Instant) -> Verdict {
        if let Some(because) = self.lost.take() {
            return Verdict::Lost {
                because,
                is_worn: false,
            };
        }
        if callbacks != self.callbacks {
            self.callbacks = callbacks;
            self.heard_at = now;
            self.has_answered = true;
            self.complaint = None;
        }
        let patience = if self.has_answered {
            PATIENCE
        } else {
            FIRST_PATIENCE
        };
        let quiet = now.saturating_duration_since(self.heard_at);
        if quiet > patience {
            let quiet_s = quiet.as_secs_f64();
            return match self.complaint.take() {
                Some(said) => Verdict::Lost {
                    because: format!("nothing but errors for {quiet_s:.1} s: {said}"),
                    is_worn: true,
                },
                None => Verdict::Stuck {
                    because: format!("the sound card has not answered for {quiet_s:.1} s"),
                },
            };
        }
        Verdict::Well
    }
}

fn one_line(error: &cpal::Error) -> String {
    error.to_string().replace('\n', " ")
}

/// When a lost stream is tried again: soon at first, then more and more rarely.
#[derive(Default)]
pub(super) struct Retry {
    at: Option<Instant>,
    tries: u32,
}

impl Retry {
    /// Plans the next try; returns how long that is.
    pub(super) fn later(&mut self, now: Instant) -> Duration {
        let wait = (FIRST_WAIT * 2u32.saturating_pow(self.tries.min(16))).min(LONGEST_WAIT);
        self.tries = self.tries.saturating_add(1);
        self.at = Some(now + wait);
        wait
    }

    /// Whether it is time.
    pub(super) fn is_due(&mut self, now: Instant) -> bool {
        let due = self.at.is_some_and(|at| at <= now);
        if due {
            self.at = None;
        }
        due
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn after(start: Instant, ms: u64) -> Instant {
        start + Duration::from_millis(ms)
    }

    #[test]
    fn five_reports_of_one_hiccup_are_one_dropout() {
        let start = Instant::now();
        let mut health = Health::new(start);
        for ms in [0, 5, 10, 15, 20, 500, 505] {
            health.note(&ErrorKind::Xrun.into(), after(start, ms));
        }
        assert_eq!(health.dropouts(), 2);
        assert_eq!(health.verdict(1, after(start, 510)), Verdict::Well);
    }

    #[test]
    fn errors_are_borne_while_the_sound_goes_on_and_not_when_they_are_all_there_is() {
        let start = Instant::now();
        let mut health = Health::new(start);
        let error: cpal::Error = ErrorKind::BackendError.into();
        // Five hundred a second, as PulseAudio's plugin gives them, with a callback now and then.
        for ms in 0..4000 {
            health.note(&error, after(start, ms));
            assert_eq!(health.verdict(ms / 400, after(start, ms)), Verdict::Well);
        }
        for ms in 4000..4600 {
            health.note(&error, after(start, ms));
            let verdict = health.verdict(9, after(start, ms));
            assert_eq!(verdict, Verdict::Well, "after {ms} ms");
        }
        let verdict = health.verdict(9, after(start, 5000));
        let Verdict::Lost { because, is_worn } = verdict else {
            panic!("{verdict:?}");
        };
        assert!(is_worn && because.contains("errors"), "{because}");
    }

    #[test]
    fn a_card_that_stops_without_a_word_after_an_old_error_has_said_nothing() {
        let start = Instant::now();
        let mut health = Health::new(start);
        health.note(&ErrorKind::BackendError.into(), start);
        assert_eq!(health.verdict(1, after(start, 100)), Verdict::Well);
        let verdict = health.verdict(1, after(start, 1200));
        assert!(matches!(verdict, Verdict::Stuck { .. }), "{verdict:?}");
    }

    #[test]
    fn a_lost_device_is_lost_once() {
        let start = Instant::now();
        let mut health = Health::new(start);
        health.note(&ErrorKind::DeviceNotAvailable.into(), start);
        assert!(matches!(health.verdict(1, start), Verdict::Lost { .. }));
        assert_eq!(health.verdict(2, start), Verdict::Well);
    }

    #[test]
    fn a_card_that_stops_answering_is_noticed_after_a_second() {
        let start = Instant::now();
        let mut health = Health::new(start);
        assert_eq!(health.verdict(0, after(start, 3900)), Verdict::Well);
        assert_eq!(health.verdict(1, after(start, 3950)), Verdict::Well);
        assert_eq!(health.verdict(1, after(start, 4900)), Verdict::Well);
        let verdict = health.verdict(1, after(start, 5000));
        assert!(matches!(verdict, Verdict::Stuck { .. }), "{verdict:?}");
    }

    #[test]
    fn tries_come_more_and_more_rarely() {
        let start = Instant::now();
        let mut retry = Retry::default();
        let waits: Vec<u128> = (0..9).map(|_| retry.later(start).as_millis()).collect();
        assert_eq!(
            waits,
            [250, 500, 1000, 2000, 4000, 8000, 16000, 30000, 30000]
        );
        assert!(!retry.is_due(after(start, 29_000)));
        assert!(retry.is_due(after(start, 30_000)) && !retry.is_due(after(start, 31_000)));
    }
}
