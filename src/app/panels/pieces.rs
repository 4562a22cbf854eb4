//! What several views are put together from: small pictures, cards, headings, fields with what is wrong beside them.

use eframe::egui::{
    Align2, Button, Color32, FontId, Id, Label, Rect, Response, RichText, Role, Sense, Shape,
    Stroke, StrokeKind, TextEdit, Ui, Vec2, WidgetInfo, pos2, vec2,
};

use super::glass::{self, Picture, Standing};
use crate::app::examples::Drawn;
use crate::app::palette::Palette;

/// Paints bottles on their table in `rect`, as large as they go.
pub(super) fn row(ui: &Ui, rect: Rect, bottles: &[Drawn], palette: &Palette) {
    let tallest = bottles
        .iter()
        .fold(0.0, |most: f64, b| most.max(b.outline.height_m)) as f32;
    let wide: f32 = bottles
        .iter()
        .map(|b| 2.0 * b.outline.radius_m as f32)
        .sum();
    if tallest <= 0.0 || wide <= 0.0 {
        return;
    }
    // A tenth of the width is for the gaps.
    let scale = (rect.height() / tallest).min(0.9 * rect.width() / wide);
    let gap = ((rect.width() - wide * scale) / (bottles.len() + 1) as f32).min(14.0);
    let used = wide * scale + gap * (bottles.len().saturating_sub(1)) as f32;
    let mut left = rect.center().x - 0.5 * used;
    let painter = ui.painter_at(rect.expand(3.0));
    painter.hline(
        (rect.center().x - 0.5 * used - 6.0)..=(rect.center().x + 0.5 * used + 6.0),
        rect.bottom() + 1.0,
        Stroke::new(2.0, palette.table),
    );
    for bottle in bottles {
        let radius = bottle.outline.radius_m as f32 * scale;
        let foot = pos2(left + radius, rect.bottom());
        let picture = Picture {
            outline: &bottle.outline,
            standing: Standing { foot, scale },
            level: bottle.level,
            is_floor: bottle.is_floor,
            swing: 0.0,
            is_chosen: false,
        };
        glass::paint(&painter, &picture, palette);
        left += 2.0 * radius + gap;
    }
}

/// A card that can be pressed: a picture over two lines.
pub(super) struct Card<'a> {
    pub(super) title: &'a str,
    pub(super) words: &'a str,
    pub(super) bottles: Option<&'a [Drawn]>,
    pub(super) size: Vec2,
}

impl Card<'_> {
    /// Draws it.
    pub(super) fn show(&self, ui: &mut Ui, palette: &Palette) -> Response {
        let (rect, response) = ui.allocate_exact_size(self.size, Sense::click());
        let said = format!("{}: {}", self.title, self.words);
        response.widget_info(|| WidgetInfo::labeled(Role::Button, true, said.clone()));
        let is_lit = response.hovered() || response.has_focus();
        let edge = if is_lit { palette.good } else { palette.glass };
        let painter = ui.painter();
        painter.rect(
            rect,
            6.0,
            palette.card,
            Stroke::new(if is_lit { 2.0 } else { 1.0 }, edge),
            StrokeKind::Inside,
        );
        let inner = rect.shrink(10.0);
        let picture = Rect::from_min_max(inner.min, pos2(inner.right(), inner.bottom() - 44.0));
        match self.bottles {
            Some(bottles) => row(ui, picture, bottles, palette),
            None => {
                painter.text(
                    picture.center(),
                    Align2::CENTER_CENTER,
                    "…",
                    FontId::proportional(22.0),
                    palette.weak,
                );
            }
        }
        let line = |down: f32, text: &str, size: f32, colour: Color32| {
            let galley =
                ui.painter()
                    .layout_no_wrap(text.to_owned(), FontId::proportional(size), colour);
            let at = pos2(inner.left(), inner.bottom() - down);
            ui.painter_at(inner).galley(at, galley, colour);
        };
        line(36.0, self.title, 15.0, palette.text);
        line(17.0, self.words, 12.5, palette.weak);
        response
    }
}

/// A button that stands out.
pub(super) fn main_button(ui: &mut Ui, text: &str, palette: &Palette) -> Response {
    let text = RichText::new(text)
        .strong()
        .size(16.0)
        .color(palette.ground);
    let button = Button::new(text)
        .fill(palette.good)
        .min_size(vec2(120.0, 34.0));
    ui.add(button)
}

/// A field that gives what is typed at once, with what is wrong under it.
pub(super) struct Field<'a> {
    pub(super) label: &'a str,
    pub(super) text: &'a str,
    pub(super) hint: &'a str,
    pub(super) wrong: Option<&'a str>,
    pub(super) width: f32,
}

impl Field<'_> {
    /// Draws it; gives what it says now, if that is something else.
    pub(super) fn show(&self, ui: &mut Ui, id: Id, palette: &Palette) -> Option<String> {
        let mut text = self.text.to_owned();
        let label = ui.label(self.label);
        let edit = TextEdit::singleline(&mut text)
            .id(id)
            .hint_text(self.hint)
            .desired_width(self.width);
        ui.add(edit).labelled_by(label.id);
        wrong(ui, self.wrong, palette);
        (text != self.text).then_some(text)
    }
}

/// What is wrong with a field, beside it.
pub(super) fn wrong(ui: &mut Ui, wrong: Option<&str>, palette: &Palette) {
    if let Some(wrong) = wrong {
        signed(ui, wrong, palette.wrong);
    }
}

/// A caution, with its triangle.
pub(super) fn caution(ui: &mut Ui, words: &str, palette: &Palette) {
    signed(ui, words, palette.hazard);
}

fn signed(ui: &mut Ui, words: &str, colour: Color32) {
    ui.horizontal_top(|ui| {
        sign(ui, colour);
        ui.add(Label::new(RichText::new(words).color(colour)).wrap());
    });
}

/// A triangle that warns, so that not the colour alone does.
pub(super) fn sign(ui: &mut Ui, colour: Color32) {
    let (rect, _) = ui.allocate_exact_size(vec2(15.0, 15.0), Sense::hover());
    let points = vec![rect.center_top(), rect.right_bottom(), rect.left_bottom()];
    let painter = ui.painter();
    painter.add(Shape::closed_line(points, Stroke::new(1.5, colour)));
    let at = rect.center() + vec2(0.0, 2.0);
    let font = FontId::proportional(10.0);
    painter.text(at, Align2::CENTER_CENTER, "!", font, colour);
}
