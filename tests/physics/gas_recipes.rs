//! What a gas written as text means: names, percentages, and the air of the room.

use proptest::prelude::*;
use ullage::physics::air::{Room, dry_air};
use ullage::physics::gas::Species;
use ullage::physics::recipe::{GasRecipe, NamedGas, RecipeError};

proptest! {
    #[test]
    fn a_recipe_reads_back_as_it_was_printed(percent in 0.0..=100.0f64, a in 0usize..8, b in 0usize..8) {
        let blend = GasRecipe::blend(percent, NamedGas::ALL[a], NamedGas::ALL[b]).unwrap();
        prop_assert_eq!(blend.to_string().parse::<GasRecipe>().unwrap(), blend);
        let pure = GasRecipe::pure(NamedGas::ALL[a]);
        prop_assert_eq!(pure.to_string().parse::<GasRecipe>().unwrap(), pure);
    }
}

#[test]
fn gases_are_read_as_people_write_them() {
    let read = |text: &str| {
        text.parse::<GasRecipe>()
            .unwrap_or_else(|error| panic!("{text}: {error}"))
            .to_string()
    };
    assert_eq!(read("air"), "room air");
    assert_eq!(read(" Room  Air "), "room air");
    assert_eq!(read("Carbon Dioxide"), "co2");
    assert_eq!(read("30% helium in air"), "30% helium in air");
    assert_eq!(read("50 % CO2 in helium"), "50% co2 in helium");
    assert_eq!(read("2.5% breath in room air"), "2.5% breath in air");
    assert_eq!(read("He"), "helium");
}

#[test]
fn a_misspelt_gas_is_answered_with_the_nearest_name() {
    for (written, meant) in [
        ("helum", "helium"),
        ("nitrogn", "nitrogen"),
        ("braeth", "breath"),
        ("carbon dixide", "carbon dioxide"),
        ("co", "co2"),
    ] {
        let error = written.parse::<GasRecipe>().unwrap_err();
        assert!(
            matches!(error, RecipeError::UnknownGas { nearest, .. } if nearest == meant),
            "{written}: {error}"
        );
        assert!(
            error.to_string().contains("room air, dry air, breath"),
            "{error}"
        );
    }
    let inside = "30% helum in air".parse::<GasRecipe>().unwrap_err();
    assert!(inside.to_string().contains("\"helium\""), "{inside}");
}

#[test]
fn a_gas_that_harms_or_has_no_figures_is_refused_by_name_with_a_way_out() {
    for (written, why) in [
        ("SF6", "24 kg"),
        ("sulphur  hexafluoride", "24 kg"),
        ("20% SF6 in air", "24 kg"),
        ("propane", "it burns"),
        ("laughing gas", "harms"),
        ("xenon", "not known here"),
        ("steam", "saturated"),
    ] {
        let error = written.parse::<GasRecipe>().unwrap_err();
        assert!(matches!(error, RecipeError::Refused { .. }), "{error}");
        let text = error.to_string();
        assert!(text.contains(why) && text.contains("try: "), "{text}");
    }
}

#[test]
fn a_broken_blend_is_refused_with_a_reason() {
    assert!(matches!(
        "130% helium in air".parse::<GasRecipe>(),
        Err(RecipeError::Percentage { percent: 130.0 })
    ));
    assert!(matches!(
        "-5% helium in air".parse::<GasRecipe>(),
        Err(RecipeError::Percentage { .. })
    ));
    assert!(matches!(
        "nan% helium in air".parse::<GasRecipe>(),
        Err(RecipeError::Percentage { .. })
    ));
    assert!(matches!(
        "some % helium in air".parse::<GasRecipe>(),
        Err(RecipeError::NotAPercentage { .. })
    ));
    assert!(matches!(
        "30% helium".parse::<GasRecipe>(),
        Err(RecipeError::NoRest { .. })
    ));
    assert!("".parse::<GasRecipe>().is_err());
    assert!(GasRecipe::blend(f64::INFINITY, NamedGas::Helium, NamedGas::RoomAir).is_err());
}

#[test]
fn a_recipe_is_text_in_a_file() {
    let recipe: GasRecipe = serde_json::from_str("\"30 % helium in air\"").unwrap();
    assert_eq!(
        serde_json::to_string(&recipe).unwrap(),
        "\"30% helium in air\""
    );
    let error = serde_json::from_str::<GasRecipe>("\"helum\"").unwrap_err();
    assert!(error.to_string().contains("helium"), "{error}");
}

#[test]
fn a_recipe_is_mixed_by_volume_with_the_air_of_the_room() {
    let room = Room::default();
    let mixture = "30% helium in air"
        .parse::<GasRecipe>()
        .unwrap()
        .mixture(&room)
        .unwrap();
    assert!((mixture.fraction(Species::He) - 0.3).abs() < 1e-12);
    let water = room.air().unwrap().fraction(Species::H2o);
    assert!((mixture.fraction(Species::H2o) - 0.7 * water).abs() < 1e-12);
    let none = "0% helium in air"
        .parse::<GasRecipe>()
        .unwrap()
        .mixture(&room)
        .unwrap();
    assert_eq!(none, room.air().unwrap());
    let dry = "dry air"
        .parse::<GasRecipe>()
        .unwrap()
        .mixture(&room)
        .unwrap();
    assert_eq!(dry, dry_air(room.co2).unwrap());
    assert_eq!(dry.fraction(Species::H2o), 0.0);
}
