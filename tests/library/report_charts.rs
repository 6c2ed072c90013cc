//! Charts as SVG, without a browser: nothing leaves the view box by the widest usual font, nothing that is missing is
//! drawn, nothing depends on the run, long series stay short.

use dutycup::door::report::chart::{
    self, Axis, Band, BandKind, Bar, Bins, Budget, Callout, Cell, Chart, Dash, Ink, Layer, Line, Marker,
    Multiples, Overview, Panel, Plot, Point, Points, Reference, ReferenceKind, Size, Small, Span, SpanKind,
    measure,
};
use proptest::prelude::*;
use roxmltree::{Document, Node};

const SIZES: [Size; 2] = [Size::Wide, Size::Narrow];
/// The font size of charts.
const FONT: f64 = 13.0;

fn svg(chart: &Chart, size: Size) -> String {
    chart::svg(chart, size, "f1", &"title".into(), &"description".into())
}

fn number(node: Node, attribute: &str) -> f64 {
    let text = node.attribute(attribute).expect("the attribute");
    text.parse().unwrap_or_else(|_| panic!("{attribute}={text}"))
}

/// What must hold for every chart.
fn check(chart: &Chart) {
    for size in SIZES {
        let text = svg(chart, size);
        assert_eq!(text, svg(chart, size), "the same chart gives the same bytes");
        let document = Document::parse(&text).expect("well-formed");
        let root = document.root_element();
        let view: Vec<f64> = root
            .attribute("viewBox")
            .expect("a view box")
            .split(' ')
            .map(|v| v.parse().expect("a number"))
            .collect();
        for node in document.descendants().filter(Node::is_element) {
            for attribute in node.attributes() {
                let value = attribute.value();
                let bad = value.contains("NaN") || value.contains("inf");
                assert!(!bad || attribute.name() == "id", "{}={value}", attribute.name());
            }
            if node.tag_name().name() == "text" {
                let words = node.text().unwrap_or_default();
                let (x, y, wide) = (number(node, "x"), number(node, "y"), measure::width(words, FONT));
                let left = match node.attribute("text-anchor") {
                    Some("middle") => x - wide / 2.0,
                    Some("end") => x - wide,
                    _ => x,
                };
                let inside = left >= -0.6 && left + wide <= view[2] + 0.6 && y >= FONT * 0.7 && y <= view[3];
                assert!(
                    inside,
                    "{size:?}: {words:?} at {left:.1}..{:.1}, {y:.1} leaves {view:?}",
                    left + wide
                );
            }
        }
    }
}

fn count(chart: &Chart, class: &str) -> usize {
    let text = svg(chart, Size::Wide);
    let document = Document::parse(&text).expect("well-formed");
    let has = |n: &Node| n.attribute("class").is_some_and(|c| c.split(' ').any(|part| part == class));
    document.descendants().filter(has).count()
}

fn plot(y: Axis, layers: Vec<Layer>) -> Chart {
    Chart::Plot(Plot { x: Axis::linear("x"), panels: vec![Panel { y, layers }] })
}

fn points(label: &str, points: Vec<Point>) -> Layer {
    Layer::Points(Points { label: label.into(), ink: Ink::Blue, marker: Marker::Disc, hollow: false, points })
}

#[test]
fn what_is_missing_is_not_drawn() {
    let with_gap = [1.0, f64::NAN, 3.0, f64::INFINITY].map(|y| Point::new(y.min(9.0), y));
    let chart = plot(Axis::linear("y"), vec![points("", with_gap.to_vec())]);
    assert_eq!(count(&chart, "mk"), 2);
    let line =
        Line::solid("", Ink::Blue, vec![(0.0, 1.0), (1.0, 2.0), (2.0, f64::NAN), (3.0, 2.0), (4.0, 1.0)]);
    assert_eq!(count(&plot(Axis::linear("y"), vec![Layer::Line(line)]), "ln"), 2, "a gap splits the line");
    let bins = Bins {
        label: "".into(),
        ink: Ink::Blue,
        bins: vec![(0.0, 1.0, 5.0), (1.0, 2.0, 0.0), (2.0, 3.0, 1.0)],
    };
    assert_eq!(count(&plot(Axis::linear("y"), vec![Layer::Bins(bins)]), "hb"), 2);
}

#[test]
fn a_logarithmic_axis_says_what_it_cannot_show() {
    let chart = plot(Axis::log("y"), vec![points("", vec![Point::new(1.0, 0.0), Point::new(2.0, 5.0)])]);
    assert_eq!(count(&chart, "mk"), 1);
    assert!(svg(&chart, Size::Narrow).contains("1 value at or below zero"));
}

#[test]
fn in_a_map_zero_is_not_missing() {
    let cell = |value| Cell::Difference { value, out: false };
    let map = |cells: Vec<Cell>| {
        Chart::Overview(Overview {
            x_title: "x".into(),
            y_title: "y".into(),
            value_title: "v".into(),
            columns: cells.iter().map(|_| "c".into()).collect(),
            rows: vec!["r".into()],
            cells: vec![cells],
            tolerance: 1.0,
        })
    };
    // The key shows each look once: one cell at zero, one missing (a dashed box with a stroke).
    let (zero, missing) = (map(vec![cell(0.0)]), map(vec![Cell::Missing]));
    assert_eq!((count(&zero, "z0"), count(&zero, "mm")), (2, 2));
    assert_eq!((count(&missing, "z0"), count(&missing, "mm")), (1, 4));
    assert!(svg(&zero, Size::Wide).contains(">0.0<"));
    let out =
        map(vec![Cell::Difference { value: 4.0, out: true }, Cell::Difference { value: -4.0, out: true }]);
    assert_eq!(count(&out, "mt"), 4, "a triangle each, and two in the key");
}

#[test]
fn a_long_series_keeps_its_peak_and_stays_short() {
    let series: Vec<(f64, f64)> =
        (0..200_000).map(|i| (f64::from(i), if i == 77_777 { 50.0 } else { f64::from(i % 7) })).collect();
    let chart = plot(Axis::linear("y"), vec![Layer::Line(Line::solid("", Ink::Blue, series))]);
    for (size, most) in [(Size::Wide, 2000), (Size::Narrow, 700)] {
        let text = svg(&chart, size);
        let document = Document::parse(&text).unwrap();
        let line = document.descendants().find(|n| n.attribute("class") == Some("ln i1")).unwrap();
        let d = line.attribute("d").unwrap();
        assert!(d.matches(['M', 'L']).count() <= most);
        let highest = d
            .split(['M', 'L'])
            .filter_map(|p| p.split(' ').nth(1)?.parse::<f64>().ok())
            .fold(f64::INFINITY, f64::min);
        let ordinary = d
            .split(['M', 'L'])
            .filter_map(|p| p.split(' ').nth(1)?.parse::<f64>().ok())
            .filter(|y| *y < highest + 50.0);
        assert_eq!(ordinary.count(), 1, "the one peak stands alone");
    }
}

#[test]
fn charts_of_nothing_are_drawn() {
    check(&plot(Axis::linear(""), vec![]));
    check(&plot(Axis::log("y"), vec![points("none", vec![Point::new(f64::NAN, f64::NAN)])]));
    check(&plot(Axis::words("y", [""; 0]), vec![]));
    check(&Chart::Plot(Plot { x: Axis::linear("x"), panels: vec![] }));
    check(&Chart::Budget(Budget { title: "".into(), bars: vec![] }));
    let empty = Axis::linear("x");
    check(&Chart::Multiples(Multiples { x: empty.clone(), y: empty, plots: vec![] }));
    let map = Overview {
        x_title: "".into(),
        y_title: "".into(),
        value_title: "".into(),
        columns: vec![],
        rows: vec![],
        cells: vec![],
        tolerance: 0.0,
    };
    check(&Chart::Overview(map));
}

fn value() -> impl Strategy<Value = f64> {
    prop_oneof![
        8 => -1e3..1e3f64,
        2 => Just(0.0),
        1 => Just(f64::NAN),
        1 => 1e-9..1e-6f64,
        1 => -1e9..1e9f64,
    ]
}

fn words() -> impl Strategy<Value = String> {
    prop_oneof![
        3 => "[a-z ]{0,30}",
        1 => "[A-Za-z0-9 %±.,]{0,120}",
        1 => "W{1,80}",
        1 => any::<String>(),
    ]
}

fn layer() -> impl Strategy<Value = Layer> {
    let ink = prop::sample::select(Ink::ALL.to_vec());
    let pairs = || prop::collection::vec((value(), value()), 0..30);
    prop_oneof![
        (words(), ink.clone(), pairs()).prop_map(|(label, ink, p)| Layer::Points(Points {
            label: label.into(),
            ink,
            marker: Marker::Square,
            hollow: true,
            points: p.iter().map(|p| Point { x: p.0, y: p.1, y_u: p.0.abs(), x_u: 1.0 }).collect(),
        })),
        (words(), ink.clone(), pairs(), any::<bool>()).prop_map(|(label, ink, points, step)| {
            let line = Line::solid(label, ink, points).dashed(Dash::Long);
            Layer::Line(Line { step, arrow: !step, ..line })
        }),
        (words(), ink.clone(), pairs()).prop_map(|(label, ink, p)| Layer::Band(Band {
            label: label.into(),
            kind: BandKind::Prediction,
            ink,
            points: p.iter().map(|p| (p.0, p.1 - 1.0, p.1 + 1.0)).collect(),
        })),
        (words(), value(), value()).prop_map(|(label, from, to)| Layer::Span(Span {
            label: label.into(),
            kind: SpanKind::Void,
            from,
            to,
        })),
        (words(), any::<bool>(), value()).prop_map(|(label, upright, at)| Layer::Reference(Reference {
            label: label.into(),
            kind: ReferenceKind::Limit,
            upright,
            at,
        })),
        (words(), value(), value()).prop_map(|(words, x, y)| Layer::Callout(Callout {
            x,
            y,
            words: words.into()
        })),
    ]
}

fn axis() -> impl Strategy<Value = Axis> {
    (words(), 0..3, prop::collection::vec(words(), 0..4)).prop_map(|(title, kind, names)| match kind {
        0 => Axis::linear(title),
        1 => Axis::log(title),
        _ => Axis::words(title, names),
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_plot_stays_inside(x in axis(), panels in prop::collection::vec((axis(), prop::collection::vec(layer(), 0..7)), 1..4)) {
        let panels = panels.into_iter().map(|(y, layers)| Panel { y, layers }).collect();
        check(&Chart::Plot(Plot { x, panels }));
    }

    #[test]
    fn any_small_plots_stay_inside(x in axis(), y in axis(), plots in prop::collection::vec((words(), prop::collection::vec(layer(), 0..4)), 0..8)) {
        let plots = plots.into_iter().map(|(title, layers)| Small { title: title.into(), layers }).collect();
        check(&Chart::Multiples(Multiples { x, y, plots }));
    }

    #[test]
    fn any_budget_stays_inside(title in words(), bars in prop::collection::vec((words(), value(), words(), any::<bool>()), 0..9)) {
        let bars = bars
            .into_iter()
            .map(|(name, length, words, type_a)| Bar { name: name.into(), length, words: words.into(), type_a })
            .collect();
        check(&Chart::Budget(Budget { title: title.into(), bars }));
    }

    #[test]
    fn any_map_stays_inside(names in prop::collection::vec(words(), 3), columns in prop::collection::vec(words(), 0..20), rows in prop::collection::vec(words(), 0..8), values in prop::collection::vec(value(), 160), tolerance in 0.0..10.0f64) {
        let cells = rows
            .iter()
            .enumerate()
            .map(|(i, _)| {
                let cell = |j: usize| Cell::Difference { value: values[i * 20 + j], out: j.is_multiple_of(3) };
                (0..columns.len()).map(cell).collect()
            })
            .collect();
        check(&Chart::Overview(Overview {
            x_title: (&names[0]).into(),
            y_title: (&names[1]).into(),
            value_title: (&names[2]).into(),
            columns: columns.iter().map(Into::into).collect(),
            rows: rows.iter().map(Into::into).collect(),
            cells,
            tolerance,
        }));
    }
}
