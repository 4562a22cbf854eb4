//! Paper: what a planned set looks like when it is printed and taken to the sink.
//!
//! [`sheet::Sheet`] holds what is known of each pour; [`rows`] are the same numbers flat, for JSON and CSV;
//! [`html`] is the page, with [`drawing`]s of the bottles, [`strip`]s of true length and [`plots`].
//! The page is one file: no script, nothing loaded from elsewhere. Text that people wrote is escaped
//! wherever it is put. Nothing here is computed that physics and plan have not computed already, and
//! nothing is written to a disk.

pub mod drawing;
pub mod html;
pub mod plots;
pub mod rows;
pub mod sheet;
pub mod strip;
pub mod svg;
pub mod sweep_plot;
pub mod words;
