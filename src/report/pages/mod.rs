//! Pages for a browser, from the folder they lie in: no network, no server.
//!
//! `report.html` and `map.png` a field season, `client.html` a client, `index.html` over all, and the scripts and the
//! style sheet that they share in `assets`. Templates escape every text; what goes into a script is escaped in
//! `embed`. The same results give the same bytes.

mod advice;
mod assets;
mod batch;
mod cells;
mod charts;
mod embed;
mod field;
mod legend;
mod points;
mod rows;
mod settings;
mod thumbnail;
mod what_if;
mod words;

pub use assets::assets;
pub use batch::{clients, index};
pub use field::{FieldPage, report};

/// A finished file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// Its name, with `/` between folders.
    pub name: String,
    /// Its contents.
    pub bytes: Vec<u8>,
}

impl Page {
    fn new(name: impl Into<String>, text: String) -> Self {
        Self {
            name: name.into(),
            bytes: text.into_bytes(),
        }
    }
}

/// The page of a field season.
pub const REPORT: &str = "report.html";
/// Its small picture.
pub const PICTURE: &str = "map.png";
/// The page over all field seasons.
pub const INDEX: &str = "index.html";
/// The page of a client, in its folder.
pub const CLIENT: &str = "client.html";

/// The pages of a field season, for its folder.
pub fn of_field(page: &FieldPage<'_>) -> Vec<Page> {
    let mut out = vec![Page::new(REPORT, report(page))];
    if let Some(bytes) = thumbnail::png(page.map, page.evidence) {
        out.push(Page {
            name: PICTURE.to_owned(),
            bytes,
        });
    }
    out
}

/// A template's text. It is written to memory, so nothing but a fault of ours can fail; the page then says so.
fn rendered(template: &impl askama::Template) -> String {
    template.render().unwrap_or_else(|e| {
        format!("<!doctype html><title>fanmill</title><p>This page could not be made: {e}")
    })
}
