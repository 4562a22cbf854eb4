//! Placeholder until the gas model is merged.
use crate::units::{Pressure, Temperature};
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GasProperties { pub temperature: Temperature, pub pressure: Pressure, pub density_kg_m3: f64, pub sound_speed_m_s: f64, pub viscosity_pa_s: f64, pub conductivity_w_mk: f64, pub cp_j_kgk: f64, pub gamma: f64 }
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gas(GasProperties);
impl Gas {
    pub fn from_properties(p: GasProperties) -> Self { Self(p) }
    pub fn density_kg_m3(&self) -> f64 { self.0.density_kg_m3 }
    pub fn sound_speed_m_s(&self) -> f64 { self.0.sound_speed_m_s }
    pub fn viscosity_pa_s(&self) -> f64 { self.0.viscosity_pa_s }
    pub fn gamma(&self) -> f64 { self.0.gamma }
    pub fn kinematic_viscosity_m2_s(&self) -> f64 { self.0.viscosity_pa_s / self.0.density_kg_m3 }
    pub fn thermal_diffusivity_m2_s(&self) -> f64 { self.0.conductivity_w_mk / self.0.density_kg_m3 / self.0.cp_j_kgk }
    pub fn bulk_modulus_pa(&self) -> f64 { self.0.density_kg_m3 * self.0.sound_speed_m_s.powi(2) }
}
