//! Photographs of invented bottles, traced: how far the outline is off, what is refused, what is warned of.

use image::ImageFormat;
use ullage::trace::{Followed, Hand, Scale, TraceError, TraceSpec, Traced, trace};
use ullage::units::{Length, Volume};

use crate::common::command::{json, ullage};
use crate::common::files::{Folder, arg};
use crate::common::photograph::{Outside, Shot, outside_of};

/// The outside of a shape of `tests/data/bottles_fem.json`, with 3 mm of glass, a floor and a finish.
fn outside(name: &str) -> Outside {
    let all: serde_json::Value =
        serde_json::from_str(include_str!("../data/bottles_fem.json")).unwrap();
    let points = all["bottles"][name]["profile"].as_array().unwrap().iter();
    let bore: Vec<(f64, f64)> = points
        .map(|p| (p[0].as_f64().unwrap(), p[1].as_f64().unwrap()))
        .collect();
    outside_of(&bore, 3.0, 5.0, 2.0)
}

fn top(outside: &Outside) -> f64 {
    outside[outside.len() - 1].0
}

/// Lens of the pictures here as on 35 mm film, mm: a pixel is 0.7 mm two metres away.
const LENS_MM: u16 = 165;

/// A picture small enough to be rendered in a test.
fn shot(name: &str) -> Shot {
    Shot {
        size: (450, 600),
        focal_35mm: LENS_MM.into(),
        ..Shot::good(outside(name))
    }
}

fn spec(shot: &Shot) -> TraceSpec {
    TraceSpec {
        focal_35mm: Some(shot.focal_35mm),
        ..TraceSpec::of_height(Length::from_mm(top(&shot.outside)))
    }
}

/// Root mean square of the radius' error, mm, but for the rounded heel and lip, where the silhouette is not the side's.
fn off_mm(traced: &Traced, outside: &Outside) -> f64 {
    let truth = |z: f64| {
        let at = outside
            .partition_point(|p| p.0 <= z)
            .clamp(1, outside.len() - 1);
        let (a, b) = (outside[at - 1], outside[at]);
        a.1 + (b.1 - a.1) * (z - a.0) / (b.0 - a.0)
    };
    let (mut squares, mut count, mut z) = (0.0, 0.0, 5.0);
    while z < top(outside) - 2.0 {
        let radius_mm = traced.outline.diameter_at(Length::from_mm(z)).mm() / 2.0;
        squares += (radius_mm - truth(z)).powi(2);
        count += 1.0;
        z += 0.5;
    }
    (squares / count).sqrt()
}

fn traced(shot: &Shot, spec: &TraceSpec) -> Traced {
    trace(&shot.jpeg(), spec).unwrap()
}

#[test]
fn a_good_picture_gives_the_outline_within_half_a_millimetre_and_no_warning() {
    // A pixel is 0.7 mm here: less than one.
    for name in ["wine_high_750", "longneck_330"] {
        let shot = shot(name);
        let traced = traced(&shot, &spec(&shot));
        let off_mm = off_mm(&traced, &shot.outside);
        println!("{name}: {off_mm:.2} mm, {:?}", traced.doubts);
        assert!(off_mm < 0.5, "{name}: {off_mm:.2} mm");
        assert!(!traced.is_doubtful(), "{name}: {:?}", traced.doubts);
    }
}

#[test]
fn a_camera_that_looks_down_leans_and_stands_near_is_taken_out() {
    let shot = Shot {
        distance: 900.0,
        height: 250.0,
        focal_35mm: 60.0,
        roll_deg: 2.5,
        aim: (10.0, 15.0),
        table: Some(([120.0, 105.0, 95.0], 500.0)),
        shadow: 0.2,
        ..shot("milk_1000")
    };
    let traced = traced(&shot, &spec(&shot));
    let off_mm = off_mm(&traced, &shot.outside);
    println!("{off_mm:.2} mm, {:?}, {:?}", traced.view, traced.doubts);
    // Read as if from far away and level, 3 % of 44 mm.
    assert!(off_mm < 0.9, "{off_mm:.2} mm");
    assert!((traced.view.roll_deg - 2.5).abs() < 0.2);
    assert!((traced.view.distance.mm() / 900.0 - 1.0).abs() < 0.05);
}

#[test]
fn an_outline_put_back_into_the_picture_lies_on_the_edge_of_the_glass() {
    // From above, near and leaning: what is taken out of the picture has to be put back.
    let shot = Shot {
        distance: 900.0,
        height: 250.0,
        focal_35mm: 60.0,
        roll_deg: 2.5,
        noise: 0.0,
        blur: 0.4,
        ..shot("milk_1000")
    };
    let picture = shot.rgb();
    let (followed, _) = Followed::shown(&shot.as_format(ImageFormat::Png), 300).unwrap();
    let begins = std::time::Instant::now();
    let seen = followed.measured(&spec(&shot), &Hand::default()).unwrap();
    println!("measured in {:.2} ms", 1e3 * begins.elapsed().as_secs_f64());
    let wall = picture.get_pixel(0, 0).0;
    let is_glass = |x: u32, y: u32| {
        let differs = |(a, b): (u8, u8)| a.abs_diff(b) > 40;
        picture.get_pixel(x, y).0.into_iter().zip(wall).any(differs)
    };
    let width = picture.width();
    for grip in &seen.grips {
        let [left, right] = grip.places.map(|[x, y]| (x, y.round() as u32));
        let first = (0..width).find(|x| is_glass(*x, left.1)).unwrap();
        let last = (0..width).rev().find(|x| is_glass(*x, right.1)).unwrap();
        let off = [left.0 - f64::from(first), right.0 - f64::from(last)];
        println!("{:.0} mm: {off:.2?} pixels", grip.height.mm());
        // A pixel and a half of 0.8 mm: what the outline is smoothed by, and where in a pixel glass begins.
        assert!(off.iter().all(|off| off.abs() < 1.5), "{off:?}");
    }
}

#[test]
fn a_tables_edge_behind_clear_glass_is_not_taken_for_the_foot() {
    // Seen through the bottle, the edge lies 15 mm above the table that it stands on, and is sharper than its foot.
    let shot = Shot {
        table: Some(([109.0, 98.0, 87.0], 300.0)),
        tint: [0.93, 0.95, 0.94],
        ..shot("longneck_330")
    };
    let traced = traced(&shot, &spec(&shot));
    let widest_mm = 2.0 * shot.outside.iter().fold(0.0f64, |w, p| w.max(p.1));
    let off = traced.outline.widest().mm() / widest_mm - 1.0;
    println!("{:.1} %, {:?}", 100.0 * off, traced.doubts);
    // 15 mm of its height would be 6 % of its width.
    assert!(off.abs() < 0.02, "{off}");
}

#[test]
fn jpeg_png_and_webp_of_one_picture_give_one_outline() {
    let shot = Shot {
        focal_35mm: 400.0,
        ..shot("medicine_60")
    };
    let spec = spec(&shot);
    let widest = |bytes: &[u8]| trace(bytes, &spec).unwrap().outline.widest().mm();
    let png = widest(&shot.as_format(ImageFormat::Png));
    let webp = widest(&shot.as_format(ImageFormat::WebP));
    let jpeg = widest(&shot.jpeg());
    // PNG and WebP lose nothing, a JPEG half a pixel of 0.3 mm.
    assert!((png - webp).abs() < 1e-9, "{png} {webp}");
    assert!((png - jpeg).abs() < 0.15, "{png} {jpeg}");
}

/// A JPEG with what a camera writes into it: how it was held, and its lens as on 35 mm film. Exif 2.3, tags 0112, 8769, A405.
fn as_a_camera_writes(jpeg: &[u8], orientation: u16, focal_mm: u16) -> Vec<u8> {
    let entry = |tag: u16, kind: u16, value: u32| {
        let mut entry = [tag.to_le_bytes(), kind.to_le_bytes()].concat();
        entry.extend(1u32.to_le_bytes());
        entry.extend(value.to_le_bytes());
        entry
    };
    let mut exif = b"Exif\0\0II*\0\x08\0\0\0\x02\0".to_vec();
    exif.extend(entry(0x0112, 3, orientation.into()));
    exif.extend(entry(0x8769, 4, 38));
    exif.extend(0u32.to_le_bytes());
    exif.extend(1u16.to_le_bytes());
    exif.extend(entry(0xa405, 3, focal_mm.into()));
    exif.extend(0u32.to_le_bytes());
    let length = u16::try_from(exif.len() + 2).unwrap();
    [
        &jpeg[..2],
        &[0xff, 0xe1],
        &length.to_be_bytes()[..],
        &exif,
        &jpeg[2..],
    ]
    .concat()
}

#[test]
fn a_camera_held_on_its_side_says_so_and_what_lens_it_has() {
    let shot = shot("longneck_330");
    let upright = traced(&shot, &spec(&shot));
    let lying = image::imageops::rotate270(&shot.rgb());
    let mut jpeg = Vec::new();
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, 90);
    lying.write_with_encoder(encoder).unwrap();
    let plain = TraceSpec::of_height(Length::from_mm(top(&shot.outside)));
    let held = as_a_camera_writes(&jpeg, 6, LENS_MM);
    let turned = trace(&held, &plain).unwrap();
    assert!(turned.view.focal_known);
    let (a, b) = (upright.outline.widest().mm(), turned.outline.widest().mm());
    // A fifth of a pixel of 0.6 mm, twice: another JPEG of the same picture.
    assert!((a - b).abs() < 0.25, "{a} {b}");
    assert!(trace(&jpeg, &plain).is_err(), "a bottle that lies");
}

#[test]
fn a_bank_card_beside_the_bottle_gives_its_height() {
    let shot = Shot {
        card: true,
        size: (700, 700),
        focal_35mm: 100.0,
        ..shot("milk_1000")
    };
    let spec = TraceSpec {
        scale: Scale::BankCard,
        ..spec(&shot)
    };
    let height_mm = traced(&shot, &spec).outline.height().mm();
    // A pixel is 0.9 mm, and the card is 95 pixels long.
    assert!(
        (height_mm / top(&shot.outside) - 1.0).abs() < 0.02,
        "{height_mm}"
    );
    let alone = Shot {
        card: false,
        ..shot
    };
    let refused = trace(&alone.jpeg(), &spec).unwrap_err();
    assert!(matches!(refused, TraceError::NoCard), "{refused}");
}

#[test]
fn a_wrong_height_is_found_out_by_the_capacity() {
    let shot = shot("wine_high_750");
    let right = TraceSpec {
        capacity: Some(Volume::from_ml(771.0)),
        ..spec(&shot)
    };
    assert!(!traced(&shot, &right).is_doubtful());
    let wrong = TraceSpec {
        scale: Scale::Height(Length::from_mm(0.85 * top(&shot.outside))),
        ..right
    };
    assert!(traced(&shot, &wrong).is_doubtful());
}

#[test]
fn a_bottle_that_is_cut_off_or_leans_or_is_not_there_is_refused() {
    let good = shot("longneck_330");
    let cut_off = Shot {
        aim: (150.0, 0.0),
        ..good.clone()
    };
    let refused = trace(&cut_off.jpeg(), &spec(&good)).unwrap_err();
    assert!(matches!(refused, TraceError::CutOff { .. }), "{refused}");
    let leaning = Shot {
        roll_deg: 9.5,
        ..good.clone()
    };
    let refused = trace(&leaning.jpeg(), &spec(&good)).unwrap_err();
    assert!(matches!(refused, TraceError::Tilted { .. }), "{refused}");
    let empty = image::RgbImage::from_pixel(400, 500, image::Rgb([200, 200, 200]));
    let mut png = std::io::Cursor::new(Vec::new());
    empty.write_to(&mut png, ImageFormat::Png).unwrap();
    assert!(trace(png.get_ref(), &spec(&good)).is_err());
}

#[test]
fn broken_pictures_are_refused_and_never_panic() {
    let shot = Shot {
        size: (270, 360),
        ..shot("longneck_330")
    };
    let spec = spec(&shot);
    let whole = shot.jpeg();
    for bytes in [&b""[..], b"not a picture", &whole[..100]] {
        assert!(matches!(
            trace(bytes, &spec),
            Err(TraceError::Picture { .. })
        ));
    }
    // Cut short anywhere, or with a byte turned over: an outline or a refusal.
    for part in 1..8 {
        let _ = trace(&whole[..whole.len() * part / 8], &spec);
        let mut turned = whole.clone();
        let at = turned.len() * part / 9;
        turned[at] ^= 0x5a;
        let _ = trace(&turned, &spec);
    }
}

#[test]
fn the_command_writes_the_bottle_to_a_shelf_and_the_overlay() {
    let folder = Folder::new();
    let shot = shot("longneck_330");
    let photo = folder.write("green.jpg", shot.jpeg());
    let shelf = folder.write(
        "shelf.toml",
        "# mine\n[[bottle]]\nname = \"old\"\ncapacity_ml = 500\n",
    );
    let overlay = folder.at("seen.png");
    let height = format!("{:.1}", top(&shot.outside));
    let line = [
        "trace",
        arg(&photo),
        "--height-mm",
        &height,
        "--name",
        "long green",
        "--capacity-ml",
        "346",
        "--focal-mm",
        "165",
        "--shelf",
        arg(&shelf),
        "--overlay",
        arg(&overlay),
    ];
    let row = json(&line);
    assert!(row["outline_mm"].as_array().unwrap().len() > 10);
    assert!(
        (row["widest_mm"].as_f64().unwrap() - 62.0).abs() < 1.0,
        "{}",
        row["widest_mm"]
    );
    assert!(row["plus_minus_cents"].as_f64().unwrap() > 5.0);
    let text = std::fs::read_to_string(&shelf).unwrap();
    assert!(
        text.starts_with("# mine\n") && text.contains("\"old\""),
        "{text}"
    );
    let table: toml::Table = text.parse().unwrap();
    let bottle = &table["bottle"][1];
    assert_eq!(bottle["name"].as_str(), Some("long green"));
    assert_eq!(
        bottle["outline_mm"].as_array().unwrap().len(),
        row["outline_mm"].as_array().unwrap().len()
    );
    let drawn = image::open(&overlay).unwrap();
    assert_eq!((drawn.width(), drawn.height()), shot.size);
    // A name that is there, and an overlay that is there, cost nothing.
    ullage(&line).ended(1).says("exists already");
    let again = [&line[..line.len() - 2], &["--json"]].concat();
    ullage(&again).ended(2).says("another --name");
    assert_eq!(std::fs::read_to_string(&shelf).unwrap(), text);
}

#[test]
fn a_note_beside_the_picture_is_what_the_bottle_sounds_at_and_makes_it_surer() {
    let folder = Folder::new();
    let shot = shot("longneck_330");
    let photo = folder.write("green.jpg", shot.jpeg());
    let height = format!("{:.1}", top(&shot.outside));
    let line = [
        "trace",
        arg(&photo),
        "--height-mm",
        &height,
        "--capacity-ml",
        "346",
    ];
    let number = |row: &serde_json::Value, key: &str| row[key].as_f64().unwrap();
    let silent = json(&line);
    let hz = format!("{:.1}", 1.02 * number(&silent, "empty_hz"));
    let heard = json(&[&line[..], &["--hz", &hz]].concat());
    // A blow is off by 15 cents, one standard deviation; what the picture says of the neck is off by far more.
    let off = 1200.0 * (number(&heard, "empty_hz") / hz.parse::<f64>().unwrap()).log2();
    assert!(off.abs() < 15.0, "{off}");
    assert!(
        number(&heard, "plus_minus_cents") < 0.6 * number(&silent, "plus_minus_cents"),
        "{heard}"
    );
    // What no bottle of this outline holds is refused, and written nowhere.
    let shelf = folder.at("new.toml");
    let too_much = ["--out", arg(&shelf)];
    let line = [&line[..5], &["2000"], &too_much[..]].concat();
    ullage(&line).ended(1).says("--height-mm");
    assert!(!shelf.exists());
}

#[test]
fn a_picture_that_cannot_be_traced_says_how_to_take_one() {
    let folder = Folder::new();
    let photo = folder.write("noise.png", b"nothing");
    let line = ["trace", arg(&photo), "--height-mm", "250"];
    ullage(&line).ended(1).says("JPEG, PNG or WebP");
    ullage(&["trace", arg(&photo), "--height-mm", "3"])
        .ended(2)
        .says("outside 20 to 1000");
    ullage(&["trace", "--help"])
        .ended(0)
        .prints("two metres away");
}
