//! OGC Styled Layer Descriptor 1.0.0 (OGC 02-070), the version that is read most widely. Written by quick-xml.

use std::io;

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesText, Event};

use super::{Colour, Colouring, Mark, Style};

/// Diameter of a mark, pixels: the language knows no other unit (our choice).
const MARK_PX: &str = "6";

type Xml = Writer<Vec<u8>>;

/// A comparison of an attribute with a value.
type Comparison = (&'static str, String);

/// The document.
pub(super) fn write(style: &Style) -> io::Result<Vec<u8>> {
    let mut xml = Writer::new_with_indent(vec![], b' ', 1);
    xml.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
    xml.create_element("StyledLayerDescriptor")
        .with_attributes([
            ("version", "1.0.0"),
            ("xmlns", "http://www.opengis.net/sld"),
            ("xmlns:ogc", "http://www.opengis.net/ogc"),
            ("xmlns:xlink", "http://www.w3.org/1999/xlink"),
            ("xmlns:xsi", "http://www.w3.org/2001/XMLSchema-instance"),
            (
                "xsi:schemaLocation",
                "http://www.opengis.net/sld http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd",
            ),
        ])
        .write_inner_content(|xml| {
            xml.create_element("NamedLayer").write_inner_content(|xml| {
                text(xml, "Name", style.name)?;
                xml.create_element("UserStyle").write_inner_content(|xml| {
                    text(xml, "Name", style.name)?;
                    text(xml, "Title", &style.title)?;
                    xml.create_element("FeatureTypeStyle")
                        .write_inner_content(|xml| rules(xml, style))?;
                    Ok(())
                })?;
                Ok(())
            })?;
            Ok(())
        })?;
    Ok(xml.into_inner())
}

fn rules(xml: &mut Xml, style: &Style) -> io::Result<()> {
    match &style.colouring {
        Colouring::Yield(classes) => {
            for class in classes {
                let above = class
                    .low
                    .map(|l| ("PropertyIsGreaterThan", format!("{l:?}")));
                let up_to = (class.high).map(|h| ("PropertyIsLessThanOrEqualTo", format!("{h:?}")));
                let filter: Vec<Comparison> = above.into_iter().chain(up_to).collect();
                let look = (class.colour, Mark::Circle);
                rule(xml, style, &class.label, ("yield", &filter), look)?;
            }
        }
        Colouring::Reason(categories) => {
            for category in categories {
                let filter = [("PropertyIsEqualTo", category.reason.name().to_owned())];
                let look = (category.colour, category.mark);
                rule(xml, style, &category.label, ("reason", &filter), look)?;
            }
        }
    }
    Ok(())
}

fn rule(
    xml: &mut Xml,
    style: &Style,
    label: &str,
    (attribute, filter): (&str, &[Comparison]),
    (colour, mark): (Colour, Mark),
) -> io::Result<()> {
    xml.create_element("Rule").write_inner_content(|xml| {
        text(xml, "Name", label)?;
        text(xml, "Title", label)?;
        if !filter.is_empty() {
            xml.create_element("ogc:Filter")
                .write_inner_content(|xml| {
                    if let [one] = filter {
                        return comparison(xml, attribute, one);
                    }
                    xml.create_element("ogc:And").write_inner_content(|xml| {
                        filter
                            .iter()
                            .try_for_each(|c| comparison(xml, attribute, c))
                    })?;
                    Ok(())
                })?;
        }
        if style.polygons {
            xml.create_element("PolygonSymbolizer")
                .write_inner_content(|xml| fill(xml, colour))?;
            return Ok(());
        }
        xml.create_element("PointSymbolizer")
            .write_inner_content(|xml| {
                xml.create_element("Graphic").write_inner_content(|xml| {
                    xml.create_element("Mark").write_inner_content(|xml| {
                        text(xml, "WellKnownName", mark.name())?;
                        fill(xml, colour)
                    })?;
                    text(xml, "Size", MARK_PX)
                })?;
                Ok(())
            })?;
        Ok(())
    })?;
    Ok(())
}

fn comparison(xml: &mut Xml, attribute: &str, (operator, value): &Comparison) -> io::Result<()> {
    xml.create_element(format!("ogc:{operator}"))
        .write_inner_content(|xml| {
            text(xml, "ogc:PropertyName", attribute)?;
            text(xml, "ogc:Literal", value)
        })?;
    Ok(())
}

fn fill(xml: &mut Xml, [r, g, b]: Colour) -> io::Result<()> {
    xml.create_element("Fill").write_inner_content(|xml| {
        xml.create_element("CssParameter")
            .with_attribute(("name", "fill"))
            .write_text_content(BytesText::new(&format!("#{r:02x}{g:02x}{b:02x}")))?;
        Ok(())
    })?;
    Ok(())
}

fn text(xml: &mut Xml, name: &str, content: &str) -> io::Result<()> {
    xml.create_element(name)
        .write_text_content(BytesText::new(content))?;
    Ok(())
}
