//! Peak tables and assignments.

use super::records::optional;
use super::{DocumentWriter, WriteRefusal};
use crate::asdf::encode::COLUMNS;
use crate::number::print;
use crate::remark::Code;
use crate::table::{Assignments, Peaks};
use crate::text::{remark, safe};

impl DocumentWriter<'_> {
    pub(super) fn peaks(&mut self, peaks: &Peaks, title: &str) -> Result<(), WriteRefusal> {
        if peaks.rows.is_empty() {
            return Err(WriteRefusal::Empty {
                title: title.to_owned(),
            });
        }
        let widths = peaks.rows.iter().any(|p| p.width.is_some());
        let words = peaks.rows.iter().any(|p| p.multiplicity.is_some());
        if widths && words {
            let what = "a peak table holds widths or multiplicities, not both; write two sheets";
            return Err(WriteRefusal::Inconsistent {
                title: title.to_owned(),
                what,
            });
        }
        let (mut lines, mut more) = (String::new(), 0usize);
        for (index, peak) in peaks.rows.iter().enumerate() {
            let finite = [Some(peak.x), peak.y, peak.width]
                .into_iter()
                .flatten()
                .all(f64::is_finite);
            if !finite {
                return Err(WriteRefusal::NotFinite {
                    title: title.to_owned(),
                    index,
                });
            }
            more += usize::from(print(peak.x, peaks.x_decimals.of(index), &mut lines));
            lines.push(',');
            more += optional(peak.y, &peaks.y_decimals, index, &mut lines);
            if widths {
                lines.push(',');
                more += optional(peak.width, &peaks.width_decimals, index, &mut lines);
            } else if words {
                lines.push(',');
                let word = peak.multiplicity.as_deref().unwrap_or("?");
                let sound = word == "?" || word.starts_with(|c: char| c.is_ascii_alphabetic());
                if !sound || !word.chars().all(|c| c.is_ascii_alphanumeric() || c == '?') {
                    let what =
                        "a multiplicity is a word of ASCII letters and digits that starts with a letter";
                    return Err(WriteRefusal::Inconsistent {
                        title: title.to_owned(),
                        what,
                    });
                }
                lines.push_str(word);
            }
            lines.push_str("\r\n");
        }
        self.plain("NPOINTS", &peaks.rows.len().to_string());
        let form = if widths {
            "(XYW..XYW)"
        } else if words {
            "(XYM..XYM)"
        } else {
            "(XY..XY)"
        };
        self.plain("PEAK TABLE", form);
        self.out.push_str(&lines);
        self.more_decimals(more);
        Ok(())
    }

    pub(super) fn assignments(&mut self, rows: &Assignments, title: &str) -> Result<(), WriteRefusal> {
        if rows.rows.is_empty() {
            return Err(WriteRefusal::Empty {
                title: title.to_owned(),
            });
        }
        let heights = rows.rows.iter().any(|r| r.y.is_some());
        let widths = rows.rows.iter().any(|r| r.width.is_some());
        let words = rows.rows.iter().any(|r| r.multiplicity.is_some());
        if widths && words {
            let what = "assignments hold widths or multiplicities, not both; write two sheets";
            return Err(WriteRefusal::Inconsistent {
                title: title.to_owned(),
                what,
            });
        }
        let (mut lines, mut more) = (String::new(), 0usize);
        for (index, row) in rows.rows.iter().enumerate() {
            if ![Some(row.x), row.y, row.width]
                .into_iter()
                .flatten()
                .all(f64::is_finite)
            {
                return Err(WriteRefusal::NotFinite {
                    title: title.to_owned(),
                    index,
                });
            }
            let mut group = String::from("(");
            more += usize::from(print(row.x, rows.x_decimals.of(index), &mut group));
            group.push_str(", ");
            if heights || widths || words {
                if let Some(y) = row.y {
                    more += usize::from(print(y, rows.y_decimals.of(index), &mut group));
                }
                group.push_str(", ");
            }
            if widths {
                if let Some(width) = row.width {
                    more += usize::from(print(width, rows.width_decimals.of(index), &mut group));
                }
                group.push_str(", ");
            } else if words {
                let word = row.multiplicity.as_deref().unwrap_or("");
                if !word.chars().all(|c| c.is_ascii_alphanumeric()) {
                    let what = "a multiplicity is a word of ASCII letters and digits";
                    return Err(WriteRefusal::Inconsistent {
                        title: title.to_owned(),
                        what,
                    });
                }
                group.push_str(word);
                group.push_str(", ");
            }
            let mut text = safe(
                "PEAK ASSIGNMENTS",
                &row.text,
                self.options.non_ascii,
                &mut self.remarks,
            );
            if text.contains(['<', '>', '\n']) {
                let found = format!("an assignment that holds <, > or a line end: {:?}", row.text);
                self.remarks
                    .push(remark(Code::TextChanged, found, "one line without < and >"));
                text = text.replace('<', "[").replace('>', "]").replace('\n', " ");
            }
            group.push('<');
            group.push_str(&text);
            group.push_str(">)");
            self.wrap_group(&group, &mut lines);
        }
        self.plain("NPOINTS", &rows.rows.len().to_string());
        let form = match (heights, widths, words) {
            (_, true, _) => "(XYWA)",
            (_, _, true) => "(XYMA)",
            (true, ..) => "(XYA)",
            _ => "(XA)",
        };
        self.plain("PEAK ASSIGNMENTS", form);
        self.out.push_str(&lines);
        self.more_decimals(more);
        Ok(())
    }

    /// Wraps a group at blanks; the reader takes a line end in it for one blank.
    fn wrap_group(&mut self, group: &str, lines: &mut String) {
        let (mut column, mut widest) = (0, 0);
        for (index, word) in group.split(' ').enumerate() {
            let width = word.chars().count();
            // A line within a group must not look like a label.
            if index > 0 && column + 1 + width > COLUMNS && !word.is_empty() && !word.starts_with("##") {
                lines.push_str("\r\n");
                column = 0;
            } else if index > 0 {
                lines.push(' ');
                column += 1;
            }
            lines.push_str(word);
            column += width;
            widest = widest.max(column);
        }
        lines.push_str("\r\n");
        if widest > COLUMNS {
            self.remarks.push(remark(
                Code::LineTooLong,
                format!("{group:?}"),
                format!("at most {COLUMNS} columns"),
            ));
        }
    }
}
