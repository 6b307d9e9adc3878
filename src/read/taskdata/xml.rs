//! XML as a small tree, as far as it goes: a file that is cut short gives what came before.

use quick_xml::Reader;
use quick_xml::XmlVersion;
use quick_xml::events::{BytesStart, Event};

/// Elements that may stand in each other (our choice: the standard nests about six).
const DEEPEST: usize = 32;

/// An element.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Element {
    pub name: String,
    attributes: Vec<(String, String)>,
    pub children: Vec<Element>,
}

/// A document, or its start.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Document {
    pub root: Element,
    /// Why it ends before its end, where it does.
    pub cut: Option<String>,
}

impl Element {
    /// An attribute; `None` where it is absent. Present and empty is `Some("")`.
    pub fn get(&self, name: &str) -> Option<&str> {
        let (_, value) = self.attributes.iter().find(|(n, _)| n == name)?;
        Some(value)
    }

    /// An attribute that is there and holds something.
    pub fn filled(&self, name: &str) -> Option<&str> {
        self.get(name).map(str::trim).filter(|v| !v.is_empty())
    }

    /// An attribute as a number.
    pub fn number<T: std::str::FromStr>(&self, name: &str) -> Option<T> {
        self.filled(name)?.parse().ok()
    }

    /// The children of that name.
    pub fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a Element> {
        self.children.iter().filter(move |c| c.name == name)
    }
}

/// Reads a document; `None` where not even its first element can be read.
pub(super) fn parse(text: &str) -> Option<Document> {
    let mut reader = Reader::from_str(text.trim_start_matches('\u{feff}'));
    reader.config_mut().check_end_names = true;
    let mut open: Vec<Element> = Vec::new();
    let mut cut = None;
    let root = loop {
        match reader.read_event() {
            Ok(Event::Start(start)) => {
                if open.len() >= DEEPEST {
                    cut = Some("elements that stand too deep in each other".to_owned());
                    break close_all(open);
                }
                open.push(element(&start));
            }
            Ok(Event::Empty(start)) => {
                let element = element(&start);
                match open.last_mut() {
                    Some(parent) => parent.children.push(element),
                    None => break Some(element),
                }
            }
            Ok(Event::End(_)) => {
                let Some(element) = open.pop() else { continue };
                match open.last_mut() {
                    Some(parent) => parent.children.push(element),
                    None => break Some(element),
                }
            }
            Ok(Event::Eof) => {
                cut = Some("the end of the file".to_owned());
                break close_all(open);
            }
            Ok(_) => {}
            Err(cause) => {
                cut = Some(format!("\"{cause}\""));
                break close_all(open);
            }
        }
    };
    root.map(|root| Document { root, cut })
}

fn element(start: &BytesStart<'_>) -> Element {
    let attributes = start.attributes().flatten().map(|a| {
        let value = a.normalized_value(XmlVersion::Implicit1_0);
        let value = value.map_or_else(|_| a.value.to_string(), |v| v.into_owned());
        (a.key.as_ref().to_owned(), value)
    });
    Element {
        name: start.name().as_ref().to_owned(),
        attributes: attributes.collect(),
        children: Vec::new(),
    }
}

/// What is open where the text ends, each in the one around it.
fn close_all(mut open: Vec<Element>) -> Option<Element> {
    let mut inner = open.pop()?;
    while let Some(mut outer) = open.pop() {
        outer.children.push(inner);
        inner = outer;
    }
    Some(inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_attribute_is_absent_empty_or_filled() {
        let document = parse(
            "\u{feff}<?xml version=\"1.0\"?><TIM A=\"\" D=\"4\"><PTN A=\"a &amp; b\"/></TIM>",
        )
        .expect("XML");
        let tim = &document.root;
        assert_eq!(
            (tim.get("A"), tim.get("B"), tim.number("D")),
            (Some(""), None, Some(4))
        );
        assert_eq!(tim.filled("A"), None);
        assert_eq!(
            tim.all("PTN").next().and_then(|p| p.get("A")),
            Some("a & b")
        );
        assert_eq!(document.cut, None);
    }

    #[test]
    fn what_is_cut_short_gives_what_came_before() {
        let whole = "<TIM A=\"\"><DLV A=\"0057\"/><DLV A=\"0054\"/></TIM>";
        for n in 0..whole.len() {
            if let Some(document) = parse(&whole[..n]) {
                assert!(document.cut.is_some(), "{}", &whole[..n]);
                assert!(document.root.children.len() <= 2);
            }
        }
        let document = parse(&whole[..42]).expect("its start");
        assert_eq!(document.root.children.len(), 2);
        assert!(parse("").is_none() && parse("no XML").is_none());
    }

    #[test]
    fn nesting_has_an_end() {
        assert!(parse(&"<A>".repeat(100_000)).is_some_and(|d| d.cut.is_some()));
    }
}
