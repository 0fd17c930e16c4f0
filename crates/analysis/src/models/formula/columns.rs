//! A formula over whole columns of doubles, where a fit spends its time.
//!
//! Instructions run over fixed blocks of points, so that plain arithmetic becomes vector instructions. What is the same at
//! every point (numbers, parameters, and what follows from these alone) is computed once for all blocks, and the room
//! for intermediate results is kept from call to call.

use std::cell::Cell;

use super::tape::{FormulaTape, Op};
use crate::courses::exponentials;
use crate::double::Real;

/// Points that are worked on together.
const BLOCK: usize = 64;

type ValueBlock = [f64; BLOCK];

thread_local! {
    /// Room for intermediate results.
    static ROOM: Cell<Vec<ValueBlock>> = const { Cell::new(Vec::new()) };
}

#[inline(always)]
fn each(out: &mut ValueBlock, a: &ValueBlock, f: impl Fn(f64) -> f64) {
    for (o, a) in out.iter_mut().zip(a) {
        *o = f(*a);
    }
}

#[inline(always)]
fn pairs(out: &mut ValueBlock, a: &ValueBlock, b: &ValueBlock, f: impl Fn(f64, f64) -> f64) {
    for ((o, a), b) in out.iter_mut().zip(a).zip(b) {
        *o = f(*a, *b);
    }
}

/// Adds `slope` times a factor to the slope of an input; where nothing else uses that input, it is all of its slope.
#[inline(always)]
fn pass(to: &mut ValueBlock, only: bool, slope: &ValueBlock, f: impl Fn(usize) -> f64) {
    if only {
        for (k, (o, s)) in to.iter_mut().zip(slope).enumerate() {
            *o = s * f(k);
        }
    } else {
        for (k, (o, s)) in to.iter_mut().zip(slope).enumerate() {
            *o += s * f(k);
        }
    }
}

fn exponential(out: &mut ValueBlock, a: &ValueBlock) {
    // Beyond this the quick way would give a finite number for what is zero or too large to hold.
    let largest = a
        .iter()
        .fold(0.0, |all, v| if v.abs() <= all { all } else { v.abs() });
    if largest < 700.0 {
        exponentials(1.0, a, out);
    } else {
        each(out, a, f64::exp);
    }
}

fn integer_power(out: &mut ValueBlock, a: &ValueBlock, n: i32) {
    match n {
        1 => *out = *a,
        2 => each(out, a, |a| a * a),
        -1 => each(out, a, |a| 1.0 / a),
        _ => each(out, a, |a| a.powi(n)),
    }
}

impl FormulaTape {
    /// The value of one instruction at the points of a block, from those before it.
    fn step(
        &self,
        place: usize,
        p: &[f64],
        x: &dyn Fn(usize, &mut ValueBlock),
        registers: &mut [ValueBlock],
    ) {
        let (before, rest) = registers.split_at_mut(place);
        let Some(out) = rest.first_mut() else { return };
        let at = |i: usize| &before[i];
        match self.ops[place] {
            Op::Constant(bits) => out.fill(f64::from_bits(bits)),
            Op::Pi => out.fill(f64::PI),
            Op::Variable(i) => x(i, out),
            Op::Parameter(j) => out.fill(p[j]),
            Op::Add(a, b) => pairs(out, at(a), at(b), |a, b| a + b),
            Op::Subtract(a, b) => pairs(out, at(a), at(b), |a, b| a - b),
            Op::Multiply(a, b) => pairs(out, at(a), at(b), |a, b| a * b),
            Op::Divide(a, b) => pairs(out, at(a), at(b), |a, b| a / b),
            Op::Power(a, b) => pairs(out, at(a), at(b), f64::powf),
            Op::Negate(a) => each(out, at(a), |a| -a),
            Op::Integer(a, n) => integer_power(out, at(a), n),
            Op::Exp(a) => exponential(out, at(a)),
            Op::Ln(a) => each(out, at(a), f64::ln),
            Op::Log10(a) => each(out, at(a), |a| a.ln() / f64::LN_10),
            Op::Sqrt(a) => each(out, at(a), f64::sqrt),
            Op::Sin(a) => each(out, at(a), f64::sin),
            Op::Cos(a) => each(out, at(a), f64::cos),
            Op::Tan(a) => each(out, at(a), |a| a.sin() / a.cos()),
            Op::Atan(a) => each(out, at(a), f64::atan),
            Op::Abs(a) => each(out, at(a), f64::abs),
        }
    }

    /// Hands the slope of one instruction on to its inputs.
    fn step_back(&self, place: usize, registers: &[ValueBlock], slopes: &mut [ValueBlock]) {
        let (before, rest) = slopes.split_at_mut(place);
        let Some(slope) = rest.first() else { return };
        let own = &registers[place];
        let value = |i: usize| &registers[i];
        let mut give = |i: usize, f: &dyn Fn(&mut ValueBlock, bool)| {
            if self.active[i] {
                f(&mut before[i], self.uses[i] == 1);
            }
        };
        match self.ops[place] {
            Op::Constant(_) | Op::Pi | Op::Variable(_) | Op::Parameter(_) => {}
            Op::Add(a, b) => {
                give(a, &|to, only| pass(to, only, slope, |_| 1.0));
                give(b, &|to, only| pass(to, only, slope, |_| 1.0));
            }
            Op::Subtract(a, b) => {
                give(a, &|to, only| pass(to, only, slope, |_| 1.0));
                give(b, &|to, only| pass(to, only, slope, |_| -1.0));
            }
            Op::Multiply(a, b) => {
                let (va, vb) = (value(a), value(b));
                give(a, &|to, only| pass(to, only, slope, |k| vb[k]));
                give(b, &|to, only| pass(to, only, slope, |k| va[k]));
            }
            Op::Divide(a, b) => {
                let vb = value(b);
                give(a, &|to, only| pass(to, only, slope, |k| 1.0 / vb[k]));
                give(b, &|to, only| pass(to, only, slope, |k| -(own[k] / vb[k])));
            }
            Op::Negate(a) => give(a, &|to, only| pass(to, only, slope, |_| -1.0)),
            Op::Integer(_, 0) => {}
            Op::Integer(a, n) => {
                let va = value(a);
                give(a, &|to, only| {
                    let mut power = [0.0; BLOCK];
                    if n == 1 {
                        power.fill(1.0);
                    } else {
                        integer_power(&mut power, va, n - 1);
                    }
                    pass(to, only, slope, |k| f64::from(n) * power[k]);
                });
            }
            Op::Power(a, b) => {
                let (va, vb) = (value(a), value(b));
                give(a, &|to, only| {
                    pass(to, only, slope, |k| vb[k] * va[k].powf(vb[k] - 1.0))
                });
                // 0 to a positive power stays 0 whatever the power.
                give(b, &|to, only| {
                    pass(to, only, slope, |k| {
                        if own[k] == 0.0 { 0.0 } else { own[k] * va[k].ln() }
                    });
                });
            }
            Op::Exp(a) => give(a, &|to, only| pass(to, only, slope, |k| own[k])),
            Op::Ln(a) => give(a, &|to, only| pass(to, only, slope, |k| 1.0 / value(a)[k])),
            Op::Log10(a) => give(a, &|to, only| {
                pass(to, only, slope, |k| 1.0 / (value(a)[k] * f64::LN_10))
            }),
            Op::Sqrt(a) => give(a, &|to, only| pass(to, only, slope, |k| 0.5 / own[k])),
            Op::Sin(a) => give(a, &|to, only| pass(to, only, slope, |k| value(a)[k].cos())),
            Op::Cos(a) => give(a, &|to, only| pass(to, only, slope, |k| -value(a)[k].sin())),
            Op::Tan(a) => give(a, &|to, only| pass(to, only, slope, |k| 1.0 + own[k] * own[k])),
            Op::Atan(a) => give(a, &|to, only| {
                pass(to, only, slope, |k| 1.0 / (1.0 + value(a)[k] * value(a)[k]))
            }),
            Op::Abs(a) => give(a, &|to, only| {
                pass(to, only, slope, |k| if value(a)[k] < 0.0 { -1.0 } else { 1.0 });
            }),
        }
    }

    /// Runs `block` for every block of points, with the values of all instructions there and room for their slopes.
    fn run(
        &self,
        x: &[&[f64]],
        p: &[f64],
        n: usize,
        mut block: impl FnMut(usize, usize, &[ValueBlock], &mut [ValueBlock]),
    ) {
        let count = self.ops.len();
        let mut room = ROOM.take();
        room.resize(room.len().max(2 * count), [0.0; BLOCK]);
        let (registers, slopes) = room.split_at_mut(count);
        for place in (0..count).filter(|place| !self.varies[*place]) {
            self.step(place, p, &|_, _| {}, registers);
        }
        for first in (0..n).step_by(BLOCK) {
            let lanes = BLOCK.min(n - first);
            // The last block is filled up with its first point.
            let column = |i: usize, out: &mut ValueBlock| {
                out[..lanes].copy_from_slice(&x[i][first..first + lanes]);
                out[lanes..].fill(x[i][first]);
            };
            for place in (0..count).filter(|place| self.varies[*place]) {
                self.step(place, p, &column, registers);
            }
            block(first, lanes, registers, slopes);
        }
        ROOM.set(room);
    }

    pub(super) fn evaluate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64]) {
        self.run(x, p, values.len(), |first, lanes, registers, _| {
            values[first..first + lanes].copy_from_slice(&registers[self.root][..lanes]);
        });
    }

    pub(super) fn differentiate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64], columns: &mut [f64]) {
        let n = values.len();
        // Every parameter of a formula is an instruction of it, unless a number of them is handed in that it does not have.
        if self
            .ops
            .iter()
            .filter(|op| matches!(op, Op::Parameter(_)))
            .count()
            < p.len()
        {
            columns.fill(0.0);
        }
        self.run(x, p, n, |first, lanes, registers, slopes| {
            values[first..first + lanes].copy_from_slice(&registers[self.root][..lanes]);
            for place in (0..=self.root).filter(|place| self.active[*place] && self.uses[*place] != 1) {
                slopes[place] = [0.0; BLOCK];
            }
            slopes[self.root] = [1.0; BLOCK];
            for place in (0..=self.root).rev().filter(|place| self.active[*place]) {
                match self.ops[place] {
                    Op::Parameter(j) => {
                        columns[j * n + first..][..lanes].copy_from_slice(&slopes[place][..lanes])
                    }
                    _ => self.step_back(place, registers, slopes),
                }
            }
        });
    }
}
