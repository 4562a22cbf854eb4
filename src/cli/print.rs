//! Printing: tables for people, JSON for programs.

use std::io::Write;

use comfy_table::{CellAlignment, Table, TableStyle};
use serde::Serialize;

use super::Failure;

/// Prints a line on standard error. Nobody reading it is no reason to stop.
macro_rules! say {
    ($($text:tt)*) => {{
        use std::io::Write as _;
        let _ = writeln!(std::io::stderr(), $($text)*);
    }};
}
pub(super) use say;

/// Version of the JSON that is printed.
pub const JSON_VERSION: u32 = 1;

/// Prints to standard output; a closed pipe ends quietly.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    let written = out.write_all(text.as_bytes()).and_then(|()| {
        if text.ends_with('\n') {
            Ok(())
        } else {
            out.write_all(b"\n")
        }
    });
    match written.and_then(|()| out.flush()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Failure::cannot("print", error))
        }
        _ => Ok(()),
    }
}

/// Prints one JSON object.
pub fn print_json(value: &impl Serialize) -> Result<(), Failure> {
    let text = serde_json::to_string_pretty(value)
        .map_err(|error| Failure::cannot("write JSON", error))?;
    print(&text)
}

/// A table with `header` over `rows`; columns named in `left` are set left, the others right.
pub fn table(header: &[&str], rows: Vec<Vec<String>>, left: &[usize]) -> String {
    let mut table = Table::new();
    table
        .load_style(TableStyle::new())
        .set_header(header.to_vec());
    for row in rows {
        table.add_row(row);
    }
    for (index, column) in table.column_iter_mut().enumerate() {
        column.set_cell_alignment(if left.contains(&index) {
            CellAlignment::Left
        } else {
            CellAlignment::Right
        });
        column.set_padding((0, 2));
    }
    let text = table.to_string();
    text.lines()
        .map(str::trim_end)
        .collect::<Vec<_>>()
        .join("\n")
        + "\n"
}
