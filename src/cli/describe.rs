//! `ullage describe`: a bottle asked for in a conversation, and added to a shelf.

use std::io::{self, BufRead, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use super::Failure;
use super::print::say;
use crate::file::atomic::{Overwrite, write_whole};
use crate::fit::shape::ShapeError;
use crate::number::rounded;
use crate::physics::conditions::Conditions;
use crate::physics::prediction::{Blown, Prediction, PredictionError};
use crate::set::{self, Kind, read_any, read_shelf, written};
use crate::tuning::Tuning;
use crate::units::text::{length, volume};
use crate::units::{Frequency, Volume};

/// Tries at one question before the conversation ends: whoever answers is no person.
const MOST_TRIES: usize = 20;

/// Describe a bottle in a conversation, and add it to a shelf.
///
/// Asks what the bottle holds and how wide and high it is, in mm or inches, ml or fluid ounces, and says after every answer
/// which notes it will give and how sure that is. An empty answer passes a question over; Ctrl-C leaves the shelf as it was.
#[derive(Debug, Args)]
#[command(after_help = "Example: ullage describe crate.toml\n\
                  Example: printf 'tall green\\nglass\\n12 fl oz\\n0.7 in\\n9 in\\n\\n3 in\\n\\n3\\n' | ullage describe crate.toml")]
pub struct DescribeArgs {
    /// The shelf, or a set, that it is added to; made if it is not there
    pub file: PathBuf,
}

/// What is asked, in this order.
const QUESTIONS: [Question; 9] = [
    Question {
        asks: "What do you call it?",
        needed: true,
        take: |bottle, text| {
            bottle.name = text.to_owned();
            Ok(())
        },
    },
    Question {
        asks: "Glass, plastic, ceramic or metal? [glass]",
        needed: false,
        take: |bottle, text| {
            bottle.material = Some(text.to_lowercase());
            Ok(())
        },
    },
    Question {
        asks: "How much does it hold, filled to the brim? (330 ml, 12 fl oz)",
        needed: true,
        take: |bottle, text| {
            bottle.capacity_ml = Some(rounded(volume(text)?.ml(), 1));
            Ok(())
        },
    },
    Question {
        asks: "How wide is the mouth inside? (18.5 mm, 3/4 in)",
        needed: true,
        take: |bottle, text| {
            bottle.mouth_bore_mm = Some(rounded(length(text)?.mm(), 2));
            Ok(())
        },
    },
    Question {
        asks: "How high is it? (230 mm, 9 in)",
        needed: false,
        take: |bottle, text| {
            bottle.height_mm = Some(rounded(length(text)?.mm(), 1));
            Ok(())
        },
    },
    Question {
        asks: "How wide is the body outside?",
        needed: false,
        take: |bottle, text| {
            bottle.body_diameter_mm = Some(rounded(length(text)?.mm(), 1));
            Ok(())
        },
    },
    Question {
        asks: "How long is the neck, from the end of the shoulder to the mouth?",
        needed: false,
        take: |bottle, text| {
            bottle.neck_length_mm = Some(rounded(length(text)?.mm(), 1));
            Ok(())
        },
    },
    Question {
        asks: "Have you blown it empty? Which pitch, Hz?",
        needed: false,
        take: |bottle, text| {
            let hz = text
                .trim()
                .trim_end_matches(['z', 'Z'])
                .trim_end_matches(['h', 'H']);
            let hz = hz.trim().replace(',', ".").parse().map_err(|_| {
                format!("{text:?} is not a pitch in hertz; ullage listen measures it")
            })?;
            bottle.heard.push(written::Heard {
                fill_ml: 0.0,
                hz,
                temp_c: None,
                way: set::Way::Blown,
                gauge_bar: None,
            });
            Ok(())
        },
    },
    Question {
        asks: "How many of it are there? [1]",
        needed: false,
        take: |bottle, text| {
            let count = text
                .parse()
                .map_err(|_| format!("{text:?} is not a count"))?;
            bottle.count = Some(count);
            Ok(())
        },
    },
];

type Answered = Result<(), Box<dyn std::error::Error>>;

struct Question {
    asks: &'static str,
    /// Without an answer there is nothing to work with.
    needed: bool,
    take: fn(&mut written::Bottle, &str) -> Answered,
}

pub(super) fn run(args: &DescribeArgs) -> Result<(), Failure> {
    let before = shelf_text(&args.file)?;
    let names = names(&args.file, &before)?;
    let mut input = io::stdin().lock();
    let mut bottle = written::Bottle::default();
    for question in &QUESTIONS {
        bottle = ask(question, bottle, &names, &mut input)?;
    }
    let text = with_bottle(&before, &bottle)
        .map_err(|error| Failure::cannot(format!("write {}", args.file.display()), error))?;
    read_any(&text).map_err(|error| Failure::bad("use this bottle", error))?;
    write_whole(&args.file, text.as_bytes(), Overwrite::Yes)
        .map_err(|error| Failure::unwritten(&args.file, error, "describe"))?;
    say!("{:?} is in {}", bottle.name, args.file.display());
    Ok(())
}

/// The file's text; that of an empty shelf if there is no such file.
fn shelf_text(path: &Path) -> Result<String, Failure> {
    if path.exists() {
        return Ok(set::file_text(path)?);
    }
    Ok("# Bottles in the crate.\nversion = 1\n".to_owned())
}

/// What the bottles in the file are called; of an empty shelf nothing.
fn names(path: &Path, text: &str) -> Result<Vec<String>, Failure> {
    if !path.exists() {
        return Ok(Vec::new());
    }
    match read_any(text) {
        Ok(preset) => Ok(preset
            .kinds()
            .iter()
            .map(|kind| kind.name.clone())
            .collect()),
        Err(set::SetError::Empty) => Ok(Vec::new()),
        Err(error) => Err(Failure::bad(format!("add to {}", path.display()), error)),
    }
}

/// Asks until the answer is one, and says what the bottle would do.
fn ask(
    question: &Question,
    before: written::Bottle,
    names: &[String],
    input: &mut impl BufRead,
) -> Result<written::Bottle, Failure> {
    let ended = |because: &str| {
        Failure::bad("describe a bottle", because)
            .or_try("answering every question that needs it: the name, what it holds and its mouth")
    };
    for _ in 0..MOST_TRIES {
        let _ = write!(io::stderr(), "{} ", question.asks);
        let _ = io::stderr().flush();
        let mut line = String::new();
        let read = input.read_line(&mut line);
        let count = read.map_err(|error| Failure::cannot("read the answer", error))?;
        let text = line.trim();
        if text.is_empty() {
            match (question.needed, count) {
                (false, _) => return Ok(before),
                (true, 0) => return Err(ended("the answers end before the bottle is described")),
                (true, _) => {
                    say!("  this one is needed");
                    continue;
                }
            }
        }
        if names.iter().any(|name| name == text) && before.name.is_empty() {
            say!("  there is a bottle of that name already");
            continue;
        }
        let mut bottle = before.clone();
        let taken = (question.take)(&mut bottle, text).map_err(|error| error.to_string());
        match taken.and_then(|()| told(&bottle)) {
            Ok(said) => {
                if let Some(said) = said {
                    say!("  {said}");
                }
                return Ok(bottle);
            }
            Err(because) => say!("  {because}"),
        }
    }
    Err(ended("the same question was answered wrongly too often"))
}

/// What is known of the bottle so far, in a sentence; nothing before its mouth is known.
fn told(bottle: &written::Bottle) -> Result<Option<String>, String> {
    if bottle.mouth_bore_mm.is_none() {
        return match &bottle.material {
            // A name that is not known is better said at once.
            Some(material) => material_is_known(material).map(|()| None),
            None => Ok(None),
        };
    }
    let text = shelf_of(bottle).map_err(|error| error.to_string())?;
    let shelf = match read_shelf(&text) {
        Ok(shelf) => shelf,
        // The next answers may be enough.
        Err(set::SetError::Bottle {
            source: ShapeError::NoSize,
            ..
        }) => {
            return Ok(Some(
                "more is needed to say which notes it gives".to_owned(),
            ));
        }
        Err(error) => return Err(error.to_string()),
    };
    let kind = &shelf.kinds[0];
    reach(kind).map(Some).map_err(|error| error.to_string())
}

fn material_is_known(material: &str) -> Result<(), String> {
    match material {
        "glass" | "plastic" | "ceramic" | "metal" => Ok(()),
        _ => Err(format!(
            "{material:?} is not glass, plastic, ceramic or metal"
        )),
    }
}

/// The notes that it gives, how sure that is, and what would make it surer.
fn reach(kind: &Kind) -> Result<String, PredictionError> {
    let room = Conditions::default();
    let blown = Blown::new(&kind.bottle, &room)?;
    let low = Prediction::new(&kind.bottle, Volume::default(), &room)?;
    let (full, high) = blown.fullest()?;
    let named = |pitch: Frequency| Tuning::default().nearest(pitch).0;
    let lowest = low
        .resonances
        .first()
        .map_or(high.frequency, |r| r.frequency);
    let dominant = low.uncertainty.dominant();
    Ok(format!(
        "{} ({:.0} Hz) empty to {} ({:.0} Hz) with {:.0} ml, ±{:.0} cents; to be surer: {}",
        named(lowest),
        lowest.hz(),
        named(high.frequency),
        high.frequency.hz(),
        full.ml(),
        low.uncertainty.plus_minus.cents(),
        dominant.remedy
    ))
}

/// The text of a shelf with this bottle alone.
fn shelf_of(bottle: &written::Bottle) -> Result<String, toml::ser::Error> {
    toml::to_string(&written::Shelf {
        version: 1,
        title: String::new(),
        remark: String::new(),
        bottle: vec![bottle.clone()],
    })
}

/// The text with the bottle behind its last one.
fn with_bottle(text: &str, bottle: &written::Bottle) -> Result<String, toml::ser::Error> {
    let alone = shelf_of(bottle)?;
    let table = alone
        .find("[[bottle]]")
        .map_or(alone.as_str(), |at| &alone[at..]);
    Ok(format!("{}\n\n{table}", text.trim_end()))
}
