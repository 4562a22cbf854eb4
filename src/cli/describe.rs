//! `ullage describe`: a bottle asked for in a conversation, and added to a shelf.

use std::io::{self, BufRead, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use super::Failure;
use super::print::say;
use crate::file::atomic::{Overwrite, write_whole};
use crate::physics::conditions::Conditions;
use crate::set::describe::{Known, Question, Reach, known, with_bottle};
use crate::set::{self, read_any, written};
use crate::tuning::Tuning;
use crate::units::Frequency;

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

pub(super) fn run(args: &DescribeArgs) -> Result<(), Failure> {
    let before = shelf_text(&args.file)?;
    let names = names(&args.file, &before)?;
    let mut input = io::stdin().lock();
    let mut bottle = written::Bottle::default();
    for question in Question::ALL {
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
    question: Question,
    before: written::Bottle,
    names: &[String],
    input: &mut impl BufRead,
) -> Result<written::Bottle, Failure> {
    let ended = |because: &str| {
        Failure::bad("describe a bottle", because)
            .or_try("answer every question that needs it: the name, what it holds and its mouth")
    };
    for _ in 0..MOST_TRIES {
        let _ = write!(io::stderr(), "{} ", asked(question));
        let _ = io::stderr().flush();
        let mut line = String::new();
        let read = input.read_line(&mut line);
        let count = read.map_err(|error| Failure::cannot("read the answer", error))?;
        let text = line.trim();
        if text.is_empty() {
            match (question.is_needed(), count) {
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
        let taken = question
            .take(&mut bottle, text)
            .map_err(|error| error.to_string());
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

/// The question, with what an answer may look like.
fn asked(question: Question) -> String {
    let asks = question.asks();
    match question {
        Question::Material => format!("{asks} [glass]"),
        Question::Count => format!("{asks} [1]"),
        Question::Capacity | Question::Mouth | Question::Height => {
            format!("{asks} ({})", question.example())
        }
        Question::Name | Question::Body | Question::Neck | Question::Heard => asks.to_owned(),
    }
}

/// What is known of the bottle so far, in a sentence; nothing before its mouth is known.
fn told(bottle: &written::Bottle) -> Result<Option<String>, String> {
    if bottle.mouth_bore_mm.is_none() {
        return Ok(None);
    }
    match known(bottle, &Conditions::default()).map_err(|error| error.to_string())? {
        Known::Little => Ok(Some(
            "more is needed to say which notes it gives".to_owned(),
        )),
        Known::Enough(_, reach) => Ok(Some(in_words(&reach))),
    }
}

/// The notes that it gives, how sure that is, and what would make it surer.
fn in_words(reach: &Reach) -> String {
    let named = |pitch: Frequency| Tuning::default().nearest(pitch).0;
    format!(
        "{} ({:.0} Hz) empty to {} ({:.0} Hz) with {:.0} ml, ±{:.0} cents; to be surer: {}",
        named(reach.lowest),
        reach.lowest.hz(),
        named(reach.highest),
        reach.highest.hz(),
        reach.fullest.ml(),
        reach.plus_minus.cents(),
        reach.remedy
    )
}
