//! Seeded noise for simulations.

/// A linear congruential generator and what is drawn from it.
pub(crate) struct Noise(pub(crate) u64);

#[allow(dead_code)]
impl Noise {
    /// Between 0 and 1.
    pub(crate) fn uniform(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0
    }

    /// Mean 0, standard deviation 1.
    pub(crate) fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (2.0 * std::f64::consts::PI * self.uniform()).cos()
    }

    /// First-order autoregression of standard deviation 1.
    pub(crate) fn correlated(&mut self, n: usize, rho: f64) -> Vec<f64> {
        let mut last = self.normal();
        (0..n)
            .map(|i| {
                if i > 0 {
                    last = rho * last + (1.0 - rho * rho).sqrt() * self.normal();
                }
                last
            })
            .collect()
    }
}
