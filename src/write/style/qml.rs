//! QML, the style language of QGIS, as its documentation and its own files have it (version 3). Written by quick-xml.

use std::io;

use quick_xml::Writer;
use quick_xml::events::{BytesText, Event};

use super::{Colour, Colouring, Mark, Style};

/// Lowest version that reads everything used here: symbols with named options.
const VERSION: &str = "3.22";
/// A size that follows the ground, between 0.6 mm and 4 mm on the screen (our choice: never lost, never a blot).
const MAP_SCALE: &str = "3x:0,0,1,0.6,1,4";

type Xml = Writer<Vec<u8>>;

/// The document.
pub(super) fn write(style: &Style) -> io::Result<Vec<u8>> {
    let mut xml = Writer::new_with_indent(vec![], b' ', 1);
    xml.write_event(Event::DocType(BytesText::from_escaped(
        "qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'",
    )))?;
    xml.create_element("qgis")
        .with_attributes([
            ("version", VERSION),
            ("styleCategories", "AllStyleCategories"),
        ])
        .write_inner_content(|xml| {
            match &style.colouring {
                Colouring::Yield(classes) => graduated(xml, style, classes)?,
                Colouring::Reason(categories) => categorised(xml, style, categories)?,
            }
            xml.create_element("aliases").write_inner_content(|xml| {
                for (index, (field, alias)) in style.aliases.iter().enumerate() {
                    xml.create_element("alias")
                        .with_attributes([
                            ("field", *field),
                            ("index", &index.to_string()),
                            ("name", &format!("{field}: {alias}")),
                        ])
                        .write_empty()?;
                }
                Ok(())
            })?;
            xml.create_element("layerGeometryType")
                .write_text_content(BytesText::new(if style.polygons { "2" } else { "0" }))?;
            Ok(())
        })?;
    Ok(xml.into_inner())
}

fn graduated(xml: &mut Xml, style: &Style, classes: &[super::Class]) -> io::Result<()> {
    xml.create_element("renderer-v2")
        .with_attributes([
            ("type", "graduatedSymbol"),
            ("attr", "yield"),
            ("graduatedMethod", "GraduatedColor"),
            ("symbollevels", "0"),
            ("enableorderby", "0"),
            ("forceraster", "0"),
        ])
        .write_inner_content(|xml| {
            xml.create_element("ranges").write_inner_content(|xml| {
                for (k, class) in classes.iter().enumerate() {
                    let [lower, upper] = class.span.map(|limit| format!("{limit:?}"));
                    xml.create_element("range")
                        .with_attributes([
                            ("symbol", k.to_string().as_str()),
                            ("lower", &lower),
                            ("upper", &upper),
                            ("label", &class.label),
                            ("render", "true"),
                        ])
                        .write_empty()?;
                }
                Ok(())
            })?;
            let marks = classes.iter().map(|c| (c.colour, Mark::Circle));
            symbols(xml, style, marks)
        })?;
    Ok(())
}

fn categorised(xml: &mut Xml, style: &Style, categories: &[super::Category]) -> io::Result<()> {
    xml.create_element("renderer-v2")
        .with_attributes([
            ("type", "categorizedSymbol"),
            ("attr", "reason"),
            ("symbollevels", "0"),
            ("enableorderby", "0"),
            ("forceraster", "0"),
        ])
        .write_inner_content(|xml| {
            xml.create_element("categories")
                .write_inner_content(|xml| {
                    for (k, category) in categories.iter().enumerate() {
                        xml.create_element("category")
                            .with_attributes([
                                ("symbol", k.to_string().as_str()),
                                ("type", "string"),
                                ("value", category.reason.name()),
                                ("label", &category.label),
                                ("render", "true"),
                            ])
                            .write_empty()?;
                    }
                    Ok(())
                })?;
            let marks = categories.iter().map(|c| (c.colour, c.mark));
            symbols(xml, style, marks)
        })?;
    Ok(())
}

/// The symbols, named by their place.
fn symbols(
    xml: &mut Xml,
    style: &Style,
    marks: impl Iterator<Item = (Colour, Mark)>,
) -> io::Result<()> {
    xml.create_element("symbols").write_inner_content(|xml| {
        for (k, ([r, g, b], mark)) in marks.enumerate() {
            let colour = format!("{r},{g},{b},255");
            let size = format!("{:.2}", style.mark_m);
            let (kind, class) = if style.polygons {
                ("fill", "SimpleFill")
            } else {
                ("marker", "SimpleMarker")
            };
            let options: &[(&str, &str)] = if style.polygons {
                // A hairline of the same colour, so that no white shows between neighbours.
                &[
                    ("color", &colour),
                    ("style", "solid"),
                    ("outline_color", &colour),
                    ("outline_style", "solid"),
                    ("outline_width", "0.1"),
                    ("outline_width_unit", "MM"),
                ]
            } else if matches!(style.colouring, Colouring::Reason(_)) {
                &[
                    ("color", &colour),
                    ("name", mark.name()),
                    ("outline_style", "no"),
                    ("size", "2"),
                    ("size_unit", "MM"),
                ]
            } else {
                &[
                    ("color", &colour),
                    ("name", mark.name()),
                    ("outline_style", "no"),
                    ("size", &size),
                    ("size_unit", "RenderMetersInMapUnits"),
                    ("size_map_unit_scale", MAP_SCALE),
                ]
            };
            symbol(xml, &k.to_string(), kind, class, options)?;
        }
        Ok(())
    })?;
    Ok(())
}

fn symbol(
    xml: &mut Xml,
    name: &str,
    kind: &str,
    class: &str,
    options: &[(&str, &str)],
) -> io::Result<()> {
    xml.create_element("symbol")
        .with_attributes([
            ("name", name),
            ("type", kind),
            ("alpha", "1"),
            ("clip_to_extent", "1"),
            ("force_rhr", "0"),
        ])
        .write_inner_content(|xml| {
            xml.create_element("layer")
                .with_attributes([
                    ("class", class),
                    ("enabled", "1"),
                    ("locked", "0"),
                    ("pass", "0"),
                ])
                .write_inner_content(|xml| {
                    xml.create_element("Option")
                        .with_attribute(("type", "Map"))
                        .write_inner_content(|xml| {
                            for (name, value) in options {
                                xml.create_element("Option")
                                    .with_attributes([
                                        ("name", *name),
                                        ("type", "QString"),
                                        ("value", value),
                                    ])
                                    .write_empty()?;
                            }
                            Ok(())
                        })?;
                    Ok(())
                })?;
            Ok(())
        })?;
    Ok(())
}
