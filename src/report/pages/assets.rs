//! Scripts and style sheet, once per results folder.

use super::Page;

/// The folder that they stand in, beside `index.html`.
pub(super) const FOLDER: &str = "assets";

/// All of them. The libraries are their authors' files, unchanged; their licences stand beside them.
pub fn assets() -> Vec<Page> {
    const FILES: [(&str, &str); 7] = [
        ("pages.css", include_str!("assets/pages.css")),
        ("report.js", include_str!("assets/report.js")),
        ("charts.js", include_str!("assets/charts.js")),
        ("table.js", include_str!("assets/table.js")),
        ("d3.min.js", include_str!("assets/d3.min.js")),
        ("plot.min.js", include_str!("assets/plot.min.js")),
        ("LICENCES.txt", include_str!("assets/LICENCES.txt")),
    ];
    FILES
        .map(|(name, text)| Page::new(format!("{FOLDER}/{name}"), text.to_owned()))
        .into()
}
