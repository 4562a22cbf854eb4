//! Colours, for light and for dark. Blue and orange tell good from bad, and light from dark tells how much: eyes that
//! do not tell red from green see the same.

use eframe::egui::{Color32, Visuals, lerp};

/// Colours of one look.
#[derive(Clone, Copy, Debug)]
pub(super) struct Palette {
    pub glass: Color32,
    pub wall: Color32,
    pub air: Color32,
    pub liquid: Color32,
    pub surface: Color32,
    pub glow: Color32,
    pub good: Color32,
    pub off: Color32,
    pub text: Color32,
    pub weak: Color32,
    pub chosen: Color32,
    pub table: Color32,
    /// Keys of the strip: white, white without a bottle, black, black without.
    pub keys: [Color32; 4],
    /// What is written on white keys.
    pub ink: Color32,
}

/// Cents within which a bottle counts as in tune: about what listeners notice in a chord. Common practice, no source.
pub(super) const IN_TUNE_CENTS: f64 = 5.0;

impl Palette {
    /// The colours that go with `visuals`. Blue and orange are those of Okabe & Ito, *Color Universal Design*, 2008.
    pub(super) fn of(visuals: &Visuals) -> Self {
        let rgb = Color32::from_rgb;
        if visuals.dark_mode {
            Self {
                glass: rgb(52, 62, 66),
                wall: rgb(148, 166, 170),
                air: rgb(30, 35, 38),
                liquid: rgb(38, 92, 128),
                surface: rgb(116, 190, 232),
                glow: rgb(255, 214, 102),
                good: rgb(86, 180, 233),
                off: rgb(240, 162, 40),
                text: rgb(232, 232, 228),
                weak: rgb(160, 166, 168),
                chosen: rgb(255, 255, 255),
                table: rgb(110, 96, 80),
                keys: [
                    rgb(222, 222, 214),
                    rgb(112, 116, 116),
                    rgb(20, 22, 24),
                    rgb(70, 74, 76),
                ],
                ink: rgb(26, 30, 32),
            }
        } else {
            Self {
                glass: rgb(206, 220, 218),
                wall: rgb(74, 92, 94),
                air: rgb(244, 247, 246),
                liquid: rgb(134, 190, 222),
                surface: rgb(0, 84, 138),
                glow: rgb(255, 190, 40),
                good: rgb(0, 100, 160),
                off: rgb(186, 80, 0),
                text: rgb(26, 30, 32),
                weak: rgb(92, 100, 102),
                chosen: rgb(0, 0, 0),
                table: rgb(150, 124, 92),
                keys: [
                    rgb(255, 255, 252),
                    rgb(206, 210, 210),
                    rgb(34, 38, 40),
                    rgb(142, 148, 150),
                ],
                ink: rgb(26, 30, 32),
            }
        }
    }

    /// The colour of a distance from the target.
    pub(super) fn cents(&self, cents: f64) -> Color32 {
        if cents.abs() <= IN_TUNE_CENTS {
            self.good
        } else {
            self.off
        }
    }
}

/// `share` of the way from one colour to another.
pub(super) fn between(from: Color32, to: Color32, share: f32) -> Color32 {
    let share = share.clamp(0.0, 1.0);
    let part = |a: u8, b: u8| lerp(f32::from(a)..=f32::from(b), share).round() as u8;
    Color32::from_rgba_premultiplied(
        part(from.r(), to.r()),
        part(from.g(), to.g()),
        part(from.b(), to.b()),
        part(from.a(), to.a()),
    )
}

/// A colour for how rough two bottles are, 0 to 1: from dark blue over grey to bright yellow, each step lighter than the
/// one before, so that it reads without hue. After the map "cividis" (Nuñez, Anderton & Renslow, PLoS ONE 13, 2018);
/// the five steps are rounded from it from memory.
pub(super) fn roughness(share: f32) -> Color32 {
    const STEPS: [(u8, u8, u8); 5] = [
        (0, 34, 78),
        (66, 78, 108),
        (124, 123, 120),
        (188, 174, 108),
        (254, 232, 56),
    ];
    let at = share.clamp(0.0, 1.0) * (STEPS.len() - 1) as f32;
    let low = (at.floor() as usize).min(STEPS.len() - 2);
    let colour = |(r, g, b): (u8, u8, u8)| Color32::from_rgb(r, g, b);
    between(colour(STEPS[low]), colour(STEPS[low + 1]), at - low as f32)
}
