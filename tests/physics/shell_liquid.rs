//! Liquid in a cylinder against its closed solution in Bessel functions.

use std::f64::consts::PI;

use ullage::physics::profile::Profile;
use ullage::physics::shell::{Column, Contents, Elastic, End, Meridian, Shell};
use ullage::units::{Length, Pressure};

const RADIUS_M: f64 = 0.04;
const HEIGHT_M: f64 = 0.12;
const WALL_M: f64 = 2e-3;
const WATER: f64 = 998.2;

/// Iₙ(x) / (x I′ₙ(x)) by the power series.
fn ratio(n: u32, x: f64) -> f64 {
    let (mut term, mut sum, mut slope) = (1.0, 0.0, 0.0);
    for k in 0..400_u32 {
        sum += term;
        slope += f64::from(n + 2 * k) * term;
        term *= x * x / 4.0 / (f64::from(k + 1) * f64::from(k + 1 + n));
        if term < 1e-18 * sum {
            break;
        }
        // Only the ratio counts: keep clear of overflow.
        if sum > 1e250 {
            (term, sum, slope) = (term * 1e-250, sum * 1e-250, slope * 1e-250);
        }
    }
    sum / slope
}

/// ρ π R Σ (2/H) Gₖ cₖ², Gₖ = R · Iₙ(aR)/(aR I′ₙ(aR)), cₖ = ∫₀ᴴ w cos aₖz dz, aₖ = (k − ½)π/H: a rigid flat floor at z = 0 and no
/// pressure at the surface z = H.
fn closed_mass_kg_at(radius_m: f64, n: u32, level_m: f64, w: &dyn Fn(f64) -> f64) -> f64 {
    let steps = 4000;
    let mut sum = 0.0;
    for k in 1..=80 {
        let a = (f64::from(k) - 0.5) * PI / level_m;
        let step_m = level_m / f64::from(steps);
        let c: f64 = (0..steps)
            .map(|i| {
                let z = (f64::from(i) + 0.5) * step_m;
                w(z) * (a * z).cos() * step_m
            })
            .sum();
        sum += 2.0 / level_m * radius_m * ratio(n, a * radius_m) * c * c;
    }
    WATER * PI * radius_m * sum
}

/// Normal displacement of a mode of a cylinder at a height: Hermite's cubic through its points.
fn normal(shape: &[[f64; 4]], z: f64) -> f64 {
    let pieces = shape.len() - 1;
    let length_m = HEIGHT_M / pieces as f64;
    let index = ((z / length_m) as usize).min(pieces - 1);
    let t = z / length_m - index as f64;
    let (a, b) = (shape[index], shape[index + 1]);
    let rest = 1.0 - t;
    a[1] * rest * rest * (1.0 + 2.0 * t)
        + b[1] * t * t * (3.0 - 2.0 * t)
        + length_m * t * rest * (a[3] * rest - b[3] * t)
}

/// The moving mass of the wet mode is that of the wall and the closed solution's liquid for the same shape. Frequencies go with
/// the root of the mass, and to first order only through it: half the share in mass is the share in frequency. Tolerance 2 cents,
/// what two independent programs leave.
#[test]
fn the_mass_of_the_liquid_is_the_closed_solutions() {
    let elastic = Elastic {
        young_pa: 72e9,
        poisson: 0.21,
        density_kg_m3: 2520.0,
        loss_factor: 0.0,
    };
    let bore = Profile::from_diameters_mm(&[
        [0.0, 2e3 * (RADIUS_M - 0.5 * WALL_M)],
        [1e3 * HEIGHT_M, 2e3 * (RADIUS_M - 0.5 * WALL_M)],
    ])
    .unwrap();
    let ends = [End::Clamped, End::Free];
    let meridian = Meridian::cylinder(RADIUS_M, HEIGHT_M, WALL_M, 48, ends).unwrap();
    let shell = Shell::new(&meridian, elastic);
    for n in [2, 3, 4] {
        for share in [0.2, 0.513, 0.8, 1.0] {
            let level_m = share * HEIGHT_M;
            let column = Column::new(&bore, Length::from_m(level_m), WATER).unwrap();
            let contents = Contents {
                liquid: Some(&column),
                ..Contents::default()
            };
            let order = shell.order(n, Pressure::default()).unwrap();
            let wet = &order.modes(&contents, 1).unwrap()[0];
            let dry_mass = wall_mass_kg(&wet.shape, elastic.density_kg_m3);
            let liquid = wet.mass_kg - dry_mass;
            // The bore is half a wall narrower than the middle surface: the closed form takes its radius.
            let inner = RADIUS_M - 0.5 * WALL_M;
            let closed = closed_mass_kg_at(inner, n, level_m, &|z| normal(&wet.shape, z));
            let cents = 600.0 * (1.0 + (liquid - closed) / wet.mass_kg).log2();
            println!(
                "n {n} share {share}: {liquid:.5} {closed:.5} kg of {:.5}: {cents:.2} cents",
                wet.mass_kg
            );
            assert!(cents.abs() < 2.0, "n {n}, {share}: {cents} cents");
        }
    }
}

/// π ρ h R ∫ (u² + v² + w²) dz of a shape, by the same cubics and lines as its pieces.
fn wall_mass_kg(shape: &[[f64; 4]], density_kg_m3: f64) -> f64 {
    let steps = 4800;
    let pieces = shape.len() - 1;
    let sum: f64 = (0..steps)
        .map(|i| {
            let z = (f64::from(i) + 0.5) * HEIGHT_M / f64::from(steps);
            let along = z / HEIGHT_M * pieces as f64;
            let index = (along as usize).min(pieces - 1);
            let t = along - index as f64;
            let line = |j: usize| shape[index][j] * (1.0 - t) + shape[index + 1][j] * t;
            normal(shape, z).powi(2) + line(0).powi(2) + line(2).powi(2)
        })
        .sum();
    PI * density_kg_m3 * WALL_M * RADIUS_M * sum * HEIGHT_M / f64::from(steps)
}
