//! What leaves for the chart.

#[path = "../chart/mod.rs"]
mod chart;
mod fhir;
mod paper;
