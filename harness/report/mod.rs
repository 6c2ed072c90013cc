//! What people and programs read: the page, JUnit, the terminal summary. One file a format.
//!
//! In: values, verdicts and words, however they were computed. Out: one [`page::Page`] as `report.html`, `junit.xml`,
//! `verdicts.json`, text on a terminal. Never: a calculation on measured data, a script, an address of the network.

pub mod chart;
pub mod csv_metadata;
pub mod figure_text;
pub mod junit;
pub mod page;
pub mod page_html;
pub mod pages;
pub mod summary;
pub mod terminal;
pub mod verdict_table;
pub mod verdicts_json;
pub mod words;
