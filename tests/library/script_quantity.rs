//! Values with units against published conversions, and against what people and attackers write.

#![expect(clippy::unwrap_used, reason = "a test ends at the first surprise")]

use dutycup::door::quantity::{
    Decimal, Dimension, QuantityError, Units, axis, find_unit, parse, parse_difference, show,
};
use std::path::Path;

/// Rows of a small CSV table without quoting, header left out.
fn rows(name: &str) -> Vec<Vec<String>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/units").join(name);
    let text = std::fs::read_to_string(&path).unwrap();
    text.lines().skip(1).map(|l| l.split(',').map(str::to_owned).collect()).collect()
}

/// Our word and dimension for a unit id of the reference tables; none for units we do not offer.
fn ours(id: &str) -> Option<(&'static str, Dimension)> {
    use Dimension::{Flow, GaugePressure, Length, Mass, Temperature, Volume};
    Some(match id {
        "psi" => ("psi", GaugePressure),
        "kPa" => ("kPa", GaugePressure),
        "bar" => ("bar", GaugePressure),
        "mbar" => ("mbar", GaugePressure),
        "MPa" => ("MPa", GaugePressure),
        "inHg_conv" => ("inHg", GaugePressure),
        "kgf_cm2" => ("kgf/cm2", GaugePressure),
        "gph" => ("gal/h", Flow),
        "gpm" => ("gal/min", Flow),
        "mL_min" => ("mL/min", Flow),
        "L_min" => ("L/min", Flow),
        "L_h" => ("L/h", Flow),
        "US_gal" => ("US gal", Volume),
        "lb" => ("lb", Mass),
        "oz" => ("oz", Mass),
        "in" => ("in", Length),
        "degF" => ("degF", Temperature),
        "degC" => ("degC", Temperature),
        _ => return None,
    })
}

/// Source: worked conversions from the exact definitions (international yard and pound, US gallon of 231 in3).
#[test]
fn conversions_match_the_exact_definitions() {
    let (mut checked, mut worst) = (0, 0.0_f64);
    for row in rows("conversions.csv") {
        let (Some((from, dimension)), Some((to, _))) = (ours(&row[1]), ours(&row[2])) else {
            continue;
        };
        let expected: f64 = row[3].parse().unwrap();
        let internal = parse(&format!("{} {from}", row[0]), dimension).unwrap();
        let found = find_unit(to, dimension).unwrap().express(internal);
        let off = (found - expected).abs() / expected.abs().max(1.0);
        assert!(off <= 4e-16 * 4.0, "{row:?}: found {found}");
        checked += 1;
        worst = worst.max(off);
    }
    assert!(checked >= 14, "only {checked} rows name units we offer");
    println!("{checked} conversions, worst relative deviation {worst:e}");
}

/// Source: NIST SP 811 (2008), appendix B, factors to SI; and the exact fractions behind them.
#[test]
fn factors_match_nist_sp_811() {
    let mut checked = 0;
    for row in rows("factors_to_SI.csv") {
        let Some((word, dimension)) = ours(&row[0]) else {
            continue;
        };
        if dimension == Dimension::Temperature {
            continue;
        }
        let si_per_internal = match dimension {
            Dimension::GaugePressure => 1e3,
            Dimension::Flow => 1.0 / 6e7,
            Dimension::Volume => 1e-6,
            Dimension::Mass => 1e-3,
            _ => 1.0,
        };
        let found = parse_difference(&format!("1 {word}"), dimension).unwrap() * si_per_internal;
        let exact: f64 = row[4].parse().unwrap();
        assert!((found / exact - 1.0).abs() < 1e-15, "{word}: {found} {exact}");
        if let Ok(printed) = row[5].parse::<f64>() {
            assert!((found / printed - 1.0).abs() < 5e-7, "{word}: {found} {printed}");
        }
        checked += 1;
    }
    let interval = parse_difference("9 degF", Dimension::Temperature).unwrap();
    assert!((interval - 5.0).abs() < 1e-15, "a difference of 9 degF is 5 K (SP 811, 4.2.1.1)");
    assert!(checked >= 12, "only {checked} factors");
    println!("{checked} factors");
}

#[test]
fn what_people_write_is_read() {
    use Dimension::*;
    let psi = 6.894_757_293_168_361;
    let cases: &[(&str, Dimension, f64)] = &[
        ("8.4 psi", GaugePressure, 8.4 * psi),
        ("5psi", GaugePressure, 5.0 * psi),
        ("5 PSI", GaugePressure, 5.0 * psi),
        ("5 Psig", GaugePressure, 5.0 * psi),
        ("5 psi gauge", GaugePressure, 5.0 * psi),
        ("-3 inHg", GaugePressure, -10.159_165_921_023),
        ("+1.5bar", GaugePressure, 150.0),
        ("200 KPA", GaugePressure, 200.0),
        ("2 MPA", GaugePressure, 2000.0),
        ("14.7 psi abs", AbsolutePressure, 14.7 * psi),
        ("14.7 psia", AbsolutePressure, 14.7 * psi),
        ("101.325 kPa  absolute", AbsolutePressure, 101.325),
        ("1 bara", AbsolutePressure, 100.0),
        ("10 gal/h", Flow, 630.901_964),
        ("10 US gal/h", Flow, 630.901_964),
        ("10 GPH", Flow, 630.901_964),
        ("250 ml/min", Flow, 250.0),
        ("250 cc/min", Flow, 250.0),
        ("0.3 L/min", Flow, 300.0),
        ("30 l/h", Flow, 500.0),
        ("30%", Ratio, 30.0),
        ("30 %", Ratio, 30.0),
        ("68 degF", Temperature, 20.0),
        ("20 °C", Temperature, 20.0),
        ("500 ms", Time, 0.5),
        ("2 min", Time, 120.0),
        ("1.5e3 ms", Time, 1.5),
        ("3000 RPM", Speed, 3000.0),
        ("1 kHz", Frequency, 1000.0),
        (".5 V", Voltage, 0.5),
        ("250 mV", Voltage, 0.25),
        ("150 mm", Length, 0.15),
        ("on", Switch, 1.0),
        ("off", Switch, 0.0),
    ];
    for (text, dimension, value) in cases {
        let found = parse(text, *dimension).unwrap_or_else(|e| panic!("{text}: {e:?}"));
        assert!((found - value).abs() <= 1e-12 * value.abs().max(1.0), "{text}: {found}, not {value}");
    }
}

#[test]
fn what_is_no_quantity_is_refused_and_says_why() {
    use Dimension::*;
    let mut told = String::new();
    for (text, dimension) in [
        ("8.4", GaugePressure),
        ("0", GaugePressure),
        ("", GaugePressure),
        ("psi", GaugePressure),
        ("8.4 psii", GaugePressure),
        ("8.4 psi abs", GaugePressure),
        ("14.7 psi", AbsolutePressure),
        ("8.4 V", GaugePressure),
        ("5 mpa", GaugePressure),
        ("5 MV", Voltage),
        ("5 Ms", Time),
        ("8,4 psi", GaugePressure),
        ("1.234,5 psi", GaugePressure),
        (".nan psi", GaugePressure),
        ("NaN psi", GaugePressure),
        (".inf s", Time),
        ("-.inf s", Time),
        ("inf s", Time),
        ("1e999 s", Time),
        ("1e-999 s", Time),
        ("0x7f s", Time),
        ("010 s", Time),
        ("1_000 s", Time),
        ("1:30", Time),
        ("1:30 s", Time),
        ("1:30 min", Time),
        ("\u{2212}5 psi", GaugePressure),
        ("5 5 psi", GaugePressure),
        ("1e s", Time),
        ("- 5 psi", GaugePressure),
        ("true", Switch),
        ("1", Switch),
    ] {
        let error = parse(text, dimension).expect_err(text);
        told += &format!("{text:?}: {}", error.what(text));
        told += &error.help().map_or_else(String::new, |h| format!("; {h}"));
        told += "\n";
    }
    insta::assert_snapshot!(told);
}

#[test]
fn sweeps_are_exact() {
    let d = |t: &str| Decimal::parse(t).unwrap();
    let shown = |from, to, step| {
        let points = axis(d(from), d(to), d(step), 10_000).unwrap();
        points.iter().map(Decimal::to_string).collect::<Vec<_>>().join(" ")
    };
    assert_eq!(shown("0", "1", "0.1"), "0.0 0.1 0.2 0.3 0.4 0.5 0.6 0.7 0.8 0.9 1.0");
    assert_eq!(shown("100", "15", "8.5"), "100.0 91.5 83.0 74.5 66.0 57.5 49.0 40.5 32.0 23.5 15.0");
    assert_eq!(shown("-1e1", "10", "7"), "-10 -3 4");
    assert_eq!(shown("5", "5", "1"), "5");
    // Adding 0.1 ten times in binary gives 0.9999999999999999; the tenth point is 1 exactly.
    let last = axis(d("0"), d("1"), d("0.1"), 11).unwrap()[10].to_f64();
    assert_eq!(last.to_bits(), 1.0_f64.to_bits());
    for (from, to, step) in [("0", "1", "0"), ("0", "1", "-0.1"), ("0", "1000000", "1"), ("0", "1", "1e-12")]
    {
        assert!(axis(d(from), d(to), d(step), 10_000).is_err(), "{from} {to} {step}");
    }
    assert_eq!(Decimal::parse("1234567890123456789"), None);
    assert_eq!(Decimal::parse("1e-13"), None);
}

#[test]
fn values_are_shown_in_the_units_people_chose() {
    use Dimension::*;
    let cases = [
        (1_723.689_323_292_09, GaugePressure, "250 psi", "1724 kPa"),
        (101.325, AbsolutePressure, "14.7 psi abs", "101.3 kPa abs"),
        (630.901_964, Flow, "10 gal/h", "630.9 mL/min"),
        (20.0, Temperature, "68 degF", "20 degC"),
        (0.0, GaugePressure, "0 psi", "0 kPa"),
        (-0.000_01, Mass, "-0.00001 g", "-0.00001 g"),
        (123_456.0, Mass, "123456 g", "123456 g"),
        (1.0, Switch, "on", "on"),
        (0.0254, Length, "1 in", "0.0254 m"),
    ];
    for (value, dimension, us, metric) in cases {
        assert_eq!(show(value, dimension, Units::Us), us);
        assert_eq!(show(value, dimension, Units::Metric), metric);
    }
}

/// What is shown is read back as the same value, within the digits shown.
#[test]
fn shown_values_are_read_back() {
    for dimension in Dimension::ALL {
        for units in [Units::Us, Units::Metric] {
            for value in [1.0, 0.0, 12.34, 98.7] {
                let value = if *dimension == Dimension::Switch { f64::from(value > 0.5) } else { value };
                let text = show(value, *dimension, units);
                let back = parse(&text, *dimension).unwrap_or_else(|e| panic!("{text}: {e:?}"));
                assert!((back - value).abs() <= 0.06, "{text}: {value} came back as {back}");
            }
        }
    }
}

#[test]
fn errors_name_the_other_dimension() {
    assert_eq!(
        parse("13.8 V", Dimension::Ratio),
        Err(QuantityError::OtherDimension("V", Dimension::Voltage))
    );
}
