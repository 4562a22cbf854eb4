//! Pouring by ear: a bar that rises to its mark, and what to do, large enough to be read from the sink.

use eframe::egui::{
    Align2, Checkbox, DragValue, FontId, Rect, RichText, Role, Sense, Stroke, StrokeKind, Ui,
    WidgetInfo, vec2,
};

use super::View;
use crate::app::ask::Ask;
use crate::app::palette::Palette;
use crate::app::pouring::{PourAsk, PourNow};
use crate::pouring::Hearing;
use crate::tuner::filling::{COARSE, Step, unheard};
use crate::units::Volume;

/// Size of the bar, points.
const BAR: (f32, f32) = (84.0, 240.0);
/// Height of what is called out, points.
const CALL: f32 = 96.0;

/// Draws it.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, asks: &mut Vec<Ask>) {
    let palette = Palette::of(ui.visuals());
    let mut told = Vec::new();
    ui.heading("Pour by ear");
    match &view.state.pouring.now {
        None => ready(ui, view, &palette, &mut told),
        Some(now) => running(ui, view, now, &palette, &mut told),
    }
    ui.add_space(6.0);
    ui.label(RichText::new(format!("What is heard is {COARSE}.")).color(palette.weak));
    asks.extend(told.into_iter().map(Ask::Pour));
}

fn name(view: &View<'_>, now: Option<&PourNow>) -> Option<String> {
    let index = now.map(|now| now.index).or(view.state.selected)?;
    let shown = view.derived.bottles.get(index.place())?;
    Some(format!("{} in {}", shown.note, shown.name))
}

fn ready(ui: &mut Ui, view: &View<'_>, palette: &Palette, told: &mut Vec<PourAsk>) {
    let pouring = &view.state.pouring;
    let Some(name) = name(view, None) else {
        ui.label("Press the bottle on the shelf that is to be poured into.");
        return;
    };
    ui.label(RichText::new(name).strong().size(18.0));
    let mut start_ml = pouring.how.start.unwrap_or_default().ml();
    ui.horizontal(|ui| {
        let label = ui.label("Already in it");
        let field = DragValue::new(&mut start_ml)
            .range(0.0..=100_000.0)
            .max_decimals(0)
            .suffix(" ml");
        if ui.add(field).labelled_by(label.id).changed() {
            told.push(PourAsk::Start(Volume::from_ml(start_ml)));
        }
    });
    let mut tick = |is: bool, text: &str, hint: &str, ask: fn(bool) -> PourAsk| {
        let mut is = is;
        if ui
            .add(Checkbox::new(&mut is, text))
            .on_hover_text(hint)
            .changed()
        {
            told.push(ask(is));
        }
    };
    tick(
        pouring.how.funnel,
        "Through a funnel",
        "A funnel lowers what is heard, and is less sure",
        PourAsk::Funnel,
    );
    tick(
        pouring.how.by_ml,
        "Stop at the planned millilitres",
        "Else at the note, by what is learnt of the bottle on the way",
        PourAsk::ByMl,
    );
    tick(
        pouring.beep,
        "Beep through headphones",
        "Only with headphones: from a loudspeaker the microphone would hear it",
        PourAsk::Beep,
    );
    let button = ui.button(RichText::new("Pour").strong().size(18.0));
    let hint = "Opens the microphone; be quiet for a second, then pour";
    if button.on_hover_text(hint).clicked() {
        told.push(PourAsk::Begin);
    }
    let text = "It stops early on purpose: adding is easier than taking out.";
    ui.label(RichText::new(text).color(palette.weak));
}

fn running(
    ui: &mut Ui,
    view: &View<'_>,
    now: &PourNow,
    palette: &Palette,
    told: &mut Vec<PourAsk>,
) {
    if let Some(name) = name(view, Some(now)) {
        ui.label(RichText::new(name).strong().size(18.0));
    }
    call(ui, now.step, palette);
    if now.step == Step::Blow {
        blow(ui, view, now, palette);
    } else {
        ui.horizontal(|ui| {
            bar(ui, view, now, palette);
            ui.vertical(|ui| numbers(ui, now, palette));
        });
    }
    let text = if now.step == Step::Blow {
        "Done"
    } else {
        "Stop following"
    };
    if ui.button(text).clicked() {
        told.push(PourAsk::End);
    }
}

/// What is to be done, in large letters.
fn call(ui: &mut Ui, step: Step, palette: &Palette) {
    let size = vec2(ui.available_width(), CALL);
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Status, true, step.words()));
    let (fill, ink, points) = match step {
        Step::Stop => (palette.off, palette.air, 72.0),
        Step::Slower => (palette.glow, palette.ink, 44.0),
        Step::Pour => (palette.air, palette.text, 34.0),
        Step::Quiet | Step::Bubbles | Step::Blow => (palette.air, palette.text, 22.0),
    };
    let painter = ui.painter_at(rect);
    painter.rect_filled(rect, 6.0, fill);
    let font = FontId::proportional(points);
    painter.text(
        rect.center(),
        Align2::CENTER_CENTER,
        step.words(),
        font,
        ink,
    );
}

fn bar(ui: &mut Ui, view: &View<'_>, now: &PourNow, palette: &Palette) {
    let (rect, response) = ui.allocate_exact_size(vec2(BAR.0, BAR.1), Sense::hover());
    let heard = now
        .reading
        .and_then(|reading| Some((reading.fill?, reading.mark)));
    response.widget_info(|| {
        let text = heard.map_or("Fill: not heard".to_owned(), |(band, mark)| {
            format!("Fill {:.0} ml of {:.0} ml", band.fill.ml(), mark.ml())
        });
        WidgetInfo::labeled(Role::Meter, true, text)
    });
    let painter = ui.painter_at(rect.expand(1.0));
    painter.rect_filled(rect, 3.0, palette.air);
    let edge = Stroke::new(1.0, palette.glass);
    painter.rect_stroke(rect, 3.0, edge, StrokeKind::Inside);
    let Some((band, mark)) = heard else { return };
    let set = &view.document.fixed;
    let kind = view
        .document
        .model
        .pours
        .get(now.index.place())
        .map(|pour| pour.kind);
    let Some(bottle) = kind.and_then(|kind| set.kinds.get(kind.place())) else {
        return;
    };
    let capacity_ml = bottle.bottle.bore().capacity().ml();
    let y = |fill: Volume| {
        let share = (fill.ml() / capacity_ml).clamp(0.0, 1.0) as f32;
        rect.bottom() - share * rect.height()
    };
    let full = Rect::from_x_y_ranges(rect.x_range(), y(band.fill)..=rect.bottom());
    painter.rect_filled(full, 0.0, palette.liquid);
    let shade = Rect::from_x_y_ranges(rect.x_range(), y(band.high)..=y(band.low));
    painter.rect_filled(shade, 0.0, palette.surface.gamma_multiply(0.5));
    painter.hline(rect.x_range(), y(mark), Stroke::new(3.0, palette.off));
}

fn numbers(ui: &mut Ui, now: &PourNow, palette: &Palette) {
    let Some(reading) = &now.reading else {
        ui.label("waiting for the microphone");
        return;
    };
    if let Some(words) = unheard(reading.state) {
        let colour = if reading.state == Hearing::Deaf {
            palette.off
        } else {
            palette.weak
        };
        ui.label(RichText::new(words).strong().size(17.0).color(colour));
    }
    if let Some(band) = reading.fill {
        let half_ml = 0.5 * (band.high - band.low).ml();
        let text = format!("{:.0} ml ±{half_ml:.0}", band.fill.ml());
        ui.label(RichText::new(text).size(20.0));
        ui.label(format!("mark at {:.0} ml", reading.mark.ml()));
        match reading.state {
            Hearing::Paused => ui.label("paused"),
            _ => ui.label(format!(
                "{:.0} ml/s, {:.0} s left",
                reading.flow_ml_s,
                reading.left.s()
            )),
        };
    }
    if reading.clipped {
        ui.colored_label(palette.off, "Too loud: go away from the microphone.");
    }
}

/// The tuner has the word.
fn blow(ui: &mut Ui, view: &View<'_>, now: &PourNow, palette: &Palette) {
    let Some(heard) = view.state.tuner.of(now.index) else {
        ui.label("The note decides: blow for a second.");
        return;
    };
    let colour = if heard.in_tune {
        palette.good
    } else {
        palette.off
    };
    let text = RichText::new(heard.to_do()).strong().size(17.0);
    ui.colored_label(colour, text);
    if let Some((off, plus_minus)) = now.learnt {
        ui.label(format!(
            "Learnt for the next pour of this kind: {:+.0} cents ±{:.0} from its model.",
            off.cents(),
            plus_minus.cents()
        ));
    }
}
