//! Numbers that many hold and nobody changes.

use std::ops::Deref;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The numbers of a column.
///
/// A copy shares the numbers instead of doubling them, since the curves of one table often run over the same axis, and
/// what was gathered in a [`Vec`] is taken over as it lies. They are read as a slice.
///
/// ```
/// use curvary_record::Numbers;
///
/// let axis = Numbers::from(vec![400.0, 401.0]);
/// let same = axis.clone();
/// assert!(axis.is_shared_with(&same));
/// assert_eq!(same.iter().sum::<f64>(), 801.0);
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
#[schemars(inline)]
pub struct Numbers(Arc<Vec<f64>>);

impl Numbers {
    /// Whether both are the same numbers in memory, not merely equal ones.
    #[must_use]
    pub fn is_shared_with(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }

    /// The numbers to be changed: in place where nobody else holds them, else a copy.
    pub fn make_mut(&mut self) -> &mut Vec<f64> {
        Arc::make_mut(&mut self.0)
    }
}

impl Deref for Numbers {
    type Target = [f64];

    #[inline]
    fn deref(&self) -> &[f64] {
        &self.0
    }
}

impl AsRef<[f64]> for Numbers {
    fn as_ref(&self) -> &[f64] {
        self
    }
}

impl From<Vec<f64>> for Numbers {
    fn from(numbers: Vec<f64>) -> Self {
        Self(Arc::new(numbers))
    }
}

impl From<&[f64]> for Numbers {
    fn from(numbers: &[f64]) -> Self {
        numbers.to_vec().into()
    }
}

impl<const N: usize> From<[f64; N]> for Numbers {
    fn from(numbers: [f64; N]) -> Self {
        numbers.to_vec().into()
    }
}

impl FromIterator<f64> for Numbers {
    fn from_iter<I: IntoIterator<Item = f64>>(numbers: I) -> Self {
        numbers.into_iter().collect::<Vec<_>>().into()
    }
}
