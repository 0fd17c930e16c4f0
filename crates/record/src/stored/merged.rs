//! A run with what is said otherwise laid over it, walked without being built: what a run is like stays where it is, and
//! only what the run itself holds is copied.

use std::cell::RefCell;

use serde::de::value::{BorrowedStrDeserializer, MapAccessDeserializer};
use serde::de::{DeserializeSeed, Deserializer, Error as _, MapAccess, SeqAccess, Visitor};
use serde::forward_to_deserialize_any;
use serde_json::{Error, Map, Value, map};

/// What no run has.
pub(super) const WRONG: &str = "a line or a span that no run has";

/// A value of the merged run. All objects have their members in the order of their names.
#[derive(Clone, Copy)]
pub(super) enum MergedValue<'v> {
    /// As it stands in one of both.
    Whole(&'v Value),
    /// The members of both, as RFC 7396 merges them: `null` takes a member away.
    Members(&'v Map<String, Value>, &'v Map<String, Value>),
    /// Lists of objects of one length, merged object by object.
    Items(&'v [Value], &'v [Value]),
}

/// What is to be done with a value because of the member that it is.
#[derive(Clone, Copy, PartialEq)]
enum Role {
    /// Nothing.
    Plain,
    /// The run, whose name follows from what it says.
    Named,
    /// A number of a line.
    Line,
    /// Numbers of lines, or pieces of them.
    Lines,
    /// A piece of numbers of lines, of which the first is one.
    Piece,
    /// A span that is taken for this one.
    Span(i64, i64),
}

/// Whether two lists are merged object by object.
pub(super) fn are_merged(one: &[Value], other: &[Value]) -> bool {
    one.len() == other.len() && one.iter().chain(other).all(Value::is_object)
}

impl<'v> MergedValue<'v> {
    pub(super) fn of(model: &'v Value, said: &'v Value) -> Self {
        match (model, said) {
            (Value::Object(model), Value::Object(said)) => Self::Members(model, said),
            (Value::Array(model), Value::Array(said)) if are_merged(model, said) => Self::Items(model, said),
            (_, said) => Self::Whole(said),
        }
    }

    pub(super) fn members(self) -> Option<MergedMembers<'v>> {
        let (model, said) = match self {
            Self::Whole(Value::Object(whole)) => (whole, None),
            Self::Members(model, said) => (model, Some(said)),
            _ => return None,
        };
        let mut said = said.map(Map::iter);
        Some(MergedMembers {
            next: said.as_mut().and_then(map::Iter::next),
            model: model.iter(),
            held: None,
            said,
        })
    }

    fn items(self) -> Option<MergedItems<'v>> {
        match self {
            Self::Whole(Value::Array(items)) => Some(MergedItems {
                model: items.iter(),
                said: None,
            }),
            Self::Items(model, said) => Some(MergedItems {
                model: model.iter(),
                said: Some(said.iter()),
            }),
            _ => None,
        }
    }

    pub(super) fn get(self, key: &str) -> Option<Self> {
        match self {
            Self::Whole(value) => value.get(key).map(Self::Whole),
            Self::Members(model, said) => match (model.get(key), said.get(key)) {
                (_, Some(Value::Null)) => None,
                (Some(model), Some(said)) => Some(Self::of(model, said)),
                (Some(one), None) | (None, Some(one)) => Some(Self::Whole(one)),
                (None, None) => None,
            },
            Self::Items(..) => None,
        }
    }

    pub(super) fn whole(self) -> Option<&'v Value> {
        match self {
            Self::Whole(value) => Some(value),
            _ => None,
        }
    }

    /// Start and end, where this is a span.
    fn span(self, key: &str) -> Option<(i64, i64)> {
        if key != "span" {
            return None;
        }
        let end = |name| self.get(name)?.whole()?.as_i64();
        let ends = (end("start")?, end("end")?);
        (self.members()?.count() == 2).then_some(ends)
    }

    /// How many spans there are.
    pub(super) fn count_spans(self) -> usize {
        if let Some(members) = self.members() {
            members
                .map(|(key, value)| value.span(key).map_or_else(|| value.count_spans(), |_| 1))
                .sum()
        } else if let Some(items) = self.items() {
            items.map(Self::count_spans).sum()
        } else {
            0
        }
    }

    /// Whether this is `own` once `moved` is added to all lines. Of spans, those of this value and those of `own` are handed
    /// to `spans`, in the order in which they are counted. `named` says that the name follows from the rest.
    pub(super) fn is(
        self,
        own: &Value,
        named: bool,
        moved: i64,
        spans: &mut dyn FnMut((i64, i64), (i64, i64)),
    ) -> bool {
        let role = if named { Role::Named } else { Role::Plain };
        self.is_so(own, role, moved, spans)
    }

    fn is_so(
        self,
        own: &Value,
        role: Role,
        moved: i64,
        spans: &mut dyn FnMut((i64, i64), (i64, i64)),
    ) -> bool {
        if let Some(members) = self.members() {
            let (Value::Object(own), Role::Plain | Role::Named) = (own, role) else {
                return false;
            };
            let mut found = 0;
            for (key, value) in members {
                let theirs = own.get(key);
                found += usize::from(theirs.is_some());
                if role == Role::Named && key == "id" {
                    continue;
                }
                // What is not there is null.
                let theirs = theirs.unwrap_or(&Value::Null);
                if let (Some(had), Some(has)) = (value.span(key), MergedValue::Whole(theirs).span(key)) {
                    spans(had, has);
                    continue;
                }
                if !value.is_so(theirs, role_of(key, value, moved), moved, spans) {
                    return false;
                }
            }
            let absent = |(key, value): (&String, &Value)| value.is_null() || self.get(key).is_some();
            found == own.len() || own.iter().all(absent)
        } else if let Some(items) = self.items() {
            let Value::Array(own) = own else {
                return false;
            };
            items.len() == own.len()
                && items.zip(own).enumerate().all(|(place, (item, own))| {
                    let role = role_of_item(role, item, place);
                    item.is_so(own, role, moved, spans)
                })
        } else if let Some(value) = self.whole() {
            match role {
                Role::Plain | Role::Named => is_same(value, own),
                _ => {
                    let line = value.as_i64().and_then(|line| line.checked_add(moved));
                    line.is_some() && line == own.as_i64()
                }
            }
        } else {
            false
        }
    }
}

/// Whether two values that hold no others are the same to the last bit.
fn is_same(one: &Value, other: &Value) -> bool {
    match (one, other) {
        (Value::Number(one), Value::Number(other)) => match (one.is_f64(), other.is_f64()) {
            (true, true) => one.as_f64().map(f64::to_bits) == other.as_f64().map(f64::to_bits),
            (false, false) => one == other,
            _ => false,
        },
        _ => one == other,
    }
}

/// What a member is because of its name.
fn role_of(key: &str, value: MergedValue<'_>, moved: i64) -> Role {
    match (key, value) {
        _ if moved == 0 => Role::Plain,
        ("line", MergedValue::Whole(Value::Number(_))) => Role::Line,
        ("lines", MergedValue::Whole(Value::Array(_)) | MergedValue::Items(..)) => Role::Lines,
        _ => Role::Plain,
    }
}

/// What an item is because of its list.
fn role_of_item(list: Role, item: MergedValue<'_>, place: usize) -> Role {
    match (list, item) {
        (Role::Lines, MergedValue::Whole(Value::Array(_))) => Role::Piece,
        (Role::Lines, _) => Role::Line,
        (Role::Piece, _) if place == 0 => Role::Line,
        _ => Role::Plain,
    }
}

/// Members in the order of their names.
pub(super) struct MergedMembers<'v> {
    model: map::Iter<'v>,
    said: Option<map::Iter<'v>>,
    /// The next of the model, where one that is said came before it.
    held: Option<(&'v String, &'v Value)>,
    /// The next of those that are said.
    next: Option<(&'v String, &'v Value)>,
}

impl<'v> Iterator for MergedMembers<'v> {
    type Item = (&'v str, MergedValue<'v>);

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            let model = self.held.take().or_else(|| self.model.next());
            let Some((said_key, said)) = self.next else {
                return model.map(|(key, value)| (key.as_str(), MergedValue::Whole(value)));
            };
            let value = match model {
                Some((key, value)) if key < said_key => return Some((key, MergedValue::Whole(value))),
                Some((key, value)) if key == said_key => MergedValue::of(value, said),
                other => {
                    self.held = other;
                    MergedValue::Whole(said)
                }
            };
            self.next = self.said.as_mut().and_then(map::Iter::next);
            if !said.is_null() {
                return Some((said_key, value));
            }
        }
    }
}

/// Items of a list.
struct MergedItems<'v> {
    model: std::slice::Iter<'v, Value>,
    said: Option<std::slice::Iter<'v, Value>>,
}

impl<'v> Iterator for MergedItems<'v> {
    type Item = MergedValue<'v>;

    fn next(&mut self) -> Option<Self::Item> {
        let model = self.model.next()?;
        match &mut self.said {
            Some(said) => said.next().map(|said| MergedValue::of(model, said)),
            None => Some(MergedValue::Whole(model)),
        }
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        self.model.size_hint()
    }
}

impl ExactSizeIterator for MergedItems<'_> {}

/// What is done with lines, spans and the name of a merged run while it is read.
pub(super) struct Moves {
    /// What is added to each line.
    pub(super) moved: i64,
    /// What each span is taken for gains at its start and in its length; `None` where they stay.
    pub(super) spans: Option<RefCell<std::vec::IntoIter<(i64, i64)>>>,
    /// The name of the run.
    pub(super) id: Option<String>,
}

impl Moves {
    fn role(&self, key: &str, value: MergedValue<'_>) -> Result<Role, Error> {
        if let (Some(spans), Some((start, end))) = (&self.spans, value.span(key)) {
            let gained = spans.borrow_mut().next();
            let (starts, lengths) = gained.ok_or_else(|| Error::custom(WRONG))?;
            let from = start.saturating_add(starts);
            return Ok(Role::Span(
                from,
                from.saturating_add(end.saturating_sub(start))
                    .saturating_add(lengths),
            ));
        }
        Ok(role_of(key, value, self.moved))
    }
}

/// Reads a merged value.
#[derive(Clone, Copy)]
pub(super) struct MergedReader<'v, 'm> {
    value: MergedValue<'v>,
    role: Role,
    moves: &'m Moves,
    /// The name of the run, where this is the run.
    id: Option<&'m str>,
}

impl<'v, 'm> MergedReader<'v, 'm> {
    /// Reads a run.
    pub(super) fn new(value: MergedValue<'v>, moves: &'m Moves) -> Self {
        Self {
            value,
            role: Role::Plain,
            moves,
            id: moves.id.as_deref(),
        }
    }

    fn inner(&self, value: MergedValue<'v>, role: Role) -> Self {
        Self {
            value,
            role,
            moves: self.moves,
            id: None,
        }
    }

    fn map(self) -> Option<MembersReader<'v, 'm>> {
        Some(MembersReader {
            members: self.value.members()?,
            of: self,
            next: None,
        })
    }
}

impl<'v, 'm> Deserializer<'v> for MergedReader<'v, 'm> {
    type Error = Error;

    fn deserialize_any<V: Visitor<'v>>(self, visitor: V) -> Result<V::Value, Error> {
        if let Some(members) = self.map() {
            return match self.role {
                Role::Line => Err(Error::custom(WRONG)),
                _ => visitor.visit_map(members),
            };
        }
        if let Some(items) = self.value.items() {
            let items = ItemsReader {
                items,
                of: self,
                place: 0,
            };
            return match self.role {
                Role::Line => Err(Error::custom(WRONG)),
                _ => visitor.visit_seq(items),
            };
        }
        let Some(value) = self.value.whole() else {
            return Err(Error::custom(WRONG));
        };
        if self.role != Role::Line {
            return value.deserialize_any(visitor);
        }
        let line = value.as_i64().and_then(|line| line.checked_add(self.moves.moved));
        let line = line.ok_or_else(|| Error::custom(WRONG))?;
        match u64::try_from(line) {
            Ok(line) => visitor.visit_u64(line),
            Err(_) => visitor.visit_i64(line),
        }
    }

    fn deserialize_option<V: Visitor<'v>>(self, visitor: V) -> Result<V::Value, Error> {
        match self.value {
            MergedValue::Whole(Value::Null) => visitor.visit_none(),
            _ => visitor.visit_some(self),
        }
    }

    fn deserialize_newtype_struct<V: Visitor<'v>>(
        self,
        _: &'static str,
        visitor: V,
    ) -> Result<V::Value, Error> {
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_enum<V: Visitor<'v>>(
        self,
        name: &'static str,
        variants: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Error> {
        match (self.map(), self.value) {
            (Some(members), value) => {
                if value.members().into_iter().flatten().take(2).count() != 1 {
                    return Err(Error::custom("expected one variant"));
                }
                MapAccessDeserializer::new(members).deserialize_enum(name, variants, visitor)
            }
            (None, MergedValue::Whole(value)) => value.deserialize_enum(name, variants, visitor),
            (None, _) => Err(Error::custom(WRONG)),
        }
    }

    // What is ignored is walked over all the same, since its spans count.
    forward_to_deserialize_any! {
        <V: Visitor<'v>>
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf unit unit_struct seq tuple
        tuple_struct map struct identifier ignored_any
    }
}

/// Members, one by one.
struct MembersReader<'v, 'm> {
    members: MergedMembers<'v>,
    of: MergedReader<'v, 'm>,
    next: Option<(&'v str, MergedValue<'v>)>,
}

impl<'v> MapAccess<'v> for MembersReader<'v, '_> {
    type Error = Error;

    fn next_key_seed<K: DeserializeSeed<'v>>(&mut self, seed: K) -> Result<Option<K::Value>, Error> {
        self.next = self.members.next();
        let Some((key, _)) = self.next else {
            return Ok(None);
        };
        seed.deserialize(BorrowedStrDeserializer::new(key)).map(Some)
    }

    fn next_value_seed<V: DeserializeSeed<'v>>(&mut self, seed: V) -> Result<V::Value, Error> {
        let Some((key, value)) = self.next.take() else {
            return Err(Error::custom("a member without a value"));
        };
        let of = &self.of;
        match (of.role, of.id, key) {
            (Role::Span(start, _), _, "start") => seed.deserialize(whole(start)),
            (Role::Span(_, end), ..) => seed.deserialize(whole(end)),
            (_, Some(id), "id") => seed.deserialize(serde::de::value::StrDeserializer::new(id)),
            _ => seed.deserialize(of.inner(value, of.moves.role(key, value)?)),
        }
    }
}

/// A whole number as it is read.
fn whole(number: i64) -> Value {
    number.into()
}

/// Items, one by one.
struct ItemsReader<'v, 'm> {
    items: MergedItems<'v>,
    of: MergedReader<'v, 'm>,
    place: usize,
}

impl<'v> SeqAccess<'v> for ItemsReader<'v, '_> {
    type Error = Error;

    fn next_element_seed<T: DeserializeSeed<'v>>(&mut self, seed: T) -> Result<Option<T::Value>, Error> {
        let Some(item) = self.items.next() else {
            return Ok(None);
        };
        let role = role_of_item(self.of.role, item, self.place);
        self.place += 1;
        seed.deserialize(self.of.inner(item, role)).map(Some)
    }

    fn size_hint(&self) -> Option<usize> {
        Some(self.items.len())
    }
}
