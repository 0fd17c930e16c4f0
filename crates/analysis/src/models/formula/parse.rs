//! From text to instructions.

use super::FormulaError;
use super::tape::{FormulaTape, Op};

pub(super) struct ParsedFormula {
    pub(super) tape: FormulaTape,
    pub(super) parameters: Vec<String>,
    /// The left-hand side, where it is more than `y`.
    pub(super) response: Option<FormulaTape>,
    /// The name on the left-hand side; `y` without one.
    pub(super) measured: String,
}

/// Longest formula read, in characters, and deepest nesting: far above any real formula, and a bound on the work.
const LONGEST: usize = 20_000;
const DEEPEST: usize = 200;

const FUNCTIONS: &str = "exp, ln, log, log10, sqrt, sin, cos, tan, atan, arctan, abs";

#[derive(Clone, Debug, PartialEq)]
enum FormulaToken {
    Number(f64),
    Name(String),
    Sign(char),
    Power,
    End,
}

impl FormulaToken {
    fn describe(&self) -> String {
        match self {
            Self::Number(v) => format!("the number {v}"),
            Self::Name(name) => format!("'{name}'"),
            Self::Sign(c) => format!("'{c}'"),
            Self::Power => "'^'".into(),
            Self::End => "the end of the formula".into(),
        }
    }
}

fn error<T>(column: usize, found: String, expected: impl Into<String>) -> Result<T, FormulaError> {
    Err(FormulaError {
        column,
        found,
        expected: expected.into(),
    })
}

fn tokens(text: &str) -> Result<Vec<(usize, FormulaToken)>, FormulaError> {
    let letters: Vec<char> = text.chars().collect();
    if letters.len() > LONGEST {
        return error(
            LONGEST,
            "a longer formula".into(),
            format!("at most {LONGEST} characters"),
        );
    }
    let mut list = Vec::new();
    let mut i = 0;
    while i < letters.len() {
        let c = letters[i];
        let column = i + 1;
        if c.is_whitespace() {
            i += 1;
        } else if c.is_ascii_digit() || (c == '.' && letters.get(i + 1).is_some_and(char::is_ascii_digit)) {
            let from = i;
            while letters.get(i).is_some_and(char::is_ascii_digit) {
                i += 1;
            }
            if letters.get(i) == Some(&'.') {
                i += 1;
                while letters.get(i).is_some_and(char::is_ascii_digit) {
                    i += 1;
                }
            }
            // An exponent only where digits follow: `2*e` is a product, `2e3` a number.
            if matches!(letters.get(i), Some('e' | 'E')) {
                let mut k = i + 1;
                if matches!(letters.get(k), Some('+' | '-')) {
                    k += 1;
                }
                if letters.get(k).is_some_and(char::is_ascii_digit) {
                    while letters.get(k).is_some_and(char::is_ascii_digit) {
                        k += 1;
                    }
                    i = k;
                }
            }
            let written: String = letters[from..i].iter().collect();
            match written.parse::<f64>() {
                Ok(value) if value.is_finite() => list.push((column, FormulaToken::Number(value))),
                _ => return error(column, format!("'{written}'"), "a number that a double can hold"),
            }
        } else if c.is_alphabetic() || c == '_' {
            let from = i;
            while letters.get(i).is_some_and(|c| c.is_alphanumeric() || *c == '_') {
                i += 1;
            }
            list.push((column, FormulaToken::Name(letters[from..i].iter().collect())));
        } else if c == '*' && letters.get(i + 1) == Some(&'*') {
            list.push((column, FormulaToken::Power));
            i += 2;
        } else {
            let token = match c {
                '^' => FormulaToken::Power,
                '+' | '-' | '*' | '/' | '(' | ')' | '=' => FormulaToken::Sign(c),
                '[' => FormulaToken::Sign('('),
                ']' => FormulaToken::Sign(')'),
                '\u{2212}' => FormulaToken::Sign('-'),
                '\u{00b7}' | '\u{00d7}' => FormulaToken::Sign('*'),
                _ => {
                    return error(
                        column,
                        format!("'{c}'"),
                        "a number, a name, a parenthesis or one of + - * / ^",
                    );
                }
            };
            list.push((column, token));
            i += 1;
        }
    }
    list.push((letters.len() + 1, FormulaToken::End));
    Ok(list)
}

struct FormulaParser<'a> {
    tokens: &'a [(usize, FormulaToken)],
    at: usize,
    depth: usize,
    variables: &'a [&'a str],
    parameters: Vec<String>,
    may_name_parameters: bool,
    tape: FormulaTape,
}

/// Reads a formula, with or without a left-hand side.
pub(super) fn parse(text: &str, variables: &[&str]) -> Result<ParsedFormula, FormulaError> {
    let mut all = tokens(text)?;
    let mut response = None;
    let mut measured = "y".to_owned();
    if let Some(equals) = all.iter().position(|(_, t)| *t == FormulaToken::Sign('=')) {
        let right = all.split_off(equals + 1);
        let (column, _) = all.remove(equals);
        all.push((column, FormulaToken::End));
        let plain = matches!(all.as_slice(), [(_, FormulaToken::Name(_)), _]);
        // The first name that is no function; with none, the parser says what it expected.
        if let Some(name) = all.windows(2).find_map(|pair| match pair {
            [(_, FormulaToken::Name(name)), (_, next)] if *next != FormulaToken::Sign('(') => Some(name),
            _ => None,
        }) {
            measured.clone_from(name);
        }
        let names = [measured.as_str()];
        let mut left = FormulaParser {
            tokens: &all,
            at: 0,
            depth: 0,
            variables: &names,
            parameters: Vec::new(),
            may_name_parameters: false,
            tape: FormulaTape::default(),
        };
        let root = left.whole()?;
        left.tape.finish(root);
        if !plain {
            response = Some(left.tape);
        }
        all = right;
    }
    let mut parser = FormulaParser {
        tokens: &all,
        at: 0,
        depth: 0,
        variables,
        parameters: Vec::new(),
        may_name_parameters: true,
        tape: FormulaTape::default(),
    };
    let root = parser.whole()?;
    parser.tape.finish(root);
    if parser.parameters.is_empty() {
        return error(
            1,
            "no parameter".into(),
            "at least one name that is not a variable, to be fitted",
        );
    }
    Ok(ParsedFormula {
        tape: parser.tape,
        parameters: parser.parameters,
        response,
        measured,
    })
}

impl FormulaParser<'_> {
    fn peek(&self) -> &FormulaToken {
        self.tokens.get(self.at).map_or(&FormulaToken::End, |t| &t.1)
    }

    fn column(&self) -> usize {
        self.tokens.get(self.at).map_or(1, |t| t.0)
    }

    fn fail<T>(&self, expected: impl Into<String>) -> Result<T, FormulaError> {
        error(self.column(), self.peek().describe(), expected)
    }

    fn whole(&mut self) -> Result<usize, FormulaError> {
        let root = self.sum()?;
        match self.peek() {
            FormulaToken::End => Ok(root),
            FormulaToken::Sign(')') => self.fail("an operator or the end (there is no open parenthesis)"),
            _ => self.fail("an operator (+ - * / ^) or the end; products need a '*'"),
        }
    }

    fn sum(&mut self) -> Result<usize, FormulaError> {
        self.depth += 1;
        if self.depth > DEEPEST {
            return self.fail(format!("at most {DEEPEST} levels of nesting"));
        }
        let mut left = self.product()?;
        while let FormulaToken::Sign(sign @ ('+' | '-')) = *self.peek() {
            self.at += 1;
            let right = self.product()?;
            left = self.tape.push(if sign == '+' {
                Op::Add(left, right)
            } else {
                Op::Subtract(left, right)
            });
        }
        self.depth -= 1;
        Ok(left)
    }

    fn product(&mut self) -> Result<usize, FormulaError> {
        let mut left = self.signed()?;
        while let FormulaToken::Sign(sign @ ('*' | '/')) = *self.peek() {
            self.at += 1;
            let right = self.signed()?;
            left = self.tape.push(if sign == '*' {
                Op::Multiply(left, right)
            } else {
                Op::Divide(left, right)
            });
        }
        Ok(left)
    }

    /// A sign binds looser than a power: `-x^2` is `-(x^2)`.
    fn signed(&mut self) -> Result<usize, FormulaError> {
        match *self.peek() {
            FormulaToken::Sign(sign @ ('-' | '+')) => {
                self.depth += 1;
                if self.depth > DEEPEST {
                    return self.fail(format!("at most {DEEPEST} levels of nesting"));
                }
                self.at += 1;
                let inner = self.signed()?;
                self.depth -= 1;
                Ok(if sign == '-' {
                    self.tape.push(Op::Negate(inner))
                } else {
                    inner
                })
            }
            _ => self.power(),
        }
    }

    fn power(&mut self) -> Result<usize, FormulaError> {
        let base = self.primary()?;
        if *self.peek() != FormulaToken::Power {
            return Ok(base);
        }
        self.depth += 1;
        if self.depth > DEEPEST {
            return self.fail(format!("at most {DEEPEST} levels of nesting"));
        }
        self.at += 1;
        let exponent = self.signed()?;
        self.depth -= 1;
        Ok(match self.tape.constant(exponent) {
            Some(n) if n.fract() == 0.0 && n.abs() <= 64.0 => self.tape.push(Op::Integer(base, n as i32)),
            _ => self.tape.push(Op::Power(base, exponent)),
        })
    }

    fn primary(&mut self) -> Result<usize, FormulaError> {
        match self.peek().clone() {
            FormulaToken::Number(value) => {
                self.at += 1;
                Ok(self.tape.push(Op::Constant(value.to_bits())))
            }
            FormulaToken::Sign('(') => {
                self.at += 1;
                let inner = self.sum()?;
                self.close()?;
                Ok(inner)
            }
            FormulaToken::Name(name) => {
                let is_call = matches!(self.tokens.get(self.at + 1), Some((_, FormulaToken::Sign('('))));
                if is_call {
                    self.call(&name)
                } else {
                    self.name(&name)
                }
            }
            _ => self.fail("a number, a name, a function or an opening parenthesis"),
        }
    }

    fn close(&mut self) -> Result<(), FormulaError> {
        if *self.peek() == FormulaToken::Sign(')') {
            self.at += 1;
            return Ok(());
        }
        self.fail("an operator or a closing parenthesis")
    }

    fn call(&mut self, name: &str) -> Result<usize, FormulaError> {
        let known = [
            "exp", "ln", "log", "log10", "sqrt", "sin", "cos", "tan", "atan", "arctan", "abs",
        ];
        if !known.contains(&name) {
            return self.fail(format!(
                "one of the functions {FUNCTIONS} before a parenthesis (a product needs a '*')"
            ));
        }
        self.at += 2;
        let a = self.sum()?;
        self.close()?;
        let op = match name {
            "exp" => Op::Exp(a),
            "ln" | "log" => Op::Ln(a),
            "log10" => Op::Log10(a),
            "sqrt" => Op::Sqrt(a),
            "sin" => Op::Sin(a),
            "cos" => Op::Cos(a),
            "tan" => Op::Tan(a),
            "abs" => Op::Abs(a),
            _ => Op::Atan(a),
        };
        Ok(self.tape.push(op))
    }

    fn name(&mut self, name: &str) -> Result<usize, FormulaError> {
        let op = if let Some(i) = self.variables.iter().position(|v| *v == name) {
            Op::Variable(i)
        } else if name == "pi" {
            Op::Pi
        } else if FUNCTIONS.split(", ").any(|f| f == name) {
            self.at += 1;
            return self.fail(format!("an opening parenthesis after the function '{name}'"));
        } else if !self.may_name_parameters {
            let measured = self.variables.first().copied().unwrap_or("y");
            return self.fail(format!(
                "only '{measured}', numbers and functions on the left-hand side"
            ));
        } else if let Some(i) = self.parameters.iter().position(|p| p == name) {
            Op::Parameter(i)
        } else {
            self.parameters.push(name.into());
            Op::Parameter(self.parameters.len() - 1)
        };
        self.at += 1;
        Ok(self.tape.push(op))
    }
}
