//! Photographs of invented bottles, rendered by a pinhole camera: shapes are known to the last digit, and what comes of
//! tracing them can be measured.

use std::io::Cursor;

use image::{ExtendedColorType, ImageEncoder, ImageFormat, RgbImage};

use super::dice::Dice;

/// The outside of a bottle: heights above the table and radii, mm, from the table up.
pub type Outside = Vec<(f64, f64)>;

/// How a picture is taken, lit and spoilt.
#[derive(Clone, Debug)]
pub struct Shot {
    pub outside: Outside,
    /// Pixels across and down.
    pub size: (u32, u32),
    /// Lens as on 35 mm film.
    pub focal_35mm: f64,
    /// From the axis, and above the table, mm.
    pub distance: f64,
    pub height: f64,
    /// Where it aims: above the middle of the bottle and beside the axis, mm.
    pub aim: (f64, f64),
    pub roll_deg: f64,
    /// What glass lets through, red, green, blue.
    pub tint: [f64; 3],
    /// How bright its left and right edges are, 0 to 255.
    pub rims: (f64, f64),
    pub wall: [f64; 3],
    /// How much brighter the wall is on the right, steps.
    pub slope: f64,
    /// Colour of the table, and how far behind the bottle it ends, mm.
    pub table: Option<([f64; 3], f64)>,
    /// How much a shadow to the right takes, 0 to 1.
    pub shadow: f64,
    pub highlights: bool,
    /// Radius of the blur, pixels, and spread of the noise, steps.
    pub blur: f64,
    pub noise: f64,
    pub jpeg_quality: u8,
    pub seed: u64,
    /// A bank card beside the bottle at the axis' distance.
    pub card: bool,
    /// Another bottle: its outside, and where it stands, towards the lens and to the right, mm.
    pub other: Option<(Outside, [f64; 2])>,
    /// A paper label around it: from and to which height, mm, and its colour.
    pub label: Option<(f64, f64, [f64; 3])>,
    /// Flat things behind the bottle: how far, mm; left, right, low, high as it is seen from the lens at the axis, mm; colour.
    pub things: Vec<(f64, [f64; 4], [f64; 3])>,
}

impl Shot {
    /// A good picture: two metres away, at half the height, before a bright wall.
    pub fn good(outside: Outside) -> Self {
        let top = outside.last().map_or(0.0, |p| p.0);
        Self {
            outside,
            size: (750, 1_000),
            focal_35mm: 90.0,
            distance: 2_000.0,
            height: 0.5 * top,
            aim: (0.0, 0.0),
            roll_deg: 0.0,
            tint: [0.75, 0.85, 0.7],
            rims: (40.0, 40.0),
            wall: [225.0, 225.0, 220.0],
            slope: 0.0,
            table: None,
            shadow: 0.0,
            highlights: true,
            blur: 0.8,
            noise: 2.0,
            jpeg_quality: 90,
            seed: 1,
            card: false,
            other: None,
            label: None,
            things: Vec::new(),
        }
    }

    /// A picture as people take them: of those that heed the advice, or `hard`.
    pub fn taken(outside: Outside, dice: &mut Dice, hard: bool) -> Self {
        let mut shot = Self::good(outside);
        let top = shot.top();
        let widest = shot.outside.iter().fold(0.0f64, |w, p| w.max(p.1));
        let mut of = |good: f64, bad: f64| (if hard { bad } else { good }) * dice.share();
        let far = of(1.0, 1.0);
        shot.distance = if hard {
            500.0 * 6.0f64.powf(far)
        } else {
            1_200.0 + 1_800.0 * far
        };
        shot.distance = shot.distance.max(2.2 * top);
        let above_deg = of(5.0, 15.0);
        shot.height = 0.5 * top + shot.distance * above_deg.to_radians().tan();
        shot.blur = 0.5 + of(0.6, 1.2);
        shot.noise = 1.0 + of(2.0, 5.0);
        shot.shadow = of(0.2, 0.6);
        let rim = if hard { 20.0 } else { 30.0 };
        shot.rims = (rim + of(60.0, 200.0), rim + of(60.0, 200.0));
        let either =
            |dice: &mut Dice, good: f64, bad: f64| (if hard { bad } else { good }) * dice.roll();
        shot.roll_deg = either(dice, 1.5, 4.0);
        shot.slope = either(dice, 15.0, 60.0);
        shot.aim = (0.1 * top * dice.roll(), 0.15 * top * dice.roll());
        // The bottle takes 55 to 75 % of the picture's height.
        let share = 0.55 + 0.2 * dice.share();
        shot.focal_35mm = share * shot.distance / top.max(1.4 * widest) * 36.0 * 0.8;
        shot.size = [(900, 1_200), (750, 1_000), (1_200, 900)][dice.below(3) as usize];
        if shot.size.0 > shot.size.1 {
            shot.focal_35mm *= 0.75;
        }
        let tints = [
            [0.35, 0.55, 0.3],
            [0.5, 0.3, 0.1],
            [0.4, 0.5, 0.75],
            [0.93, 0.95, 0.94],
            [0.93, 0.95, 0.94],
            [0.93, 0.95, 0.94],
        ];
        shot.tint = tints[dice.below(6) as usize];
        let light = 150.0 + 90.0 * dice.share();
        shot.wall = [
            light,
            light * (0.93 + 0.07 * dice.share()),
            light * (0.9 + 0.1 * dice.share()),
        ];
        if dice.share() < 0.7 {
            let dark = 90.0 + 120.0 * dice.share();
            shot.table = Some(([dark, dark * 0.9, dark * 0.8], 100.0 + 700.0 * dice.share()));
        }
        shot.jpeg_quality = 60 + dice.below(35) as u8;
        shot
    }

    /// Spoils it in one of nine ways, and says in which. `other` is a bottle that may stand beside it.
    pub fn spoil(&mut self, other: Outside, dice: &mut Dice) -> &'static str {
        let top = self.top();
        let widest = self.outside.iter().fold(0.0f64, |w, p| w.max(p.1));
        let side = if dice.share() < 0.5 { -1.0 } else { 1.0 };
        let paper = |light: f64| [light, 0.9 * light, 0.8 * light];
        match dice.below(9) {
            0 => {
                let wide = other.iter().fold(0.0f64, |w, p| w.max(p.1));
                let across = side * (widest + wide + 5.0 + 60.0 * dice.share());
                self.other = Some((other, [120.0 * dice.roll(), across]));
                "a second"
            }
            1 => {
                let behind = -150.0 - 100.0 * dice.share();
                self.other = Some((other, [behind, 1.2 * widest * dice.roll()]));
                "behind"
            }
            2 => {
                for _ in 0..14 {
                    let (y, z) = (2.0 * top * dice.roll(), top * (1.6 * dice.share() - 0.2));
                    let (wide, high) = (0.4 * top * dice.share(), 0.5 * top * dice.share());
                    let light = 40.0 + 200.0 * dice.share();
                    let far = 300.0 + 500.0 * dice.share();
                    self.things
                        .push((far, [y - wide, y + wide, z, z + high], paper(light)));
                }
                "clutter"
            }
            3 => {
                self.aim.0 = side * top * (0.45 + 0.3 * dice.share());
                "cut"
            }
            4 => {
                let (wide, high) = (f64::from(self.size.0), f64::from(self.size.1));
                let half =
                    self.distance * 0.5 * wide / (self.focal_35mm / 43.27 * wide.hypot(high));
                self.aim.1 = side * half + 0.6 * widest * dice.roll();
                "cut side"
            }
            5 => {
                self.roll_deg = side * (5.0 + 6.0 * dice.share());
                "leaning"
            }
            6 => {
                let (from, to) = (0.1 + 0.2 * dice.share(), 0.4 + 0.15 * dice.share());
                self.label = Some((from * top, to * top, paper(60.0 + 180.0 * dice.share())));
                "label"
            }
            7 => {
                let near = self.wall[0] - 60.0 * dice.share();
                self.rims = (near + 20.0 * dice.roll(), 30.0);
                self.tint = [0.97, 0.98, 0.97];
                self.highlights = false;
                "faint"
            }
            _ => {
                let mut out = || widest * (1.05 + 0.3 * dice.share());
                let (left, right) = (-out(), out());
                let light = self.wall.map(|c| 0.73 * c);
                self.things
                    .push((200.0, [left, right, -50.0, 1.2 * top], light));
                "a frame"
            }
        }
    }

    fn top(&self) -> f64 {
        self.outside.last().map_or(0.0, |p| p.0)
    }

    /// The picture.
    pub fn rgb(&self) -> RgbImage {
        let (width, height) = self.size;
        let focal = self.focal_35mm / 43.27 * f64::from(width).hypot(f64::from(height));
        let down = ((self.height - 0.5 * self.top() - self.aim.0) / self.distance).atan();
        let turn = (self.aim.1 / self.distance).atan();
        let (sin_roll, cos_roll) = self.roll_deg.to_radians().sin_cos();
        let mut light = vec![[0.0f64; 3]; (width * height) as usize];
        for y in 0..height {
            for x in 0..width {
                let mut sum = [0.0; 3];
                for (dx, dy) in [(-0.25, -0.25), (0.25, -0.25), (-0.25, 0.25), (0.25, 0.25)] {
                    let px = f64::from(x) + dx - 0.5 * f64::from(width - 1);
                    let py = 0.5 * f64::from(height - 1) - f64::from(y) - dy;
                    let (right, up) =
                        (px * cos_roll - py * sin_roll, px * sin_roll + py * cos_roll);
                    let seen = self.seen(ray(right / focal, up / focal, down, turn));
                    for (sum, c) in sum.iter_mut().zip(seen) {
                        *sum += 0.25 * c;
                    }
                }
                light[(y * width + x) as usize] = sum;
            }
        }
        if self.blur > 0.0 {
            light = blurred(&light, width as usize, height as usize, self.blur);
        }
        let mut dice = Dice(self.seed * 7_919 + 13);
        RgbImage::from_fn(width, height, |x, y| {
            let grain = self.noise * dice.bell();
            let c = light[(y * width + x) as usize];
            image::Rgb(c.map(|c| {
                (c + grain + 0.5 * self.noise * dice.roll())
                    .round()
                    .clamp(0.0, 255.0) as u8
            }))
        })
    }

    pub fn jpeg(&self) -> Vec<u8> {
        let picture = self.rgb();
        let mut bytes = Vec::new();
        image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, self.jpeg_quality)
            .write_image(
                picture.as_raw(),
                picture.width(),
                picture.height(),
                ExtendedColorType::Rgb8,
            )
            .unwrap();
        bytes
    }

    pub fn as_format(&self, format: ImageFormat) -> Vec<u8> {
        let mut bytes = Cursor::new(Vec::new());
        self.rgb().write_to(&mut bytes, format).unwrap();
        bytes.into_inner()
    }

    /// What comes along a ray from the lens.
    fn seen(&self, d: [f64; 3]) -> [f64; 3] {
        let mut light = self.behind(d);
        let mut glass = vec![(hit(&self.outside, self.lens([0.0, 0.0]), d), true)];
        if let Some((outside, stands)) = &self.other {
            glass.push((hit(outside, self.lens(*stands), d), false));
        }
        let mut glass: Vec<_> = glass
            .into_iter()
            .filter_map(|(hit, own)| Some((hit?, own)))
            .collect();
        // The furthest first.
        glass.sort_by(|a, b| b.0.far.total_cmp(&a.0.far));
        for (hit, own) in glass {
            light = self.through(light, d, &hit, own);
        }
        light
    }

    fn lens(&self, stands: [f64; 2]) -> [f64; 3] {
        [self.distance - stands[0], -stands[1], self.height]
    }

    /// What is seen of `behind` through the glass.
    fn through(&self, behind: [f64; 3], d: [f64; 3], hit: &Hit, own: bool) -> [f64; 3] {
        let (at, normal) = (hit.at, hit.normal);
        if let Some((from, to, paper)) = self.label
            && own
            && (from..to).contains(&at[2])
        {
            let light = 0.75 + 0.25 * normal[0];
            return paper.map(|c| c * light);
        }
        let facing = (normal[0] * d[0] + normal[1] * d[1] + normal[2] * d[2]).abs();
        let grazing = (1.0 - facing).clamp(0.0, 1.0);
        let side = 0.5 * (1.0 + normal[1]);
        let rim = self.rims.0 + side * (self.rims.1 - self.rims.0);
        let much = (1.6 * grazing.powi(3) + 0.15 * grazing).min(0.95);
        let path = 0.6 + 0.8 * grazing;
        // Rings and threads in the glass cast darker lines.
        let ripple = 1.0 - 0.08 * (at[2] * 0.9).sin().powi(8);
        let mut colour: [f64; 3] = std::array::from_fn(|c| {
            let through = behind[c] * self.tint[c].powf(path) * ripple;
            through + much * (rim * (0.5 + 0.5 * self.tint[c]) - through)
        });
        if self.highlights {
            let azimuth = normal[1].atan2(normal[0]);
            let streak = |middle: f64, wide: f64| (-((azimuth - middle) / wide).powi(2)).exp();
            let shine = 0.75 * streak(-0.7, 0.06) + 0.4 * streak(0.9, 0.04);
            colour = colour.map(|c| c + shine * (250.0 - c));
        }
        colour
    }

    /// The wall or the table, without the bottle.
    fn behind(&self, d: [f64; 3]) -> [f64; 3] {
        let thing = |(far, [left, right, low, high], colour): &(f64, [f64; 4], [f64; 3])| {
            let t = -(self.distance + far) / d[0];
            // As it is seen at the axis.
            let near = self.distance / (self.distance + far);
            let (y, z) = (near * t * d[1], self.height + near * t * d[2]);
            let there = t > 0.0 && (*left..*right).contains(&y) && (*low..*high).contains(&z);
            there.then_some(*colour)
        };
        if let Some(colour) = self.things.iter().find_map(thing) {
            return colour;
        }
        if self.card {
            let t = -self.distance / d[0];
            let (y, z) = (t * d[1], self.height + t * d[2]);
            let left = -self.outside.iter().fold(0.0f64, |w, p| w.max(p.1)) - 110.0;
            if t > 0.0 && (left..left + 85.6).contains(&y) && (10.0..63.98).contains(&z) {
                return [60.0, 70.0, 140.0];
            }
        }
        if let Some((colour, ends)) = self.table
            && d[2] < -1e-9
        {
            let t = -self.height / d[2];
            let (x, y) = (self.distance + t * d[0], t * d[1]);
            if x > -ends {
                let foot = self.outside[0].1;
                let near = ((x.hypot(y) - foot).max(0.0) / 6.0).min(20.0);
                let contact = 0.5 * self.shadow.max(0.2) * (-near).exp();
                let along = (y - foot).max(0.0);
                let cast = if y > 0.0 {
                    self.shadow * (-(x / (0.9 * foot)).powi(2)).exp() * (-along / 120.0).exp()
                } else {
                    0.0
                };
                let light = (1.0 - contact) * (1.0 - cast);
                return colour.map(|c| c * light);
            }
        }
        let across = d[1] / -d[0];
        std::array::from_fn(|c| {
            self.wall[c] + self.slope * across * 4.0 - 10.0 * (across * 3.0).powi(2)
        })
    }
}

/// A small and good picture of a bottle.
pub fn plain_png() -> Vec<u8> {
    let outside = (0..=200).map(|z| {
        let z = f64::from(z);
        (
            z,
            if z < 120.0 {
                35.0
            } else {
                14.0 + 21.0 * ((170.0 - z) / 50.0).clamp(0.0, 1.0)
            },
        )
    });
    let shot = Shot {
        size: (240, 320),
        ..Shot::good(outside.collect())
    };
    shot.as_format(ImageFormat::Png)
}

/// Where a ray meets glass.
struct Hit {
    far: f64,
    at: [f64; 3],
    normal: [f64; 3],
}

/// The nearest place of the glass on a ray from the lens.
fn hit(outside: &Outside, lens: [f64; 3], d: [f64; 3]) -> Option<Hit> {
    let mut nearest: Option<(f64, [f64; 3])> = None;
    // Past the widest part by far is past it all.
    let level = d[0].hypot(d[1]);
    let miss = (lens[0] * d[1] - lens[1] * d[0]).abs() / level;
    let widest = outside.iter().fold(0.0f64, |w, p| w.max(p.1));
    if miss > widest {
        return None;
    }
    // Only the heights that it passes within the widest part.
    let nearest_t = -(lens[0] * d[0] + lens[1] * d[1]) / (level * level);
    let span = (widest * widest - miss * miss).max(0.0).sqrt() / level;
    let (za, zb) = (
        lens[2] + (nearest_t - span) * d[2],
        lens[2] + (nearest_t + span) * d[2],
    );
    let from = outside
        .partition_point(|p| p.0 < za.min(zb))
        .saturating_sub(1);
    let to = (outside.partition_point(|p| p.0 <= za.max(zb)) + 1).min(outside.len());
    for pair in outside[from.min(to)..to].windows(2) {
        let ((z0, r0), (z1, r1)) = (pair[0], pair[1]);
        let lean = (r1 - r0) / (z1 - z0).max(1e-6);
        let (a0, a1) = (r0 + lean * (lens[2] - z0), lean * d[2]);
        let a = level * level - a1 * a1;
        let b = lens[0] * d[0] + lens[1] * d[1] - a0 * a1;
        let c = lens[0] * lens[0] + lens[1] * lens[1] - a0 * a0;
        let root = b * b - a * c;
        if root < 0.0 {
            continue;
        }
        for t in [(-b - root.sqrt()) / a, (-b + root.sqrt()) / a] {
            let z = lens[2] + t * d[2];
            if t > 0.0 && (z0..=z1).contains(&z) && nearest.is_none_or(|(far, _)| t < far) {
                let (x, y) = (lens[0] + t * d[0], lens[1] + t * d[1]);
                let radius = x.hypot(y).max(1e-9);
                let length = lean.hypot(1.0);
                nearest = Some((
                    t,
                    [x / radius / length, y / radius / length, -lean / length],
                ));
            }
        }
    }
    let top = outside[outside.len() - 1];
    let t = (top.0 - lens[2]) / d[2];
    if t > 0.0 && nearest.is_none_or(|(far, _)| t < far) {
        let (x, y) = (lens[0] + t * d[0], lens[1] + t * d[1]);
        if x.hypot(y) < top.1 {
            nearest = Some((t, [0.0, 0.3, 0.95]));
        }
    }
    nearest.map(|(far, normal)| Hit {
        far,
        at: std::array::from_fn(|k| lens[k] + far * d[k]),
        normal,
    })
}

/// A ray of the lens, towards −x, as it is tilted down and turned.
fn ray(right: f64, up: f64, down: f64, turn: f64) -> [f64; 3] {
    let (sin, cos) = down.sin_cos();
    let (ahead, up) = (cos + up * sin, -sin + up * cos);
    let (st, ct) = turn.sin_cos();
    let d = [-(ahead * ct - right * st), ahead * st + right * ct, up];
    let length = d.iter().map(|c| c * c).sum::<f64>().sqrt();
    d.map(|c| c / length)
}

fn blurred(light: &[[f64; 3]], width: usize, height: usize, radius: f64) -> Vec<[f64; 3]> {
    let reach = (3.0 * radius).ceil() as isize;
    let weights: Vec<f64> = (-reach..=reach)
        .map(|k| (-0.5 * (k as f64 / radius).powi(2)).exp())
        .collect();
    let total: f64 = weights.iter().sum();
    let pass = |from: &[[f64; 3]], step: (isize, isize)| -> Vec<[f64; 3]> {
        let mut to = vec![[0.0; 3]; from.len()];
        for y in 0..height {
            for x in 0..width {
                let mut sum = [0.0; 3];
                for (k, w) in (-reach..=reach).zip(&weights) {
                    let px = (x as isize + k * step.0).clamp(0, width as isize - 1) as usize;
                    let py = (y as isize + k * step.1).clamp(0, height as isize - 1) as usize;
                    for (sum, c) in sum.iter_mut().zip(from[py * width + px]) {
                        *sum += w / total * c;
                    }
                }
                to[y * width + x] = sum;
            }
        }
        to
    };
    pass(&pass(light, (1, 0)), (0, 1))
}

/// The outside of a bottle of this bore: walls of glass, a floor with a rounded heel, a finish with rings.
pub fn outside_of(bore: &[(f64, f64)], wall_mm: f64, floor_mm: f64, ring_mm: f64) -> Outside {
    let inner = |z: f64| {
        let above = bore.partition_point(|p| p.0 <= z);
        match (above.checked_sub(1).map(|i| bore[i]), bore.get(above)) {
            (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (z - a.0) / (b.0 - a.0).max(1e-9),
            (Some(a), None) => a.1,
            (None, Some(b)) => b.1,
            (None, None) => 0.0,
        }
    };
    let top = bore[bore.len() - 1].0;
    let steps = ((top + floor_mm) / 0.7) as usize;
    (0..=steps)
        .map(|step| {
            let z = (top + floor_mm) * step as f64 / steps as f64;
            let mut radius = 0.0f64;
            for k in -20..=20 {
                let by = wall_mm * f64::from(k) / 20.0;
                let at = (z - floor_mm + by).clamp(0.0, top);
                radius = radius.max(inner(at) + (wall_mm * wall_mm - by * by).max(0.0).sqrt());
            }
            let from_top = top + floor_mm - z;
            let bump = |at: f64, wide: f64, high: f64| {
                high * (1.0 - ((from_top - at) / wide).powi(2)).max(0.0).sqrt()
            };
            radius += bump(4.0, 3.5, ring_mm).max(bump(16.0, 3.0, 1.2 * ring_mm));
            let heel = (5.0 - z).max(0.0);
            radius -= 5.0 - (25.0 - heel * heel).max(0.0).sqrt();
            (z, radius)
        })
        .collect()
}
