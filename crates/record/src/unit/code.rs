//! UCUM codes: their grammar, the atoms of this trade, exact scales, and how codes are shown.

use super::Dimension;

/// What an atom measures: exponents of m kg s A K mol cd rad.
type Base = [i8; 8];

/// One unit atom of UCUM with its SI value `numerator / denominator × 10^exponent`, as UCUM 2.2 defines it.
struct Atom {
    code: &'static str,
    /// Whether it takes prefixes.
    metric: bool,
    base: Base,
    numerator: u64,
    denominator: u64,
    exponent: i32,
    /// How people print it.
    shown: &'static str,
}

const fn atom(
    code: &'static str,
    metric: bool,
    base: Base,
    numerator: u64,
    exponent: i32,
    shown: &'static str,
) -> Atom {
    Atom {
        code,
        metric,
        base,
        numerator,
        denominator: 1,
        exponent,
        shown,
    }
}

const NUMBER: Base = [0; 8];
const PRESSURE: Base = [-1, 1, -2, 0, 0, 0, 0, 0];
const ENERGY: Base = [2, 1, -2, 0, 0, 0, 0, 0];
const SECOND: Base = [0, 0, 1, 0, 0, 0, 0, 0];
const KELVIN: Base = [0, 0, 0, 0, 1, 0, 0, 0];
const VOLUME: Base = [3, 0, 0, 0, 0, 0, 0, 0];
const CATALYTIC: Base = [0, 0, -1, 0, 0, 1, 0, 0];
const ANGLE: Base = [0, 0, 0, 0, 0, 0, 0, 1];

/// The atoms of this trade. Factors: UCUM specification, tables of base, derived and other units; the electronvolt
/// from e = 1.602176634e-19 C (SI, exact); the calorie is UCUM's `cal` (thermochemical, 4.184 J).
static ATOMS: &[Atom] = &[
    atom("m", true, [1, 0, 0, 0, 0, 0, 0, 0], 1, 0, "m"),
    atom("g", true, [0, 1, 0, 0, 0, 0, 0, 0], 1, -3, "g"),
    atom("s", true, SECOND, 1, 0, "s"),
    atom("A", true, [0, 0, 0, 1, 0, 0, 0, 0], 1, 0, "A"),
    atom("K", true, KELVIN, 1, 0, "K"),
    atom("mol", true, [0, 0, 0, 0, 0, 1, 0, 0], 1, 0, "mol"),
    // Equivalents: a mole of charges (UCUM, `eq`).
    atom("eq", true, [0, 0, 0, 0, 0, 1, 0, 0], 1, 0, "eq"),
    atom("cd", true, [0, 0, 0, 0, 0, 0, 1, 0], 1, 0, "cd"),
    atom("rad", true, ANGLE, 1, 0, "rad"),
    atom("Hz", true, [0, 0, -1, 0, 0, 0, 0, 0], 1, 0, "Hz"),
    atom("N", true, [1, 1, -2, 0, 0, 0, 0, 0], 1, 0, "N"),
    atom("Pa", true, PRESSURE, 1, 0, "Pa"),
    atom("J", true, ENERGY, 1, 0, "J"),
    atom("W", true, [2, 1, -3, 0, 0, 0, 0, 0], 1, 0, "W"),
    atom("C", true, [0, 0, 1, 1, 0, 0, 0, 0], 1, 0, "C"),
    atom("V", true, [2, 1, -3, -1, 0, 0, 0, 0], 1, 0, "V"),
    atom("S", true, [-2, -1, 3, 2, 0, 0, 0, 0], 1, 0, "S"),
    atom("Ohm", true, [2, 1, -3, -2, 0, 0, 0, 0], 1, 0, "Ω"),
    atom("L", true, VOLUME, 1, -3, "L"),
    atom("l", true, VOLUME, 1, -3, "L"),
    atom("min", false, SECOND, 60, 0, "min"),
    atom("h", false, SECOND, 3600, 0, "h"),
    atom("d", false, SECOND, 86_400, 0, "d"),
    atom("wk", false, SECOND, 604_800, 0, "wk"),
    // The mean Julian month, a twelfth of 365.25 d.
    atom("mo", false, SECOND, 2_629_800, 0, "mo"),
    atom("bar", true, PRESSURE, 1, 5, "bar"),
    atom("atm", false, PRESSURE, 101_325, 0, "atm"),
    atom("m[Hg]", true, PRESSURE, 133_322, 0, "mHg"),
    atom("eV", true, ENERGY, 1_602_176_634, -28, "eV"),
    atom("cal", true, ENERGY, 4184, -3, "cal"),
    atom("Ao", false, [1, 0, 0, 0, 0, 0, 0, 0], 1, -10, "Å"),
    // π/180 to the digits of a double.
    atom("deg", false, ANGLE, 17_453_292_519_943_295, -18, "°"),
    atom("lx", true, [-2, 0, 0, 0, 0, 0, 1, 0], 1, 0, "lx"),
    atom("T", true, [0, 1, -2, -1, 0, 0, 0, 0], 1, 0, "T"),
    atom("Gy", true, [2, 0, -2, 0, 0, 0, 0, 0], 1, 0, "Gy"),
    atom("kat", true, CATALYTIC, 1, 0, "kat"),
    Atom {
        code: "U",
        metric: true,
        base: CATALYTIC,
        numerator: 1,
        denominator: 60,
        exponent: -6,
        shown: "U",
    },
    atom("10*", false, NUMBER, 1, 1, "10"),
    atom("10^", false, NUMBER, 1, 1, "10"),
    atom("%", false, NUMBER, 1, -2, "%"),
    atom("[ppth]", false, NUMBER, 1, -3, "‰"),
    atom("[ppm]", false, NUMBER, 1, -6, "ppm"),
    atom("[ppb]", false, NUMBER, 1, -9, "ppb"),
];

/// Atoms whose scale is a convention, by their place in [`Dimension`]'s own list.
static CONVENTIONS: &[(&str, bool, usize, &str)] = &[
    ("[pH]", false, 0, ""),
    ("[iU]", true, 1, "IU"),
    ("[IU]", true, 1, "IU"),
    ("[arb'U]", false, 2, "arb. unit"),
    // The bel: a logarithm of a ratio, and no number that converts to one.
    ("B", true, 3, "B"),
];

/// Atoms whose zero is elsewhere: value + offset (hundredths), then × numerator / denominator, is kelvin.
static OFFSETS: &[(&str, i64, u64, u64, &str)] =
    &[("Cel", 27_315, 1, 1, "°C"), ("[degF]", 45_967, 5, 9, "°F")];

/// UCUM's prefixes, as powers of ten. `da` stands before `d` so that the longer one is tried first.
static PREFIXES: &[(&str, i32)] = &[
    ("da", 1),
    ("Y", 24),
    ("Z", 21),
    ("E", 18),
    ("P", 15),
    ("T", 12),
    ("G", 9),
    ("M", 6),
    ("k", 3),
    ("h", 2),
    ("d", -1),
    ("c", -2),
    ("m", -3),
    ("u", -6),
    ("n", -9),
    ("p", -12),
    ("f", -15),
    ("a", -18),
    ("z", -21),
    ("y", -24),
];

/// The longest code that is read, and the deepest nesting: far above any real unit.
const LONGEST: usize = 160;
const DEEPEST: usize = 8;
/// The largest exponent that is read.
const STEEPEST: i32 = 30;

/// The exact scale of a unit: SI value = (value + offset / 100) × numerator / denominator × 10^exponent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Scale {
    numerator: u128,
    denominator: u128,
    exponent: i32,
    /// In hundredths of the unit.
    offset: i64,
}

impl Scale {
    pub(super) const ONE: Self = Self {
        numerator: 1,
        denominator: 1,
        exponent: 0,
        offset: 0,
    };

    fn times(self, other: Self, power: i32) -> Option<Self> {
        let mut product = self;
        for _ in 0..power.unsigned_abs() {
            let (up, down) = if power > 0 {
                (other.numerator, other.denominator)
            } else {
                (other.denominator, other.numerator)
            };
            let numerator = product.numerator.checked_mul(up)?;
            let denominator = product.denominator.checked_mul(down)?;
            let common = gcd(numerator, denominator);
            product.numerator = numerator / common;
            product.denominator = denominator / common;
            product.exponent += other.exponent * power.signum();
        }
        Some(product)
    }

    /// The same steps, counted from the zero of SI.
    pub(super) fn without_zero(self) -> Self {
        Self { offset: 0, ..self }
    }

    /// `value` of this scale in the other, correctly rounded from the shortest decimal of `value`.
    pub(super) fn apply(&self, value: f64, to: &Self) -> f64 {
        if self == to || !value.is_finite() {
            return value;
        }
        self.apply_exactly(value, to).unwrap_or_else(|| {
            // Only numbers of absurd size come here (a value of 1e300 with an offset, say).
            let si = (value + self.offset as f64 / 100.0) * (self.numerator as f64 / self.denominator as f64);
            let ten = 10_f64.powi(self.exponent - to.exponent);
            si * ten * (to.denominator as f64 / to.numerator as f64) - to.offset as f64 / 100.0
        })
    }

    fn apply_exactly(&self, value: f64, to: &Self) -> Option<f64> {
        let (digits, exponent) = decimal_of(value)?;
        let (digits, exponent) = add_hundredths(digits, exponent, self.offset)?;
        // A ratio of both scales, reduced.
        let mut up = self.numerator.checked_mul(to.denominator)?;
        let mut down = self.denominator.checked_mul(to.numerator)?;
        let common = gcd(up, down);
        up /= common;
        down /= common;
        let mut exponent = exponent + self.exponent - to.exponent;
        let negative = digits < 0;
        let mut size = digits.unsigned_abs().checked_mul(up)?;
        let common = gcd(size, down).max(1);
        size /= common;
        down /= common;
        if to.offset != 0 {
            // (size/down) × 10^exponent − offset/100 over the common denominator `down`.
            let scaled = i128::try_from(size).ok()? * if negative { -1 } else { 1 };
            let hundredths = to.offset.checked_mul(i64::try_from(down).ok()?)?;
            let (digits, shifted) = add_hundredths(scaled, exponent, -hundredths)?;
            return divided(digits.unsigned_abs(), down, shifted, digits < 0);
        }
        if size == 0 {
            exponent = 0;
        }
        let minus_zero = size == 0 && self.offset == 0 && value.is_sign_negative();
        divided(size, down, exponent, negative || minus_zero)
    }
}

/// `size / down × 10^exponent`, correctly rounded.
fn divided(mut size: u128, down: u128, mut exponent: i32, negative: bool) -> Option<f64> {
    let sign = if negative { "-" } else { "" };
    if down == 1 {
        return format!("{sign}{size}e{exponent}").parse().ok();
    }
    // As many digits as there is room for; whatever is left over makes one more digit, so that a tie is never seen
    // where there is none.
    while let Some(more) = size.checked_mul(10).filter(|_| size != 0) {
        size = more;
        exponent -= 1;
    }
    let sticky = u8::from(!size.is_multiple_of(down));
    format!("{sign}{}{sticky}e{}", size / down, exponent - 1)
        .parse()
        .ok()
}

/// The shortest decimal that is `value`, as digits and a power of ten.
fn decimal_of(value: f64) -> Option<(i128, i32)> {
    let text = format!("{value:e}");
    let (digits, exponent) = text.split_once('e')?;
    let exponent: i32 = exponent.parse().ok()?;
    let decimals = digits.split_once('.').map_or(0, |(_, behind)| behind.len());
    let digits: i128 = digits.replace('.', "").parse().ok()?;
    Some((digits, exponent - i32::try_from(decimals).ok()?))
}

/// `digits × 10^exponent + hundredths / 100`.
fn add_hundredths(digits: i128, exponent: i32, hundredths: i64) -> Option<(i128, i32)> {
    if hundredths == 0 {
        return Some((digits, exponent));
    }
    let target = exponent.min(-2);
    let lift = |number: i128, from: i32| -> Option<i128> {
        let power = 10_i128.checked_pow(u32::try_from(from - target).ok()?)?;
        number.checked_mul(power)
    };
    Some((
        lift(digits, exponent)?.checked_add(lift(i128::from(hundredths), -2)?)?,
        target,
    ))
}

fn gcd(mut a: u128, mut b: u128) -> u128 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}

/// One factor of a code: a number, an atom with its prefix, or a mere annotation; with its exponent.
#[derive(Clone, Debug)]
struct Factor {
    /// Prefix, atom and annotation as written, or the number.
    text: String,
    /// How people print it.
    shown: String,
    /// For column names.
    slug: String,
    exponent: i32,
}

/// A code taken apart.
#[derive(Clone, Debug)]
pub(super) struct ParsedUnit {
    factors: Vec<Factor>,
    pub(super) dimension: Dimension,
    pub(super) scale: Scale,
}

impl ParsedUnit {
    /// Takes a code apart; `None` when it is not valid or holds an unknown atom.
    pub(super) fn of(code: &str) -> Option<Self> {
        if code.is_empty() || code.len() > LONGEST || !code.bytes().all(|b| (33..127).contains(&b)) {
            return None;
        }
        let mut parser = UnitParser {
            rest: code,
            parsed: Self {
                factors: Vec::new(),
                dimension: Dimension::ONE,
                scale: Scale::ONE,
            },
            special: false,
        };
        parser.term(1, 0)?;
        // A unit with its zero elsewhere, and pH, stand alone.
        let alone = parser.parsed.factors.len() == 1 && parser.parsed.factors[0].exponent == 1;
        (parser.rest.is_empty() && (alone || !parser.special)).then_some(parser.parsed)
    }

    /// The one spelling of the code: numerators first, then every denominator behind its own slash.
    pub(super) fn canonical(&self) -> String {
        let mut code = String::new();
        let ten = |factor: &Factor| factor.text == "10*";
        for factor in self.factors.iter().filter(|f| f.exponent > 0 || ten(f)) {
            if !code.is_empty() {
                code.push('.');
            }
            code.push_str(&factor.written(factor.exponent));
        }
        for factor in self.factors.iter().filter(|f| f.exponent < 0 && !ten(f)) {
            code.push('/');
            code.push_str(&factor.written(-factor.exponent));
        }
        if code.is_empty() { "1".to_owned() } else { code }
    }

    pub(super) fn display(&self) -> String {
        let factors = self.printed();
        let part = |factor: &Factor, exponent: i32| format!("{}{}", factor.shown, superscript(exponent));
        let (over, under): (Vec<&Factor>, Vec<&Factor>) = factors
            .iter()
            .filter(|factor| !factor.shown.is_empty())
            .partition(|factor| factor.exponent > 0);
        if let ([only], false) = (under.as_slice(), over.is_empty()) {
            let over: Vec<String> = over.iter().map(|factor| part(factor, factor.exponent)).collect();
            return format!("{}/{}", over.join("·"), part(only, -only.exponent));
        }
        let all: Vec<String> = over
            .iter()
            .chain(&under)
            .map(|factor| part(factor, factor.exponent))
            .collect();
        all.join(" ")
    }

    pub(super) fn slug(&self) -> String {
        let factors = self.printed();
        let part = |factor: &Factor| match factor.exponent.unsigned_abs() {
            1 => factor.slug.clone(),
            size => format!("{}{size}", factor.slug),
        };
        let (over, under): (Vec<&Factor>, Vec<&Factor>) = factors
            .iter()
            .filter(|factor| !factor.slug.is_empty())
            .partition(|factor| factor.exponent > 0);
        let over: Vec<String> = over.into_iter().map(part).collect();
        let under: Vec<String> = under.into_iter().map(part).collect();
        match (over.is_empty(), under.is_empty()) {
            (_, true) => over.join("_x_"),
            (true, false) => format!("per_{}", under.join("_")),
            (false, false) => format!("{}_{}", over.join("_x_"), under.join("_")),
        }
    }

    /// The factors as they are shown: a power of ten is one thing with its exponent, and a thousandth of something
    /// annotated is that with a prefix (`10*-3.{AU}` is `mAU`).
    fn printed(&self) -> Vec<Factor> {
        let mut shown: Vec<Factor> = Vec::with_capacity(self.factors.len());
        let mut factors = self.factors.iter().peekable();
        while let Some(factor) = factors.next() {
            if factor.text != "10*" {
                shown.push(factor.clone());
                continue;
            }
            let annotated = factors
                .peek()
                .filter(|next| factor.exponent == -3 && next.exponent == 1 && next.text.starts_with('{'));
            if let Some(of) = annotated {
                let word = format!("m{}", of.shown);
                let slug = word.chars().filter(char::is_ascii_alphanumeric).collect();
                shown.push(Factor {
                    text: String::new(),
                    shown: word,
                    slug,
                    exponent: 1,
                });
                factors.next();
                continue;
            }
            let minus = if factor.exponent < 0 { "m" } else { "" };
            shown.push(Factor {
                text: String::new(),
                shown: format!("10{}", superscript(factor.exponent)),
                slug: format!("10{minus}{}", factor.exponent.unsigned_abs()),
                exponent: 1,
            });
        }
        shown
    }
}

impl Factor {
    fn written(&self, exponent: i32) -> String {
        if exponent == 1 {
            return self.text.clone();
        }
        // The exponent stands before an annotation: `s2{x}`.
        match self.text.split_once('{') {
            Some((unit, note)) if !unit.is_empty() => format!("{unit}{exponent}{{{note}"),
            _ => format!("{}{exponent}", self.text),
        }
    }
}

fn superscript(exponent: i32) -> String {
    if exponent == 1 {
        return String::new();
    }
    exponent
        .to_string()
        .chars()
        .map(|sign| match sign {
            '-' => '⁻',
            '0' => '⁰',
            '1' => '¹',
            '2' => '²',
            '3' => '³',
            '4' => '⁴',
            '5' => '⁵',
            '6' => '⁶',
            '7' => '⁷',
            '8' => '⁸',
            _ => '⁹',
        })
        .collect()
}

/// A column-name part for a code that is unknown here: its letters and digits.
pub(super) fn slug_of_unknown(code: &str) -> String {
    let plain: String = code
        .chars()
        .map(|sign| if sign.is_ascii_alphanumeric() { sign } else { '_' })
        .collect();
    plain.trim_matches('_').to_owned()
}

struct UnitParser<'a> {
    rest: &'a str,
    parsed: ParsedUnit,
    /// An atom was met that must stand alone.
    special: bool,
}

impl UnitParser<'_> {
    /// `[/] component {(. | /) component}`, all raised to `sign`.
    fn term(&mut self, sign: i32, depth: usize) -> Option<()> {
        if depth > DEEPEST {
            return None;
        }
        let mut direction = if self.eat('/') { -sign } else { sign };
        loop {
            self.component(direction, depth)?;
            if self.eat('.') {
                direction = sign;
            } else if self.eat('/') {
                direction = -sign;
            } else {
                return Some(());
            }
        }
    }

    fn eat(&mut self, sign: char) -> bool {
        match self.rest.strip_prefix(sign) {
            Some(rest) => {
                self.rest = rest;
                true
            }
            None => false,
        }
    }

    fn component(&mut self, direction: i32, depth: usize) -> Option<()> {
        if self.eat('(') {
            self.term(direction, depth + 1)?;
            return self.eat(')').then_some(());
        }
        if self.rest.starts_with('{') {
            let note = self.annotation()?;
            let name = note[1..note.len() - 1].to_owned();
            self.parsed.factors.push(Factor {
                text: note,
                // Absorbance is a pure number, so its column names carry no unit.
                slug: String::new(),
                shown: name,
                exponent: direction,
            });
            return Some(());
        }
        let power_of_ten = self.rest.starts_with("10*") || self.rest.starts_with("10^");
        if self.rest.starts_with(|c: char| c.is_ascii_digit()) && !power_of_ten {
            return self.number(direction);
        }
        self.unit(direction)
    }

    fn annotation(&mut self) -> Option<String> {
        let end = self.rest.find('}')?;
        let note = &self.rest[..=end];
        let inner = &note[1..end];
        if inner.is_empty() || inner.contains('{') {
            return None;
        }
        self.rest = &self.rest[end + 1..];
        Some(note.to_owned())
    }

    fn digits(&mut self) -> Option<u32> {
        let end = self
            .rest
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(self.rest.len());
        let number = self.rest[..end].parse().ok();
        self.rest = &self.rest[end..];
        number
    }

    fn number(&mut self, direction: i32) -> Option<()> {
        let number = self.digits().filter(|&n| n > 0)?;
        let scale = Scale {
            numerator: u128::from(number),
            ..Scale::ONE
        };
        self.parsed.scale = self.parsed.scale.times(scale, direction)?;
        if number != 1 {
            self.parsed.factors.push(Factor {
                text: number.to_string(),
                shown: number.to_string(),
                slug: number.to_string(),
                exponent: direction,
            });
        }
        Some(())
    }

    fn unit(&mut self, direction: i32) -> Option<()> {
        let length = self.symbol_length();
        let symbol = &self.rest[..length];
        let mut found = PrefixedAtom::of(symbol)?;
        self.rest = &self.rest[length..];
        let negative = match self.rest.as_bytes().first() {
            Some(b'-') => true,
            Some(b'+') => false,
            Some(digit) if digit.is_ascii_digit() => false,
            _ => return self.push(found, direction),
        };
        if matches!(self.rest.as_bytes().first(), Some(b'-' | b'+')) {
            self.rest = &self.rest[1..];
        }
        let power = i32::try_from(self.digits()?)
            .ok()
            .filter(|&n| n > 0 && n <= STEEPEST)?;
        if self.rest.starts_with('{') {
            found.note = self.annotation()?;
        }
        self.push(found, direction * if negative { -power } else { power })
    }

    fn push(&mut self, mut found: PrefixedAtom, exponent: i32) -> Option<()> {
        if self.rest.starts_with('{') {
            found.note = self.annotation()?;
        }
        let power = i8::try_from(exponent).ok()?;
        for (sum, base) in self.parsed.dimension.base.iter_mut().zip(found.base) {
            *sum = sum.checked_add(base.checked_mul(power)?)?;
        }
        if let Some(index) = found.convention {
            let sum = &mut self.parsed.dimension.convention[index];
            *sum = sum.checked_add(power)?;
        }
        if found.alone {
            self.special = true;
            self.parsed.scale = found.scale;
        } else {
            self.parsed.scale = self.parsed.scale.times(found.scale, exponent)?;
        }
        let text = format!("{}{}", found.text, found.note);
        // `cm.cm` is `cm2`.
        let same = self
            .parsed
            .factors
            .iter_mut()
            .find(|factor| factor.text == text && factor.exponent.signum() == exponent.signum());
        match same {
            Some(factor) => factor.exponent = factor.exponent.checked_add(exponent)?,
            None => self.parsed.factors.push(Factor {
                text,
                shown: found.shown,
                slug: found.slug,
                exponent,
            }),
        }
        Some(())
    }

    /// How many bytes belong to the symbol: up to an operator, a digit, a sign or an annotation. Brackets are part
    /// of it, with all that stands inside.
    fn symbol_length(&self) -> usize {
        let power = ["10*", "10^"].into_iter().find(|ten| self.rest.starts_with(ten));
        if let Some(ten) = power {
            return ten.len();
        }
        let mut inside = false;
        for (at, sign) in self.rest.char_indices() {
            match sign {
                '[' => inside = true,
                ']' => inside = false,
                _ if inside => {}
                '.' | '/' | '(' | ')' | '{' | '}' | '+' | '-' | '0'..='9' => return at,
                _ => {}
            }
        }
        self.rest.len()
    }
}

/// An atom with its prefix.
struct PrefixedAtom {
    text: String,
    shown: String,
    slug: String,
    note: String,
    base: Base,
    convention: Option<usize>,
    scale: Scale,
    alone: bool,
}

impl PrefixedAtom {
    fn of(symbol: &str) -> Option<Self> {
        if let Some(found) = Self::atom(symbol, None) {
            return Some(found);
        }
        PREFIXES.iter().find_map(|&(prefix, exponent)| {
            let rest = symbol.strip_prefix(prefix).filter(|rest| !rest.is_empty())?;
            Self::atom(rest, Some((prefix, exponent)))
        })
    }

    fn atom(code: &str, prefix: Option<(&'static str, i32)>) -> Option<Self> {
        let (written, ten) = prefix.unwrap_or(("", 0));
        let printed = if written == "u" { "µ" } else { written };
        let named = |text: &str, shown: &str, slug: &str| Self {
            text: format!("{written}{text}"),
            shown: format!("{printed}{shown}"),
            slug: format!("{written}{slug}"),
            note: String::new(),
            base: NUMBER,
            convention: None,
            scale: Scale {
                exponent: ten,
                ..Scale::ONE
            },
            alone: false,
        };
        if let Some(atom) = ATOMS
            .iter()
            .find(|atom| atom.code == code && (atom.metric || prefix.is_none()))
        {
            // One spelling each: `L` for the litre, `10*` for powers of ten.
            let text = match atom.code {
                "l" => "L",
                "10^" => "10*",
                other => other,
            };
            let slug = match text {
                "10*" => "10",
                "%" => "percent",
                "[ppth]" => "ppth",
                "m[Hg]" => "mHg",
                "[ppm]" | "[ppb]" => &text[1..4],
                other => other,
            };
            let mut found = named(text, atom.shown, slug);
            found.base = atom.base;
            found.scale = Scale {
                numerator: u128::from(atom.numerator),
                denominator: u128::from(atom.denominator),
                exponent: atom.exponent + ten,
                offset: 0,
            };
            return Some(found);
        }
        if let Some(&(_, _, index, shown)) = CONVENTIONS
            .iter()
            .find(|&&(own, metric, ..)| own == code && (metric || prefix.is_none()))
        {
            let text = if code == "[IU]" { "[iU]" } else { code };
            let slug = match index {
                0 => "",
                1 => "IU",
                2 => "arb",
                _ => "B",
            };
            let mut found = named(text, shown, slug);
            found.convention = Some(index);
            found.alone = index == 0;
            return Some(found);
        }
        if prefix.is_some() {
            return None;
        }
        let &(own, offset, numerator, denominator, shown) = OFFSETS.iter().find(|o| o.0 == code)?;
        let mut found = named(own, shown, own.trim_matches(['[', ']']));
        found.base = KELVIN;
        found.scale = Scale {
            numerator: u128::from(numerator),
            denominator: u128::from(denominator),
            exponent: 0,
            offset,
        };
        found.alone = true;
        Some(found)
    }
}
