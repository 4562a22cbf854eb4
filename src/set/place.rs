//! A place in a file, shown with its line and a caret.

use std::fmt;
use std::ops::Range;

/// A place in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Counted from one.
    pub line: usize,
    /// Characters from the beginning of the line, counted from one.
    pub column: usize,
    /// The line itself.
    text: String,
    /// Characters that are marked.
    width: usize,
}

impl Place {
    pub(super) fn of(text: &str, span: &Range<usize>) -> Option<Self> {
        let before = text.get(..span.start)?;
        let line_from = before.rfind('\n').map_or(0, |at| at + 1);
        let line = text[line_from..].lines().next().unwrap_or_default();
        let marked = text.get(span.clone())?.lines().next().unwrap_or_default();
        Some(Self {
            line: before.matches('\n').count() + 1,
            column: text[line_from..span.start].chars().count() + 1,
            text: line.to_owned(),
            width: marked.trim_end().chars().count().max(1),
        })
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = self.line.to_string();
        let margin = " ".repeat(number.len());
        let (indent, carets) = (" ".repeat(self.column - 1), "^".repeat(self.width));
        writeln!(f, "line {}, column {}", self.line, self.column)?;
        writeln!(f, "{margin} |")?;
        writeln!(f, "{number} | {}", self.text)?;
        write!(f, "{margin} | {indent}{carets}")
    }
}
