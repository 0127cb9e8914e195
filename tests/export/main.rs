//! What leaves for the chart.

#[path = "../chart/mod.rs"]
mod chart;
#[path = "../conversation/mod.rs"]
mod conversation;
mod fhir;
mod palpated;
mod paper;
mod spoken;
