//! Scans over one axis, as the pages of NTUPLES.

use super::curves::{Plan, all_abscissas, bits_equal, check_curve, even_grid, power_text};
use super::{DocumentWriter, Scan, Scans, Sheet, WriteRefusal};
use crate::asdf::encode::Form;
use crate::curve::Curve;
use crate::grid::EvenGrid;
use crate::number::print;
use crate::remark::Code;
use crate::text::{remark, safe};

impl DocumentWriter<'_> {
    pub(super) fn scans(&mut self, scans: &Scans, sheet: &Sheet) -> Result<(), WriteRefusal> {
        let title = &sheet.title;
        let inconsistent = |what| {
            Err(WriteRefusal::Inconsistent {
                title: title.clone(),
                what,
            })
        };
        let (Some(first), Some(last)) = (scans.scans.first(), scans.scans.last()) else {
            return Err(WriteRefusal::Empty { title: title.clone() });
        };
        let symbol = scans.held_symbol.trim().to_uppercase();
        if symbol.is_empty()
            || matches!(symbol.as_str(), "X" | "Y")
            || !symbol.chars().all(|c| c.is_ascii_alphanumeric())
        {
            return inconsistent(
                "the symbol of the held variable must be a short ASCII word other than X and Y",
            );
        }
        for (index, scan) in scans.scans.iter().enumerate() {
            check_curve(&scan.curve, title)?;
            if !scan.held.is_finite() {
                return Err(WriteRefusal::NotFinite {
                    title: title.clone(),
                    index,
                });
            }
        }
        // One set of attribute lists holds for all pages, so spaced pages need the same grid and the same factor.
        let first_x = all_abscissas(&first.curve);
        let same_x = scans.scans.iter().all(|s| {
            s.curve.x_decimals == first.curve.x_decimals && bits_equal(&all_abscissas(&s.curve), &first_x)
        });
        let grid = if same_x {
            even_grid(&first_x, &first.curve.x_decimals)
        } else {
            None
        };
        let integers = self.integers_of_pages(scans, title, grid.is_some());
        let decimals = integers.as_ref().map_or(0, |pages| pages[0].1);
        let name = self.entry("NTUPLES", &sheet.data_type);
        self.plain("NTUPLES", &name);
        self.list("VAR_NAME", &scans.x_name, &scans.y_name, &scans.held_name);
        self.list("SYMBOL", "X", "Y", &symbol);
        self.list("VAR_TYPE", "INDEPENDENT", "DEPENDENT", "PAGE");
        let form = if integers.is_some() { "ASDF" } else { "AFFN" };
        self.list("VAR_FORM", "AFFN", form, "AFFN");
        let count = first_x.len().to_string();
        self.list("VAR_DIM", &count, &count, &scans.scans.len().to_string());
        self.list("UNITS", &sheet.x_units, &sheet.y_units, &scans.held_units);
        self.ends(scans, (first, last), &first_x);
        self.list("FACTOR", "1", &power_text(decimals), "1");
        self.pages(scans, &symbol, grid, integers);
        self.plain("END NTUPLES", &name);
        Ok(())
    }

    /// The ordinates of all pages as whole numbers over one factor, where that can be.
    fn integers_of_pages(
        &mut self,
        scans: &Scans,
        title: &str,
        is_even: bool,
    ) -> Option<Vec<(Vec<i64>, u16)>> {
        if self.options.form == Form::Affn {
            return None;
        }
        let integers: Option<Vec<(Vec<i64>, u16)>> = is_even
            .then(|| scans.scans.iter().map(|s| self.integers(&s.curve)).collect())
            .flatten();
        let integers = integers.filter(|pages| pages.iter().all(|page| page.1 == pages[0].1));
        if integers.is_none() {
            let found = format!("pages of {title:?} without a common grid and factor");
            self.remarks.push(remark(
                Code::FormNotPossible,
                found,
                "a common grid and factor; AFFN was written",
            ));
        }
        integers
    }

    /// A text as an entry of a list, in which commas part the entries.
    fn entry(&mut self, label: &str, text: &str) -> String {
        let text = safe(
            label,
            &text.replace('\n', " "),
            self.options.non_ascii,
            &mut self.remarks,
        );
        if text.contains(',') {
            let found = format!("a comma in {label}: {text:?}");
            self.remarks
                .push(remark(Code::TextChanged, found, "an entry without commas"));
        }
        text.replace(',', " ").trim().to_owned()
    }

    /// A list of attributes, one for each variable.
    fn list(&mut self, label: &str, x: &str, y: &str, held: &str) {
        let parts = [
            self.entry(label, x),
            self.entry(label, y),
            self.entry(label, held),
        ];
        self.plain(label, &parts.join(", "));
    }

    /// The first, last, least and greatest value of each variable.
    fn ends(&mut self, scans: &Scans, (first, last): (&Scan, &Scan), first_x: &[f64]) {
        let x_ends = (first_x[0], first_x[first_x.len() - 1]);
        let last_y = last.curve.y[last.curve.y.len() - 1];
        self.list(
            "FIRST",
            &x_of(&first.curve, x_ends.0),
            &y_of(&first.curve, first.curve.y[0]),
            &held(first),
        );
        self.list(
            "LAST",
            &x_of(&first.curve, x_ends.1),
            &y_of(&last.curve, last_y),
            &held(last),
        );
        let all = |pick: &dyn Fn(&Curve) -> &[f64], greatest: bool| -> f64 {
            let values = scans.scans.iter().flat_map(|s| pick(&s.curve).iter().copied());
            if greatest {
                values.fold(f64::NEG_INFINITY, f64::max)
            } else {
                values.fold(f64::INFINITY, f64::min)
            }
        };
        let by_held = |greatest: bool| {
            let pick = |a: &&Scan, b: &&Scan| a.held.total_cmp(&b.held);
            let scan = if greatest {
                scans.scans.iter().max_by(pick)
            } else {
                scans.scans.iter().min_by(pick)
            };
            held(scan.unwrap_or(first))
        };
        for (label, greatest) in [("MIN", false), ("MAX", true)] {
            let x = x_of(&first.curve, all(&|c| &c.x, greatest));
            let y = y_of(&first.curve, all(&|c| &c.y, greatest));
            self.list(label, &x, &y, &by_held(greatest));
        }
    }

    /// One page a scan.
    fn pages(
        &mut self,
        scans: &Scans,
        symbol: &str,
        grid: Option<EvenGrid>,
        mut integers: Option<Vec<(Vec<i64>, u16)>>,
    ) {
        for (index, scan) in scans.scans.iter().enumerate() {
            self.plain("PAGE", &format!("{symbol}={}", held(scan)));
            let curve = &scan.curve;
            let count = curve.x.len() + curve.missing.len();
            self.plain("NPOINTS", &count.to_string());
            let x0 = all_abscissas(curve)[0];
            let first_entries = [x_of(curve, x0), y_of(curve, curve.y[0]), held(scan)];
            self.plain("FIRST", &first_entries.join(", "));
            match grid {
                Some(grid) => {
                    let integers = integers.as_mut().map(|pages| std::mem::take(&mut pages[index]));
                    let plan = Plan {
                        grid: Some(grid),
                        integers,
                    };
                    self.plain("DATA TABLE", "(X++(Y..Y)), XYDATA");
                    self.xydata(curve, &plan, &grid);
                }
                None => {
                    self.plain("DATA TABLE", "(XY..XY), XYPOINTS");
                    self.xypoints(curve);
                }
            }
        }
    }
}

fn number(value: f64, decimals: Option<u16>) -> String {
    let mut text = String::new();
    print(value, decimals, &mut text);
    text
}

fn x_of(curve: &Curve, value: f64) -> String {
    number(value, curve.x_decimals.of(0))
}

fn y_of(curve: &Curve, value: f64) -> String {
    number(value, curve.y_decimals.greatest())
}

fn held(scan: &Scan) -> String {
    number(scan.held, Some(scan.held_decimals))
}
