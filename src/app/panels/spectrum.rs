//! Where the partials of what sounds fall, on a scale of octaves.

use eframe::egui::{Align2, FontId, Role, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2};

use super::View;
use crate::app::palette::Palette;
use crate::index::PourIndex;

/// Its height, points.
const HEIGHT: f32 = 84.0;
/// Frequencies at its ends, Hz.
const ENDS_HZ: (f64, f64) = (60.0, 4000.0);
/// Levels at its foot and top, dB below a fundamental.
const FOOT_DB: f32 = -60.0;

/// Draws it for the bottles that sound, or for the selected one while none does.
pub(super) fn show(ui: &mut Ui, view: &View<'_>, sounding: &[PourIndex], palette: &Palette) {
    let shown: Vec<PourIndex> = if sounding.is_empty() {
        view.state.selected.into_iter().collect()
    } else {
        sounding.to_vec()
    };
    let size = vec2(ui.available_width(), HEIGHT);
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, "Partials of what sounds"));
    let painter = ui.painter_at(rect);
    painter.rect_filled(rect, 3.0, palette.air);
    painter.rect_stroke(
        rect,
        3.0,
        Stroke::new(1.0, palette.glass),
        StrokeKind::Inside,
    );
    let foot = rect.bottom() - 14.0;
    let x = |hz: f64| {
        let along = (hz / ENDS_HZ.0).ln() / (ENDS_HZ.1 / ENDS_HZ.0).ln();
        rect.left() + rect.width() * along as f32
    };
    for hz in [100.0, 200.0, 500.0, 1000.0, 2000.0] {
        painter.vline(x(hz), rect.top()..=foot, Stroke::new(1.0, palette.glass));
        let at = pos2(x(hz), rect.bottom() - 1.0);
        painter.text(
            at,
            Align2::CENTER_BOTTOM,
            format!("{hz:.0}"),
            FontId::proportional(10.0),
            palette.weak,
        );
    }
    let colours = [palette.good, palette.off, palette.text, palette.weak];
    for (place, &index) in shown.iter().enumerate() {
        let Some(Ok(pitch)) = view
            .derived
            .bottles
            .get(index.place())
            .map(|bottle| &bottle.pitch)
        else {
            continue;
        };
        let colour = colours[place % colours.len()];
        for partial in &pitch.partials {
            let db = 20.0 * (partial.amplitude.max(1e-6) as f32).log10();
            let up = (1.0 - db / FOOT_DB).clamp(0.0, 1.0) * (foot - rect.top() - 4.0);
            if up > 0.0 && (ENDS_HZ.0..ENDS_HZ.1).contains(&partial.hz) {
                painter.vline(x(partial.hz), (foot - up)..=foot, Stroke::new(2.5, colour));
            }
        }
    }
    response.on_hover_text("Partials in hertz; where those of two bottles nearly meet, they beat");
}
