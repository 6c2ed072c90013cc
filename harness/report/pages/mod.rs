//! Pages for each kind of result, put together from the page model.

pub mod compare;
mod compare_figures;
pub mod items;
pub mod map;
pub mod pair;
mod pair_figures;
pub mod road;
mod residual_figures;
mod run_figures;
pub mod subject;
pub mod record_figures;
pub mod switch_figures;
pub mod timing_figure;
