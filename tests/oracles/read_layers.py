"""Reads every layer in a results folder with other people's software and compares the formats with each other.

    python read_layers.py RESULTS [EPSG of formats that carry one, default 4326]

Readers: GDAL (pyogrio), pyshp, geopandas, pyarrow, geojson-pydantic, the JSON module; the GeoParquet validator; CRS by
pyproj; colours by matplotlib. Rules: RFC 7946; ESRI Shapefile Technical Description (1998); dBase III+; OGC GeoPackage
1.4; GeoParquet 1.1; OGC SLD 1.0.0. Prints one line a layer; leaves with status 1 and a reason at the first thing that is
not as it should be.
"""

import json
import math
import re
import sqlite3
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import geopandas
import matplotlib
import numpy as np
import pyarrow.parquet
import pyogrio
import pyogrio.raw
import shapefile
import shapely
from geojson_pydantic import FeatureCollection
from pyproj import CRS, Transformer

ATTRIBUTES = (
    "log row time machine load pass speed_m_s cut_m moist_pct grain_kg_s factor "
    "yld_kg_ha yld_low yld_high yield yield_log"
).split()
CELLS = "east_m north_m ground_pct points yld_kg_ha yld_se yld_low yld_high yield mean_pct class".split()
REASONS = (
    "bad-fix position-jump duplicate-row not-working outside-boundary short-pass pass-entry pass-exit turning "
    "speed-limits abrupt-speed narrow-cut no-flow flow-spike stuck-sensor moisture-limits yield-limits "
    "pass-outlier neighbour-outlier"
).split()
TEXT = {"log", "time", "machine", "load", "reason"}
WHOLE = {"row", "pass", "points", "class"}
TIME = re.compile(r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,3})?Z$")


def require(condition, what):
    if not condition:
        raise AssertionError(what)


def refuse_constant(text):
    raise AssertionError(f"the JSON holds {text}")


def read_geojson(path, names, polygons):
    """The layer's features as RFC 7946 has them: a list of (positions or None, properties)."""
    raw = path.read_bytes()
    require(not raw.startswith(b"\xef\xbb\xbf"), "starts with a byte order mark (RFC 8259, section 8.1)")
    text = raw.decode("utf-8")
    FeatureCollection.model_validate_json(text)
    document = json.loads(text, parse_constant=refuse_constant)
    require("crs" not in document, "has a crs member (RFC 7946, section 4)")
    for member in ("geometry", "properties", "coordinates"):
        require(member not in document, f"has a {member} member (RFC 7946, section 7.1)")
    features = []
    for number, feature in enumerate(document["features"]):
        here = f"feature {number}: "
        require(feature["type"] == "Feature", here + "is no Feature")
        require(list(feature["properties"]) == names, here + f"has {list(feature['properties'])}")
        geometry = feature["geometry"]
        positions = None
        if geometry is not None:
            if polygons:
                require(geometry["type"] == "Polygon" and len(geometry["coordinates"]) == 1, here + "is no plain polygon")
                positions = geometry["coordinates"][0]
                require(len(positions) == 5 and positions[0] == positions[4], here + "has no ring of four corners")
                require(shapely.LinearRing(positions).is_ccw, here + "runs clockwise (RFC 7946, section 3.1.6)")
                require(shapely.Polygon(positions).is_valid, here + "crosses itself")
            else:
                require(geometry["type"] == "Point", here + "is no point")
                positions = [geometry["coordinates"]]
            for x, y in positions:
                require(abs(x) <= 180 and abs(y) <= 90, here + f"lies at {x}, {y}")
                for value in (x, y):
                    require(round(value, 7) == value, here + "has more than 7 decimals (RFC 7946, section 11.2)")
        features.append((positions, feature["properties"]))
    positions = np.array([p for shape, _ in features if shape is not None for p in shape])
    if len(positions):
        west, south = positions.min(axis=0)
        east, north = positions.max(axis=0)
        require(east - west <= 180, "crosses the antimeridian: not looked at here")
        require(np.allclose(document["bbox"], [west, south, east, north], atol=1e-12), f"bbox is {document['bbox']}")
    else:
        require("bbox" not in document, "has a bbox without a position")
    return features


def check_values(features, reasons):
    for number, (_, properties) in enumerate(features):
        here = f"feature {number}: "
        for name, value in properties.items():
            if value is None:
                continue
            if name in TEXT:
                require(isinstance(value, str), here + f"{name} is {value!r}")
            else:
                require(isinstance(value, (int, float)) and math.isfinite(value), here + f"{name} is {value!r}")
            if name in WHOLE:
                require(isinstance(value, int) and value >= (0 if name == "points" else 1), here + f"{name} is {value!r}")
        time = properties.get("time")
        require(time is None or TIME.match(time), here + f"time is {time!r}")
        if reasons:
            require(properties["reason"] in REASONS, here + f"reason is {properties['reason']!r}")


def same(name, ours, theirs, cut=254):
    """Whether two formats agree on a value. Empty text and missing text are one thing in a .dbf."""
    if theirs is None or theirs == "" or (isinstance(theirs, float) and math.isnan(theirs)):
        return ours is None or ours == ""
    if ours is None:
        return False
    if name in TEXT:
        # A .dbf pads text with spaces and has room for 254 bytes.
        return theirs == (ours.encode()[:cut].decode(errors="ignore").rstrip() if cut else ours)
    return float(theirs) == float(ours)


def same_place(shape, positions, transformer, limit):
    """Whether a geometry of another format lies where GeoJSON has it. `limit`: 7 decimals of a degree are 1 cm."""
    if positions is None or shape is None:
        return positions is None and shape is None
    expected = np.column_stack(transformer.transform(*np.array(positions).T))
    found = np.array(shape)
    return found.shape == expected.shape and bool((np.abs(found - expected) < limit).all())


def read_shapefile(stem, features, names, epsg, limit, transformer, polygons):
    require(all(len(n) <= 10 for n in names), "a name has more than 10 characters")
    crs = CRS.from_wkt(stem.with_suffix(".prj").read_text())
    require(crs.to_epsg(min_confidence=90) == epsg, f".prj is EPSG:{crs.to_epsg(min_confidence=90)}, not {epsg}")
    require(stem.with_suffix(".cpg").read_text() == "UTF-8", ".cpg does not say UTF-8")
    require(b"nan" not in stem.with_suffix(".dbf").read_bytes().lower(), "the .dbf holds the letters nan")

    # pyshp: every record and shape.
    with shapefile.Reader(str(stem)) as reader:
        fields = [f[0] for f in reader.fields if f[0] != "DeletionFlag"]
        require(fields == names, f"pyshp sees the fields {fields}")
        require(len(reader) == len(features), f"pyshp counts {len(reader)} records, GeoJSON has {len(features)}")
        for number, (item, (positions, properties)) in enumerate(zip(reader.iterShapeRecords(), features)):
            here = f"record {number}: "
            if positions is None:
                require(item.shape.shapeType == shapefile.NULL, here + "should have no shape")
            else:
                got = item.shape.points
                if polygons:
                    require(not shapely.LinearRing(got).is_ccw, here + "runs counter-clockwise (ESRI 1998, page 8)")
                    got = got[::-1]
                require(same_place(got, positions, transformer, limit), here + f"lies at {got}")
            for name in names:
                value = item.record[name]
                require(same(name, properties[name], value), here + f"{name} is {value!r}, not {properties[name]!r}")

    # GDAL: what a desktop GIS sees.
    info = pyogrio.read_info(stem.with_suffix(".shp"))
    require(info["encoding"] == "UTF-8", f"GDAL sees the encoding {info['encoding']}")
    compare_gdal(stem.with_suffix(".shp"), features, names, epsg, limit, transformer)


def compare_gdal(path, features, names, epsg, limit=1e-7, transformer=None, sort=False):
    """What GDAL reads against GeoJSON. `sort`: the format has an order of its own, and no features without a place."""
    meta, _, geometry, columns = pyogrio.raw.read(path, layer=0)
    columns = dict(zip(meta["fields"], columns))
    count = len(geometry) if geometry is not None else 0
    if sort:
        keys = ("log", "row") if "log" in names else ("east_m", "north_m")
        features = sorted((f for f in features if f[0] is not None), key=lambda f: [f[1][k] for k in keys])
    require(count == len(features), f"GDAL counts {count}, GeoJSON has {len(features)}")
    if not features:
        return
    require(meta["crs"] == f"EPSG:{epsg}", f"GDAL sees the CRS {meta['crs']}")
    require(list(columns) == names, f"GDAL sees the fields {list(columns)}")
    order = range(count)
    if sort:
        order = sorted(order, key=lambda n: [columns[k][n] for k in keys])
    shapes = shapely.from_wkb(geometry)
    outline = path.suffix != ".shp"  # looked at by pyshp
    for number, (positions, properties) in zip(order, features):
        shape = shapes[number]
        require((shape is None) == (positions is None), f"GDAL: record {number}: geometry is {shape}")
        if outline and shape is not None:
            here = shape.coords if shape.geom_type == "Point" else shape.exterior.coords
            place = transformer or Transformer.from_crs("EPSG:4326", "EPSG:4326", always_xy=True)
            require(same_place(here, positions, place, limit), f"GDAL: {path.name}: record {number} lies at {shape}")
    cut = 254 if path.suffix == ".shp" else None
    for name in names:
        for number, (_, properties) in zip(order, features):
            value = columns[name][number]
            if isinstance(value, np.datetime64):
                value = None if np.isnat(value) else value
                expected = properties[name]
                expected = expected and np.datetime64(expected.rstrip("Z"), "ms")
                require(value == expected, f"GDAL: record {number}: {name} is {value}, not {expected}")
                continue
            value = value.item() if isinstance(value, np.generic) else value
            require(
                same(name, properties[name], value, cut),
                f"GDAL: {path.name}: record {number}: {name} is {value!r}, not {properties[name]!r}",
            )


def read_geopackage(path, names, stem):
    """What is in a GeoPackage besides features: by its tables, as SQLite has them."""
    database = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    table = stem.name.replace("-", "_")
    rows = lambda query, *values: database.execute(query, values).fetchall()  # noqa: E731
    require(rows("PRAGMA integrity_check") == [("ok",)], "SQLite finds damage")
    require(rows("PRAGMA foreign_key_check") == [], "a foreign key leads nowhere")
    require(rows("PRAGMA user_version") == [(10400,)], "is no version 1.4")
    titles = dict(rows("SELECT column_name, title FROM gpkg_data_columns WHERE table_name = ? ORDER BY rowid", table))
    require(list(titles) == names, f"describes {list(titles)}")
    units = {"speed_m_s": "(m/s)", "moist_pct": "(%)", "yld_kg_ha": "(kg/ha)"}
    units = {name: unit for name, unit in units.items() if name in names}
    require(units and all(titles[name].endswith(unit) for name, unit in units.items()), f"a unit is missing: {titles}")
    placed = rows(f'SELECT count(*) FROM "{table}" WHERE geom IS NOT NULL')
    require(rows(f'SELECT count(*) FROM "rtree_{table}_geom"') == placed, "the spatial index is not whole")
    style = rows("SELECT styleQML, styleSLD, useAsDefault FROM layer_styles WHERE f_table_name = ?", table)
    require(len(style) == 1 and style[0][2] == 1, f"has {len(style)} styles")
    require(style[0][0] == stem.with_suffix(".qml").read_text(), "QML inside and beside differ")
    require(style[0][1] == stem.with_suffix(".sld").read_text(), "SLD inside and beside differ")
    database.close()


def read_geoparquet(path, features, names, epsg, limit, transformer):
    check = Path(sys.executable).with_name("geoparquet-validator")
    said = subprocess.run([check, "check", path], capture_output=True, text=True)
    if features:  # the validator calls a file without a row group badly distributed
        require(said.returncode == 0, f"geoparquet-validator: {said.stdout}{said.stderr}")
    geo = json.loads(pyarrow.parquet.read_schema(path).metadata[b"geo"])
    require(geo["version"] == "1.1.0", f"GeoParquet {geo['version']}")
    frame = geopandas.read_parquet(path)
    require(list(frame.columns) == names + ["geometry"], f"geopandas sees {list(frame.columns)}")
    require(frame.crs.to_epsg() == epsg, f"geopandas sees the CRS {frame.crs}")
    require(len(frame) == len(features), f"geopandas counts {len(frame)}, GeoJSON has {len(features)}")
    table = pyarrow.parquet.read_table(path)
    for name in names:
        for number, (value, (_, properties)) in enumerate(zip(table[name].to_pylist(), features)):
            expected = properties[name]
            if name == "time":
                value = value and np.datetime64(value.replace(tzinfo=None), "ms")
                require(value == (expected and np.datetime64(expected.rstrip("Z"), "ms")), f"row {number}: time is {value}")
            else:
                require(same(name, expected, value, None), f"row {number}: {name} is {value!r}, not {expected!r}")
    for number, (shape, (positions, _)) in enumerate(zip(frame.geometry, features)):
        here = shape and (shape.coords if shape.geom_type == "Point" else shape.exterior.coords)
        require(same_place(here, positions, transformer, limit), f"geopandas: row {number} lies at {shape}")


def check_style(stem, features):
    """The side files: every feature falls into one class of each, and the two languages have the same colours."""
    qml = ElementTree.parse(stem.with_suffix(".qml")).getroot()
    sld = ElementTree.parse(stem.with_suffix(".sld")).getroot()
    ns = {"s": "http://www.opengis.net/sld", "ogc": "http://www.opengis.net/ogc"}
    rules = sld.findall(".//s:Rule", ns)
    css = [r.find(".//s:CssParameter", ns).text for r in rules]
    renderer = qml.find("renderer-v2")
    colours = []
    for symbol in renderer.findall("symbols/symbol"):
        option = symbol.find(".//Option[@name='color']").get("value")
        colours.append("#%02x%02x%02x" % tuple(int(v) for v in option.split(",")[:3]))
    require(colours == css, f"QML has {colours}, SLD {css}")
    if stem.name == "set-aside":
        values = [c.get("value") for c in renderer.findall("categories/category")]
        literals = [r.find(".//ogc:Literal", ns).text for r in rules]
        require(values == literals, f"QML has {values}, SLD {literals}")
        require(set(values) == {p["reason"] for _, p in features}, f"classes are {values}")
        return
    viridis = matplotlib.colormaps["viridis"]
    for number, colour in enumerate(colours):
        place = number / (len(colours) - 1) if len(colours) > 1 else 0.5
        expected = 255 * np.array(viridis(place)[:3])
        found = [int(colour[k : k + 2], 16) for k in (1, 3, 5)]
        require(np.abs(expected - found).max() <= 4, f"class {number} is {colour}, viridis is {expected}")
    ranges = [(float(r.get("lower")), float(r.get("upper"))) for r in renderer.findall("ranges/range")]
    yields = [p["yield"] for _, p in features if p["yield"] is not None]
    require(all(any(low <= y <= high for low, high in ranges) for y in yields), "a yield has no class in QML")
    compare = {"PropertyIsGreaterThan": lambda y, v: y > v, "PropertyIsLessThanOrEqualTo": lambda y, v: y <= v}
    for y in yields:
        held = 0
        for rule in rules:
            tests = [t for t in rule.iter() if t.tag.split("}")[1] in compare]
            held += all(compare[t.tag.split("}")[1]](y, float(t.find("ogc:Literal", ns).text)) for t in tests)
        require(held == 1, f"a yield of {y} falls under {held} rules in SLD")


def check_layer(stem, epsg):
    reasons = stem.name == "set-aside"
    polygons = stem.name in ("swaths", "grid")
    names = CELLS if stem.name == "grid" else ATTRIBUTES + (["reason"] if reasons else [])
    path = stem.with_suffix(".geojson")
    features = read_geojson(path, names, polygons)
    check_values(features, reasons)
    compare_gdal(path, features, names, 4326)
    check_style(stem, features)
    crs = CRS.from_epsg(epsg)
    place = (epsg, 1.1e-2 if crs.is_projected else 1e-7, Transformer.from_crs("EPSG:4326", crs, always_xy=True))
    formats = ["geojson"]
    if stem.with_suffix(".shp").exists():
        read_shapefile(stem, features, names, *place, polygons)
        formats.append("shapefile")
    if stem.with_suffix(".gpkg").exists():
        read_geopackage(stem.with_suffix(".gpkg"), names, stem)
        compare_gdal(stem.with_suffix(".gpkg"), features, names, *place)
        formats.append("geopackage")
    if stem.with_suffix(".parquet").exists():
        read_geoparquet(stem.with_suffix(".parquet"), features, names, *place)
        formats.append("geoparquet")
    if stem.with_suffix(".fgb").exists():
        compare_gdal(stem.with_suffix(".fgb"), features, names, *place, sort=True)
        formats.append("flatgeobuf")
    print(f"{stem.name}: {len(features)} points, {sum(p is None for p, _ in features)} without position, {formats}")
    return len(features)


def main():
    results = Path(sys.argv[1])
    epsg = int(sys.argv[2]) if len(sys.argv) > 2 else 4326
    layers = sorted(results.rglob("*.geojson"))
    if not layers:
        sys.exit(f"no layer in {results}")
    for path in layers:
        try:
            count = check_layer(path.with_suffix(""), epsg)
            summary = json.loads((path.parent / "summary.json").read_text(), parse_constant=refuse_constant)
            if path.stem == "grid":
                continue  # it has no points
            counts = summary["points"]
            expected = sum(counts["set_aside"].values()) if path.stem == "set-aside" else counts["kept"]
            require(count == expected, f"holds {count} points; summary.json says {expected}")
        except (AssertionError, ValueError, KeyError, OSError, RuntimeError) as error:
            sys.exit(f"{path}: {type(error).__name__}: {error}")
    parts = [p for p in results.rglob("*") if p.name.endswith(".part")]
    if parts:
        sys.exit(f"unfinished file {parts[0]}")


if __name__ == "__main__":
    main()
