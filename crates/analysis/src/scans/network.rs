//! A person's own scheme of first-order steps, such as `A->B, B<->C`, and its concentrations over time.

use crate::refusal::Refusal;

/// Steps of first order between species. The first species starts at one, all others at zero.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Network {
    /// Names, in the order in which they appear.
    pub species: Vec<String>,
    /// From and to, as places among the species, with the name of the rate constant.
    pub steps: Vec<(usize, usize, String)>,
}

/// A reversible step at the end of a scheme.
pub(super) struct ReturningEnd {
    /// Places of its species.
    pub(super) from: usize,
    pub(super) to: usize,
    /// Their names.
    pub(super) names: (String, String),
    /// Its constants, forwards and back.
    pub(super) constants: (String, String),
}

impl ReturningEnd {
    /// What its equilibrium constant is called: `K1` of `k1` and `k-1`.
    pub(super) fn equilibrium(&self) -> String {
        self.constants.0.replacen('k', "K", 1)
    }

    pub(super) fn sum(&self) -> String {
        format!("{} + {}", self.constants.0, self.constants.1)
    }

    pub(super) fn mixture(&self) -> String {
        format!("{} and {} at equilibrium", self.names.0, self.names.1)
    }

    /// What must be said where the equilibrium constant is not known; `least` is what the spectra say of it.
    pub(super) fn words(&self, least: Option<f64>) -> String {
        let ((a, b), (forth, back)) = (&self.names, &self.constants);
        let (sum, own, mixture) = (self.sum(), self.equilibrium(), self.mixture());
        let at_least = least.map_or(String::new(), |least| {
            format!(" (with {own} below {least:.3} the spectrum of {b} would be negative)")
        });
        format!(
            "scans determine the sum {sum} alone, and not how much of {b} there is in the end: neither {forth} nor {back} is known, \
             and the last spectrum is that of `{mixture}`; where the equilibrium constant {own} = [{b}]/[{a}] is known from elsewhere, \
             --hold {own}=VALUE gives {forth}, {back} and the spectrum of {b}{at_least}"
        )
    }
}

/// Concentrations over time.
pub(super) struct SchemeCourse {
    /// A column for each species.
    pub(super) species: Vec<Vec<f64>>,
    /// For each rate constant, the derivatives of each species' column by it.
    pub(super) slopes: Vec<Vec<Vec<f64>>>,
}

/// Most species: more are never told apart by scans.
const MOST_SPECIES: usize = 6;
/// Most rate constants that are searched for together.
const MOST_STEPS: usize = 5;
/// Longest stretch, in units of the fastest rate, over which concentrations are followed; beyond it the fast step is over at
/// once, and its rate constant is not in the data.
const LONGEST: f64 = 2e4;

impl Network {
    /// Reads `A->B, B<->C`: `k1`, `k2`, … forwards in the order of the steps, `k-2` back.
    ///
    /// # Errors
    /// In words, what was found and what was expected.
    pub fn parse(text: &str) -> Result<Self, Refusal> {
        let mut network = Self {
            species: Vec::new(),
            steps: Vec::new(),
        };
        for (number, step) in (1..).zip(text.split([',', ';'])) {
            let (from, to, back) = match step.split_once("<->") {
                Some((from, to)) => (from, to, true),
                None => match step.split_once("->") {
                    Some((from, to)) => (from, to, false),
                    None => {
                        return Err(Refusal::unsuitable(format!(
                            "`{}` is no step of a scheme: expected A->B or A<->B, steps parted by commas",
                            step.trim()
                        )));
                    }
                },
            };
            let from = network.place(from)?;
            let to = network.place(to)?;
            if from == to {
                return Err(Refusal::unsuitable(format!(
                    "`{}` leads from a species to itself",
                    step.trim()
                )));
            }
            network.steps.push((from, to, format!("k{number}")));
            if back {
                network.steps.push((to, from, format!("k-{number}")));
            }
        }
        if network.species.len() > MOST_SPECIES || network.steps.len() > MOST_STEPS {
            return Err(Refusal::unsuitable(format!(
                "{} species and {} rate constants are more than the {MOST_SPECIES} and {MOST_STEPS} that scans can distinguish",
                network.species.len(),
                network.steps.len()
            )));
        }
        let mut reached = vec![false; network.species.len()];
        reached[0] = true;
        for _ in 0..network.species.len() {
            for (from, to, _) in &network.steps {
                reached[*to] |= reached[*from];
            }
        }
        if let Some(lost) = reached.iter().position(|reached| !reached) {
            return Err(Refusal::unsuitable(format!(
                "no step leads from {}, which is there at the beginning, to {}",
                network.species[0], network.species[lost]
            )));
        }
        Ok(network)
    }

    fn place(&mut self, name: &str) -> Result<usize, Refusal> {
        let name = name.trim();
        let plain = |c: char| c.is_alphanumeric() || matches!(c, '_' | '*' | '\'');
        if name.is_empty() || !name.chars().all(plain) {
            return Err(Refusal::unsuitable(format!(
                "`{name}` is no name of a species: expected letters and digits"
            )));
        }
        if let Some(at) = self.species.iter().position(|known| known == name) {
            return Ok(at);
        }
        self.species.push(name.to_owned());
        Ok(self.species.len() - 1)
    }

    /// Concentrations at rising times from zero on, and their derivatives by each rate constant: for each species, and for
    /// each constant and species, one column over time. None where the rates are too fast to be followed.
    ///
    /// The linear equations are carried from one time to the next by their Taylor series (18 terms over steps of half the
    /// shortest time constant, which leaves less than the last digit), sensitivities along with them.
    pub(super) fn follow(&self, times: &[f64], k: &[f64]) -> Option<SchemeCourse> {
        let (s, count, n) = (self.species.len(), k.len(), times.len());
        let mut loss = vec![0.0; s];
        for ((from, _, _), k) in self.steps.iter().zip(k) {
            loss[*from] += k;
        }
        let fastest = loss.iter().fold(0.0_f64, |all, k| all.max(*k));
        if !(fastest.is_finite() && fastest * times.last()? <= LONGEST) {
            return None;
        }
        // The state: concentrations, then their derivatives by the first constant, by the second …
        let mut state = vec![0.0; s * (count + 1)];
        state[0] = 1.0;
        let mut species = vec![vec![0.0; n]; s];
        let mut slopes = vec![vec![vec![0.0; n]; s]; count];
        let mut now = 0.0;
        for (i, time) in times.iter().enumerate() {
            let whole = time - now;
            let pieces = (2.0 * fastest * whole).ceil().max(1.0);
            for _ in 0..pieces as usize {
                self.carry(&mut state, k, whole / pieces);
            }
            now = *time;
            for j in 0..s {
                species[j][i] = state[j];
                for a in 0..count {
                    slopes[a][j][i] = state[(a + 1) * s + j];
                }
            }
        }
        Some(SchemeCourse { species, slopes })
    }

    /// One step of the Taylor series.
    fn carry(&self, state: &mut [f64], k: &[f64], time: f64) {
        const TERMS: u32 = 18;
        let s = self.species.len();
        let mut term = state.to_vec();
        for order in 1..=TERMS {
            let mut next = vec![0.0; term.len()];
            for (a, ((from, to, _), k)) in self.steps.iter().zip(k).enumerate() {
                for part in 0..=self.steps.len() {
                    let flow = k * term[part * s + from];
                    next[part * s + from] -= flow;
                    next[part * s + to] += flow;
                }
                let own = (a + 1) * s;
                next[own + from] -= term[*from];
                next[own + to] += term[*from];
            }
            let scale = time / f64::from(order);
            for (value, (state, term)) in next.iter().zip(state.iter_mut().zip(&mut term)) {
                *term = value * scale;
                *state += *term;
            }
        }
    }

    /// The scheme in which each reversible step at an end, `B<->C` where neither goes on to anything else, is a step forwards
    /// alone, with the sum of its two constants, and those ends.
    ///
    /// That changes nothing that scans show. With `T = B + C` and `K = k + k₋`, `C' = k T − K C`, so that `C` is `k/K` times
    /// what the step forwards with `K` makes: the concentrations span the same room, `K` is in it, and `k` and `k₋` alone are
    /// not. The spectrum of the last species becomes that of the mixture at equilibrium.
    pub(super) fn without_ends_that_return(&self) -> (Self, Vec<ReturningEnd>) {
        let mut network = self.clone();
        let mut ends = Vec::new();
        for (from, to, forth) in &self.steps {
            let back = self
                .steps
                .iter()
                .find(|(a, b, _)| (a, b) == (to, from))
                .map(|step| step.2.clone());
            let steps_of = |species: &usize| self.steps.iter().filter(|step| step.0 == *species).count();
            // Of the two directions, the one that is named first is forwards.
            let first = network.steps.iter().any(|step| step.2 == *forth);
            let Some(back) = back.filter(|_| first && steps_of(from) == 1 && steps_of(to) == 1) else {
                continue;
            };
            let end = ReturningEnd {
                from: *from,
                to: *to,
                names: (self.species[*from].clone(), self.species[*to].clone()),
                constants: (forth.clone(), back),
            };
            network.steps.retain(|step| step.2 != end.constants.1);
            for step in &mut network.steps {
                if step.2 == *forth {
                    step.2 = end.sum();
                }
            }
            network.species[*to] = end.mixture();
            ends.push(end);
        }
        (network, ends)
    }

    /// Refuses a scheme whose constants the scans cannot tell apart, whatever they are.
    pub(super) fn undetermined(&self) -> Refusal {
        Refusal::Unsuitable {
            why: "scans alone do not determine these rate constants: other values with other spectra of the species fit as well; a simpler scheme, or a spectrum that is known, is \
                  needed"
                .into(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn schemes_are_read_and_odd_ones_refused() {
        let found = Network::parse("A->B, B<->C").unwrap();
        assert_eq!(found.species, ["A", "B", "C"]);
        let names: Vec<&str> = found.steps.iter().map(|step| step.2.as_str()).collect();
        assert_eq!(names, ["k1", "k2", "k-2"]);
        for odd in ["", "A", "A->", "A->A", "A->B, C->D", "A=>B", "A->B->C"] {
            assert!(Network::parse(odd).is_err(), "{odd}");
        }
    }

    #[test]
    fn a_reversible_step_at_an_end_counts_by_its_sum() {
        for (scheme, steps, last) in [
            ("A<->B", vec!["k1 + k-1"], "A and B at equilibrium"),
            ("A->B, B->A", vec!["k1 + k2"], "A and B at equilibrium"),
            ("A->B, B<->C", vec!["k1", "k2 + k-2"], "B and C at equilibrium"),
            // Here each of them goes on to something else.
            ("A<->B, B->C", vec!["k1", "k-1", "k2"], "C"),
            ("A->B, B->C", vec!["k1", "k2"], "C"),
        ] {
            let (network, ends) = Network::parse(scheme).unwrap().without_ends_that_return();
            let names: Vec<&str> = network.steps.iter().map(|step| step.2.as_str()).collect();
            assert_eq!(names, steps, "{scheme}");
            assert_eq!(network.species.last().map(String::as_str), Some(last), "{scheme}");
            assert_eq!(
                ends.len(),
                usize::from(steps.iter().any(|name| name.contains('+'))),
                "{scheme}"
            );
        }
    }

    /// Against the closed form of consecutive steps and the equilibrium of a reversible one.
    #[test]
    fn concentrations_are_those_of_closed_forms() {
        let times = [0.0, 0.5, 3.0, 40.0, 300.0];
        let chain = Network::parse("A->B, B->C").unwrap();
        let (k1, k2) = (0.31, 0.047);
        let SchemeCourse { species, slopes } = chain.follow(&times, &[k1, k2]).unwrap();
        for (i, t) in times.iter().enumerate() {
            let b = k1 / (k2 - k1) * ((-k1 * t).exp() - (-k2 * t).exp());
            assert!((species[0][i] - (-k1 * t).exp()).abs() < 1e-14);
            assert!((species[1][i] - b).abs() < 1e-14, "{t}: {} {b}", species[1][i]);
            assert!((slopes[0][0][i] + t * (-k1 * t).exp()).abs() < 1e-12);
            let sum: f64 = (0..3).map(|j| species[j][i]).sum();
            assert!((sum - 1.0).abs() < 1e-13);
        }
        let reversible = Network::parse("A<->B").unwrap();
        let species = reversible.follow(&times, &[0.3, 0.1]).unwrap().species;
        for (i, t) in times.iter().enumerate() {
            let wanted = (0.1 + 0.3 * (-0.4 * t).exp()) / 0.4;
            assert!((species[0][i] - wanted).abs() < 1e-14);
        }
        assert!(reversible.follow(&times, &[1e9, 0.1]).is_none());
    }
}
