//! The colours of the page: contrast of WCAG 2.2, and inks that colour-blind readers can tell apart.
//!
//! Sources, from memory: WCAG 2.2 relative luminance and contrast ratio, 4.5 for text and 3 for graphics; CIEDE2000
//! with check values of Sharma, Wu and Dalal (2005); simulation of Machado, Oliveira and Fernandes (2009) at full
//! severity in linear RGB; sRGB of IEC 61966-2-1.

use dutycup::door::report::chart::palette::COLOURS;

type Triple = [f64; 3];

fn linear(hex: &str) -> Triple {
    let part = |i: usize| {
        let v = f64::from(u8::from_str_radix(&hex[i..i + 2], 16).expect("#rrggbb")) / 255.0;
        if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
    };
    [part(1), part(3), part(5)]
}

fn contrast(a: &str, b: &str) -> f64 {
    let luminance = |hex| linear(hex).iter().zip([0.2126, 0.7152, 0.0722]).map(|(v, w)| v * w).sum::<f64>();
    let (x, y): (f64, f64) = (luminance(a), luminance(b));
    (x.max(y) + 0.05) / (x.min(y) + 0.05)
}

fn of(name: &str, dark: bool) -> &'static str {
    let colour = COLOURS.iter().find(|c| c.name == name).unwrap_or_else(|| panic!("no colour {name}"));
    if dark { colour.dark } else { colour.light }
}

#[test]
fn contrast_of_known_pairs() {
    // White on black is 21 by definition; #767676 on white is known as the lightest grey that passes 4.5.
    assert!((contrast("#ffffff", "#000000") - 21.0).abs() < 1e-9);
    assert!((contrast("#767676", "#ffffff") - 4.54).abs() < 0.01);
}

#[test]
fn text_and_graphics_have_contrast_enough() {
    let text = [
        ("ink", "paper"),
        ("ink", "raised"),
        ("soft", "paper"),
        ("soft", "raised"),
        ("link", "paper"),
        ("link", "raised"),
        ("good", "good-ground"),
        ("bad", "bad-ground"),
        ("doubt", "doubt-ground"),
        ("quiet", "quiet-ground"),
        ("ink", "good-ground"),
        ("ink", "bad-ground"),
        ("ink", "doubt-ground"),
        ("ink", "quiet-ground"),
        ("on-map", "m3"),
        ("on-map", "m2"),
        ("on-map", "m1"),
        ("on-map", "z0"),
        ("on-map", "p1"),
        ("on-map", "p2"),
        ("on-map", "p3"),
    ];
    let inks = ["s1", "s2", "s3", "s4", "s5", "rule"];
    let graphics = inks.iter().flat_map(|ink| [(*ink, "paper"), (*ink, "raised")]);
    for dark in [false, true] {
        for ((a, b), least) in
            text.iter().copied().map(|p| (p, 4.5)).chain(graphics.clone().map(|p| (p, 3.0)))
        {
            let ratio = contrast(of(a, dark), of(b, dark));
            assert!(ratio >= least, "{a} on {b}, dark {dark}: {ratio:.2} is less than {least}");
        }
    }
}

/// CIE L*a*b* under D65.
fn lab(rgb: Triple) -> Triple {
    let [r, g, b] = rgb.map(|v| v.clamp(0.0, 1.0));
    let f = |t: f64| {
        if t > 216.0 / 24389.0 { t.cbrt() } else { (24389.0 / 27.0 * t + 16.0) / 116.0 }
    };
    let x = f((0.412_456_4 * r + 0.357_576_1 * g + 0.180_437_5 * b) / 0.950_47);
    let y = f(0.212_672_9 * r + 0.715_152_2 * g + 0.072_175_0 * b);
    let z = f((0.019_333_9 * r + 0.119_192_0 * g + 0.950_304_1 * b) / 1.088_83);
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

fn ciede2000([l1, a1, b1]: Triple, [l2, a2, b2]: Triple) -> f64 {
    let seventh = |c: f64| (c.powi(7) / (c.powi(7) + 25f64.powi(7))).sqrt();
    let stretch = 1.5 - 0.5 * seventh(f64::midpoint(a1.hypot(b1), a2.hypot(b2)));
    let (a1, a2) = (a1 * stretch, a2 * stretch);
    let (c1, c2) = (a1.hypot(b1), a2.hypot(b2));
    let hue = |a: f64, b: f64| b.atan2(a).to_degrees().rem_euclid(360.0);
    let (h1, h2) = (hue(a1, b1), hue(a2, b2));
    let grey = c1 * c2 < 1e-12;
    let turn = if grey { 0.0 } else { (h2 - h1 + 180.0).rem_euclid(360.0) - 180.0 };
    let dh = 2.0 * (c1 * c2).sqrt() * (turn / 2.0).to_radians().sin();
    let h = if grey { h1 + h2 } else { (h1 + turn / 2.0).rem_euclid(360.0) };
    let cos = |degrees: f64| degrees.to_radians().cos();
    let t = 1.0 - 0.17 * cos(h - 30.0) + 0.24 * cos(2.0 * h) + 0.32 * cos(3.0 * h + 6.0)
        - 0.2 * cos(4.0 * h - 63.0);
    let (l, c) = (f64::midpoint(l1, l2), f64::midpoint(c1, c2));
    let sl = 1.0 + 0.015 * (l - 50.0).powi(2) / (20.0 + (l - 50.0).powi(2)).sqrt();
    let (sc, sh) = (1.0 + 0.045 * c, 1.0 + 0.015 * c * t);
    let around = (60.0 * (-((h - 275.0) / 25.0).powi(2)).exp()).to_radians().sin();
    let rt = -2.0 * seventh(c) * around;
    let (dl, dc, dh) = ((l2 - l1) / sl, (c2 - c1) / sc, dh / sh);
    (dl * dl + dc * dc + dh * dh + rt * dc * dh).sqrt()
}

#[test]
fn differences_of_published_pairs() {
    // Sharma, Wu and Dalal, Color Res. Appl. 30 (2005), table 1, from memory: pairs 1, 7, 25 and 34.
    for (a, b, difference) in [
        ([50.0, 2.6772, -79.7751], [50.0, 0.0, -82.7485], 2.0425),
        ([50.0, 0.0, 0.0], [50.0, -1.0, 2.0], 2.3669),
        ([60.2574, -34.0099, 36.2677], [60.4626, -34.1751, 39.4387], 1.2644),
        ([2.0776, 0.0795, -1.1350], [0.9033, -0.0636, -0.5514], 0.9082),
    ] {
        assert!((ciede2000(a, b) - difference).abs() < 6e-5, "{a:?} {b:?}: {}", ciede2000(a, b));
    }
}

/// Matrices over linear RGB: normal sight, protanopia, deuteranopia, tritanopia.
const SIGHTS: [(&str, [Triple; 3]); 4] = [
    ("normal", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
    (
        "protan",
        [
            [0.152_286, 1.052_583, -0.204_868],
            [0.114_503, 0.786_281, 0.099_216],
            [-0.003_882, -0.048_116, 1.051_998],
        ],
    ),
    (
        "deutan",
        [
            [0.367_322, 0.860_646, -0.227_968],
            [0.280_085, 0.672_501, 0.047_413],
            [-0.011_820, 0.042_940, 0.968_881],
        ],
    ),
    (
        "tritan",
        [
            [1.255_528, -0.076_749, -0.178_779],
            [-0.078_411, 0.930_809, 0.147_602],
            [0.004_733, 0.691_367, 0.303_900],
        ],
    ),
];

#[test]
fn every_pair_of_inks_is_told_apart() {
    let inks = ["s1", "s2", "s3", "s4", "s5"];
    for dark in [false, true] {
        for (sight, matrix) in SIGHTS {
            let seen = inks.map(|ink| {
                let rgb = linear(of(ink, dark));
                lab(matrix.map(|row| row.iter().zip(rgb).map(|(m, v)| m * v).sum()))
            });
            for i in 0..inks.len() {
                for j in 0..i {
                    let apart = ciede2000(seen[i], seen[j]);
                    assert!(apart >= 15.0, "{} and {}, {sight}, dark {dark}: {apart:.1}", inks[i], inks[j]);
                }
            }
        }
    }
}

#[test]
fn inks_stay_near_the_palette_they_come_from() {
    // Okabe and Ito: blue, vermillion, bluish green, reddish purple; sky blue and orange on dark.
    let light = [("s1", "#0072b2"), ("s2", "#d55e00"), ("s3", "#009e73"), ("s4", "#cc79a7")];
    let dark = [("s1", "#56b4e9"), ("s2", "#e69f00"), ("s3", "#009e73"), ("s4", "#cc79a7")];
    for (is_dark, pairs) in [(false, light), (true, dark)] {
        for (ink, origin) in pairs {
            let apart = ciede2000(lab(linear(of(ink, is_dark))), lab(linear(origin)));
            assert!(apart < 8.0, "{ink}, dark {is_dark}: {apart:.1} from {origin}");
        }
    }
}
