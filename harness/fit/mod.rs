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
//! | `gauss` | the same regression, solved in the space of the rows |
//! | [`outliers`] | collections that went wrong |
//! | [`noise_shape`] | how large scatter is expected to be |
//! | [`prior`] | what is supposed before data |
//! | `anchor` | what is roughly known of any pump |
//! | [`extra`] | bypass and pulsing current |
//! | [`candidate`], `opening` | pump laws with and without a bypass |
//! | [`blend`] | the pump's law from data: all of them weighed |
//! | [`law`] | which law in a few parameters the data ask for |
//! | [`second_opinion`] | a curve without a law |
//! | [`dead_band`] | where flow stops |
//! | [`published`] | coefficients of pump and nozzle |
//! | [`findings`] | what a person should know |
//! | [`budget`] | budget tables |
//! | [`store`] | to a calibration file and back |
//! | [`tables`] | the tables of a calibration |
//! | [`common_errors`] | what an error common to all data does |
//! | [`liquid`] | what liquid and temperature do |
//! | [`model`] | a fitted pair that answers |
//! | [`ask`] | questions, answers, refusals |
//! | [`predict`] | the flow at a duty |
//! | `inverse` | the duty for a flow |
//! | [`siphon`] | what vacuum draws through a standing pump |
//! | [`pair`] | the whole fit |
//! | [`edges`] | dead band and breakaway as ramps showed them |
//! | [`delivered`] | the flow at each point of a controller |
//! | [`wanted`] | a table of wanted flows |

mod anchor;
pub mod ask;
pub mod bayes;
pub mod blend;
pub mod budget;
pub mod candidate;
pub mod common_errors;
pub mod dead_band;
pub mod edges;
pub mod delivered;
pub mod extra;
pub mod facts;
pub mod findings;
mod inverse;
mod gauss;
pub mod law;
pub mod liquid;
pub mod model;
pub mod noise_shape;
pub mod nozzle;
mod opening;
pub mod outliers;
pub mod pair;
pub mod points;
pub mod predict;
pub mod prior;
pub mod published;
pub mod pump_data;
pub mod second_opinion;
pub mod siphon;
pub mod store;
pub mod surface;
pub mod tables;
pub mod terms;
pub mod wanted;
