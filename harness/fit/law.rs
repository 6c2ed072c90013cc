//! Which pump law the data ask for, by lack of fit against the scatter of replicates.
//!
//! Laws in a few parameters are fitted beside the blend: without a bypass, with one, and each with a bend. The simplest
//! that shows no lack of fit (F test of group means against replicates) is chosen; where all do, the one with the least
//! information criterion. In: the pump's data. Out: [`Choice`] in numbers and words. Never: the published curve, which
//! the blend gives.

use super::bayes::{Noise, Posterior, Prior, Rows};
use super::blend::Blend;
use super::candidate::Pass;
use super::extra::{Extra, Opening};
use super::prior::{RELIEF_SD, Warmth};
use super::pump_data::PumpData;
use super::terms::LawTerm;
use crate::numerics::distribution::f_survival;
use nalgebra::DMatrix;

/// Probability below which a lack of fit counts.
const LACKING: f64 = 0.05;

/// A law and how well it fits.
#[derive(Clone, Debug, PartialEq)]
pub struct Law {
    /// In words.
    pub name: &'static str,
    /// Its bypass.
    pub opening: Option<Opening>,
    /// Parameters, the bypass's opening pressure among them.
    pub parameters: usize,
    /// Lack of fit: F, its degrees of freedom, and the probability of as much by chance; none without replicates or
    /// with fewer groups than parameters.
    pub lack_of_fit: Option<(f64, f64, f64, f64)>,
    /// Akaike's criterion corrected for few points.
    pub criterion: f64,
    /// Standard deviation of the residuals at full flow, mL/min.
    pub residual_ml_min: f64,
}

/// The laws tried and the one chosen.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// Laws, simplest first.
    pub laws: Vec<Law>,
    /// Index of the chosen.
    pub chosen: usize,
    /// Standard deviation of replicates at full flow, mL/min, and its degrees of freedom; none without replicates.
    pub replicates: Option<(f64, f64)>,
    /// Share of the evidence for a bypass in the blend.
    pub bypass_share: f64,
    /// Share of the evidence for a current that stops between pulses.
    pub pulsing_share: f64,
}

impl Choice {
    /// Tries the laws on the data, with the noise shape and the bypass that the blend finds likeliest.
    #[must_use]
    pub fn new(data: &PumpData, blend: &Blend) -> Option<Choice> {
        let pass = Pass::new(data, Warmth::SUPPOSED);
        let shape = blend.members.first()?.shape;
        let noise = &pass.noises[shape];
        let opening = blend.members.iter().find_map(|m| m.extra.opening);
        let pulsing = blend.members.iter().find_map(|m| m.extra.pulsing);
        let none = Extra::default();
        let mut tried = vec![("slip proportional to pressure", none, false), ("slip and a bend", none, true)];
        if opening.is_some() {
            let extra = Extra { opening, ..none };
            tried.insert(1, ("slip and an internal bypass", extra, false));
            tried.push(("slip, an internal bypass and a bend", extra, true));
        }
        if pulsing.is_some() {
            tried.push(("slip and a current that stops between pulses", Extra { pulsing, ..none }, false));
        }
        if opening.is_some() && pulsing.is_some() {
            let name = "slip, an internal bypass and a current that stops between pulses";
            tried.push((name, Extra { opening, pulsing }, false));
        }
        let mut laws: Vec<Law> = tried
            .into_iter()
            .filter_map(|(name, extra, bent)| law(&pass, noise, name, extra, bent))
            .collect();
        laws.sort_by_key(|l| l.parameters);
        let (squares, dof) = replicates(data, noise);
        let full = pass.at_full(&noise.shape);
        Some(Choice {
            chosen: choose(&laws)?,
            laws,
            replicates: (dof > 0.0).then(|| ((squares / dof * full).sqrt(), dof)),
            bypass_share: blend.bypass_share(),
            pulsing_share: blend.pulsing_share(),
        })
    }

    /// The chosen law.
    #[must_use]
    pub fn law(&self) -> &Law {
        &self.laws[self.chosen]
    }

    /// The evidence in words, a line each.
    #[must_use]
    pub fn words(&self) -> Vec<String> {
        let mut lines = Vec::new();
        match self.replicates {
            Some((sd, dof)) => lines.push(format!(
                "replicates scatter by {sd:.2} mL/min at full flow, pooled, {dof:.0} degrees of freedom"
            )),
            None => lines.push(
                "there are no replicates: scatter is taken from residuals, lack of fit cannot be tested"
                    .into(),
            ),
        }
        for (i, law) in self.laws.iter().enumerate() {
            let test = law.lack_of_fit.map_or_else(
                || "lack of fit not tested".to_owned(),
                |(f, a, b, p)| {
                    let p = if p < 0.001 { "p < 0.001".to_owned() } else { format!("p = {p:.3}") };
                    format!("lack of fit F({a:.0}, {b:.0}) = {f:.2}, {p}")
                },
            );
            let opens = law
                .opening
                .filter(|_| law.name.contains("bypass"))
                .map_or_else(String::new, |o| format!(", opening at {:.0} kPa", o.opens_kpa));
            let mark = if i == self.chosen { "chosen: " } else { "" };
            lines.push(format!(
                "{mark}{}{opens}: {} parameters, {test}, criterion {:.1}, residuals {:.2} mL/min at full flow",
                law.name, law.parameters, law.criterion, law.residual_ml_min
            ));
        }
        lines.push(format!(
            "weighed by evidence with an unknown smooth remainder, a bypass within the measured pressures has a share of \
             {:.0} %, a current that stops between pulses one of {:.0} %",
            100.0 * self.bypass_share.max(0.0),
            100.0 * self.pulsing_share.max(0.0)
        ));
        lines
    }
}

/// The first law without lack of fit; the least criterion where all lack, or where nothing can be tested.
fn choose(laws: &[Law]) -> Option<usize> {
    let fits = |law: &Law| law.lack_of_fit.is_some_and(|(.., p)| p > LACKING);
    let least = || (0..laws.len()).min_by(|a, b| laws[*a].criterion.total_cmp(&laws[*b].criterion));
    laws.iter().position(fits).or_else(least)
}

fn law(pass: &Pass<'_>, noise: &Noise, name: &'static str, extra: Extra, bent: bool) -> Option<Law> {
    let candidate = pass.candidate(extra, 1.0);
    let wanted = |t: &LawTerm| match t {
        LawTerm::Level | LawTerm::Rise | LawTerm::Slip | LawTerm::Relief { .. } => true,
        LawTerm::Bend => bent,
        _ => false,
    };
    let picked: Vec<usize> = (0..candidate.terms.len()).filter(|k| wanted(&candidate.terms[*k])).collect();
    let x = DMatrix::from_fn(noise.shape.len(), picked.len(), |i, k| candidate.rows.x[(i, picked[k])]);
    let y = candidate.rows.y.rows(0, noise.shape.len()).clone_owned();
    let rows = Rows { x, y };
    // A wide prior only keeps a parameter that the data leave open from running away.
    let wide = 10.0 * RELIEF_SD * pass.data.scaling.flow_ml_min;
    let prior = Prior { mean: vec![0.0; picked.len()], sd: vec![wide; picked.len()] };
    let p = Posterior::new(&rows, noise, &prior)?;
    let fitted = &rows.x * &p.mean;
    let residuals: Vec<f64> = rows.y.iter().zip(fitted.iter()).map(|(y, f)| y - f).collect();
    let between: f64 = residuals.iter().zip(&noise.shape).map(|(r, v)| r * r / v).sum();
    let (within, within_dof) = replicates(pass.data, noise);
    // Beside the coefficients: the bypass's opening pressure, and the two numbers of a pulsing current.
    let parameters =
        picked.len() + usize::from(extra.opening.is_some()) + 2 * usize::from(extra.pulsing.is_some());
    let (n, k) = (residuals.len() as f64 + within_dof, parameters as f64);
    let total = between + within;
    let lack_dof = residuals.len() as f64 - k;
    let lack_of_fit = (lack_dof >= 1.0 && within_dof >= 1.0 && within > 0.0).then(|| {
        let f = (between / lack_dof) / (within / within_dof);
        (f, lack_dof, within_dof, f_survival(f, lack_dof, within_dof))
    });
    let small = if n - k - 2.0 > 0.0 { 2.0 * (k + 1.0) * (k + 2.0) / (n - k - 2.0) } else { f64::INFINITY };
    Some(Law {
        name,
        opening: extra.opening,
        parameters,
        lack_of_fit,
        criterion: n * (total / n).ln() + 2.0 * (k + 1.0) + small,
        residual_ml_min: (total / (n - k).max(1.0) * pass.at_full(&noise.shape)).sqrt(),
    })
}

/// Weighted squares of replicates about their means, and their degrees of freedom: what the noise's scale was given.
fn replicates(data: &PumpData, noise: &Noise) -> (f64, f64) {
    let dof = (data.points.len() - data.means.len()) as f64;
    (noise.within, dof)
}
