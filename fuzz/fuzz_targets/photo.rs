//! Any bytes as a photograph: an outline of finite numbers or an error, within a memory that does not grow with what they say.
#![no_main]

use libfuzzer_sys::fuzz_target;
use ullage::trace::{Scale, TraceSpec, trace};
use ullage::units::{Length, Volume};

fuzz_target!(|bytes: &[u8]| {
    let scale = match bytes.first() {
        Some(byte) if byte % 4 == 0 => Scale::BankCard,
        _ => Scale::Height(Length::from_mm(250.0)),
    };
    let spec = TraceSpec {
        scale,
        focal_35mm: None,
        capacity: Some(Volume::from_ml(500.0)),
    };
    if let Ok(traced) = trace(bytes, &spec) {
        let points = traced.outline.diameters_mm();
        assert!(points.iter().flatten().all(|mm| mm.is_finite()));
        assert!(points.windows(2).all(|pair| pair[0][0] <= pair[1][0]));
        assert!(traced.overlay_png().is_ok());
    }
});
