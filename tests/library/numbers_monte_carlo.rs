//! Propagation of distributions against the examples of JCGM 101:2008.
//!
//! Sources: JCGM 101:2008 clauses 9.2 (additive), 9.3 (mass calibration), 9.4 (sum of squares): printed values, and
//! exact ones by inclusion-exclusion, exact moments and noncentral chi-squared.

use crate::common;
use common::{Tally, table};
use dutycup::door::chance::Seed;
use dutycup::door::numerics::gum::{Term, combine, sensitivities};
use dutycup::door::numerics::monte_carlo::{Input, Outcome, propagate};

/// The 97.5 % point of a normal of standard deviation 2 then scatters by 0.005; cells allow for three to four times
/// their scatter.
const TRIALS: usize = 1_000_000;
const SEED: Seed = Seed(101);

struct Expected(Vec<common::Row>);

impl Expected {
    fn cell(&self, case: &str, quantity: &str, column: &str) -> f64 {
        let row = self.0.iter().find(|r| r.text("case_id") == case && r.text("quantity") == quantity);
        row.unwrap_or_else(|| panic!("{case} {quantity}")).num(column)
    }

    /// Exact value within `noise` (of a million trials), printed value within its tolerance and that noise.
    fn check(&self, tally: &mut Tally, case: &str, quantity: &str, got: f64, noise: f64) {
        let label = format!("{case} {quantity}");
        tally.within(&label, got, self.cell(case, quantity, "computed_value"), noise);
        let row = self.0.iter().find(|r| r.text("case_id") == case && r.text("quantity") == quantity);
        if let Some(printed) = row.and_then(|r| r.maybe("published_value")) {
            let tolerance = self.cell(case, quantity, "tolerance_abs_vs_published");
            tally.within(format!("{label}, as printed"), got, printed, tolerance + noise);
        }
    }
}

fn run(name: &str, inputs: &[Input], f: impl Fn(&[f64]) -> f64) -> Outcome {
    propagate(&mut SEED.stream(name), TRIALS, inputs, f).unwrap_or_else(|e| panic!("{name}: {e}"))
}

#[test]
fn additive_model() {
    let mut tally = Tally::new("JCGM 101:2008 9.2, sum of four");
    let expected = Expected(table("gum/gum_expected.csv"));
    let half = 3f64.sqrt();
    let rectangular = |u: f64| Input::Rectangular(-u * half, u * half);
    let cases = [
        ("S1_9.2.2_normal4", [Input::Normal(0.0, 1.0); 4], 2.0),
        ("S1_9.2.3_rect4", [rectangular(1.0); 4], 2.0),
        (
            "S1_9.2.4_rect4_unequal",
            [rectangular(1.0), rectangular(1.0), rectangular(1.0), rectangular(10.0)],
            10.0,
        ),
    ];
    for (case, inputs, scale) in cases {
        let out = run(case, &inputs, |x| x.iter().sum());
        tally.within(format!("{case} mean"), out.mean, 0.0, 5e-3 * scale);
        expected.check(&mut tally, case, "u", out.u, 4e-3 * scale);
        let (low, high) = out.symmetric(0.95);
        expected.check(&mut tally, case, "upper95", high, 1e-2 * scale);
        tally.within(format!("{case} lower95"), low, -high, 1.5e-2 * scale);
    }
    let four = [Term::known(1.0), Term::known(1.0), Term::known(1.0), Term::known(10.0)];
    expected.check(&mut tally, "S1_9.2.4_rect4_unequal", "upper95_gum", combine(&four).u95(), 1e-9);
    tally.done(18);
}

#[test]
fn mass_calibration() {
    let mut tally = Tally::new("JCGM 101:2008 9.3, mass calibration");
    let expected = Expected(table("gum/gum_expected.csv"));
    let case = "S1_9.3_mass";
    let inputs = [
        Input::Normal(100_000.0, 0.05),
        Input::Normal(1.234, 0.02),
        Input::Rectangular(1.1, 1.3),
        Input::Rectangular(7000.0, 9000.0),
        Input::Rectangular(7950.0, 8050.0),
    ];
    let model = |x: &[f64]| (x[0] + x[1]) * (1.0 + (x[2] - 1.2) * (1.0 / x[3] - 1.0 / x[4])) - 100_000.0;
    let out = run(case, &inputs, model);
    expected.check(&mut tally, case, "mean_exact", out.mean, 3e-4);
    expected.check(&mut tally, case, "u_exact", out.u, 2e-4);
    let (shortest, symmetric) = (out.shortest(0.95), out.symmetric(0.95));
    expected.check(&mut tally, case, "mcm_shortest95_low", shortest.0, 3e-3);
    expected.check(&mut tally, case, "mcm_shortest95_high", shortest.1, 3e-3);
    expected.check(&mut tally, case, "mcm_symmetric95_low", symmetric.0, 1e-3);
    expected.check(&mut tally, case, "mcm_symmetric95_high", symmetric.1, 1e-3);
    let at = [100_000.0, 1.234, 1.2, 8000.0, 8000.0];
    let us = [0.05, 0.02, 0.1 / 3f64.sqrt(), 1000.0 / 3f64.sqrt(), 50.0 / 3f64.sqrt()];
    let c = sensitivities(&at, &us.map(|u| 1e-3 * u), model);
    let terms: Vec<Term> = c.iter().zip(us).map(|(c, u)| Term::known(c * u)).collect();
    expected.check(&mut tally, case, "u_gum_first_order", combine(&terms).u, 1e-6);
    tally.done(12);
}

#[test]
fn sum_of_squares() {
    let mut tally = Tally::new("JCGM 101:2008 9.4, sum of squares near its edge");
    let expected = Expected(table("gum/gum_expected.csv"));
    for x1 in [0.0, 0.01, 0.05] {
        let case = format!("S1_9.4_x1_{x1:.3}");
        let inputs = [Input::Normal(x1, 0.005), Input::Normal(0.0, 0.005)];
        let out = run(&case, &inputs, |x| 1e6 * (x[0] * x[0] + x[1] * x[1]));
        let u = expected.cell(&case, "u", "computed_value");
        expected.check(&mut tally, &case, "mean", out.mean, 5e-3 * u);
        expected.check(&mut tally, &case, "u", out.u, 1e-2 * u);
        let (shortest, symmetric) = (out.shortest(0.95), out.symmetric(0.95));
        expected.check(&mut tally, &case, "shortest95_low", shortest.0, 3e-2 * u);
        expected.check(&mut tally, &case, "shortest95_high", shortest.1, 3e-2 * u);
        expected.check(&mut tally, &case, "symmetric95_low", symmetric.0, 1.5e-2 * u);
        expected.check(&mut tally, &case, "symmetric95_high", symmetric.1, 1.5e-2 * u);
        let c = sensitivities(&[x1, 0.0], &[1e-5, 1e-5], |x| 1e6 * (x[0] * x[0] + x[1] * x[1]));
        let first = combine(&[Term::known(0.005 * c[0]), Term::known(0.005 * c[1])]);
        expected.check(&mut tally, &case, "u_gum_first_order", first.u, 1e-6);
    }
    tally.done(36);
}

/// Standard deviations of the input distributions: JCGM 101:2008, Table 1.
#[test]
fn inputs_have_their_standard_deviations() {
    let mut tally = Tally::new("JCGM 101:2008 Table 1");
    for (name, input, mean, u) in [
        ("normal", Input::Normal(3.0, 2.0), 3.0, 2.0),
        ("rectangular", Input::Rectangular(1.0, 4.0), 2.5, 3.0 / 12f64.sqrt()),
        ("triangular", Input::Triangular(1.0, 4.0), 2.5, 3.0 / 24f64.sqrt()),
        ("arcsine", Input::Arcsine(1.0, 4.0), 2.5, 3.0 / 8f64.sqrt()),
        ("t", Input::T(1.0, 2.0, 9.0), 1.0, 2.0 * (9.0 / 7.0_f64).sqrt()),
        ("t, infinite", Input::T(1.0, 2.0, f64::INFINITY), 1.0, 2.0),
    ] {
        let out = run(name, &[input], |x| x[0]);
        tally.within(format!("{name} mean"), out.mean, mean, 5e-3 * u);
        tally.within(format!("{name} sd"), out.u, u, 5e-3 * u);
    }
    tally.done(12);
}

#[test]
fn the_same_seed_gives_the_same_bits_and_nonsense_is_refused() {
    let draw = |seed: u64| {
        let mut stream = Seed(seed).stream("repeat");
        propagate(&mut stream, 1000, &[Input::Normal(0.0, 1.0)], |x| x[0]).unwrap()
    };
    assert_eq!(draw(1), draw(1));
    assert_ne!(draw(1), draw(2));
    let mut stream = SEED.stream("nonsense");
    assert!(propagate(&mut stream, 1, &[], |_| 1.0).is_err());
    assert!(propagate(&mut stream, usize::MAX, &[], |_| 1.0).is_err());
    assert!(propagate(&mut stream, 100, &[Input::Normal(0.0, 1.0)], |x| x[0].sqrt()).is_err());
    assert!(propagate(&mut stream, 100, &[Input::T(0.0, 1.0, 0.0)], |x| x[0]).is_err());
}
