//! How the database finds what recorders and stations ask.

use postgres::SimpleQueryMessage;
use sayback::sync::Link;

use super::postgres_server::{Server, raw};

/// How the database finds what a member asks for, and what it reads for that.
#[derive(Debug)]
pub struct Plan {
    pub asked: &'static str,
    /// The steps, outermost first.
    pub steps: Vec<String>,
    /// Tables read through from end to end.
    pub scans: usize,
    /// Rows looked at and thrown away.
    pub thrown_away: f64,
    pub rows: f64,
    pub pages: i64,
}

/// What recorders and stations ask, with what stands in for `$home`.
const QUESTIONS: [(&str, &str); 5] = [
    (
        "what came after a place",
        "SELECT seq, id, fact FROM sayback.fact WHERE home = $home AND seq > 20 ORDER BY seq LIMIT 20",
    ),
    (
        "a fact by its identifier",
        "SELECT fact FROM sayback.fact WHERE home = $home AND id = (SELECT id FROM sayback.fact WHERE home = $home AND seq = 7)",
    ),
    (
        "all of a round",
        "SELECT fact FROM sayback.fact WHERE home = $home AND round = (SELECT round FROM sayback.fact WHERE home = $home AND seq = 7) ORDER BY seq",
    ),
    (
        "all about a resident",
        "SELECT fact FROM sayback.fact WHERE home = $home AND resident = 'AR-007' ORDER BY seq",
    ),
    (
        "where the home stands",
        "SELECT seq, hash FROM sayback.home WHERE id = $home",
    ),
];

/// How what a member of one of the homes asks is found.
pub fn plans(server: &Server, desk: &Link) -> Vec<Plan> {
    let mut superuser = server.superuser(&desk.database).expect("a database");
    superuser.batch_execute("ANALYZE").expect("analysed");
    let (client, home) = (&mut raw(desk), &desk.home);
    let plan = |(asked, question): (&'static str, &str)| {
        let question = question.replace("$home", &format!("'{home}'"));
        let explain = format!("EXPLAIN (ANALYZE, BUFFERS, FORMAT JSON) {question}");
        let said = client.simple_query(&explain).expect("a plan");
        let text = said.iter().find_map(|it| match it {
            SimpleQueryMessage::Row(row) => row.get(0),
            _ => None,
        });
        let text: serde_json::Value = serde_json::from_str(text.expect("a plan")).expect("JSON");
        let mut plan = Plan {
            asked,
            steps: Vec::new(),
            scans: 0,
            thrown_away: 0.0,
            rows: text[0]["Plan"]["Actual Rows"].as_f64().unwrap_or(0.0),
            pages: 0,
        };
        let top = &text[0]["Plan"];
        for kind in ["Shared Hit Blocks", "Shared Read Blocks"] {
            plan.pages += top[kind].as_i64().unwrap_or(0);
        }
        walk(top, &mut plan);
        plan
    };
    QUESTIONS.into_iter().map(plan).collect()
}

fn walk(node: &serde_json::Value, plan: &mut Plan) {
    let kind = node["Node Type"].as_str().unwrap_or_default();
    let index = node["Index Name"].as_str().unwrap_or_default();
    plan.steps.push(format!("{kind} {index}").trim().to_owned());
    let table = node["Relation Name"].as_str().unwrap_or_default();
    // That of a home's own row is one page while there are few homes.
    plan.scans += usize::from(kind == "Seq Scan" && table == "fact");
    let removed = node["Rows Removed by Filter"].as_f64().unwrap_or(0.0);
    plan.thrown_away += if table == "fact" { removed } else { 0.0 };
    for below in node["Plans"].as_array().into_iter().flatten() {
        walk(below, plan);
    }
}
