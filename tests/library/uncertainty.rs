//! The one rule from terms to U, against exact convolutions and the supplement's own examples.
//!
//! Sources: `gum/convolutions.csv` (rational arithmetic and Gil-Pelaez' integral with Bessel's K, by
//! `gum/convolutions.py`, every row tried against 2,000,000 draws); JCGM 101:2008, 9.2.2 to 9.2.4.

use crate::common::table;
use dutycup::door::chance::{Seed, uniform};
use dutycup::door::numerics::distribution::coverage;
use dutycup::door::uncertainty::{Cause, Term, Uncertain};

/// Largest part of U by which the rule may differ from the exact convolution.
const WITHIN: f64 = 1e-3;

fn rectangle(u: f64) -> Term {
    Term::limits(Cause::GaugeZero, u * 3f64.sqrt())
}

fn term(text: &str) -> Term {
    let words: Vec<&str> = text.split_whitespace().collect();
    let u: f64 = words[1].parse().unwrap();
    match words[0] {
        "normal" => Term::known(Cause::Density, u),
        "rectangle" => rectangle(u),
        "t" => Term::observed(Cause::Readings, u, words[2].parse().unwrap()),
        other => panic!("{other}"),
    }
}

fn terms(text: &str) -> Vec<Term> {
    text.split(';').map(term).collect()
}

fn u95(terms: Vec<Term>) -> f64 {
    Uncertain::new(0.0, terms).u95
}

#[test]
fn u_is_that_of_the_exact_convolution() {
    let rows = table("gum/convolutions.csv");
    assert!(rows.len() >= 300);
    let (mut worst, mut at) = (0.0, String::new());
    for row in rows {
        let off = (u95(terms(row.text("terms"))) / row.num("u95") - 1.0).abs();
        if off > worst {
            (worst, at) = (off, row.text("case").to_owned());
        }
    }
    println!("largest part of U off: {worst:.1e} ({at})");
    assert!(worst < WITHIN, "{worst} in {at}");
}

#[test]
fn additive_model_of_the_supplement() {
    // JCGM 101:2008, 9.2.2: four normals of unit standard uncertainty; 9.2.3: four such rectangles, +-3.88 (exactly
    // 3.879); 9.2.4: three of them and one of ten, +-17.0.
    let normals = u95(vec![Term::known(Cause::Density, 1.0); 4]);
    assert!((normals - 3.92).abs() < 0.005, "{normals}");
    let equal = u95(vec![rectangle(1.0); 4]);
    assert!((equal - 3.879).abs() < 0.001, "{equal}");
    let one = u95([10.0, 1.0, 1.0, 1.0].map(rectangle).to_vec());
    assert!((one - 17.0).abs() < 0.05, "{one}");
}

#[test]
fn a_term_alone_has_the_interval_of_its_shape() {
    // A rectangle of half-width a: 0.95 a. Student's t of 11 degrees of freedom: 2.201 (JCGM 100:2008, table G.2).
    assert!((u95(vec![Term::limits(Cause::GaugeZero, 0.75)]) - 0.7125).abs() < 1e-12);
    assert!((u95(vec![Term::observed(Cause::Readings, 1.0, 11.0)]) - 2.201).abs() < 5e-4);
    assert!(u95(Vec::new()) == 0.0 && u95(vec![Term::observed(Cause::Readings, 0.0, 1.0)]) == 0.0);
    assert!(u95(vec![Term::observed(Cause::Readings, 1.0, 0.0)]).is_infinite());
    let nan = u95(vec![Term::known(Cause::Density, f64::NAN), rectangle(1.0)]);
    assert!(nan.is_infinite(), "{nan}");
}

#[test]
fn a_term_that_fades_leaves_no_step() {
    // What is left out, merged or smoothed on the way must not show: U moves smoothly as one term fades.
    for other in ["rectangle 1", "t 1 1", "t 1 3", "normal 1"] {
        for fading in ["rectangle", "t", "normal"] {
            let at = |u: f64| u95(terms(&format!("{other};{fading} {u} 4")));
            let mut before = at(2.0);
            for i in 1..600 {
                let now = at(2.0 * 0.97f64.powi(i));
                let step = (now / before - 1.0).abs();
                assert!(now <= before * (1.0 + 4e-4), "{other}, {fading} at step {i}: {before} to {now}");
                assert!(step < 0.04, "{other}, {fading} at step {i}: {before} to {now}");
                before = now;
            }
            let alone = u95(terms(other));
            assert!((before / alone - 1.0).abs() < 5e-4, "{other} without {fading}: {before}, {alone}");
        }
    }
}

#[test]
fn u_scales_with_its_terms_and_does_not_ask_for_their_order() {
    let mut stream = Seed(11).stream("budgets");
    for n in 0..200 {
        let mut all: Vec<Term> = (0..2 + n % 7)
            .map(|i| {
                let (u, dof) = (uniform(&mut stream, 0.01, 1.0), uniform(&mut stream, 1.0, 30.0));
                match i % 3 {
                    0 => rectangle(u),
                    1 => Term::observed(Cause::Readings, u, dof),
                    _ => Term::known(Cause::Density, u),
                }
            })
            .collect();
        let whole = Uncertain::new(1.0, all.clone());
        let times = Uncertain::new(-3e5, all.iter().map(|t| t.times(-3e5)).collect());
        let scaled = whole.times(-3e5);
        assert!((times.u95 / scaled.u95 - 1.0).abs() < 1e-6 && (times.u / scaled.u - 1.0).abs() < 1e-12);
        all.reverse();
        assert!((u95(all) / whole.u95 - 1.0).abs() < 1e-6);
        // No narrower than the widest term alone, no wider than all laid end to end.
        let alone = |t: &Term| u95(vec![t.clone()]);
        let widest = whole.terms.iter().map(alone).fold(0.0, f64::max);
        let ends: f64 = whole.terms.iter().map(alone).sum();
        assert!(whole.u95 > widest * 0.9995 && whole.u95 < ends * 1.0005, "{whole:?}");
    }
}

#[test]
fn many_degrees_of_freedom_are_a_normal_distribution() {
    for dof in [1e3, 1e5, 2e5, 1e9] {
        let t = u95(vec![Term::observed(Cause::Readings, 1.0, dof), Term::known(Cause::Density, 1e-3)]);
        assert!((t / coverage(0.95, dof) - 1.0).abs() < 1e-4, "{dof}: {t}");
    }
}
