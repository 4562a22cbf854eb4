//! Colours, type and spacing of the window, chosen once for light and for dark. Blue is the accent and means *good*,
//! orange means *out of tune* and nothing else, purple with a ring is *yours*, red with a triangle warns. Light from dark
//! tells how much, so that eyes that do not tell red from green see the same.

use eframe::egui::style::{ScrollStyle, WidgetVisuals};
use eframe::egui::{
    Color32, Context, CornerRadius, FontId, Id, Stroke, TextStyle, Theme, Visuals, lerp, vec2,
};

/// Colours of one look.
#[derive(Clone, Copy, Debug)]
pub(super) struct Palette {
    pub glass: Color32,
    pub wall: Color32,
    pub air: Color32,
    pub liquid: Color32,
    pub surface: Color32,
    pub glow: Color32,
    /// In tune, and the accent.
    pub good: Color32,
    /// Out of tune.
    pub off: Color32,
    /// Left to who practises.
    pub yours: Color32,
    /// Dangerous.
    pub hazard: Color32,
    /// Gone wrong.
    pub wrong: Color32,
    pub text: Color32,
    pub weak: Color32,
    pub chosen: Color32,
    pub table: Color32,
    /// What everything stands on.
    pub ground: Color32,
    /// Cards on it.
    pub card: Color32,
    /// Buttons on both.
    pub button: Color32,
    /// Keys of the strip: white, white without a bottle, black, black without.
    pub keys: [Color32; 4],
    /// What is written on white keys.
    pub ink: Color32,
}

/// Cents within which a bottle counts as in tune: about what listeners notice in a chord. Common practice, no source.
pub(super) const IN_TUNE_CENTS: f64 = 5.0;

/// Blue, orange and purple are those of Okabe & Ito, *Color Universal Design*, 2008, lighter or darker where words are
/// written in them.
const DARK: Palette = Palette {
    glass: Color32::from_rgb(52, 62, 66),
    wall: Color32::from_rgb(148, 166, 170),
    air: Color32::from_rgb(30, 35, 38),
    liquid: Color32::from_rgb(38, 92, 128),
    surface: Color32::from_rgb(116, 190, 232),
    glow: Color32::from_rgb(255, 214, 102),
    good: Color32::from_rgb(98, 190, 242),
    off: Color32::from_rgb(240, 162, 40),
    yours: Color32::from_rgb(222, 150, 206),
    hazard: Color32::from_rgb(255, 132, 122),
    wrong: Color32::from_rgb(255, 132, 122),
    text: Color32::from_rgb(236, 236, 230),
    weak: Color32::from_rgb(176, 182, 184),
    chosen: Color32::from_rgb(255, 255, 255),
    table: Color32::from_rgb(110, 96, 80),
    ground: Color32::from_rgb(22, 26, 28),
    card: Color32::from_rgb(32, 37, 40),
    button: Color32::from_rgb(50, 57, 61),
    keys: [
        Color32::from_rgb(222, 222, 214),
        Color32::from_rgb(140, 144, 144),
        Color32::from_rgb(20, 22, 24),
        Color32::from_rgb(70, 74, 76),
    ],
    ink: Color32::from_rgb(16, 18, 20),
};

const LIGHT: Palette = Palette {
    glass: Color32::from_rgb(206, 220, 218),
    wall: Color32::from_rgb(74, 92, 94),
    air: Color32::from_rgb(244, 247, 246),
    liquid: Color32::from_rgb(134, 190, 222),
    surface: Color32::from_rgb(0, 84, 138),
    glow: Color32::from_rgb(255, 190, 40),
    good: Color32::from_rgb(0, 84, 140),
    off: Color32::from_rgb(148, 62, 0),
    yours: Color32::from_rgb(132, 44, 112),
    hazard: Color32::from_rgb(164, 22, 22),
    wrong: Color32::from_rgb(164, 22, 22),
    text: Color32::from_rgb(24, 28, 30),
    weak: Color32::from_rgb(74, 82, 84),
    chosen: Color32::from_rgb(0, 0, 0),
    table: Color32::from_rgb(150, 124, 92),
    ground: Color32::from_rgb(244, 243, 238),
    card: Color32::from_rgb(255, 255, 252),
    button: Color32::from_rgb(224, 224, 216),
    keys: [
        Color32::from_rgb(255, 255, 252),
        Color32::from_rgb(206, 210, 210),
        Color32::from_rgb(34, 38, 40),
        Color32::from_rgb(106, 112, 114),
    ],
    ink: Color32::from_rgb(20, 24, 26),
};

/// Size of what is written, points: plain, small, buttons, headings.
const BODY: f32 = 14.5;
const SMALL: f32 = 12.0;
const HEADING: f32 = 21.0;
/// Corners of cards and buttons, points.
const CORNER: u8 = 5;

/// Dresses the window, once.
pub(super) fn dress(context: &Context) {
    let id = Id::unique("the window is dressed");
    if context.data(|data| data.get_temp(id)).unwrap_or(false) {
        return;
    }
    context.data_mut(|data| data.insert_temp(id, true));
    context.set_visuals_of(Theme::Dark, DARK.visuals(Visuals::dark()));
    context.set_visuals_of(Theme::Light, LIGHT.visuals(Visuals::light()));
    context.all_styles_mut(|style| {
        style.text_styles = [
            (TextStyle::Small, FontId::proportional(SMALL)),
            (TextStyle::Body, FontId::proportional(BODY)),
            (TextStyle::Button, FontId::proportional(BODY)),
            (TextStyle::Monospace, FontId::monospace(BODY - 1.0)),
            (TextStyle::Heading, FontId::proportional(HEADING)),
        ]
        .into();
        // What scrolls says so: a bar that shows only under the pointer hides that there is more.
        style.spacing.scroll = ScrollStyle::solid();
        style.spacing.item_spacing = vec2(8.0, 6.0);
        style.spacing.button_padding = vec2(9.0, 4.0);
    });
}

impl Palette {
    /// The colours that go with `visuals`.
    pub(super) fn of(visuals: &Visuals) -> Self {
        if visuals.dark_mode { DARK } else { LIGHT }
    }

    /// The toolkit's own colours, from these.
    fn visuals(&self, usual: Visuals) -> Visuals {
        let mut visuals = usual;
        visuals.panel_fill = self.ground;
        visuals.window_fill = self.card;
        visuals.extreme_bg_color = self.air;
        visuals.faint_bg_color = self.card;
        visuals.hyperlink_color = self.good;
        visuals.weak_text_color = Some(self.weak);
        visuals.warn_fg_color = self.hazard;
        visuals.error_fg_color = self.wrong;
        visuals.selection.bg_fill = between(self.ground, self.good, 0.35);
        visuals.selection.stroke = Stroke::new(1.0, self.text);
        let dressed = |widget: &mut WidgetVisuals, fill: Color32, edge: Color32| {
            widget.bg_fill = fill;
            widget.weak_bg_fill = fill;
            widget.bg_stroke = Stroke::new(1.0, edge);
            widget.fg_stroke = Stroke::new(1.5, self.text);
            widget.corner_radius = CornerRadius::same(CORNER);
        };
        let edge = between(self.ground, self.wall, 0.45);
        dressed(&mut visuals.widgets.noninteractive, self.card, edge);
        dressed(&mut visuals.widgets.inactive, self.button, edge);
        let lit = between(self.button, self.good, 0.25);
        dressed(&mut visuals.widgets.hovered, lit, self.good);
        let pressed = between(self.button, self.good, 0.4);
        dressed(&mut visuals.widgets.active, pressed, self.good);
        dressed(&mut visuals.widgets.open, self.button, self.good);
        visuals
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

#[cfg(test)]
mod tests {
    use super::*;

    /// The relative luminance of a colour. W3C, *Web Content Accessibility Guidelines* 2.2.
    fn luminance(colour: Color32) -> f64 {
        let linear = |part: u8| {
            let part = f64::from(part) / 255.0;
            if part <= 0.040_45 {
                part / 12.92
            } else {
                ((part + 0.055) / 1.055).powf(2.4)
            }
        };
        let [r, g, b] = [colour.r(), colour.g(), colour.b()].map(linear);
        0.2126 * r + 0.7152 * g + 0.0722 * b
    }

    fn contrast(a: Color32, b: Color32) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn contrast_is_as_the_guidelines_have_it() {
        let [black, white] = [Color32::BLACK, Color32::WHITE];
        assert!((contrast(black, white) - 21.0).abs() < 1e-9);
        // #767676 on white is the guidelines' own example of 4.54.
        let grey = contrast(Color32::from_rgb(0x76, 0x76, 0x76), white);
        assert!((grey - 4.54).abs() < 0.01, "{grey}");
    }

    #[test]
    fn whatever_is_written_stands_out_from_what_it_is_written_on() {
        for palette in [DARK, LIGHT] {
            let inks = [
                ("text", palette.text),
                ("weak", palette.weak),
                ("good", palette.good),
                ("off", palette.off),
                ("yours", palette.yours),
                ("hazard", palette.hazard),
                ("wrong", palette.wrong),
                ("chosen", palette.chosen),
            ];
            let grounds = [
                ("ground", palette.ground),
                ("card", palette.card),
                ("air", palette.air),
                ("button", palette.button),
            ];
            for (ink, colour) in inks {
                for (ground, under) in grounds {
                    let found = contrast(colour, under);
                    assert!(found >= 4.5, "{ink} on {ground}: {found:.2}");
                }
            }
            let keys = [
                (palette.ink, palette.keys[0]),
                (palette.ink, palette.keys[1]),
                (palette.keys[0], palette.keys[2]),
                (palette.keys[0], palette.keys[3]),
                (palette.ink, palette.glow),
                (palette.text, between(palette.ground, palette.good, 0.35)),
            ];
            for (ink, ground) in keys {
                let found = contrast(ink, ground);
                assert!(found >= 4.5, "{ink:?} on {ground:?}: {found:.2}");
            }
        }
    }
}
