//! The fields of a form, and what is wrong with them in words.

use chrono::NaiveDate;
use rust_decimal::Decimal;
use uuid::Uuid;

/// Decimals of the finest that is measured: a weight of 70.25 kg. What has none, such as
/// a pulse, is refused any by its own type.
const DECIMALS: u32 = 2;

/// What a browser sent: names and values, as typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Fields(Vec<(String, String)>);

impl Fields {
    /// Reads a query or the body of a form.
    #[must_use]
    pub fn parse(encoded: &[u8]) -> Self {
        Self(form_urlencoded::parse(encoded).into_owned().collect())
    }

    /// A field without surrounding space; empty when it was not sent.
    #[must_use]
    pub fn get(&self, name: &str) -> &str {
        let found = self.0.iter().find(|(it, _)| it == name);
        found.map_or("", |(_, value)| value.trim())
    }

    /// All fields, in order, without surrounding space.
    pub fn all(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0
            .iter()
            .map(|(name, value)| (name.as_str(), value.trim()))
    }

    /// A field exactly as typed: for passwords.
    #[must_use]
    pub fn exact(&self, name: &str) -> &str {
        let found = self.0.iter().find(|(it, _)| it == name);
        found.map_or("", |(_, value)| value)
    }

    /// A number.
    ///
    /// # Errors
    /// What to type instead.
    pub fn number(&self, name: &str, label: &str) -> Result<Decimal, String> {
        let text = self.get(name);
        if text.is_empty() {
            return Err(format!("{label} is missing."));
        }
        // One comma between digits is how much of the world writes a point.
        let plain = text.replacen(',', ".", 1);
        // Others would be read too: "1e2" as 100, and "7_2" as 72.
        let written = |it: char| it.is_ascii_digit() || matches!(it, '.' | '-');
        let number = plain.parse::<Decimal>().ok();
        let number = number
            .filter(|_| plain.chars().all(written))
            .ok_or_else(|| format!("{label}: \u{201c}{text}\u{201d} is not a number."))?;
        if number.normalize().scale() > DECIMALS {
            return Err(format!("{label}: at most {DECIMALS} decimals."));
        }
        Ok(number)
    }

    /// A text that must say something.
    ///
    /// # Errors
    /// What to type instead.
    pub fn text(&self, name: &str, label: &str) -> Result<String, String> {
        let text = self.get(name);
        match text.chars().count() {
            0..3 => Err(format!("{label} is missing: write a few words.")),
            3..=500 => Ok(text.to_owned()),
            _ => Err(format!("{label} is too long: 500 characters at most.")),
        }
    }

    /// A date, if one was given; one that is none counts as not given.
    #[must_use]
    pub fn date(&self, name: &str) -> Option<NaiveDate> {
        self.get(name).parse().ok()
    }

    /// An identifier, if it is one.
    #[must_use]
    pub fn id(&self, name: &str) -> Option<Uuid> {
        self.get(name).parse().ok()
    }

    /// The fields as a query, with one set to another value, or left out where
    /// that is empty.
    #[must_use]
    pub fn query_with(&self, name: &str, value: &str) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        for (it, old) in &self.0 {
            if it != name && !old.is_empty() {
                query.append_pair(it, old);
            }
        }
        if !value.is_empty() {
            query.append_pair(name, value);
        }
        query.finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_decimals_than_anything_is_measured_with_are_refused() {
        let fields = Fields::parse(b"a=98.44444&b=98.4400&c=99.123");
        assert!(
            fields
                .number("a", "Value")
                .unwrap_err()
                .contains("at most 2")
        );
        assert!(fields.number("b", "Value").is_ok());
        assert!(fields.number("c", "High").is_err());
    }

    #[test]
    fn what_is_wrong_is_said() {
        let fields = Fields::parse(b"a=+98%2C6+&b=ten&c=&d=ab&e=wrong+arm");
        assert_eq!(fields.number("a", "Value"), Ok("98.6".parse().unwrap()));
        let wrong = fields.number("b", "Value").unwrap_err();
        assert_eq!(wrong, "Value: \u{201c}ten\u{201d} is not a number.");
        assert!(fields.number("c", "Value").unwrap_err().contains("missing"));
        for typed in ["1e2", "7_2", "+72", "1 28", "72 bpm"] {
            let fields = Fields(vec![("a".into(), typed.into())]);
            let wrong = fields.number("a", "Value").unwrap_err();
            assert!(wrong.contains("is not a number"), "{typed}: {wrong}");
        }
        assert!(fields.text("d", "The reason").is_err());
        assert_eq!(fields.text("e", "The reason"), Ok("wrong arm".into()));
        let long = Fields::parse(format!("e={}", "x".repeat(501)).as_bytes());
        assert!(long.text("e", "The reason").unwrap_err().contains("500"));
    }

    #[test]
    fn a_query_changes_in_one_place() {
        let fields = Fields::parse(b"who=Edith+Hollin&page=2&sign=");
        assert_eq!(fields.query_with("page", "3"), "who=Edith+Hollin&page=3");
        assert_eq!(fields.query_with("who", ""), "page=2");
    }
}
