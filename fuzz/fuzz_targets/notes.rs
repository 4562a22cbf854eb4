//! Any text as notes, as a scale, as a temperament, as a gas, as a liquid: what it means or an error. A note
//! that was read is written as a note of the same key.
#![no_main]

use libfuzzer_sys::fuzz_target;
use ullage::physics::liquid::Liquid;
use ullage::physics::recipe::GasRecipe;
use ullage::plan::wanted::{parse_wanted, scale};
use ullage::tuning::NoteName;

fuzz_target!(|text: &str| {
    if let Ok(note) = text.parse::<NoteName>() {
        let again = note
            .to_string()
            .parse::<NoteName>()
            .expect("a written note reads back");
        assert_eq!(again.midi(), note.midi());
    }
    let _ = parse_wanted(text);
    let _ = scale(text, NoteName::from_midi(48), NoteName::from_midi(72));
    let _ = text.parse::<GasRecipe>();
    let _ = text.parse::<Liquid>();
});
