//! The forms of tables: `(X++(Y..Y))`, `(XY..XY)`, `(XYA)` and their kin.

/// What one column of a group is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Shape {
    /// `(X++(Y..Y))`: evenly spaced, the symbols of abscissa and ordinate.
    Spaced { x: String, y: String },
    /// `(XY..XY)`: groups of columns, each letter or symbol one column.
    Groups { columns: String },
    /// `(XYA)`: groups in parentheses with a text.
    Assigned { columns: String },
}

/// Splits the first line of a table's value into form and rest, if it starts with a parenthesis.
/// The form goes to the closing parenthesis that belongs to the first.
pub(crate) fn split(line: &str) -> Option<(&str, &str)> {
    if !line.starts_with('(') {
        return None;
    }
    let mut depth = 0usize;
    for (at, c) in line.char_indices() {
        match c {
            '(' => depth += 1,
            ')' => {
                depth -= 1;
                if depth == 0 {
                    return Some((&line[..=at], &line[at + 1..]));
                }
            }
            _ => {}
        }
    }
    // The closing parenthesis is missing: the whole line is the form.
    Some((line, ""))
}

/// Reads a form as [`split`] returned it.
pub(crate) fn parse(form: &str) -> Option<Shape> {
    let squeezed: String = form
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '(' | ')'))
        .flat_map(char::to_uppercase)
        .collect();
    let name = |s: &str| !s.is_empty() && s.chars().all(|c| c.is_ascii_alphanumeric());
    if let Some((x, rest)) = squeezed.split_once("++") {
        let (y, again) = rest.split_once("..").unwrap_or((rest, rest));
        return (name(x) && name(y) && y == again).then(|| Shape::Spaced {
            x: x.into(),
            y: y.into(),
        });
    }
    if let Some((group, again)) = squeezed.split_once("..") {
        let plain = |s: &str| s.replace([',', ';'], "");
        let (group, again) = (plain(group), plain(again));
        return (name(&group) && group == again).then_some(Shape::Groups { columns: group });
    }
    let columns = squeezed.replace(',', "");
    matches!(columns.as_str(), "XYA" | "XA" | "XYWA" | "XYMA" | "XWA").then_some(Shape::Assigned { columns })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forms_in_odd_spellings() {
        let spaced = |x: &str, y: &str| {
            Some(Shape::Spaced {
                x: x.into(),
                y: y.into(),
            })
        };
        assert_eq!(parse("(X++(Y..Y))"), spaced("X", "Y"));
        assert_eq!(parse("( x++ ( y .. y ) )"), spaced("X", "Y"));
        assert_eq!(parse("(R++(A..A))"), spaced("R", "A"));
        assert_eq!(
            parse("(XYW..XYW)"),
            Some(Shape::Groups {
                columns: "XYW".into()
            })
        );
        assert_eq!(parse("(X,Y..X,Y)"), Some(Shape::Groups { columns: "XY".into() }));
        assert_eq!(
            parse("(XYA)"),
            Some(Shape::Assigned {
                columns: "XYA".into()
            })
        );
        assert_eq!(parse("(QQ)"), None);
        assert_eq!(split("(X++(Y..Y)), XYDATA"), Some(("(X++(Y..Y))", ", XYDATA")));
        assert_eq!(split("400 1"), None);
    }
}
