//! Text that people wrote, as it may stand between the tags of HTML, SVG and MusicXML.

/// `text` with the five characters replaced that mean something in HTML, SVG and XML, and control characters blanked.
///
/// ```
/// use ullage::file::markup::escaped;
/// assert_eq!(escaped("a<b> & \"c\""), "a&lt;b&gt; &amp; &quot;c&quot;");
/// ```
#[must_use]
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}
