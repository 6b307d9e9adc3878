//! A plain SVG page of panels with axes.

use std::fmt::Write;

/// A page under construction.
pub struct Page {
    body: String,
    size: [f64; 2],
}

/// A rectangle of a page with its scales.
#[derive(Clone, Copy)]
pub struct Panel {
    pub left: f64,
    pub top: f64,
    pub width: f64,
    pub height: f64,
    pub x: [f64; 2],
    pub y: [f64; 2],
}

impl Panel {
    pub fn at(&self, x: f64, y: f64) -> [f64; 2] {
        [
            self.left + self.width * (x - self.x[0]) / (self.x[1] - self.x[0]),
            self.top + self.height * (1.0 - (y - self.y[0]) / (self.y[1] - self.y[0])),
        ]
    }
}

impl Page {
    pub fn new(width: f64, height: f64) -> Self {
        Self {
            body: String::new(),
            size: [width, height],
        }
    }

    fn put(&mut self, element: String) {
        self.body.push_str(&element);
        self.body.push('\n');
    }

    pub fn text(&mut self, at: [f64; 2], size: f64, anchor: &str, text: &str) {
        let text = text.replace('&', "&amp;").replace('<', "&lt;");
        let [x, y] = at;
        self.put(format!(
            "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{size}\" text-anchor=\"{anchor}\">{text}</text>"
        ));
    }

    pub fn line(&mut self, points: &[[f64; 2]], style: &str) {
        self.shape("polyline", points, &format!("fill=\"none\" {style}"));
    }

    pub fn polygon(&mut self, points: &[[f64; 2]], style: &str) {
        self.shape("polygon", points, style);
    }

    fn shape(&mut self, kind: &str, points: &[[f64; 2]], style: &str) {
        let mut list = String::new();
        for [x, y] in points {
            let _ = write!(list, "{x:.1},{y:.1} "); // a String takes all
        }
        self.put(format!("<{kind} points=\"{}\" {style}/>", list.trim_end()));
    }

    /// Frame, ticks and names of a panel's axes.
    pub fn axes(&mut self, p: &Panel, title: &str, names: [&str; 2], ticks: [&[f64]; 2]) {
        let corners = [
            p.at(p.x[0], p.y[0]),
            p.at(p.x[1], p.y[0]),
            p.at(p.x[1], p.y[1]),
            p.at(p.x[0], p.y[1]),
        ];
        self.polygon(&corners, "fill=\"none\" stroke=\"#888\"");
        self.text([p.left, p.top - 8.0], 14.0, "start", title);
        for &x in ticks[0] {
            let [px, py] = p.at(x, p.y[0]);
            self.line(&[[px, py], [px, py + 4.0]], "stroke=\"#888\"");
            self.text([px, py + 16.0], 11.0, "middle", &format!("{x}"));
        }
        for &y in ticks[1] {
            let [px, py] = p.at(p.x[0], y);
            self.line(&[[px, py], [px + p.width, py]], "stroke=\"#e4e4e4\"");
            self.text([px - 5.0, py + 4.0], 11.0, "end", &format!("{y}"));
        }
        let middle = p.left + 0.5 * p.width;
        self.text([middle, p.top + p.height + 34.0], 12.0, "middle", names[0]);
        self.text(
            [p.left - 34.0, p.top + p.height + 34.0],
            12.0,
            "start",
            names[1],
        );
    }

    pub fn finish(self) -> String {
        let [w, h] = self.size;
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}\" height=\"{h}\" viewBox=\"0 0 {w} {h}\" font-family=\"sans-serif\" fill=\"#222\">\n<rect width=\"{w}\" height=\"{h}\" fill=\"white\"/>\n{}</svg>\n",
            self.body
        )
    }
}
