//! Observations from readings, and from what was not taken.

use uuid::Uuid;

use super::coded;
use super::codes::{CATEGORY, DIASTOLIC, Measured, PANEL, SYSTOLIC, measured};
use super::derived::{self, Heights};
use super::model::{
    Annotation, Code, CodeableConcept, Extension, HumanName, Identifier, Meta, Narrative,
    Observation, ObservationComponent, ObservationRange, ObservationValue, Practitioner,
    Qualification, Quantity, Reference, moment,
};
use super::patient::{Links, PatientSystem};
use crate::facts::Time;
use crate::residents::{Home, ResidentId, Staff};
use crate::review::export::{Act, Change, Chart, Entry, Missed, Retaken, Selection, words};
use crate::round::shown;
use crate::speaking::wording::capital;
use crate::vitals::{
    Component, Finding, Layer, Measurement, Qualifier, Quantity as Said, Range, Rhythm, Supply,
    Value, VitalSign,
};

/// Where the performer is contained.
const PERFORMER: &str = "performer";

/// Everything that `selection` takes, as Observations in order of time.
#[must_use]
pub fn observations(
    chart: &Chart,
    home: &Home,
    system: &PatientSystem,
    links: Links,
    selection: &Selection,
) -> Vec<Observation> {
    let writer = Writer {
        chart,
        home,
        system,
        links,
    };
    let heights = Heights::of(chart);
    let mut written = Vec::new();
    for entry in &chart.readings {
        let resident = &entry.record.resident;
        if selection.takes(resident, entry.changed_at) {
            written.push(writer.reading(entry));
            written.extend(derived::flow(&writer, entry));
        }
        if let Some(index) = heights.mass_index(entry)
            && selection.takes(resident, index.changed_at())
        {
            written.extend(index.observation(&writer));
        }
    }
    for missed in &chart.missed {
        if selection.takes(missed.resident, missed.changed_at) {
            written.extend(writer.missed(missed));
        }
    }
    written.sort_by_key(|one| one.0);
    written
        .into_iter()
        .map(|(_, observation)| observation)
        .collect()
}

/// An Observation with the time by which it is put in order.
pub(super) type Timed = (Time, Observation);

/// What every Observation needs.
pub(super) struct Writer<'a> {
    chart: &'a Chart<'a>,
    home: &'a Home,
    system: &'a PatientSystem,
    links: Links,
}

/// What an Observation is about, before its value.
pub(super) struct About<'a> {
    /// Identifier of the fact, or one made from it.
    pub(super) id: Uuid,
    pub(super) status: &'static str,
    pub(super) measured: Measured,
    pub(super) resident: &'a ResidentId,
    pub(super) by: &'a Staff,
    pub(super) effective: Time,
    pub(super) issued: Time,
}

impl Writer<'_> {
    /// An Observation without a value. `lines` are for people.
    pub(super) fn observation(&self, about: &About, lines: &[String]) -> Observation {
        let name = |text: &str| HumanName {
            text: text.to_owned(),
        };
        let performer = Practitioner {
            id: PERFORMER,
            name: vec![name(&about.by.name)],
            qualification: vec![Qualification {
                code: CodeableConcept::text(&about.by.title),
            }],
        };
        Observation {
            id: Some(about.id.to_string()),
            meta: Meta {
                profile: vec![about.measured.url],
            },
            text: Narrative::of(lines),
            contained: vec![performer],
            extension: Vec::new(),
            identifier: vec![Identifier::uuid(about.id)],
            status: about.status,
            category: vec![CodeableConcept::coded(&[CATEGORY])],
            code: CodeableConcept::coded(about.measured.codes).saying(about.measured.text),
            subject: self
                .links
                .patient(self.chart, self.home, self.system, about.resident),
            effective_date_time: moment(about.effective),
            issued: moment(about.issued),
            performer: vec![Reference {
                reference: Some(format!("#{PERFORMER}")),
                display: Some(about.by.name.clone()),
                ..Reference::default()
            }],
            value: None,
            interpretation: Vec::new(),
            note: Vec::new(),
            body_site: None,
            method: None,
            device: None,
            reference_range: Vec::new(),
            derived_from: Vec::new(),
            component: Vec::new(),
        }
    }

    fn reading(&self, entry: &Entry) -> Timed {
        let measurement = entry.measurement;
        let about = About {
            id: entry.id,
            status: status(entry),
            measured: measured(measurement.sign()),
            resident: &entry.record.resident,
            by: entry.by,
            effective: entry.measured_at,
            issued: entry.changed_at,
        };
        let mut it = self.observation(&about, &lines(entry));
        self.add_value(&mut it, entry);
        add_qualifiers(&mut it, measurement);
        it.device = entry.record.device.map(|device| Reference {
            display: Some(device.spoken().to_owned()),
            ..Reference::default()
        });
        it.note.extend(how_taken(entry));
        it.note.extend(notes(entry));
        (entry.measured_at, it)
    }

    fn add_value(&self, it: &mut Observation, entry: &Entry) {
        let measurement = entry.measurement;
        match measurement.value() {
            Value::One(said) => {
                let (range, words) = self.judged(entry, Component::Whole, said);
                it.value = Some(ObservationValue::Quantity(quantity(said)));
                it.reference_range = range;
                it.interpretation = words;
            }
            Value::Pressure {
                systolic,
                diastolic,
            } => {
                let parts = [
                    (SYSTOLIC, Component::Systolic, systolic),
                    (DIASTOLIC, Component::Diastolic, diastolic),
                ];
                it.component = parts
                    .map(|(code, component, said)| self.part(entry, code, component, said))
                    .into();
            }
            Value::Palpated { systolic } => {
                it.method = Some(coded::palpated());
                // The profile wants both, or why one is absent.
                let diastolic = Component::Diastolic.name(VitalSign::BloodPressure);
                let diastolic = ObservationComponent {
                    code: CodeableConcept::coded(&[DIASTOLIC]).saying(diastolic),
                    value: ObservationValue::Absent(coded::not_palpated()),
                    interpretation: Vec::new(),
                    reference_range: Vec::new(),
                };
                let systolic = self.part(entry, SYSTOLIC, Component::Systolic, systolic);
                it.component = vec![systolic, diastolic];
            }
            Value::Level(level) => {
                it.value = Some(ObservationValue::Concept(coded::alertness(level)));
            }
            Value::NotRated => it.value = Some(ObservationValue::Absent(coded::not_rated())),
        }
    }

    /// A part of a blood pressure.
    fn part(
        &self,
        entry: &Entry,
        code: Code,
        component: Component,
        said: Said,
    ) -> ObservationComponent {
        let (reference_range, interpretation) = self.judged(entry, component, said);
        let name = component.name(VitalSign::BloodPressure);
        ObservationComponent {
            code: CodeableConcept::coded(&[code]).saying(name),
            value: ObservationValue::Quantity(quantity(said)),
            interpretation,
            reference_range,
        }
    }

    /// The range in force for a value, and where the value lies to it. The two
    /// always agree: a flag's own range is the one that was in force.
    fn judged(
        &self,
        entry: &Entry,
        component: Component,
        said: Said,
    ) -> (Vec<ObservationRange>, Vec<CodeableConcept>) {
        let sign = entry.measurement.sign();
        // A flag raised before a correction is about another value.
        let about = |it: &&Finding| it.component == component && it.value == said;
        let limits = || entry.flags.iter().filter_map(|it| it.cause.finding());
        let findings = || limits().filter(about);
        let flagged = findings().find(|it| it.layer == Layer::OutsideRange);
        let range = match flagged {
            Some(it) => Some(Range {
                bounds: it.bounds,
                source: it.source.clone(),
            }),
            None => self.chart.range_on(
                self.home,
                &entry.record.resident,
                (sign, component),
                entry.measured_at,
            ),
        };
        let mut words = Vec::new();
        if let Some(range) = &range {
            words.extend(range.bounds.beyond(said).map(coded::beyond));
        }
        let changed = findings().find(|it| it.layer == Layer::Changed);
        words.extend(changed.map(|it| coded::changed(it.side)));
        let range = range.iter().map(|it| reference_range(it, said));
        (range.collect(), words)
    }

    fn missed(&self, missed: &Missed) -> Vec<Timed> {
        let all = [("all", PANEL)];
        let each = missed.signs.iter().map(|it| (it.tag(), measured(*it)));
        let targets: Vec<_> = if missed.signs.is_empty() {
            all.into()
        } else {
            each.collect()
        };
        let written = targets.into_iter().map(|(tag, measured)| {
            let about = About {
                id: Uuid::new_v5(&missed.id, tag.as_bytes()),
                status: match missed.retracted {
                    Some(_) => "entered-in-error",
                    None => "cancelled",
                },
                measured,
                resident: missed.resident,
                by: missed.act.by,
                effective: missed.act.at,
                issued: missed.changed_at,
            };
            let why = missed.reason.spoken();
            let line = format!("{} not taken: {why}", capital(measured.text));
            let mut it = self.observation(&about, &[line]);
            let absent = coded::not_taken(missed.reason);
            if tag == VitalSign::BloodPressure.tag() {
                it.component = [SYSTOLIC, DIASTOLIC]
                    .map(|code| ObservationComponent {
                        code: CodeableConcept::coded(&[code]),
                        value: ObservationValue::Absent(absent.clone()),
                        interpretation: Vec::new(),
                        reference_range: Vec::new(),
                    })
                    .into();
            }
            it.value = Some(ObservationValue::Absent(absent));
            let retracted = missed.retracted.iter().map(entered_in_error);
            if let Some(at) = missed.retry_at {
                let text = format!("Try again at {}", at.format("%H:%M"));
                it.note.push(unsigned(&text));
            }
            it.note
                .extend(retracted.chain(missed.notes.iter().map(remark)));
            (missed.act.at, it)
        });
        written.collect()
    }
}

/// FHIR's status of a reading.
pub(super) fn status(entry: &Entry) -> &'static str {
    if entry.retracted.is_some() {
        "entered-in-error"
    } else if entry.corrections.is_empty() {
        "final"
    } else {
        "amended"
    }
}

fn lines(entry: &Entry) -> Vec<String> {
    let mut lines = vec![shown(entry.measurement)];
    if let Some(retracted) = &entry.retracted {
        lines.insert(0, format!("ENTERED IN ERROR: {}", retracted.text));
    }
    let whose = entry.record.by_hand.as_ref();
    lines.extend(whose.map(|it| capital(&words::by_hand(it))));
    for change in &entry.corrections {
        lines.push(corrected(change));
    }
    lines.extend(entry.apart.iter().map(apart));
    lines
}

fn corrected(change: &Change) -> String {
    let (was, why) = (words::before(change), change.act.text);
    format!("Corrected; before: {was}. Reason: {why}")
}

fn apart(change: &Change) -> String {
    let (new, why) = (shown(change.new), change.act.text);
    format!("Corrected apart to: {new}, which does not hold. Reason: {why}")
}

fn quantity(said: Said) -> Quantity {
    Quantity::new(said.value(), said.unit())
}

/// In the unit of the value: whoever compares the numbers alone compares the same thing.
fn reference_range(range: &Range, said: Said) -> ObservationRange {
    let bounds = if range.bounds.unit == said.unit() {
        range.bounds
    } else {
        range.bounds.beside(said)
    };
    let unit = bounds.unit.symbol();
    ObservationRange {
        low: Quantity::new(bounds.low, bounds.unit),
        high: Quantity::new(bounds.high, bounds.unit),
        text: format!(
            "{} to {} {unit} ({})",
            bounds.low, bounds.high, range.source
        ),
    }
}

/// Site, position and method where FHIR has a place for them; the rest as one
/// note.
fn add_qualifiers(it: &mut Observation, measurement: &Measurement) {
    let mut words = Vec::new();
    for qualifier in measurement.qualifiers().iter() {
        match qualifier {
            Qualifier::Method(method) => {
                it.body_site = Some(coded::temperature_site(method));
                it.method = Some(CodeableConcept::text(method.spoken()));
            }
            Qualifier::PulseSite(site) => it.body_site = Some(coded::felt(site)),
            Qualifier::Arm(arm) => it.body_site = Some(coded::limb(arm)),
            Qualifier::Position(position) => it.extension.push(Extension {
                url: "http://hl7.org/fhir/StructureDefinition/observation-bodyPosition",
                value_codeable_concept: coded::position(position),
            }),
            Qualifier::Scale(scale) => it.method = Some(CodeableConcept::text(scale.spoken())),
            Qualifier::Rhythm(Rhythm::Irregular) => words.push("rhythm irregular".to_owned()),
            Qualifier::Rhythm(rhythm) => words.push(format!("rhythm {}", rhythm.spoken())),
            Qualifier::Strength(strength) => words.push(format!("strength {}", strength.spoken())),
            Qualifier::Depth(depth) => words.push(format!("breathing {}", depth.spoken())),
            Qualifier::Supply(Supply::Oxygen(Some(litres))) => {
                words.push(format!("on oxygen, {litres} L/min"));
            }
            Qualifier::Supply(_) => words.push(qualifier.spoken().to_owned()),
        }
    }
    if !words.is_empty() {
        it.note.push(unsigned(&capital(&words.join("; "))));
    }
}

/// How the value came about.
fn how_taken(entry: &Entry) -> Vec<Annotation> {
    let record = entry.record;
    let mut notes = Vec::new();
    if let Some(it) = &record.by_hand {
        notes.push(unsigned(&capital(&words::by_hand(it))));
    }
    if let Some(it) = record.working {
        notes.push(unsigned(&capital(&words::working(it))));
    }
    for it in &record.went_on {
        let caution = words::caution(it.caution);
        let text = format!("Went on although: {caution}. Reason: {}", it.reason);
        notes.push(unsigned(&text));
    }
    if record.second_look {
        notes.push(unsigned("Far from the usual; confirmed a second time"));
    }
    for it in &entry.retaken {
        notes.push(unsigned(&match it {
            Retaken::After(first, why) => {
                let first = shown(&first.measurement);
                format!(
                    "Taken again, {}; the first was: {first}",
                    words::retaken(*why)
                )
            }
            Retaken::Again(again, why) => {
                let again = shown(&again.measurement);
                format!("Was taken again, {}: {again}", words::retaken(*why))
            }
        }));
    }
    notes
}

fn unsigned(text: &str) -> Annotation {
    Annotation {
        author_string: None,
        time: None,
        text: plain(text),
    }
}

/// What was later recorded about a reading.
fn notes(entry: &Entry) -> Vec<Annotation> {
    let mut notes = Vec::new();
    if entry.record.moved_from.is_some() {
        notes.push(Annotation {
            author_string: Some(format!("{}, {}", entry.by.name, entry.by.title)),
            time: Some(moment(entry.record.confirmed_at)),
            // Whose is nobody's business but the home's.
            text: plain("Kept in another resident's record at first, and moved here"),
        });
    }
    for change in &entry.corrections {
        notes.push(annotation(&change.act, &corrected(change)));
    }
    for change in &entry.apart {
        notes.push(annotation(&change.act, &apart(change)));
    }
    notes.extend(entry.retracted.iter().map(entered_in_error));
    for flag in &entry.flags {
        notes.push(Annotation {
            author_string: None,
            time: Some(moment(flag.at)),
            text: plain(&format!("Flagged: {}", flag.cause)),
        });
        if let Some(report) = &flag.reported {
            notes.push(annotation(report, &format!("Reported to {}", report.text)));
        }
        if let Some(change) = &flag.withdrawn {
            notes.push(annotation(change, "Report withdrawn with the change"));
        }
        if let Some(nurse) = &flag.acknowledged {
            notes.push(annotation(nurse, "Acknowledged"));
        }
    }
    notes.extend(entry.notes.iter().map(remark));
    notes
}

fn annotation(act: &Act, text: &str) -> Annotation {
    Annotation {
        author_string: Some(format!("{}, {}", act.by.name, act.by.title)),
        time: Some(moment(act.at)),
        text: plain(text),
    }
}

/// A note is Markdown to FHIR: what people wrote must not become a tag.
fn plain(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;")
}

pub(super) fn entered_in_error(act: &Act) -> Annotation {
    annotation(act, &format!("Entered in error: {}", act.text))
}

fn remark(act: &Act) -> Annotation {
    annotation(act, act.text)
}
