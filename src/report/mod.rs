//! Paper: what a planned set looks like when it is printed and taken to the sink.
//!
//! [`sheet::Sheet`] holds what is known of each pour; [`rows`] are the same numbers flat, for JSON and CSV;
//! [`html`] is the page, with [`drawing`]s of the bottles, [`strip`]s of true length and [`plots`].
//! [`part`] and [`part_html`] are a piece for its players: a page for each, and the conductor's.
//! [`measured`] holds a class's measurements beside the predictions, and [`class_page`] prints them and the worksheet.
//! A page is one file: no script, nothing loaded from elsewhere. Text that people wrote is escaped
//! wherever it is put. Nothing here is computed that physics and plan have not computed already, and
//! nothing is written to a disk.

mod bars;
pub mod class_page;
pub mod drawing;
pub mod html;
pub mod marks_strip;
pub mod measured;
pub mod moved_plot;
pub mod part;
pub mod part_html;
pub mod plots;
pub mod pour_track;
pub mod rows;
pub mod sheet;
pub mod sheet_card;
pub mod strip;
pub mod svg;
pub mod sweep_plot;
pub mod words;
