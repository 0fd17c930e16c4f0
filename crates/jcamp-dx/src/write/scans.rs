//! Scans over one axis, as the pages of NTUPLES.

use super::curves::{Plan, all_abscissas, bits_equal, check_curve, even_grid, power_text};
use super::{Refusal, Scan, Scans, Sheet, Writer};
use crate::asdf::encode::Form;
use crate::curve::Curve;
use crate::number::print;
use crate::remark::Code;
use crate::text::{remark, safe};

impl Writer<'_> {
    pub(super) fn scans(&mut self, scans: &Scans, sheet: &Sheet) -> Result<(), Refusal> {
        let title = &sheet.title;
        let inconsistent = |what| {
            Err(Refusal::Inconsistent {
                title: title.clone(),
                what,
            })
        };
        let Some(first) = scans.scans.first() else {
            return Err(Refusal::Empty { title: title.clone() });
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
                return Err(Refusal::NotFinite {
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
        let mut integers: Option<Vec<(Vec<i64>, u16)>> = (grid.is_some() && self.options.form != Form::Affn)
            .then(|| scans.scans.iter().map(|s| self.integers(&s.curve)).collect())
            .flatten();
        if integers
            .as_ref()
            .is_some_and(|pages| pages.iter().any(|p| p.1 != pages[0].1))
        {
            integers = None;
        }
        if integers.is_none() && self.options.form != Form::Affn {
            let found = format!("pages of {title:?} without a common grid and factor");
            self.remarks.push(remark(
                Code::FormNotPossible,
                found,
                "a common grid and factor; AFFN was written",
            ));
        }
        let decimals = integers.as_ref().map_or(0, |pages| pages[0].1);
        let asdf = integers.is_some();
        let entry = |writer: &mut Self, label: &str, text: &str| {
            let text = safe(
                label,
                &text.replace('\n', " "),
                writer.options.non_ascii,
                &mut writer.remarks,
            );
            if text.contains(',') {
                let found = format!("a comma in {label}: {text:?}");
                writer
                    .remarks
                    .push(remark(Code::TextChanged, found, "an entry without commas"));
            }
            text.replace(',', " ").trim().to_owned()
        };
        let name = entry(self, "NTUPLES", &sheet.data_type);
        let list = |writer: &mut Self, label: &str, x: &str, y: &str, held: &str| {
            let parts = [
                entry(writer, label, x),
                entry(writer, label, y),
                entry(writer, label, held),
            ];
            writer.plain(label, &parts.join(", "));
        };
        let number = |value: f64, decimals: Option<u16>| {
            let mut text = String::new();
            print(value, decimals, &mut text);
            text
        };
        let last = scans.scans.last().unwrap_or(first);
        let x_of = |curve: &Curve, value: f64| number(value, curve.x_decimals.of(0));
        let y_of = |curve: &Curve, value: f64| number(value, curve.y_decimals.greatest());
        self.plain("NTUPLES", &name);
        list(self, "VAR_NAME", &scans.x_name, &scans.y_name, &scans.held_name);
        list(self, "SYMBOL", "X", "Y", &symbol);
        list(self, "VAR_TYPE", "INDEPENDENT", "DEPENDENT", "PAGE");
        list(
            self,
            "VAR_FORM",
            "AFFN",
            if asdf { "ASDF" } else { "AFFN" },
            "AFFN",
        );
        let count = first_x.len().to_string();
        list(self, "VAR_DIM", &count, &count, &scans.scans.len().to_string());
        list(self, "UNITS", &sheet.x_units, &sheet.y_units, &scans.held_units);
        let x_ends = (first_x[0], first_x[first_x.len() - 1]);
        let held = |scan: &Scan| number(scan.held, Some(scan.held_decimals));
        let last_y = last.curve.y[last.curve.y.len() - 1];
        list(
            self,
            "FIRST",
            &x_of(&first.curve, x_ends.0),
            &y_of(&first.curve, first.curve.y[0]),
            &held(first),
        );
        list(
            self,
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
            list(self, label, &x, &y, &by_held(greatest));
        }
        list(self, "FACTOR", "1", &power_text(decimals), "1");
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
        self.plain("END NTUPLES", &name);
        Ok(())
    }
}
