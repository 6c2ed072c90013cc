//! Uncertainty budgets against worked examples, and budgets that degenerate.
//!
//! Sources: EURACHEM/CITAC CG4 (2012) examples A1 and A2; Kessel's pressure sensor as printed in the GTC documentation.

use crate::common;
use common::Tally;
use common::guides::{Input, expect, inputs, readings};
use dutycup::door::numerics::gum::{Correlation, Term, TypeB, combine, combine_correlated, pooled, type_a};
use dutycup::door::numerics::linear::polynomial;

#[test]
fn eurachem_examples() {
    let mut tally = Tally::new("EURACHEM/CITAC CG4 (2012) A1 and A2");
    let i = inputs("EURACHEM_A1");
    let volume =
        combine(&[Term::known(i["V_flask_mL"].u), Term::known(i["V_rep_mL"].u), Term::known(i["V_T_mL"].u)]);
    let (p, m, v) = (&i["P"], &i["m_mg"], i["V_flask_mL"].value);
    let c = 1000.0 * m.value * p.value / v;
    let u = combine(&[
        Term::known(c * p.u / p.value),
        Term::known(c * m.u / m.value),
        Term::known(c * volume.u / v),
    ]);
    expect(&mut tally, "EURACHEM_A1", &[("c", c), ("u_c", u.u), ("u_V", volume.u)]);
    let i = inputs("EURACHEM_A2");
    let (m, p, v, rep) = (&i["m_KHP_g"], &i["P_KHP"], &i["V_T_mL"], &i["rep"]);
    // C8 H5 O4 K: standard uncertainties of the elements' atomic weights, rectangular limits of the example.
    let elements =
        [(8.0, 12.0107, 0.0008), (5.0, 1.00794, 0.00007), (4.0, 15.9994, 0.0003), (1.0, 39.0983, 0.0001)];
    let molar: f64 = elements.iter().map(|(n, w, _)| n * w).sum();
    let molar_terms: Vec<Term> =
        elements.iter().map(|(n, _, half)| Term::known(n * TypeB::Rectangular(*half).standard())).collect();
    let molar_u = combine(&molar_terms);
    let volume = combine(&[Term::known(TypeB::Triangular(0.03).standard()), Term::known(0.006)]);
    let c = 1000.0 * m.value * p.value / (molar * v.value);
    let relative = |x: &Input| Term::known(c * x.u / x.value);
    let u = combine(&[
        relative(m),
        relative(p),
        relative(rep),
        Term::known(c * molar_u.u / molar),
        Term::known(c * volume.u / v.value),
    ]);
    expect(
        &mut tally,
        "EURACHEM_A2",
        &[("c_NaOH", c), ("u_c", u.u), ("M_KHP", molar), ("u_M_KHP", molar_u.u), ("u_V_T", volume.u)],
    );
    tally.done(16);
}

#[test]
fn pressure_sensor_line() {
    let mut tally = Tally::new("Kessel's pressure sensor, as printed in the GTC documentation");
    let case = "PRESSURE_SENSOR_LINE";
    let points = readings(case, "obs");
    let x: Vec<f64> = points.iter().map(|p| p[0]).collect();
    let y: Vec<f64> = points.iter().map(|p| p[1]).collect();
    let fit = polynomial(&x, &y, None, 1, true).unwrap();
    let c = fit.scaled().unwrap();
    let slope = (y[10] - y[0]) / (x[10] - x[0]);
    let intercept = y[0] - slope * x[0];
    let worst = x.iter().zip(&y).map(|(x, y)| (y - intercept - slope * x).abs()).fold(0.0, f64::max);
    expect(
        &mut tally,
        case,
        &[
            ("slope_two_point", slope),
            ("intercept_two_point", intercept),
            ("max_abs_deviation_two_point", worst),
            ("slope_ols", fit.params[1]),
            ("intercept_ols", fit.params[0]),
            ("se_slope_ols", c[(1, 1)].sqrt()),
            ("se_intercept_ols", c[(0, 0)].sqrt()),
            ("residual_sd_ols", fit.reduced_chi2().unwrap().sqrt()),
        ],
    );
    tally.done(8);
}

/// Degenerate budgets: own algebra.
#[test]
fn degenerate_budgets() {
    assert!(combine(&[]).dof.is_infinite());
    assert!(combine(&[Term::known(2.0)]).dof.is_infinite());
    assert!((combine(&[Term::known(2.0)]).u95() - 3.919_927_969_080_108).abs() < 1e-12);
    // A term of zero with no degrees of freedom adds nothing.
    assert!((combine(&[Term::new(0.0, 0.0), Term::new(1.0, 5.0)]).dof - 5.0).abs() < 1e-12);
    // Fully correlated contributions add, opposite ones cancel.
    let two = [Term::known(1.0), Term::known(1.0)];
    for (r, want) in [(1.0, 2.0), (-1.0, 0.0), (0.0, 2f64.sqrt())] {
        let got = combine_correlated(&two, &[Correlation { first: 0, second: 1, r }]).unwrap();
        assert!((got.u - want).abs() < 1e-12, "{r}: {}", got.u);
    }
    assert!(combine_correlated(&two, &[Correlation { first: 0, second: 2, r: 0.5 }]).is_err());
    assert!(combine_correlated(&two, &[Correlation { first: 0, second: 1, r: 1.5 }]).is_err());
    assert!(type_a(&[1.0]).is_err());
    assert!(pooled(&[&[1.0], &[2.0]]).is_err());
    let p = pooled(&[&[1.0, 3.0], &[10.0], &[5.0, 7.0]]).unwrap();
    assert!((p.u - 2f64.sqrt()).abs() < 1e-12 && (p.dof - 2.0).abs() < 1e-12);
}
