//! The photograph of the bottle that is described: what brings it to scale, and its outline with the points that a hand moves.

use std::sync::Arc;

use eframe::egui::{
    Color32, ColorImage, CursorIcon, EventFilter, Id, Key, Modifiers, Pos2, Rect, Response,
    RichText, Role, Sense, Shape, Stroke, TextureHandle, TextureOptions, Ui, Vec2, WidgetInfo,
    accesskit, pos2, vec2,
};

use super::gesture;
use super::pieces::{self, Field};
#[cfg(not(feature = "photographs"))]
use crate::app::blind::Grip;
use crate::app::form::BottleForm;
use crate::app::making::CrateAsk;
use crate::app::palette::Palette;
use crate::app::picture::{Found, Moved, Photo, Picture, PictureAsk, Seen};
use crate::index::GripIndex;
use crate::set::describe::Question;
#[cfg(feature = "photographs")]
use crate::trace::Grip;
use crate::tuning::Tuning;

/// The outline over a photograph, and the axis: they lie on glass of any colour.
const LINE: Color32 = Color32::from_rgb(230, 20, 90);
const AXIS: Color32 = Color32::from_rgb(20, 160, 60);
/// Under the lines, so that they are seen on dark glass too.
const HALO: Color32 = Color32::from_rgba_premultiplied(170, 170, 170, 170);
/// Least and most height of the photograph, points, and what is left of the height of the window for what is above and below it.
const HEIGHTS: (f32, f32) = (300.0, 720.0);
const BELOW: f32 = 172.0;
/// Least width of what is said above and below it, where there is room, points.
const COLUMN: f32 = 280.0;
/// Radius of a point, and the width to take hold of it by, points.
const POINT: f32 = 4.5;
const GRAB: f32 = 20.0;
/// A hand that moves no further is still, points.
const STILL: f32 = 0.05;
/// What a key moves a point by, mm, and with Shift.
const STEP_MM: f64 = 0.2;
const LONG_STEP_MM: f64 = 1.0;

/// What is shown last of a photograph, and its texture.
type Kept = (Arc<Photo>, TextureHandle);

fn kept_id() -> Id {
    Id::unique("a picture that was traced")
}

/// There is no photograph any more: its texture goes.
pub(super) fn forget(ui: &Ui) {
    ui.data_mut(|data| data.remove::<Kept>(kept_id()));
}

/// How far it is, what brings it to scale, and what is wrong with it.
pub(super) fn fields(
    ui: &mut Ui,
    form: &BottleForm,
    picture: &Picture,
    palette: &Palette,
    told: &mut Vec<CrateAsk>,
) {
    state(ui, picture, palette, told);
    let height = Field {
        label: "Its height, which brings the picture to scale:",
        text: form
            .answers
            .get(&Question::Height)
            .map_or("", String::as_str),
        hint: Question::Height.example(),
        wrong: (form.problems.get(&Question::Height))
            .or(picture.scale_wrong.as_ref().filter(|_| !picture.by_card))
            .map(String::as_str),
        width: 120.0,
    };
    let typed = height.show(ui, Id::unique("height in the picture"), palette);
    told.extend(typed.map(|text| CrateAsk::Answer(Question::Height, text)));
    let mut by_card = picture.by_card;
    let words = "By a bank card that stands beside it instead";
    let hint = "As far away as the middle of the bottle: 85.6 × 54 mm";
    if ui
        .checkbox(&mut by_card, words)
        .on_hover_text(hint)
        .changed()
    {
        told.push(CrateAsk::Picture(PictureAsk::ByCard(by_card)));
    }
    if picture.by_card {
        pieces::wrong(ui, picture.scale_wrong.as_deref(), palette);
    }
    let focal = Field {
        label: "Focal length, 35 mm equivalent:",
        text: &picture.focal,
        hint: "26 mm",
        wrong: picture.focal_wrong.as_deref(),
        width: 120.0,
    };
    let typed = focal.show(ui, Id::unique("focal length of the picture"), palette);
    told.extend(typed.map(|text| CrateAsk::Picture(PictureAsk::Focal(text))));
    if picture.focal.trim().is_empty() && picture.photo.is_some() {
        let hint = "The picture does not say it. Telephones usually have 24 to 28 mm, their wide lens 13 to 16 mm, their zoom 50 to 120 mm (common practice).";
        ui.label(RichText::new(hint).small().color(palette.weak));
    }
    if let Seen::Outline(found) = &picture.seen {
        let text = format!(
            "The camera seems to have been {:.1} m away.",
            1e-3 * found.distance_mm
        );
        ui.label(RichText::new(text).color(palette.weak));
        for warning in &found.warnings {
            pieces::wrong(ui, Some(warning), palette);
        }
    }
}

/// Its name, how far it is, and what can be done about it.
fn state(ui: &mut Ui, picture: &Picture, palette: &Palette, told: &mut Vec<CrateAsk>) {
    let name = picture.path.file_name().unwrap_or_default();
    ui.horizontal_wrapped(|ui| {
        ui.label(format!("Its picture: {}.", name.to_string_lossy()));
        match &picture.seen {
            Seen::Tracing => {
                ui.label("It is being traced…");
            }
            Seen::Waiting => {
                ui.label("Say how high the bottle is, and it is measured.");
            }
            Seen::Outline(_) => {
                ui.colored_label(palette.good, "It is traced.");
            }
            Seen::Wrong(_) => {}
        }
    });
    if let Seen::Wrong(because) = &picture.seen {
        pieces::wrong(
            ui,
            Some(&format!("It cannot be traced: {because}.")),
            palette,
        );
    }
    ui.horizontal_wrapped(|ui| {
        if matches!(picture.seen, Seen::Wrong(_)) && ui.button("Look at it again").clicked() {
            told.push(CrateAsk::Trace);
        }
        if ui.button("Forget the picture").clicked() {
            told.push(CrateAsk::NoPicture);
        }
    });
}

/// Where the photograph is on the screen.
#[derive(Clone, Copy)]
struct Screen<'a> {
    rect: Rect,
    photo: &'a Photo,
}

impl Screen<'_> {
    fn at(&self, px: [f64; 2]) -> Pos2 {
        let share = |way: usize| ((px[way] - self.photo.from[way]) / self.photo.span[way]) as f32;
        self.rect.min + vec2(share(0), share(1)) * self.rect.size()
    }

    /// Pixels of the photograph that a way on the screen is.
    fn px(&self, way: Vec2) -> [f64; 2] {
        let px = self.photo.span[0] / f64::from(self.rect.width().max(1.0));
        [f64::from(way.x) * px, f64::from(way.y) * px]
    }
}

/// The photograph with its outline over it, and the points that a hand moves.
pub(super) fn show(
    ui: &mut Ui,
    form: &BottleForm,
    picture: &Picture,
    palette: &Palette,
    told: &mut Vec<CrateAsk>,
) {
    let Some(photo) = &picture.photo else {
        return;
    };
    let texture = texture(ui, photo);
    let high = (ui.clip_rect().height() - BELOW).clamp(HEIGHTS.0, HEIGHTS.1);
    let pixels = vec2(photo.span[0] as f32, photo.span[1] as f32);
    let scale = (ui.available_width() / pixels.x).min(high / pixels.y);
    let size = pixels * scale;
    // As wide whatever is said: what is beside it stays where it is.
    ui.set_width(size.x.max(COLUMN.min(ui.available_width())));
    above(ui, form, picture, told);
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    let words = "The photograph with its outline over it";
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, words));
    let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
    ui.painter()
        .image(texture.id(), rect, whole, Color32::WHITE);
    let Seen::Outline(found) = &picture.seen else {
        return;
    };
    let screen = Screen { rect, photo };
    lines(ui, screen, found);
    let mut said = None;
    for end in [0, 1] {
        said = said.or(axis_end(ui, screen, found, end, palette, told));
    }
    for side in [0, 1] {
        for (index, grip) in GripIndex::each(&found.grips) {
            let point = Point {
                index,
                grip,
                side,
                out_px: picture.out_px(index),
            };
            said = said.or(point.show(ui, screen, found.grips.len(), told));
        }
    }
    below(ui, picture, said, palette);
}

/// What is above it: nothing there moves the photograph under a hand.
fn above(ui: &mut Ui, form: &BottleForm, picture: &Picture, told: &mut Vec<CrateAsk>) {
    ui.add_enabled_ui(picture.is_by_hand(), |ui| {
        let hint = "All points and both ends of the axis where the trace has put them";
        let button = ui.button("Back to what was seen").on_hover_text(hint);
        if button.clicked() {
            told.push(CrateAsk::Picture(PictureAsk::AsSeen));
        }
    });
    let words = form.known.as_ref().map(|(_, reach)| {
        let note = Tuning::default().nearest(reach.lowest).0;
        let (hz, sure) = (reach.lowest.hz(), reach.plus_minus.cents());
        format!("Empty: {note}, {hz:.1} Hz, ±{sure:.0} cents")
    });
    ui.label(words.unwrap_or_default());
}

/// What is said below it.
fn below(ui: &mut Ui, picture: &Picture, said: Option<String>, palette: &Palette) {
    let hint = "The red line must lie on the glass. Drag a point, or go there with Tab and use the arrows.";
    let colour = match said {
        Some(_) => palette.text,
        None => palette.weak,
    };
    let text = said.unwrap_or_else(|| hint.to_owned());
    ui.label(RichText::new(text).color(colour));
    pieces::wrong(ui, picture.refused.as_deref(), palette);
}

/// The texture of the photograph, made once.
fn texture(ui: &Ui, photo: &Arc<Photo>) -> TextureHandle {
    let kept: Option<Kept> = ui.data(|data| data.get_temp(kept_id()));
    match kept {
        Some((of, texture)) if Arc::ptr_eq(&of, photo) => texture,
        Some(_) | None => {
            let image = ColorImage::from_rgb(photo.size, &photo.rgb);
            let options = TextureOptions::LINEAR;
            let texture = ui.ctx().load_texture("traced", image, options);
            let kept: Kept = (Arc::clone(photo), texture.clone());
            ui.data_mut(|data| data.insert_temp(kept_id(), kept));
            texture
        }
    }
}

fn lines(ui: &Ui, screen: Screen<'_>, found: &Found) {
    let painter = ui.painter_at(screen.rect);
    let axis = found.ends.map(|end| screen.at(end));
    let dashes = Shape::dashed_line(&axis, Stroke::new(1.0, AXIS), 5.0, 5.0);
    painter.extend(dashes);
    for line in &found.lines {
        let places: Vec<Pos2> = line.iter().map(|place| screen.at(*place)).collect();
        for stroke in [Stroke::new(3.0, HALO), Stroke::new(1.5, LINE)] {
            painter.add(Shape::line(places.clone(), stroke));
        }
    }
}

/// How far a hand has moved what it holds, points; the place that it took hold of stays under it.
fn dragged(ui: &Ui, response: &Response, at: Pos2) -> Option<Vec2> {
    let pointer = response.interact_pointer_pos()?;
    let id = response.id.with("held by");
    if response.drag_started() {
        ui.data_mut(|data| data.insert_temp(id, pointer - at));
    }
    let held: Vec2 = ui.data(|data| data.get_temp(id)).unwrap_or_default();
    let way = pointer - held - at;
    (response.dragged() && way.length() > STILL).then_some(way)
}

/// Steps of the arrows, to the right and up, mm, on what has the focus.
fn arrows(ui: &Ui, response: &Response) -> Vec2 {
    if !response.has_focus() {
        return Vec2::ZERO;
    }
    if response.gained_focus() {
        response.scroll_to_me(None);
    }
    let filter = EventFilter {
        horizontal_arrows: true,
        vertical_arrows: true,
        ..EventFilter::default()
    };
    ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
    // Taken, so that the point that gets the focus by one does not see it again.
    ui.input_mut(|input| {
        let mut step = |more: Key, less: Key| {
            let mut count = |key| input.count_and_consume_key(Modifiers::NONE, key) as f32;
            count(more) - count(less)
        };
        vec2(
            step(Key::ArrowRight, Key::ArrowLeft),
            step(Key::ArrowUp, Key::ArrowDown),
        )
    })
}

/// What one arrow is, mm.
fn step_mm(ui: &Ui) -> f64 {
    if ui.input(|input| input.modifiers.shift) {
        LONG_STEP_MM
    } else {
        STEP_MM
    }
}

/// Steps that who listens to the window asks for.
fn asked(ui: &Ui, response: &Response) -> f64 {
    let count =
        |action| ui.input(|input| input.num_accesskit_action_requests(response.id, action)) as f64;
    count(accesskit::Action::Increment) - count(accesskit::Action::Decrement)
}

/// A point of the outline on one side.
struct Point<'a> {
    index: GripIndex,
    grip: &'a Grip,
    /// 0 on the left, 1 on the right.
    side: usize,
    out_px: f64,
}

impl Point<'_> {
    /// Draws it; gives what is said of it while a hand is at it.
    fn show(
        &self,
        ui: &mut Ui,
        screen: Screen<'_>,
        count: usize,
        told: &mut Vec<CrateAsk>,
    ) -> Option<String> {
        let (grip, outwards) = (self.grip, if self.side == 0 { 1.0 } else { -1.0 });
        let at = screen.at(grip.places[self.side]);
        let id = |index: usize| {
            ui.scope_id()
                .with(("point of the outline", index, self.side))
        };
        // A bottle is round: Tab goes down one side, as the other moves with it.
        let sense = if self.side == 0 {
            Sense::drag()
        } else {
            Sense::DRAG
        };
        let response = ui
            .interact(
                Rect::from_center_size(at, vec2(GRAB, GRAB)),
                id(self.index.place()),
                sense,
            )
            .on_hover_and_drag_cursor(CursorIcon::ResizeHorizontal);
        let side = ["Left", "Right"][self.side];
        let name = format!("{side} edge at {:.0} mm", grip.height.mm());
        response.widget_info(|| WidgetInfo::slider(true, grip.radius.mm(), &name));
        // Asked in every frame: it has to see where a drag begins.
        let gesture = gesture(ui, &response);
        let arrows = arrows(ui, &response);
        let out_mm = (asked(ui, &response) - outwards * f64::from(arrows.x)) * step_mm(ui);
        let mut out_px = self.out_px + out_mm * grip.px_per_mm;
        if let Some(way) = dragged(ui, &response, at) {
            let way = screen.px(way);
            out_px += outwards * (way[0] * grip.outwards[0] + way[1] * grip.outwards[1]);
        }
        if out_px != self.out_px {
            let moved = Moved::Grip(self.index, out_px);
            told.push(CrateAsk::Picture(PictureAsk::Move(moved, gesture)));
        }
        let next = self.index.place() as f32 + arrows.y;
        if arrows.y != 0.0 && (0.0..count as f32).contains(&next) {
            let next = id(next as usize);
            ui.memory_mut(|memory| memory.request_focus(next));
            ui.ctx().request_repaint();
        }
        let is_held = response.hovered() || response.dragged() || response.has_focus();
        self.paint(ui, at, is_held);
        is_held.then(|| {
            let sure = if grip.by_hand {
                format!("by hand, ±{:.1} mm (a guess)", 2.0 * grip.error.mm())
            } else {
                format!("as seen, ±{:.1} mm", 2.0 * grip.error.mm())
            };
            format!("{name}: {:.1} mm wide, {sure}", 2.0 * grip.radius.mm())
        })
    }

    /// A ring; a square where a hand has moved it.
    fn paint(&self, ui: &Ui, at: Pos2, is_held: bool) {
        let size = if is_held { 1.5 * POINT } else { POINT };
        let painter = ui.painter();
        if self.grip.by_hand {
            let rect = Rect::from_center_size(at, Vec2::splat(2.0 * size));
            painter.rect_filled(rect.expand(1.5), 0.0, Color32::WHITE);
            painter.rect_filled(rect, 0.0, LINE);
        } else {
            painter.circle(at, size, Color32::WHITE, Stroke::new(1.5, LINE));
        }
        if is_held {
            painter.circle_stroke(at, size + 3.5, Stroke::new(2.0, Color32::BLACK));
            painter.circle_stroke(at, size + 5.5, Stroke::new(2.0, Color32::WHITE));
        }
    }
}

/// An end of the axis, 0 at the mouth and 1 at the base.
fn axis_end(
    ui: &mut Ui,
    screen: Screen<'_>,
    found: &Found,
    end: usize,
    palette: &Palette,
    told: &mut Vec<CrateAsk>,
) -> Option<String> {
    let (from, at) = (found.ends[end], screen.at(found.ends[end]));
    let id = ui.scope_id().with(("end of the axis", end));
    let response = ui
        .interact(
            Rect::from_center_size(at, vec2(GRAB, GRAB)),
            id,
            Sense::drag(),
        )
        .on_hover_and_drag_cursor(CursorIcon::Move);
    let name = ["Mouth, end of the axis", "Base, end of the axis"][end];
    let high_mm = (found.ends[1][1] - found.ends[0][1]) / found.px_per_mm;
    response.widget_info(|| WidgetInfo::slider(true, high_mm, name));
    let gesture = gesture(ui, &response);
    let arrows = arrows(ui, &response);
    let step_px = step_mm(ui) * found.px_per_mm;
    let up = asked(ui, &response) + f64::from(arrows.y);
    let mut to = [
        from[0] + f64::from(arrows.x) * step_px,
        from[1] - up * step_px,
    ];
    if let Some(way) = dragged(ui, &response, at) {
        let way = screen.px(way);
        to = [to[0] + way[0], to[1] + way[1]];
    }
    if to != from {
        let moved = if end == 0 {
            Moved::Mouth(to)
        } else {
            Moved::Base(to)
        };
        told.push(CrateAsk::Picture(PictureAsk::Move(moved, gesture)));
    }
    let is_held = response.hovered() || response.dragged() || response.has_focus();
    let size = if is_held { 1.7 * POINT } else { 1.3 * POINT };
    let corners = [(0.0, -size), (size, 0.0), (0.0, size), (-size, 0.0)];
    let corners = corners.map(|(x, y)| at + vec2(x, y)).to_vec();
    let edge = if is_held { palette.chosen } else { AXIS };
    let shape = Shape::convex_polygon(corners, Color32::WHITE, Stroke::new(2.0, edge));
    ui.painter().add(shape);
    is_held.then(|| format!("{name}: drag it to where the glass ends, in its middle"))
}
