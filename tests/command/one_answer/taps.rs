//! What was heard in one room, whatever room its file is in.

use ullage::set::{Set, WallFits, read_set};

use super::*;

/// Bottles that were tapped, and one that was blown, in a room of `temp_c`; what stands beside each pitch is `noted`.
fn tapped(temp_c: f64, noted: &str) -> String {
    format!(
        "[room]\ntemp_c = {temp_c}\n\
         [[bottle]]\nname = \"cellar\"\nmouth_bore_mm = 18.5\nneck_bore_mm = 22\nbody_diameter_mm = 75\n\
         body_length_mm = 178\nshoulder_length_mm = 45\nheight_mm = 296\nlip_wall_mm = 4.5\n\
         heard = [{{ fill_ml = 0, hz = 2607, way = \"struck\"{noted} }}, # the first\n\
         {{ fill_ml = 370, hz = 1970, way = \"struck\"{noted} }},\n{{ fill_ml = 0, hz = 113, way = \"blown\"{noted} }}]\n\
         [[bottle]]\nname = \"pop\"\nmaterial = \"plastic\"\nbody_diameter_mm = 108\nbody_length_mm = 180\n\
         shoulder_length_mm = 90\nheight_mm = 300\nmouth_bore_mm = 22\nneck_bore_mm = 22\nwall_mm = 0.3\n\
         [[bottle.heard]] # by the gauge\nfill_ml = 900\ngauge_bar = 1\nhz = 485\nway = \"pressurised\"{}\n\
         [[pour]]\nnote = \"A6\"\nbottle = \"cellar\"\nway = \"struck\"\nfill_ml = 490\n",
        noted.replace(',', "\n")
    )
}

/// The bottles of a text, with room enough for the last digit of what a solver works out.
fn fits(text: &str) -> Vec<WallFits> {
    let Set { kinds, .. } = read_set(text).unwrap();
    kinds.into_iter().map(|kind| kind.fits).collect()
}

#[test]
fn a_tap_counts_with_the_liquid_as_warm_as_it_was() {
    let warm = fits(&tapped(40.0, ""));
    let cool = fits(&tapped(20.0, ""));
    assert_ne!(warm, cool, "nobody passes by weighing nothing");
    assert_eq!(fits(&tapped(20.0, ", temp_c = 40")), warm);
    assert_eq!(fits(&tapped(40.0, ", temp_c = 20")), cool);
}

#[test]
fn a_file_that_is_filled_for_another_room_keeps_what_its_bottles_were_fitted_to() {
    let before = tapped(20.0, "");
    let (folder, set) = file("set.toml", &before);
    let out = folder.path().join("warm.toml");
    json(&["fill", text(&set), "--temp-c", "40", "--out", text(&out)]);
    let after = std::fs::read_to_string(&out).unwrap();
    assert_eq!(fits(&after), fits(&before));
    for comment in ["# the first", "# by the gauge"] {
        assert!(after.contains(comment), "{after}");
    }
    assert_eq!(after.matches("temp_c = 20").count(), 4, "{after}");
}

/// And there and back again.
#[cfg(feature = "window")]
#[test]
fn a_file_that_is_saved_in_another_room_keeps_what_its_bottles_were_fitted_to() {
    let before = tapped(20.0, "");
    let (_folder, set) = file("set.toml", &before);
    let mut document = super::window::in_room(&set, 40.0);
    let cool = document.model.poured_at.clone();
    document.save().unwrap();
    let warm = std::fs::read_to_string(&set).unwrap();
    assert!(warm.contains("temp_c = 40"), "{warm}");
    assert_eq!(fits(&warm), fits(&before));
    let heard = document.model.heard.clone();
    let refitted = document.refitted(&heard).unwrap();
    let again: Vec<WallFits> = refitted
        .kinds
        .iter()
        .map(|kind| kind.fits.clone())
        .collect();
    assert_eq!(again, fits(&before));
    document.model.conditions = cool;
    document.save().unwrap();
    let back = std::fs::read_to_string(&set).unwrap();
    assert_eq!(fits(&back), fits(&before));
    assert!(
        back.contains("# the first") && back.contains("# by the gauge"),
        "{back}"
    );
}
