//! `ullage trace`: the outline of a bottle from a photograph, as lines for a shelf.

use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;
use toml_edit::{Array, ArrayOfTables, DocumentMut, InlineTable, Item, Table, Value};

use super::Failure;
use super::print::{JSON_VERSION, print, print_json};
use crate::file::atomic::{AtomicFile, Overwrite, WriteError, write_whole};
use crate::file::read;
use crate::number::rounded;
use crate::physics::conditions::Conditions;
use crate::physics::prediction::Blown;
use crate::set;
use crate::trace::{MAX_BYTES, Scale, TraceError, TraceSpec, Traced, trace};
use crate::units::{Length, Volume};

/// Trace the outline of a bottle in a photograph.
#[derive(Debug, Args)]
#[command(after_help = "\
How to take the picture:
  - a plain bright background: a window, or a sheet lit from behind
  - two metres away, with the zoom: from near the middle looks larger than the ends
  - the camera at half the bottle's height, level
  - the bottle upright, all of it in the picture, nothing beside it
  - label off, empty and dry
JPEG, PNG or WebP, up to 50 megapixels. Look at the overlay: the red line must lie on the glass.

A picture, what it holds to the brim and what it sounds at when it is blown empty tell its pitch at every fill.

Examples:
  ullage trace green.jpg --height-mm 305 --capacity-ml 775 --hz 112.4 --name \"tall green\" --shelf bottles.toml
  ullage trace green.jpg --height-mm 305 --overlay seen.png")]
pub struct TraceArgs {
    /// The picture
    #[arg(value_name = "PHOTO")]
    pub photo: PathBuf,
    /// Height of the bottle, mm [20 to 1000]: it brings the picture to scale
    #[arg(long, value_name = "MM", required_unless_present = "card")]
    pub height_mm: Option<f64>,
    /// A bank card stands beside the bottle, as far away as its middle: the scale, if the height is not known
    #[arg(long, conflicts_with = "height_mm")]
    pub card: bool,
    /// Focal length of the lens as on 35 mm film, mm [10 to 1000], if the picture does not say it
    #[arg(long, value_name = "MM")]
    pub focal_mm: Option<f64>,
    /// Name of the bottle
    #[arg(long, value_name = "NAME", default_value = "traced")]
    pub name: String,
    /// What it holds to the brim, ml: written down, and checked against the outline
    #[arg(long, value_name = "ML")]
    pub capacity_ml: Option<f64>,
    /// Inner diameter of the mouth, mm: written down
    #[arg(long, value_name = "MM")]
    pub mouth_bore_mm: Option<f64>,
    /// What it sounds at, blown across when it is empty, Hz: written down as heard
    #[arg(long, value_name = "HZ")]
    pub hz: Option<f64>,
    /// What it is made of: glass, plastic, ceramic or metal
    #[arg(long, value_name = "MATERIAL")]
    pub material: Option<String>,
    /// Write the picture with the outline over it, a PNG
    #[arg(long, value_name = "PNG")]
    pub overlay: Option<PathBuf>,
    /// Write a new shelf with this bottle
    #[arg(long, value_name = "TOML", conflicts_with = "shelf")]
    pub out: Option<PathBuf>,
    /// Add the bottle to this shelf, which stays as it is otherwise
    #[arg(long, value_name = "TOML")]
    pub shelf: Option<PathBuf>,
    /// Replace files that are there
    #[arg(long)]
    pub force: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
}

/// What was traced, for machines.
#[derive(Debug, Serialize)]
struct Row<'a> {
    version: u32,
    name: &'a str,
    height_mm: f64,
    outline_mm: Vec<[f64; 2]>,
    widest_mm: f64,
    outline_ml: f64,
    radius_error_mm: f64,
    scale_error_pct: f64,
    asymmetry_mm: f64,
    camera_distance_mm: f64,
    camera_height_mm: f64,
    roll_deg: f64,
    focal_known: bool,
    empty_hz: f64,
    plus_minus_cents: f64,
    doubts: Vec<DoubtRow>,
}

/// What the outline and what was stated beside it come to: the pitch of the empty bottle.
struct Estimate {
    hz: f64,
    plus_minus_cents: f64,
}

#[derive(Debug, Serialize)]
struct DoubtRow {
    what: String,
    try_instead: &'static str,
}

pub(super) fn run(args: &TraceArgs) -> Result<(), Failure> {
    let spec = spec(args)?;
    // A refusal costs nothing: before the work.
    let overlay = args
        .overlay
        .as_deref()
        .map(|path| create(path, args.force, "--overlay"))
        .transpose()?;
    let text = shelf_text(args)?;
    let bytes = read::bytes(&args.photo, MAX_BYTES, "of a picture")?;
    let traced = trace(&bytes, &spec).map_err(|error| not_traced(&args.photo, error))?;
    drop(bytes);
    let table = table(args, &traced);
    if let Some(mut file) = overlay {
        let path = args
            .overlay
            .as_deref()
            .expect("a file is created for a path alone");
        let unwritten = |error| Failure::unwritten(path, error, "--overlay");
        let png = traced
            .overlay_png()
            .map_err(|error| not_traced(&args.photo, error))?;
        std::io::Write::write_all(&mut file, &png)
            .map_err(|source| unwritten(WriteError::from_io(path, source)))?;
        file.commit().map_err(unwritten)?;
    }
    // A bottle that cannot be is seen in the overlay, and goes to no shelf.
    let estimate = estimated(args, &table)?;
    if let Some((path, text)) = text {
        let text = with_bottle(&text, table.clone())
            .map_err(|error| Failure::bad(format!("add a bottle to {}", path.display()), error))?;
        let overwrite = Overwrite::forced(args.force || args.shelf.is_some());
        write_whole(path, text.as_bytes(), overwrite)
            .map_err(|error| Failure::unwritten(path, error, "--out"))?;
    }
    if args.json {
        print_json(&row(args, &traced, &estimate))
    } else {
        print(&said(args, &traced, table, &estimate))
    }
}

fn spec(args: &TraceArgs) -> Result<TraceSpec, Failure> {
    let ranged = |what: &str, value: Option<f64>, least: f64, most: f64| match value {
        Some(value) if !(least..=most).contains(&value) => Err(Failure::bad(
            "trace the picture",
            format!("{what} {value} is outside {least} to {most}"),
        )),
        _ => Ok(()),
    };
    ranged("--height-mm", args.height_mm, 20.0, 1_000.0)?;
    ranged("--focal-mm", args.focal_mm, 10.0, 1_000.0)?;
    ranged("--capacity-ml", args.capacity_ml, 1.0, 100_000.0)?;
    ranged("--mouth-bore-mm", args.mouth_bore_mm, 1.0, 500.0)?;
    ranged("--hz", args.hz, 10.0, 10_000.0)?;
    Ok(TraceSpec {
        scale: args
            .height_mm
            .map_or(Scale::BankCard, |mm| Scale::Height(Length::from_mm(mm))),
        focal_35mm: args.focal_mm,
        capacity: args.capacity_ml.map(Volume::from_ml),
    })
}

fn create(path: &Path, force: bool, option: &str) -> Result<AtomicFile, Failure> {
    AtomicFile::create(path, Overwrite::forced(force))
        .map_err(|error| Failure::unwritten(path, error, option))
}

/// The shelf that the bottle goes to, and what is in it already.
fn shelf_text(args: &TraceArgs) -> Result<Option<(&Path, String)>, Failure> {
    if let Some(path) = args.shelf.as_deref() {
        let text = set::file_text(path)?;
        let names = |error| Failure::bad(format!("use {}", path.display()), error);
        let document: DocumentMut = text.parse().map_err(names)?;
        if has_bottle(&document, &args.name) {
            let because = format!("there is a bottle called {:?} in it", args.name);
            return Err(
                Failure::bad(format!("add a bottle to {}", path.display()), because)
                    .or_try("another --name"),
            );
        }
        return Ok(Some((path, text)));
    }
    let Some(path) = args.out.as_deref() else {
        return Ok(None);
    };
    // Nothing is there, or it may be replaced.
    drop(create(path, args.force, "--out")?);
    Ok(Some((path, "version = 1\n".to_owned())))
}

fn has_bottle(document: &DocumentMut, name: &str) -> bool {
    let bottles = document.get("bottle").and_then(Item::as_array_of_tables);
    bottles.is_some_and(|bottles| {
        bottles
            .iter()
            .any(|bottle| bottle.get("name").and_then(Item::as_str) == Some(name))
    })
}

fn not_traced(photo: &Path, error: TraceError) -> Failure {
    let way_out = match &error {
        TraceError::NoCard => {
            "--height-mm, or a card that stands in one colour clear of the bottle"
        }
        TraceError::Picture { .. }
        | TraceError::TooLarge { .. }
        | TraceError::Height { .. }
        | TraceError::CutOff { .. }
        | TraceError::Tilted { .. } => error.remedy(),
        _ => {
            "a plain bright background and the bottle alone: ullage trace --help says how to take the picture"
        }
    };
    Failure::cannot(format!("trace the bottle in {}", photo.display()), error).or_try(way_out)
}

/// The bottle as it is written in a shelf.
fn table(args: &TraceArgs, traced: &Traced) -> Table {
    let mut table = Table::new();
    table.insert("name", toml_edit::value(args.name.as_str()));
    if let Some(material) = &args.material {
        table.insert("material", toml_edit::value(material.as_str()));
    }
    let mut number = |key: &str, value: Option<f64>| {
        if let Some(value) = value {
            table.insert(key, toml_edit::value(value));
        }
    };
    number("capacity_ml", args.capacity_ml);
    number("mouth_bore_mm", args.mouth_bore_mm);
    number("height_mm", Some(rounded(traced.outline.height().mm(), 1)));
    let mut points = Array::new();
    for pair in outline_mm(traced) {
        let mut point = Value::from(Array::from_iter(pair));
        let first = points.len().is_multiple_of(6);
        point
            .decor_mut()
            .set_prefix(if first { "\n  " } else { " " });
        points.push_formatted(point);
    }
    points.set_trailing("\n");
    table.insert("outline_mm", toml_edit::value(points));
    let mut measured_to = InlineTable::new();
    let (radius_mm, scale) = (
        traced.outline.radius_error().mm(),
        traced.outline.scale_error(),
    );
    // 95 %: two standard deviations.
    measured_to.insert(
        "outline_mm",
        Value::from(rounded((2.0 * radius_mm).min(20.0), 1)),
    );
    measured_to.insert(
        "outline_pct",
        Value::from(rounded((200.0 * scale).min(20.0), 1)),
    );
    table.insert("measured_to", toml_edit::value(measured_to));
    if let Some(hz) = args.hz {
        let mut heard = InlineTable::new();
        heard.insert("fill_ml", Value::from(0));
        heard.insert("hz", Value::from(hz));
        heard.insert("way", Value::from("blown"));
        table.insert("heard", toml_edit::value(Array::from_iter([heard])));
    }
    table
}

fn outline_mm(traced: &Traced) -> Vec<[f64; 2]> {
    let pairs = traced.outline.diameters_mm().into_iter();
    pairs
        .map(|[height, diameter]| [rounded(height, 1), rounded(diameter, 2)])
        .collect()
}

/// A shelf's text with one more bottle at its end.
fn with_bottle(text: &str, table: Table) -> Result<String, toml_edit::TomlError> {
    let mut document: DocumentMut = text.parse()?;
    let bottles = document
        .entry("bottle")
        .or_insert_with(|| Item::ArrayOfTables(ArrayOfTables::new()));
    if let Some(bottles) = bottles.as_array_of_tables_mut() {
        bottles.push(table);
    }
    Ok(document.to_string())
}

/// The bottle as a shelf of it alone is read.
fn estimated(args: &TraceArgs, table: &Table) -> Result<Estimate, Failure> {
    let what = || format!("make a bottle of the outline in {}", args.photo.display());
    let way_out = "another look at --overlay, --height-mm and what else was stated";
    let text =
        with_bottle("version = 1\n", table.clone()).map_err(|error| Failure::bad(what(), error))?;
    let shelf =
        set::read_shelf(&text).map_err(|error| Failure::cannot(what(), error).or_try(way_out))?;
    let bottle = &shelf.kinds.first().expect("one bottle was written").bottle;
    let note = Blown::new(bottle, &Conditions::default())
        .and_then(|blown| blown.fundamental(Volume::default()))
        .map_err(|error| Failure::cannot(what(), error).or_try(way_out))?;
    Ok(Estimate {
        hz: note.frequency.hz(),
        plus_minus_cents: bottle.doubts().plus_minus(Volume::default()).cents(),
    })
}

fn row<'a>(args: &'a TraceArgs, traced: &Traced, estimate: &Estimate) -> Row<'a> {
    let (outline, view) = (&traced.outline, &traced.view);
    let doubts = traced.doubts.iter().map(|doubt| DoubtRow {
        what: doubt.to_string(),
        try_instead: doubt.remedy(),
    });
    Row {
        version: JSON_VERSION,
        name: &args.name,
        height_mm: rounded(outline.height().mm(), 1),
        outline_mm: outline_mm(traced),
        widest_mm: rounded(outline.widest().mm(), 2),
        outline_ml: rounded(outline.volume().ml(), 1),
        radius_error_mm: rounded(outline.radius_error().mm(), 2),
        scale_error_pct: rounded(100.0 * outline.scale_error(), 2),
        asymmetry_mm: rounded(outline.asymmetry().mm(), 2),
        camera_distance_mm: rounded(view.distance.mm(), 0),
        camera_height_mm: rounded(view.height.mm(), 0),
        roll_deg: rounded(view.roll_deg, 2),
        focal_known: view.focal_known,
        empty_hz: rounded(estimate.hz, 2),
        plus_minus_cents: rounded(estimate.plus_minus_cents, 0),
        doubts: doubts.collect(),
    }
}

fn said(args: &TraceArgs, traced: &Traced, table: Table, estimate: &Estimate) -> String {
    let (outline, view) = (&traced.outline, &traced.view);
    let mut out = String::new();
    if args.shelf.is_none() && args.out.is_none() {
        let mut document = DocumentMut::new();
        let mut bottles = ArrayOfTables::new();
        bottles.push(table);
        document.insert("bottle", Item::ArrayOfTables(bottles));
        out += &document.to_string();
        out.push('\n');
    }
    out += &format!(
        "# {} points, radii to ±{:.1} mm and {:.1} % together (one standard deviation); widest {:.1} mm, {:.0} ml within\n",
        outline.diameters_mm().len(),
        outline.radius_error().mm(),
        100.0 * outline.scale_error(),
        outline.widest().mm(),
        outline.volume().ml(),
    );
    out += &format!(
        "# camera about {:.1} m away, {:.0} mm above the table; the bottle leans by {:.1}°{}\n",
        view.distance.m(),
        view.height.mm(),
        view.roll_deg.abs(),
        if view.focal_known {
            ""
        } else {
            "; the picture does not say the focal length"
        },
    );
    out += &format!(
        "# empty it sounds at {:.1} Hz, ±{:.0} cents{}\n",
        estimate.hz,
        estimate.plus_minus_cents,
        next(args),
    );
    for doubt in &traced.doubts {
        out += &format!("# warning: {doubt}\n#   try: {}\n", doubt.remedy());
    }
    out
}

/// What would say most beside the picture.
fn next(args: &TraceArgs) -> &'static str {
    match (args.capacity_ml, args.hz) {
        (None, _) => "; next: fill it to the brim over a scale, --capacity-ml",
        (Some(_), None) => "; next: blow it once when it is empty, --hz",
        (Some(_), Some(_)) => "",
    }
}
