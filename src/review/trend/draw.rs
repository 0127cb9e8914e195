//! The drawing. Shapes tell things apart, never colour alone: the range is a
//! band with named edges, the usual a broken line, a reading a dot, a blood
//! pressure a square over a ring joined by a bar (a palpated one, which has no diastolic, a
//! square alone), readings that share a place a
//! bar from lowest to highest, and each value outside its range has a diamond
//! around it.
//!
//! Four inks are used and no others; the style sheet maps them to those of a
//! light, a dark or a printed page.

use std::fmt::Write as _;

use chrono::{Datelike as _, Days, NaiveDate};
use plotters::coord::Shift;
use plotters::coord::ranged1d::{KeyPointHint, NoDefaultFormatting, Ranged, ValueFormatter};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use rust_decimal::prelude::ToPrimitive as _;

use super::{Mark, Trend};
use crate::facts::Time;
use crate::review::now::Now;

const INK: RGBColor = RGBColor(0x1d, 0x2a, 0x2c);
const SOFT: RGBColor = RGBColor(0x56, 0x64, 0x68);
const BAND: RGBColor = RGBColor(0xdb, 0xe7, 0xe4);
const GRID: RGBColor = RGBColor(0xe2, 0xdf, 0xd5);
const PAPER: RGBColor = RGBColor(0xff, 0xfe, 0xfb);

/// How large a drawing is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// One of several on a page.
    Small,
    /// The only one.
    Large,
}

impl Size {
    const fn pixels(self) -> (u32, u32) {
        match self {
            Self::Small => (400, 210),
            Self::Large => (920, 360),
        }
    }

    const fn text(self) -> f64 {
        match self {
            Self::Small => 20.0,
            Self::Large => 18.0,
        }
    }

    /// Room at the right for the names of lines, which say the part where there are two.
    const fn right(self, parts: usize) -> i32 {
        match (self, parts) {
            (Self::Small, 2) => 158,
            (Self::Small, _) => 126,
            (Self::Large, _) => 178,
        }
    }
}

type Problem = DrawingAreaErrorKind<std::io::Error>;
type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// Draws a trend as SVG that names itself `label`.
///
/// # Errors
/// Says that it cannot be drawn; there is a table beside it in any case.
pub fn draw(trend: &Trend, size: Size, label: &str, now: Now<'_>) -> Result<String, String> {
    let mut svg = String::new();
    {
        let area = SVGBackend::with_string(&mut svg, size.pixels()).into_drawing_area();
        onto(&area, trend, size, now).map_err(|error| error.to_string())?;
        area.present().map_err(|error| error.to_string())?;
    }
    let (width, height) = size.pixels();
    let fixed = format!("<svg width=\"{width}\" height=\"{height}\"");
    let mut named = String::from("<svg role=\"img\" aria-label=\"");
    let _ = maud::Escaper::new(&mut named).write_str(label);
    named.push('"');
    let svg = svg.replacen(&fixed, &named, 1);
    // What says nothing is left out: a page is full of these.
    Ok(svg
        .replace(" opacity=\"1\"", "")
        .replace(" font-family=\"sans-serif\"", "")
        .replace('\n', ""))
}

fn seconds(at: Time) -> f64 {
    // Exact for a hundred million years.
    at.timestamp().to_f64().unwrap_or_default()
}

/// Lowest and highest of everything that is drawn, with room around.
fn heights(trend: &Trend) -> (f64, f64) {
    let marks = trend.marks.iter().flat_map(|it| it.parts.iter().flatten());
    let mut all: Vec<f64> = marks.flat_map(|it| [it.low, it.high]).collect();
    all.extend(trend.bands.iter().flat_map(|it| [it.low, it.high]));
    all.extend(trend.usual.iter().flatten().map(|it| it.value));
    let low = all.iter().copied().reduce(f64::min).unwrap_or(0.0);
    let high = all.iter().copied().reduce(f64::max).unwrap_or(1.0);
    // Where there is no range to compare with, a change of a hundredth must not
    // fill the page and look like a fall.
    let least = if trend.bands.is_empty() {
        (f64::midpoint(low, high) * 0.1).max(1.0)
    } else {
        1.0
    };
    let room = ((high - low) * 0.12).max((least - (high - low)) / 2.0);
    (low - room, high + room)
}

/// An axis with just the marks it is given, and their names.
struct Axis {
    from: f64,
    to: f64,
    marks: Vec<(f64, String)>,
}

impl Ranged for Axis {
    type FormatOption = NoDefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, (low, high): (i32, i32)) -> i32 {
        let part = (value - self.from) / (self.to - self.from);
        let pixels = (part * f64::from(high - low)).round();
        low + pixels.to_i32().unwrap_or_default()
    }

    fn key_points<Hint: KeyPointHint>(&self, _: Hint) -> Vec<f64> {
        self.marks.iter().map(|(at, _)| *at).collect()
    }

    fn range(&self) -> std::ops::Range<f64> {
        self.from..self.to
    }
}

impl ValueFormatter<f64> for Axis {
    fn format(value: &f64) -> String {
        value.to_string()
    }

    fn format_ext(&self, value: &f64) -> String {
        let mark = self
            .marks
            .iter()
            .find(|(at, _)| at.total_cmp(value).is_eq());
        mark.map_or_else(String::new, |(_, name)| name.clone())
    }
}

/// Round numbers between two: two of them at least, and six at most.
fn steps(low: f64, high: f64) -> Vec<(f64, String)> {
    let rough = (high - low) / 5.0;
    let power = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .map(|it| it * power)
        .into_iter()
        .find(|it| *it >= rough)
        .unwrap_or(rough);
    let first = (low / step).ceil() * step;
    let each = (0..12).map(|it| f64::from(it).mul_add(step, first));
    each.take_while(|it| *it <= high)
        .map(|it| (it, tenths(it).to_string()))
        .collect()
}

fn tenths(it: f64) -> f64 {
    (it * 10.0).round() / 10.0
}

/// Days that are named below the drawing, with their names.
fn days(trend: &Trend, size: Size, now: Now<'_>) -> Vec<(f64, String)> {
    let (from, to) = (trend.from.date_naive(), trend.to.date_naive());
    let span = (to - from).num_days();
    let wanted = match size {
        Size::Small => 3,
        Size::Large => 8,
    };
    let all = from.iter_days().skip(1).take_while(|it| *it <= to);
    let named: Vec<(NaiveDate, &str)> = if span > 62 {
        let months = all.filter(|it| it.day() == 1).collect::<Vec<_>>();
        let every = u32::try_from(months.len().div_ceil(wanted)).unwrap_or(1);
        // Whole quarters, half-years and years read better than five months.
        let every = [1, 2, 3, 6, 12]
            .into_iter()
            .find(|it| *it >= every)
            .unwrap_or(12);
        let format = match every {
            12 => "%Y",
            _ if span > 370 => "%b %Y",
            _ => "%b %-d",
        };
        months
            .into_iter()
            .filter(|it| it.month0().is_multiple_of(every))
            .map(|it| (it, format))
            .collect()
    } else {
        let every = usize::try_from(span).unwrap_or(1).div_ceil(wanted).max(1);
        let mut back: Vec<_> = to.iter_days().take(1).collect();
        while let Some(next) = back
            .last()
            .and_then(|it| it.checked_sub_days(Days::new(every as u64)))
            && next > from
        {
            back.push(next);
        }
        back.into_iter().rev().map(|it| (it, "%b %-d")).collect()
    };
    named
        .into_iter()
        .map(|(day, format)| (seconds(now.began(day)), day.format(format).to_string()))
        .collect()
}

fn onto(area: &Area<'_>, trend: &Trend, size: Size, now: Now<'_>) -> Result<(), Problem> {
    let text = ("sans-serif", size.text()).into_font();
    let (low, high) = heights(trend);
    let (left, right) = (seconds(trend.from), seconds(trend.to));
    // A last reading at the very edge would be cut in half.
    let edge = (right - left) * 0.015;
    let across = Axis {
        from: left,
        to: right + edge,
        marks: days(trend, size, now),
    };
    let up = Axis {
        from: low,
        to: high,
        marks: steps(low, high),
    };
    let mut chart = ChartBuilder::on(area)
        .margin_top(12)
        .margin_right(size.right(trend.usual.len()))
        .x_label_area_size(30)
        .y_label_area_size(52)
        .build_cartesian_2d(across, up)?;
    let midnight = |day| seconds(now.began(day));
    for band in &trend.bands {
        let start = midnight(band.from).max(left);
        let end = midnight(band.to + Days::new(1)).min(right + edge);
        let corners = [(start, band.low), (end, band.high)];
        chart.draw_series([Rectangle::new(corners, BAND.filled())])?;
    }
    chart
        .configure_mesh()
        .disable_x_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GRID)
        .axis_style(SOFT)
        .label_style(text.clone().color(&SOFT))
        .draw()?;
    for band in &trend.bands {
        let start = midnight(band.from).max(left);
        let end = midnight(band.to + Days::new(1)).min(right + edge);
        for at in [band.low, band.high] {
            let line = LineSeries::new([(start, at), (end, at)], SOFT.stroke_width(1));
            chart.draw_series(line)?;
        }
    }
    for usual in trend.usual.iter().flatten() {
        let line = [(left, usual.value), (right + edge, usual.value)];
        let broken = DashedLineSeries::new(line, 9, 6, SOFT.stroke_width(2));
        chart.draw_series(broken)?;
    }
    let place = |at: f64, value: f64| chart.backend_coord(&(at, value));
    draw_marks(area, &trend.marks, &place)?;
    let (edge_x, _) = place(right + edge, low);
    names(
        area,
        (trend, size),
        // Not under the sign around a reading at the edge.
        edge_x + 12,
        &|value| place(right, value).1,
        &text,
    )
}

fn draw_marks(
    area: &Area<'_>,
    marks: &[Mark],
    place: &dyn Fn(f64, f64) -> (i32, i32),
) -> Result<(), Problem> {
    let pressure = marks.first().is_some_and(|it| it.parts.len() == 2);
    if !pressure {
        let path: Vec<(i32, i32)> = marks
            .iter()
            .filter_map(|it| Some(place(seconds(it.at), it.parts[0]?.middle)))
            .collect();
        area.draw(&PathElement::new(path, SOFT.stroke_width(1)))?;
    }
    for mark in marks {
        let at = |value| place(seconds(mark.at), value);
        let bar = |from, to, width| PathElement::new([from, to], INK.stroke_width(width));
        if mark.count > 1 {
            for it in mark.parts.iter().flatten() {
                area.draw(&bar(at(it.low), at(it.high), 3))?;
            }
        }
        match mark.parts[..] {
            [Some(systolic), diastolic] => {
                if let Some(diastolic) = diastolic {
                    area.draw(&bar(at(systolic.middle), at(diastolic.middle), 1))?;
                    area.draw(&Circle::new(at(diastolic.middle), 4, PAPER.filled()))?;
                    area.draw(&Circle::new(at(diastolic.middle), 4, INK.stroke_width(2)))?;
                }
                let (x, y) = at(systolic.middle);
                let square = [(x - 3, y - 3), (x + 4, y + 4)];
                area.draw(&Rectangle::new(square, INK.filled()))?;
            }
            [Some(one)] => {
                area.draw(&Circle::new(at(one.middle), 3, INK.filled()))?;
            }
            _ => {}
        }
        for (when, value) in &mark.outside {
            let at = place(seconds(*when), *value);
            if mark.count > 1 {
                area.draw(&Circle::new(at, 2, INK.filled()))?;
            }
            area.draw(&diamond(at, 9))?;
        }
    }
    Ok(())
}

fn diamond((x, y): (i32, i32), half: i32) -> PathElement<(i32, i32)> {
    let corners = [
        (x, y - half),
        (x + half, y),
        (x, y + half),
        (x - half, y),
        (x, y - half),
    ];
    PathElement::new(corners, INK.stroke_width(2))
}

/// Names the ends of the last ranges and the usual, at the right edge, moved
/// apart where they would lie on one another.
fn names(
    area: &Area<'_>,
    (trend, size): (&Trend, Size),
    x: i32,
    height: &dyn Fn(f64) -> i32,
    text: &FontDesc<'_>,
) -> Result<(), Problem> {
    let mut lines: Vec<(i32, String)> = Vec::new();
    let whose = |part: usize| match (trend.usual.len(), size, part) {
        (2, Size::Large, 0) => "systolic ",
        (2, Size::Large, _) => "diastolic ",
        (2, Size::Small, 0) => "sys. ",
        (2, Size::Small, _) => "dia. ",
        _ => "",
    };
    let rounded = |it: f64| match (trend.usual.len(), size) {
        (2, Size::Small) => it.round(),
        _ => tenths(it),
    };
    for part in 0..trend.usual.len() {
        let whose = whose(part);
        let band = trend.bands.iter().rev().find(|it| it.part == part);
        for (at, word) in band
            .iter()
            .flat_map(|it| [(it.high, "high"), (it.low, "low")])
        {
            lines.push((height(at), format!("{whose}{word} {}", rounded(at))));
        }
        if let Some(usual) = trend.usual[part] {
            let word = if usual.set { "usual" } else { "median" };
            lines.push((
                height(usual.value),
                format!("{whose}{word} {}", rounded(usual.value)),
            ));
        }
    }
    lines.sort();
    let apart = 17;
    for at in 1..lines.len() {
        lines[at].0 = lines[at].0.max(lines[at - 1].0 + apart);
    }
    let style = text.color(&SOFT).pos(Pos::new(HPos::Left, VPos::Center));
    for (y, name) in lines {
        area.draw(&Text::new(name, (x, y), style.clone()))?;
    }
    Ok(())
}
