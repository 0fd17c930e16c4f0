//! Civil dates and times of day as people write them.
//!
//! Dates are read in the orders and languages that laboratories use. Where day and month may be swapped the reading
//! is [`DateReading::Undecidable`], unless the order is settled or a weekday decides. A zone is kept when it was
//! written, and never invented.

mod words;

use jiff::civil;

use self::words::{filler, month, weekday};

/// The order of day, month and year in a date of numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum DatePartOrder {
    /// 31/12/2021.
    DayFirst,
    /// 12/31/2021.
    MonthFirst,
    /// 21/12/31.
    YearFirst,
}

impl DatePartOrder {
    /// The order by the word that settles it: `day-first`, `month-first` or `year-first`.
    #[must_use]
    pub fn named(word: &str) -> Option<Self> {
        match word {
            "day-first" => Some(Self::DayFirst),
            "month-first" => Some(Self::MonthFirst),
            "year-first" => Some(Self::YearFirst),
            _ => None,
        }
    }

    /// The word that settles it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::DayFirst => "day-first",
            Self::MonthFirst => "month-first",
            Self::YearFirst => "year-first",
        }
    }
}

/// A civil date.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Date {
    /// ISO 8601, `2021-03-14`.
    pub iso: String,
    /// The year had two digits: 69 to 99 were taken as 1969 to 1999 and 00 to 40 as 2000 to 2040, as POSIX does
    /// (`strptime`, `%y`). POSIX takes 41 to 68 for years to come: they are of another calendar, and no date is read.
    pub century_assumed: bool,
}

/// What the date of a text is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DateReading {
    /// This day.
    Read(Date),
    /// One of two or three days, each under the order of its numbers: which of them is the month, or which end is the year,
    /// cannot be told.
    Undecidable(Vec<(DatePartOrder, Date)>),
    /// No date, or one that contradicts itself.
    No,
}

impl DateReading {
    /// Whether it is a day, be it one of several.
    #[must_use]
    pub fn is_day(&self) -> bool {
        !matches!(self, Self::No)
    }
}

/// What dates that belong together tell of the order of their numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DateOrder {
    /// Each of them can be read in one way only.
    Clear,
    /// Some could be read in two ways, and this order is settled or the only one that suits all of them.
    Settled(DatePartOrder),
    /// All of them can be read with the day first and with the month first.
    Open,
}

/// A date and a time of day, as far as a text holds them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moment {
    /// The day.
    pub date: DateReading,
    /// The time of day, ISO 8601 with the digits as written: `10:32`, `10:32:05.120`, `10:32:05+01:00`, `10:32Z`.
    pub time: Option<String>,
}

impl Moment {
    const NONE: Self = Self {
        date: DateReading::No,
        time: None,
    };
}

/// No written date is longer.
const LONGEST: usize = 64;
/// The years in which a measurement can have been written down by a machine, or will be in our time.
const YEARS: std::ops::RangeInclusive<i16> = 1950..=2099;
/// The last year of this century that two digits may mean.
const LAST_OF_TWO_DIGITS: u32 = 40;

/// Reads a date, a time of day, or both. Every part of the text must be understood; else nothing is read.
#[must_use]
pub fn read(text: &str, order: Option<DatePartOrder>) -> Moment {
    let text = text.trim();
    if text.is_empty() || text.len() > LONGEST {
        return Moment::NONE;
    }
    let marked = match text.contains(['年', '년']) {
        true => Some(with_marks(text)),
        false => with_letter_of_era(text),
    };
    // Neither a date nor a time is without a number, and most texts that are asked about have none.
    if marked.is_none() && !text.bytes().any(|byte| byte.is_ascii_digit()) {
        return Moment::NONE;
    }
    let Some(mut tokens) = tokens(marked.as_deref().unwrap_or(text)) else {
        return Moment::NONE;
    };
    let Ok(time) = take_time(&mut tokens) else {
        return Moment::NONE;
    };
    let rest = tokens
        .iter()
        .any(|token| matches!(token, DateToken::Number(..) | DateToken::Word(_)));
    if !rest {
        return Moment {
            date: DateReading::No,
            time,
        };
    }
    match date(&tokens, order) {
        DateReading::No => Moment::NONE,
        date => Moment { date, time },
    }
}

/// Reads a date that may have a time of day behind it.
#[must_use]
pub fn read_date(text: &str, order: Option<DatePartOrder>) -> DateReading {
    read(text, order).date
}

/// How many days lie from one date to another, both as year-month-day.
#[must_use]
pub fn days_between(first: &str, second: &str) -> Option<i32> {
    let date = |iso: &str| iso.parse::<civil::Date>().ok();
    Some(date(first)?.until(date(second)?).ok()?.get_days())
}

/// The days from the first of some dates to each of them, and what they tell of the order of day and month. All are
/// read in one order: the only one that suits all, else `order` where that is settled, else with the day first.
/// Nothing when one of them is no date, or when no order suits all.
#[must_use]
pub fn days_since_first(dates: &[&str], order: Option<DatePartOrder>) -> Option<(Vec<i32>, DateOrder)> {
    let found = match order {
        Some(DatePartOrder::YearFirst) => DateOrder::Settled(DatePartOrder::YearFirst),
        _ => match (order_of(dates)?, order) {
            (DateOrder::Open, Some(order)) => DateOrder::Settled(order),
            (found, _) => found,
        },
    };
    let order = match found {
        DateOrder::Clear => None,
        DateOrder::Settled(order) => Some(order),
        DateOrder::Open => Some(DatePartOrder::DayFirst),
    };
    let mut days: Vec<i32> = Vec::with_capacity(dates.len());
    let mut first: Option<String> = None;
    for (at, date) in dates.iter().enumerate() {
        // The same day stands in row after row.
        if let Some(same) = days.last().copied().filter(|_| dates[at - 1] == *date) {
            days.push(same);
            continue;
        }
        let DateReading::Read(read) = read_date(date, order) else {
            return None;
        };
        let first = first.get_or_insert_with(|| read.iso.clone());
        days.push(days_between(first, &read.iso)?);
    }
    Some((days, found))
}

/// The order of day and month that suits all of some dates.
fn order_of(dates: &[&str]) -> Option<DateOrder> {
    let (mut day_first, mut month_first, mut undecided) = (true, true, false);
    let mut before = "";
    for date in dates {
        if *date == before {
            continue;
        }
        before = date;
        match read_date(date, None) {
            DateReading::No => return None,
            DateReading::Undecidable(_) => undecided = true,
            DateReading::Read(read) => {
                let mut numbers = date
                    .split(|c: char| !c.is_ascii_digit())
                    .filter(|digits| !digits.is_empty())
                    .map_while(|digits| digits.parse::<u8>().ok());
                let iso = (read.iso.get(8..).and_then(|day| day.parse().ok()))
                    .zip(read.iso.get(5..7).and_then(|month| month.parse().ok()));
                if let (Some(first), Some(second), Some((day, month))) = (numbers.next(), numbers.next(), iso)
                    && day != month
                {
                    month_first &= (first, second) != (day, month);
                    day_first &= (first, second) != (month, day);
                }
            }
        }
    }
    match (undecided, day_first, month_first) {
        (_, false, false) => None,
        (false, ..) => Some(DateOrder::Clear),
        (true, true, true) => Some(DateOrder::Open),
        (true, true, false) => Some(DateOrder::Settled(DatePartOrder::DayFirst)),
        (true, false, true) => Some(DateOrder::Settled(DatePartOrder::MonthFirst)),
    }
}

/// Parts a date and time from the zone behind them: what stands before it, and how many seconds it is ahead of UTC.
#[must_use]
pub fn split_zone(text: &str) -> Option<(&str, i32)> {
    let text = text.trim();
    for utc in ["Z", "z", "UTC", "GMT"] {
        if let Some(front) = text.strip_suffix(utc).map(str::trim_end)
            && front.ends_with(|c: char| c.is_ascii_digit())
        {
            return front.contains(':').then_some((front, 0));
        }
    }
    let at = text.rfind(['+', '-', '−'])?;
    let (front, behind) = text.split_at(at);
    let sign = behind.chars().next()?;
    let digits: String = behind.chars().filter(char::is_ascii_digit).collect();
    let spelled = &behind[sign.len_utf8()..];
    let sound = match spelled.split_once(':') {
        Some((hours, minutes)) => hours.len() == 2 && minutes.len() == 2 && digits.len() == 4,
        None => matches!(spelled.len(), 2 | 4) && digits.len() == spelled.len(),
    };
    let front = front.trim_end();
    // In front of a zone stands a time: `2021-10-31` alone has none.
    if !sound || !front.contains(':') || !front.ends_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let hours: i32 = digits[..2].parse().ok()?;
    let minutes: i32 = digits.get(2..4).map_or(Some(0), |digits| digits.parse().ok())?;
    // No zone is further from UTC (ISO 8601 leaves it open; the time-zone database has −12 to +14).
    if hours > 14 || minutes > 59 {
        return None;
    }
    let ahead = hours * 3600 + minutes * 60;
    Some((front, if sign == '+' { ahead } else { -ahead }))
}

/// Reads a time of day, alone or behind a date.
#[must_use]
pub fn read_time(text: &str) -> Option<String> {
    // A date whose order is open has its time all the same.
    read(text, None).time
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum DateToken {
    /// A number and how many digits it has.
    Number(u32, usize, String),
    /// A word in lower case, without accents.
    Word(String),
    Sign(char),
    Blank,
}

fn tokens(text: &str) -> Option<Vec<DateToken>> {
    let mut tokens = Vec::new();
    let mut signs = text.chars().peekable();
    while let Some(&sign) = signs.peek() {
        if sign.is_ascii_digit() {
            let mut digits = String::new();
            while let Some(digit) = signs.next_if(char::is_ascii_digit) {
                digits.push(digit);
            }
            let number = digits.parse().ok()?;
            tokens.push(DateToken::Number(number, digits.len(), digits));
        } else if sign.is_alphabetic() {
            let mut word = String::new();
            while let Some(letter) = signs.next_if(|c| c.is_alphabetic()) {
                word.extend(letter.to_lowercase().map(plain));
            }
            tokens.push(DateToken::Word(word));
        } else if sign.is_whitespace() {
            signs.next();
            if tokens.last() != Some(&DateToken::Blank) {
                tokens.push(DateToken::Blank);
            }
        } else {
            signs.next();
            tokens.push(DateToken::Sign(match sign {
                '–' | '—' | '−' | '‐' | '‑' => '-',
                '’' => '\'',
                'º' | '°' | 'ª' => '.',
                other => other,
            }));
        }
    }
    Some(tokens)
}

/// The text of a date with the signs of years, months, days, hours, minutes and seconds that Chinese and Japanese set
/// behind numbers, as a date and time of numbers: `2021年3月14日 10时32分05秒` is `2021-3-14 10:32:05`.
fn with_marks(text: &str) -> String {
    let marks = [
        ("년 ", "-"),
        ("월 ", "-"),
        ("년", "-"),
        ("월", "-"),
        ("일", " "),
        ("시", ":"),
        ("분", ":"),
        ("초", ""),
        ("年", "-"),
        ("月", "-"),
        ("日", " "),
        ("时", ":"),
        ("時", ":"),
        ("点", ":"),
        ("分", ":"),
        ("秒", ""),
    ];
    let mut marked = with_year_of_era(text).unwrap_or_else(|| text.to_owned());
    for (mark, sign) in marks {
        marked = marked.replace(mark, sign);
    }
    marked.trim_end_matches([':', ' ']).to_owned()
}

/// A date whose year is counted in a Japanese era, `平成29年3月8日`, with the year of the common era: the first year of an
/// era (`元年`, 1) is the year in which it began (Shōwa 1926, Heisei 1989, Reiwa 2019).
fn with_year_of_era(text: &str) -> Option<String> {
    let eras = [("昭和", 1925), ("平成", 1988), ("令和", 2018)];
    let (rest, before) = eras
        .iter()
        .find_map(|(era, before)| Some((text.trim_start().strip_prefix(era)?, before)))?;
    let (year, rest) = rest.split_once('年')?;
    let year: i32 = match year.trim() {
        "元" => 1,
        year => year.parse().ok()?,
    };
    (1..=64)
        .contains(&year)
        .then(|| format!("{}年{rest}", before + year))
}

/// A date of numbers whose year is counted in a Japanese era that a letter names, `H30.5.13` or `R2/5/13`, with the year of the
/// common era.
fn with_letter_of_era(text: &str) -> Option<String> {
    let eras = [('S', 1925), ('H', 1988), ('R', 2018)];
    let (_, before) = eras.iter().find(|(letter, _)| text.starts_with(*letter))?;
    let end = text.find(' ').unwrap_or(text.len());
    let numbers: Vec<&str> = text[1..end].split(['.', '/', '-']).collect();
    let short = |part: &&str| (1..=2).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit());
    match numbers.as_slice() {
        [year, month, day] if numbers.iter().all(short) => {
            let year: i32 = year.parse().ok()?;
            Some(format!("{}-{month}-{day}{}", before + year, &text[end..]))
        }
        _ => None,
    }
}

/// A letter without its accent, as far as names of months and days need it.
fn plain(letter: char) -> char {
    match letter {
        'ä' | 'à' | 'á' | 'â' | 'ã' | 'å' => 'a',
        'é' | 'è' | 'ê' | 'ë' | 'ě' => 'e',
        'í' | 'ì' | 'î' | 'ï' | 'ı' => 'i',
        'ó' | 'ò' | 'ô' | 'õ' | 'ö' | 'ø' | 'ő' => 'o',
        'ú' | 'ù' | 'û' | 'ü' | 'ů' | 'ű' => 'u',
        'ý' => 'y',
        'ç' | 'č' => 'c',
        'ğ' => 'g',
        'ñ' | 'ń' | 'ň' => 'n',
        'ř' => 'r',
        'ś' | 'š' | 'ş' => 's',
        'ź' | 'ż' | 'ž' => 'z',
        'ł' | 'ľ' => 'l',
        'ά' => 'α',
        'έ' => 'ε',
        'ή' => 'η',
        'ί' | 'ϊ' | 'ΐ' => 'ι',
        'ό' => 'ο',
        'ύ' | 'ϋ' => 'υ',
        'ώ' => 'ω',
        'ς' => 'σ',
        'й' => 'и',
        'ę' => 'e',
        'ą' => 'a',
        other => other,
    }
}

fn number(tokens: &[DateToken], at: usize, largest: u32) -> Option<&DateToken> {
    tokens
        .get(at)
        .filter(|token| matches!(token, DateToken::Number(value, 1..=2, _) if *value <= largest))
}

/// Takes the time of day out of the tokens. `Err` when something looks like a time and is none (`25:70`).
fn take_time(tokens: &mut Vec<DateToken>) -> Result<Option<String>, ()> {
    for at in 0..tokens.len() {
        let Some((mut hour, rest, mut end)) = clock(tokens, at) else {
            continue;
        };
        // AM and PM, with and without points.
        let mut next = end;
        while tokens.get(next) == Some(&DateToken::Blank) {
            next += 1;
        }
        let half = match tokens.get(next) {
            Some(DateToken::Word(word)) if matches!(word.as_str(), "am" | "pm") => {
                end = next + 1;
                Some(word == "pm")
            }
            Some(DateToken::Word(word)) if matches!(word.as_str(), "a" | "p") => {
                let dotted = tokens.get(next + 1) == Some(&DateToken::Sign('.'))
                    && tokens.get(next + 2) == Some(&DateToken::Word("m".to_owned()));
                if dotted {
                    end = next + 3 + usize::from(tokens.get(next + 3) == Some(&DateToken::Sign('.')));
                }
                dotted.then_some(word == "p")
            }
            Some(DateToken::Word(word)) if matches!(word.as_str(), "uhr" | "h" | "hrs") => {
                end = next + 1;
                None
            }
            _ => None,
        };
        if let Some(afternoon) = half {
            if !(1..=12).contains(&hour) {
                return Err(());
            }
            hour = hour % 12 + if afternoon { 12 } else { 0 };
        }
        if hour > 23 {
            return Err(());
        }
        let zone = zone(tokens, &mut end);
        tokens.drain(at..end);
        return Ok(Some(format!("{hour:02}{rest}{}", zone.unwrap_or_default())));
    }
    // Whatever still has a colon is no date.
    if tokens.contains(&DateToken::Sign(':')) {
        Err(())
    } else {
        Ok(None)
    }
}

/// Hour, the rest as ISO text, and where it ends.
fn clock(tokens: &[DateToken], at: usize) -> Option<(u32, String, usize)> {
    let DateToken::Number(hour, length, digits) = tokens.get(at)? else {
        return None;
    };
    // ISO basic form behind a T: 20210314T103205.
    let behind_t = at > 0 && tokens[at - 1] == DateToken::Word("t".to_owned());
    if behind_t && (*length == 6 || *length == 4) {
        let (h, rest) = digits.split_at(2);
        let (m, s) = rest.split_at(2);
        let hour: u32 = h.parse().ok()?;
        let low = |text: &str| text.is_empty() || text.parse::<u32>().is_ok_and(|n| n < 60);
        let rest = if s.is_empty() {
            format!(":{m}")
        } else {
            format!(":{m}:{s}")
        };
        return (low(m) && low(s)).then_some((hour, rest, at + 1));
    }
    if *length > 2 {
        return None;
    }
    // A number glued to what stands before is no hour.
    if at > 0 && matches!(tokens[at - 1], DateToken::Sign('.' | ',' | ':' | '/')) {
        return None;
    }
    let two = |at: usize| match number(tokens, at, 59)? {
        DateToken::Number(_, 2, digits) => Some(digits.clone()),
        _ => None,
    };
    let word = |at: usize, words: &[&str]| matches!(tokens.get(at), Some(DateToken::Word(word)) if words.contains(&word.as_str()));
    let after_blank = |at: usize| at + usize::from(tokens.get(at) == Some(&DateToken::Blank));
    match tokens.get(at + 1) {
        Some(DateToken::Sign(':')) => {
            let mut rest = format!(":{}", two(at + 2)?);
            let mut end = at + 3;
            if tokens.get(end) == Some(&DateToken::Sign(':')) {
                rest.push(':');
                rest.push_str(&two(end + 1)?);
                end += 2;
                if let (Some(DateToken::Sign('.' | ',')), Some(DateToken::Number(_, length, digits))) =
                    (tokens.get(end), tokens.get(end + 1))
                    && *length <= 9
                {
                    rest.push('.');
                    rest.push_str(digits);
                    end += 2;
                }
            }
            Some((*hour, rest, end))
        }
        // 10h32, 10 h 32 min 05 s.
        Some(DateToken::Word(letter)) if letter == "h" => match two(at + 2) {
            Some(minutes) => Some((*hour, format!(":{minutes}"), at + 3)),
            None if tokens.get(at + 2).is_none() => Some((*hour, ":00".to_owned(), at + 2)),
            None => None,
        },
        // 10.32 Uhr, 10.32.05 Uhr.
        Some(DateToken::Sign('.')) => {
            let minutes = two(at + 2)?;
            let (seconds, end) = match (tokens.get(at + 3), two(at + 4)) {
                (Some(DateToken::Sign('.')), Some(seconds)) => (format!(":{seconds}"), at + 5),
                _ => (String::new(), at + 3),
            };
            word(after_blank(end), &["uhr"]).then(|| (*hour, format!(":{minutes}{seconds}"), end))
        }
        // 10 Uhr 32, 10 Uhr, 3 PM.
        _ => {
            let next = after_blank(at + 1);
            if word(next, &["uhr"]) {
                let minutes = after_blank(next + 1);
                return match two(minutes) {
                    Some(digits) => Some((*hour, format!(":{digits}"), minutes + 1)),
                    None => Some((*hour, ":00".to_owned(), next)),
                };
            }
            (word(next, &["am", "pm"]) && *hour <= 12 && at < next).then(|| (*hour, ":00".to_owned(), at + 1))
        }
    }
}

/// A zone behind a time: `Z`, `UTC`, `+01:00`, `+0100`, `+01`.
fn zone(tokens: &[DateToken], end: &mut usize) -> Option<String> {
    let mut at = *end;
    while tokens.get(at) == Some(&DateToken::Blank) {
        at += 1;
    }
    match tokens.get(at)? {
        DateToken::Word(word) if matches!(word.as_str(), "z" | "utc" | "gmt") => {
            *end = at + 1;
            Some("Z".to_owned())
        }
        DateToken::Sign(sign @ ('+' | '-')) => {
            let (hours, minutes, stop) = match tokens.get(at + 1)? {
                DateToken::Number(_, 4, digits) => (digits[..2].to_owned(), digits[2..].to_owned(), at + 2),
                DateToken::Number(_, 2, hours) => match (tokens.get(at + 2), tokens.get(at + 3)) {
                    (Some(DateToken::Sign(':')), Some(DateToken::Number(_, 2, minutes))) => {
                        (hours.clone(), minutes.clone(), at + 4)
                    }
                    _ => (hours.clone(), "00".to_owned(), at + 2),
                },
                _ => return None,
            };
            let sound =
                hours.parse::<u32>().is_ok_and(|h| h <= 14) && minutes.parse::<u32>().is_ok_and(|m| m < 60);
            // Nothing but the end may follow, or `10:32 - 14.03.2021` would lose its day.
            if !sound || tokens.get(stop).is_some() {
                return None;
            }
            *end = stop;
            Some(format!("{sign}{hours}:{minutes}"))
        }
        _ => None,
    }
}

fn make(year: u32, digits: usize, month: u32, day: u32) -> Option<(civil::Date, bool)> {
    let (year, assumed) = match digits {
        4 => (year, false),
        2 if year >= 69 => (1900 + year, true),
        2 if year <= LAST_OF_TWO_DIGITS => (2000 + year, true),
        _ => return None,
    };
    let year = i16::try_from(year).ok().filter(|year| YEARS.contains(year))?;
    let date = civil::Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()?;
    Some((date, assumed))
}

fn as_date((date, century_assumed): (civil::Date, bool)) -> Date {
    Date {
        iso: date.to_string(),
        century_assumed,
    }
}

fn date(tokens: &[DateToken], order: Option<DatePartOrder>) -> DateReading {
    let mut numbers: Vec<(u32, usize)> = Vec::new();
    let mut named_month: Option<(i8, usize)> = None;
    let mut named_day: Option<i8> = None;
    let mut signs: Vec<char> = Vec::new();
    for (at, token) in tokens.iter().enumerate() {
        match token {
            DateToken::Number(value, length, _) => numbers.push((*value, *length)),
            DateToken::Word(word) => {
                let already = named_month.is_some();
                // `mar` is March, and Tuesday in Spanish and Italian; beside a month it is the day.
                let other_month = tokens.iter().enumerate().any(|(other, token)| {
                    other != at && matches!(token, DateToken::Word(w) if month(w).is_some() && w != "mar")
                });
                if let Some(found) = month(word).filter(|_| !(word == "mar" && other_month)) {
                    if already {
                        return DateReading::No;
                    }
                    named_month = Some((found, numbers.len()));
                } else if word == "mar" {
                    named_day = Some(2);
                } else if let Some(found) =
                    weekday(word).filter(|_| numbers.is_empty() && word != "di" || word.len() > 3)
                {
                    named_day = Some(found);
                } else if !filler(word) {
                    return DateReading::No;
                }
            }
            DateToken::Sign(sign @ ('.' | '/' | '-' | ',' | '\'' | '(' | ')')) => signs.push(*sign),
            DateToken::Sign(_) => return DateReading::No,
            DateToken::Blank => {}
        }
    }
    let fits = |found: &(civil::Date, bool)| {
        named_day.is_none_or(|day| found.0.weekday().to_monday_one_offset() == day)
    };
    let one = |found: Option<(civil::Date, bool)>| match found.filter(&fits) {
        Some(found) => DateReading::Read(as_date(found)),
        None => DateReading::No,
    };
    if let Some((month, before)) = named_month {
        let month = u32::from(month.unsigned_abs());
        return match numbers.as_slice() {
            &[(a, a_digits), (b, b_digits)] => {
                if a_digits == 4 {
                    // 2021 March 14; `2021 14 March` is written by nobody.
                    one(make(a, 4, month, b).filter(|_| before == 1 && b_digits <= 2))
                } else if a_digits <= 2 && matches!(b_digits, 2 | 4) {
                    one(make(b, b_digits, month, a))
                } else {
                    DateReading::No
                }
            }
            _ => DateReading::No,
        };
    }
    match *numbers.as_slice() {
        [(all, 8)] => one(make(all / 10_000, 4, all / 100 % 100, all % 100)),
        [(all, 6)] => match order {
            Some(DatePartOrder::YearFirst) => one(make(all / 10_000, 2, all / 100 % 100, all % 100)),
            Some(DatePartOrder::DayFirst) => one(make(all % 100, 2, all / 100 % 100, all / 10_000)),
            Some(DatePartOrder::MonthFirst) => one(make(all % 100, 2, all / 10_000, all / 100 % 100)),
            None => DateReading::No,
        },
        [(year, 4), (month, 1..=2), (day, 1..=2)] => one(make(year, 4, month, day)),
        [(a, 1..=2), (b, 1..=2), (year, digits @ (2 | 4))] => {
            let day_first = make(year, digits, b, a).filter(&fits);
            let month_first = make(year, digits, a, b).filter(&fits);
            // A first number above 31 is a year; else the year stands first only where that is settled.
            if digits == 2 && (a > 31 || order == Some(DatePartOrder::YearFirst)) {
                return one(make(a, 2, b, year));
            }
            // Between hyphens the year stands first by ISO 8601 and last by custom: `18-05-13`.
            let hyphens = signs.iter().filter(|&&sign| sign == '-').count() >= 2;
            let year_first = make(a, 2, b, year)
                .filter(&fits)
                .filter(|_| digits == 2 && hyphens && order.is_none());
            if let Some(year_first) = year_first {
                let mut readings = vec![(DatePartOrder::YearFirst, as_date(year_first))];
                for (order, found) in [
                    (DatePartOrder::DayFirst, day_first),
                    (DatePartOrder::MonthFirst, month_first),
                ] {
                    if let Some(found) = found
                        .map(as_date)
                        .filter(|day| readings.iter().all(|(_, other)| other != day))
                    {
                        readings.push((order, found));
                    }
                }
                return match readings.len() {
                    1 => DateReading::Read(as_date(year_first)),
                    _ => DateReading::Undecidable(readings),
                };
            }
            // Points are the mark of day-first dates (DIN 5008, and the custom of the lands that use them).
            let points = signs.iter().filter(|&&sign| sign == '.').count() >= 2;
            match (day_first, month_first) {
                (Some(first), _) if points => DateReading::Read(as_date(first)),
                (Some(first), Some(second)) if first.0 == second.0 => DateReading::Read(as_date(first)),
                (Some(first), Some(second)) => match order {
                    Some(DatePartOrder::DayFirst) => DateReading::Read(as_date(first)),
                    Some(DatePartOrder::MonthFirst) => DateReading::Read(as_date(second)),
                    _ => DateReading::Undecidable(vec![
                        (DatePartOrder::DayFirst, as_date(first)),
                        (DatePartOrder::MonthFirst, as_date(second)),
                    ]),
                },
                (Some(found), None) | (None, Some(found)) => DateReading::Read(as_date(found)),
                (None, None) => DateReading::No,
            }
        }
        _ => DateReading::No,
    }
}

#[cfg(test)]
mod tests;
