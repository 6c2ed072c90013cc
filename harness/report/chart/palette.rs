//! Colours, as the custom properties that charts and page use.
//!
//! In: nothing. Out: names and colours for a light and a dark page. The inks are colours of the Okabe-Ito palette
//! (Okabe and Ito, Color Universal Design, 2008), each shifted a little (CIEDE2000 below 8) so that every pair stays
//! apart by 15 under simulated colour blindness of each kind, and has contrast enough on its ground.
//! Never: a colour that carries a meaning alone.

/// A custom property and its colour on a light and on a dark page, as `#rrggbb`.
#[derive(Clone, Copy, Debug)]
pub struct Colour {
    /// Name without the leading `--`.
    pub name: &'static str,
    /// On a light page and on paper.
    pub light: &'static str,
    /// On a dark page.
    pub dark: &'static str,
}

const fn colour(name: &'static str, light: &'static str, dark: &'static str) -> Colour {
    Colour { name, light, dark }
}

/// Every colour there is.
pub const COLOURS: &[Colour] = &[
    // Surfaces and text.
    colour("paper", "#ffffff", "#14181d"),
    colour("raised", "#f4f6f8", "#1d232a"),
    colour("ink", "#16191d", "#e9edf1"),
    colour("soft", "#4d5660", "#a9b4bf"),
    colour("rule", "#858e98", "#75808b"),
    colour("grid", "#dde2e7", "#2e363f"),
    colour("link", "#0b5c93", "#7cc4f2"),
    // Inks of charts: blue, vermillion, green, purple, black; light blue and orange on dark.
    colour("s1", "#005f9e", "#52b9f0"),
    colour("s2", "#d35206", "#edad2a"),
    colour("s3", "#009e73", "#0f9467"),
    colour("s4", "#c774a2", "#c56c9f"),
    colour("s5", "#16191d", "#e9edf1"),
    // Verdicts: text and its ground.
    colour("good", "#0b5c93", "#8fd0f7"),
    colour("good-ground", "#e4f0f9", "#15303f"),
    colour("bad", "#a23f00", "#ffb27a"),
    colour("bad-ground", "#fceade", "#3d2412"),
    colour("doubt", "#6a5200", "#f0dc6a"),
    colour("doubt-ground", "#fbf3d0", "#35300f"),
    colour("quiet", "#4d5660", "#a9b4bf"),
    colour("quiet-ground", "#eef1f4", "#232a32"),
    // Map of differences: blue below, vermillion above.
    colour("m3", "#5ba7d6", "#1f6ea3"),
    colour("m2", "#9ccbe9", "#1a4f73"),
    colour("m1", "#d5eaf7", "#193547"),
    colour("z0", "#ffffff", "#232a32"),
    colour("p1", "#fae3d3", "#472a17"),
    colour("p2", "#f3bd94", "#74401a"),
    colour("p3", "#ea8f4e", "#a8521a"),
    colour("on-map", "#16191d", "#ffffff"),
];

/// The colours as declarations, `--name:#rrggbb;` each.
#[must_use]
pub fn declarations(dark: bool) -> String {
    COLOURS.iter().map(|c| format!("--{}:{};", c.name, if dark { c.dark } else { c.light })).collect()
}
