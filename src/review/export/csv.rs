//! The record as a table for spreadsheets: one reading, one thing not taken, or one
//! remark about a resident, a line.

mod columns;
mod texts;

use columns::{COLUMNS, Line};

use super::{Chart, Selection};
use crate::residents::{Home, begins_like_formula};

/// Tells a spreadsheet that the text is UTF-8.
const BYTE_ORDER_MARK: &str = "\u{feff}";

/// What `selection` takes of the record, in order of time, a header line first.
///
/// # Errors
/// None in practice: it is written to memory.
pub fn table(chart: &Chart, home: &Home, selection: &Selection) -> Result<String, ::csv::Error> {
    let mut lines = Vec::new();
    for entry in &chart.readings {
        if selection.takes(&entry.record.resident, entry.changed_at) {
            lines.push(Line::read(chart, home, entry));
        }
    }
    for missed in &chart.missed {
        if selection.takes(missed.resident, missed.changed_at) {
            let signs = missed.signs.iter().copied().map(Some);
            let signs: Vec<_> = match missed.signs {
                [] => vec![None],
                _ => signs.collect(),
            };
            let line = |sign| Line::not_taken(chart, home, missed, sign);
            lines.extend(signs.into_iter().map(line));
        }
    }
    let remarks = chart.remarks.iter();
    let remarks = remarks.filter(|it| selection.takes(it.resident, it.act.at));
    lines.extend(remarks.map(|it| Line::remark(chart, home, it)));
    let unread = chart.unread.iter().filter(|it| selection.concerns(it));
    lines.extend(unread.map(|it| Line::unread(chart, home, it)));
    // Stable: what was measured at one time stays in the order of recording.
    lines.sort_by_key(|line| line.at);

    let mut writer = ::csv::WriterBuilder::new()
        .terminator(::csv::Terminator::CRLF)
        .from_writer(BYTE_ORDER_MARK.as_bytes().to_vec());
    writer.write_record(COLUMNS.iter().map(|it| it.0))?;
    for line in &lines {
        writer.write_record(COLUMNS.iter().map(|(.., find)| harmless(find(line))))?;
    }
    let written = writer
        .into_inner()
        .map_err(::csv::IntoInnerError::into_error)?;
    Ok(String::from_utf8_lossy(&written).into_owned())
}

/// What begins like a formula is shown, not worked out, by a spreadsheet.
fn harmless(field: String) -> String {
    if begins_like_formula(&field) {
        format!("'{field}")
    } else {
        field
    }
}

/// The columns as a document in Markdown.
#[must_use]
pub fn dictionary() -> String {
    let rows = COLUMNS
        .iter()
        .map(|(name, holds, _)| format!("| `{name}` | {holds} |"));
    format!(
        "# The record as CSV\n\n\
         Written from the code by `UPDATE_DOCS=1 cargo test docs`; a test fails when it is out \
         of date.\n\n\
         `sayback export --format csv` writes one reading, one thing not taken, or one remark \
         about a resident, a line: UTF-8 with a byte-order mark, commas, lines ended by CR LF, a header line first (RFC 4180). An \
         empty field means that nothing was said or that it does not apply. A field that begins \
         like a formula has `'` before it. What was read back and never confirmed is no reading \
         and is not there. An entry that this version cannot read has a line of its own that says so. \
         Several entries in one field are parted by ` | `.\n\n\
         | column | holds |\n|---|---|\n{}\n",
        rows.collect::<Vec<_>>().join("\n")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_column_is_named_once() {
        let mut names: Vec<&str> = COLUMNS.iter().map(|it| it.0).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), COLUMNS.len());
    }

    #[test]
    fn a_formula_is_made_harmless() {
        assert_eq!(harmless("=1+1".to_owned()), "'=1+1");
        assert_eq!(harmless("@sum".to_owned()), "'@sum");
        assert_eq!(harmless("72".to_owned()), "72");
    }
}
