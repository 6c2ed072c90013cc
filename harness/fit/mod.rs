//! From collections to models, curves and predictions.
//!
//! In: collections with their common errors, facts of the pair. Out: a fitted pair, its tables, its calibration, and
//! answers from a calibration alone. Never: a port, an instrument, a run.
//!
//! | file | what it answers |
//! |---|---|
//! | [`facts`] | what is known besides the data; why a fit is refused |
//! | [`points`] | which collections count, and which are replicates |
//! | [`nozzle`] | K and the exponent |
//! | [`terms`] | the pump's law as a sum of terms |
//! | [`surface`] | where pump and nozzle agree |
//! | [`pump_data`] | the pump's problem, linearised |
//! | [`bayes`] | regression with priors, and evidence |
//! | [`blend`] | the pump's law from data |
//! | [`common_errors`] | what an error common to all data does |
//! | [`liquid`] | what liquid and temperature do |
//! | [`estimate`] | value, budget, expanded uncertainty |
//! | [`model`] | a fitted pair that answers |
//! | [`pair`] | the whole fit |

pub mod bayes;
pub mod blend;
pub mod common_errors;
pub mod estimate;
pub mod facts;
pub mod liquid;
pub mod model;
pub mod nozzle;
pub mod pair;
pub mod points;
pub mod pump_data;
pub mod surface;
pub mod terms;
