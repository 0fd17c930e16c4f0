//! Small drawings of curves in the terminal, in braille dots.

use std::fmt::Write as _;

/// One curve: its points in order.
pub(crate) struct SketchCurve<'a> {
    /// The running axis.
    pub(crate) x: &'a [f64],
    /// The measured values, as many.
    pub(crate) y: &'a [f64],
}

/// What stands at the ends of the axes.
pub(crate) struct SketchAxes {
    /// Name and unit of x.
    pub(crate) x: String,
    /// Name and unit of y.
    pub(crate) y: String,
}

/// A drawing of `columns` by `rows` characters with the range of both axes, or `None` where there is no curve to
/// draw: fewer than two points.
///
/// Every point lies where its numbers say; neighbouring points are joined by a straight line.
pub(crate) fn sketch(
    curves: &[SketchCurve<'_>],
    axes: &SketchAxes,
    columns: usize,
    rows: usize,
) -> Option<String> {
    let x = Range::of(curves.iter().flat_map(|curve| curve.x))?;
    let y = Range::of(curves.iter().flat_map(|curve| curve.y))?;
    if curves.iter().map(|curve| curve.x.len()).sum::<usize>() < 2 {
        return None;
    }
    let mut dots = Dots::new(columns, rows);
    for curve in curves {
        let mut last: Option<(usize, usize)> = None;
        for (&at_x, &at_y) in curve.x.iter().zip(curve.y) {
            let point = (
                x.place(at_x, dots.width()),
                dots.height() - 1 - y.place(at_y, dots.height()),
            );
            match last {
                Some(last) => dots.line(last, point),
                None => dots.set(point.0, point.1),
            }
            last = Some(point);
        }
    }
    let (top, bottom) = (number(y.high), number(y.low));
    let margin = top.len().max(bottom.len());
    let mut text = format!("{:>margin$}   {}\n", "", axes.y);
    for (index, line) in dots.lines().enumerate() {
        let tick = match index {
            0 => &top,
            _ if index + 1 == rows => &bottom,
            _ => "",
        };
        let _ = writeln!(text, "{tick:>margin$} ┤ {}", line.trim_end_matches('\u{2800}'));
    }
    let (low, high) = (number(x.low), number(x.high));
    let gap = columns.saturating_sub(low.len() + high.len()).max(2);
    let _ = writeln!(text, "{:>margin$}   {low}{:gap$}{high}  {}", "", "", axes.x);
    Some(text)
}

/// From the smallest to the largest of some numbers.
#[derive(Clone, Copy)]
struct Range {
    low: f64,
    high: f64,
}

impl Range {
    fn of<'a>(numbers: impl Iterator<Item = &'a f64>) -> Option<Self> {
        numbers.copied().filter(|n| n.is_finite()).fold(None, |range, n| {
            Some(range.map_or(Self { low: n, high: n }, |range: Self| Self {
                low: range.low.min(n),
                high: range.high.max(n),
            }))
        })
    }

    /// Which of `cells` cells a number falls into.
    fn place(self, n: f64, cells: usize) -> usize {
        let last = cells - 1;
        // Halves first, so that the widest range of doubles does not overflow.
        let share = (n / 2.0 - self.low / 2.0) / (self.high / 2.0 - self.low / 2.0);
        if share.is_nan() {
            return last / 2;
        }
        let at = (share * last as f64).round() as usize;
        at.min(last)
    }
}

/// A number for an axis end: up to five significant digits.
fn number(n: f64) -> String {
    if n == 0.0 {
        return "0".to_owned();
    }
    let size = n.abs();
    if !(1e-4..1e7).contains(&size) {
        return format!("{n:.2e}");
    }
    let decimals = [1.0, 10.0, 100.0, 1000.0]
        .iter()
        .filter(|&&limit| size < limit)
        .count();
    let text = format!("{n:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// A field of dots, two by four to a character.
struct Dots {
    columns: usize,
    rows: usize,
    cells: Vec<u8>,
}

impl Dots {
    fn new(columns: usize, rows: usize) -> Self {
        Self {
            columns,
            rows,
            cells: vec![0; columns * rows],
        }
    }

    fn width(&self) -> usize {
        self.columns * 2
    }

    fn height(&self) -> usize {
        self.rows * 4
    }

    fn set(&mut self, x: usize, y: usize) {
        // The dots of a braille character count down the left column, then the right; the last row came later.
        const BITS: [[u8; 2]; 4] = [[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]];
        if let Some(cell) = self.cells.get_mut((y / 4) * self.columns + x / 2) {
            *cell |= BITS[y % 4][x % 2];
        }
    }

    /// A straight line, both ends included.
    fn line(&mut self, (x0, y0): (usize, usize), (x1, y1): (usize, usize)) {
        let steps = x0.abs_diff(x1).max(y0.abs_diff(y1)).max(1);
        let between =
            |from: usize, to: usize, step: usize| (from * (steps - step) + to * step + steps / 2) / steps;
        for step in 0..=steps {
            self.set(between(x0, x1, step), between(y0, y1, step));
        }
    }

    fn lines(&self) -> impl Iterator<Item = String> + '_ {
        self.cells.chunks(self.columns).map(|row| {
            row.iter()
                .filter_map(|&bits| char::from_u32(0x2800 + u32::from(bits)))
                .collect()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn axes() -> SketchAxes {
        SketchAxes {
            x: "time, s".to_owned(),
            y: "absorbance".to_owned(),
        }
    }

    #[test]
    fn a_rising_line_runs_from_corner_to_corner() {
        let curve = SketchCurve {
            x: &[0.0, 10.0],
            y: &[0.0, 1.0],
        };
        let drawn = sketch(&[curve], &axes(), 4, 2).expect("two points");
        let rows: Vec<&str> = drawn.lines().collect();
        assert!(rows[1].starts_with("1 ┤"), "{drawn}");
        assert!(rows[2].starts_with("0 ┤ ⡠⠊"), "{drawn}");
        assert!(
            rows[3].contains("0") && rows[3].ends_with("10  time, s"),
            "{drawn}"
        );
    }

    #[test]
    fn nothing_is_drawn_of_a_single_point() {
        let curve = SketchCurve { x: &[1.0], y: &[1.0] };
        assert!(sketch(&[curve], &axes(), 4, 2).is_none());
    }

    #[test]
    fn odd_numbers_do_no_harm() {
        let curve = SketchCurve {
            x: &[f64::MIN, f64::MAX, 3.0],
            y: &[2.0, 2.0, f64::NAN],
        };
        assert!(sketch(&[curve], &axes(), 4, 2).is_some());
    }

    #[test]
    fn axis_ends_are_short() {
        assert_eq!(number(0.123_456), "0.1235");
        assert_eq!(number(-12.5), "-12.5");
        assert_eq!(number(550.0), "550");
        assert_eq!(number(1.2e-7), "1.20e-7");
    }
}
