//! Values inside a page's script, so that no text of a log or a job can end the script or be markup.

use serde::Serialize;

/// JSON that can stand in an HTML `script` element: `<`, `>` and `&` are escaped, and so are the two line separators
/// that older script engines end a string at. (HTML Living Standard, "Restrictions for contents of script elements".)
pub(super) fn json(value: &impl Serialize) -> String {
    let plain = serde_json::to_string(value).unwrap_or_else(|_| "null".to_owned());
    let mut out = String::with_capacity(plain.len() + 64);
    for c in plain.chars() {
        match c {
            '<' | '>' | '&' | '\u{2028}' | '\u{2029}' => {
                out.push_str(&format!("\\u{:04x}", c as u32));
            }
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_can_end_the_script() {
        let hostile = "</script><!--<script>&amp;\u{2028}\"\\'";
        let text = json(&[hostile]);
        assert!(!text.contains(['<', '>', '&', '\u{2028}']), "{text}");
        let back: Vec<String> = serde_json::from_str(&text).expect("still JSON");
        assert_eq!(back, [hostile]);
    }

    #[test]
    fn a_missing_number_is_null() {
        assert_eq!(json(&[f64::NAN, 1.5]), "[null,1.5]");
    }
}
