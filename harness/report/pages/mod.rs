//! Pages for each kind of result, put together from the page model.

pub mod items;
pub mod pair;
mod pair_figures;
mod run_figures;
pub mod subject;
