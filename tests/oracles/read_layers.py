"""Reads every layer in a results folder with other people's software and compares the formats with each other.

    python read_layers.py RESULTS [EPSG of formats that carry one, default 4326]

Readers: GDAL (pyogrio), pyshp, geojson-pydantic, the JSON module; CRS by pyproj. Rules: RFC 7946; ESRI Shapefile
Technical Description (1998); dBase III+. Prints one line a layer; leaves with status 1 and a reason at the first
thing that is not as it should be.
"""

import json
import math
import re
import sys
from pathlib import Path

import numpy as np
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
REASONS = (
    "bad-fix position-jump duplicate-row not-working outside-boundary short-pass pass-entry pass-exit turning "
    "speed-limits abrupt-speed narrow-cut no-flow flow-spike stuck-sensor moisture-limits yield-limits "
    "pass-outlier neighbour-outlier"
).split()
TEXT = {"log", "time", "machine", "load", "reason"}
WHOLE = {"row", "pass"}
TIME = re.compile(r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,3})?Z$")


def require(condition, what):
    if not condition:
        raise AssertionError(what)


def refuse_constant(text):
    raise AssertionError(f"the JSON holds {text}")


def read_geojson(path, reasons):
    """The layer's features as RFC 7946 has them: a list of (position or None, properties)."""
    raw = path.read_bytes()
    require(not raw.startswith(b"\xef\xbb\xbf"), "starts with a byte order mark (RFC 8259, section 8.1)")
    text = raw.decode("utf-8")
    FeatureCollection.model_validate_json(text)
    document = json.loads(text, parse_constant=refuse_constant)
    require("crs" not in document, "has a crs member (RFC 7946, section 4)")
    for member in ("geometry", "properties", "coordinates"):
        require(member not in document, f"has a {member} member (RFC 7946, section 7.1)")
    names = ATTRIBUTES + (["reason"] if reasons else [])
    points = []
    for number, feature in enumerate(document["features"]):
        here = f"feature {number}: "
        require(feature["type"] == "Feature", here + "is no Feature")
        require(list(feature["properties"]) == names, here + f"has {list(feature['properties'])}")
        geometry = feature["geometry"]
        position = None
        if geometry is not None:
            require(geometry["type"] == "Point" and len(geometry["coordinates"]) == 2, here + "is no plain point")
            position = tuple(geometry["coordinates"])
            require(abs(position[0]) <= 180 and abs(position[1]) <= 90, here + f"lies at {position}")
            for value in position:
                require(round(value, 7) == value, here + "has more than 7 decimals (RFC 7946, section 11.2)")
        points.append((position, feature["properties"]))
    positions = np.array([p for p, _ in points if p is not None])
    if len(positions):
        west, south = positions.min(axis=0)
        east, north = positions.max(axis=0)
        require(east - west <= 180, "crosses the antimeridian: not looked at here")
        require(document["bbox"] == [west, south, east, north], f"bbox is {document['bbox']}")
    else:
        require("bbox" not in document, "has a bbox without a position")
    return points


def check_values(points, reasons):
    for number, (_, properties) in enumerate(points):
        here = f"feature {number}: "
        for name, value in properties.items():
            if value is None:
                continue
            if name in TEXT:
                require(isinstance(value, str), here + f"{name} is {value!r}")
            else:
                require(isinstance(value, (int, float)) and math.isfinite(value), here + f"{name} is {value!r}")
            if name in WHOLE:
                require(isinstance(value, int) and value >= 1, here + f"{name} is {value!r}")
        time = properties["time"]
        require(time is None or TIME.match(time), here + f"time is {time!r}")
        if reasons:
            require(properties["reason"] in REASONS, here + f"reason is {properties['reason']!r}")


def same(name, ours, theirs):
    """Whether two formats agree on a value. Empty text and missing text are one thing in a .dbf."""
    if theirs is None or theirs == "" or (isinstance(theirs, float) and math.isnan(theirs)):
        return ours is None or ours == ""
    if ours is None:
        return False
    if name in TEXT:
        # A .dbf pads text with spaces and has room for 254 bytes.
        cut = ours.encode()[:254].decode(errors="ignore").rstrip()
        return theirs == cut
    return float(theirs) == float(ours)


def read_shapefile(stem, points, epsg, reasons):
    names = ATTRIBUTES + (["reason"] if reasons else [])
    require(all(len(n) <= 10 for n in names), "a name has more than 10 characters")
    crs = CRS.from_wkt(stem.with_suffix(".prj").read_text())
    require(crs.to_epsg(min_confidence=90) == epsg, f".prj is EPSG:{crs.to_epsg(min_confidence=90)}, not {epsg}")
    require(stem.with_suffix(".cpg").read_text() == "UTF-8", ".cpg does not say UTF-8")
    require(b"nan" not in stem.with_suffix(".dbf").read_bytes().lower(), "the .dbf holds the letters nan")

    # pyshp: every record and shape.
    to_crs = Transformer.from_crs("EPSG:4326", f"EPSG:{epsg}", always_xy=True)
    with shapefile.Reader(str(stem)) as reader:
        fields = [f[0] for f in reader.fields if f[0] != "DeletionFlag"]
        require(fields == names, f"pyshp sees the fields {fields}")
        require(len(reader) == len(points), f"pyshp counts {len(reader)} records, GeoJSON has {len(points)}")
        for number, (item, (position, properties)) in enumerate(zip(reader.iterShapeRecords(), points)):
            here = f"record {number}: "
            if position is None:
                require(item.shape.shapeType == shapefile.NULL, here + "should have no shape")
            else:
                x, y = to_crs.transform(*position)
                limit = 1.1e-2 if crs.is_projected else 1e-7  # 7 decimals of a degree are 1 cm
                got = item.shape.points[0]
                require(abs(got[0] - x) < limit and abs(got[1] - y) < limit, here + f"lies at {got}, not {(x, y)}")
            for name in names:
                value = item.record[name]
                require(same(name, properties[name], value), here + f"{name} is {value!r}, not {properties[name]!r}")

    # GDAL: what a desktop GIS sees.
    info = pyogrio.read_info(stem.with_suffix(".shp"))
    require(info["crs"] == f"EPSG:{epsg}", f"GDAL sees the CRS {info['crs']}")
    require(info["encoding"] == "UTF-8", f"GDAL sees the encoding {info['encoding']}")
    compare_gdal(stem.with_suffix(".shp"), points, names)


def compare_gdal(path, points, names):
    meta, _, geometry, columns = pyogrio.raw.read(path)
    columns = dict(zip(meta["fields"], columns))
    count = len(geometry) if geometry is not None else 0
    require(count == len(points), f"GDAL counts {count}, GeoJSON has {len(points)}")
    if not points:
        return
    require(list(columns) == names, f"GDAL sees the fields {list(columns)}")
    nulls = [g is None for g in geometry]
    require(nulls == [p is None for p, _ in points], "GDAL sees other null geometries")
    shapes = shapely.from_wkb(geometry)
    require(all(s is None or s.geom_type == "Point" for s in shapes), "GDAL sees other than points")
    for name in names:
        for number, (_, properties) in enumerate(points):
            value = columns[name][number]
            if isinstance(value, np.datetime64):
                value = None if np.isnat(value) else value
                expected = properties[name]
                expected = expected and np.datetime64(expected.rstrip("Z"), "ms")
                require(value == expected, f"GDAL: record {number}: {name} is {value}, not {expected}")
                continue
            value = value.item() if isinstance(value, np.generic) else value
            require(
                same(name, properties[name], value),
                f"GDAL: {path.name}: record {number}: {name} is {value!r}, not {properties[name]!r}",
            )


def check_layer(stem, epsg):
    reasons = stem.name == "set-aside"
    path = stem.with_suffix(".geojson")
    points = read_geojson(path, reasons)
    check_values(points, reasons)
    compare_gdal(path, points, ATTRIBUTES + (["reason"] if reasons else []))
    if points:
        require(pyogrio.read_info(path)["crs"] == "EPSG:4326", "GDAL sees another CRS than WGS 84")
    formats = ["geojson"]
    if stem.with_suffix(".shp").exists():
        read_shapefile(stem, points, epsg, reasons)
        formats.append("shapefile")
    print(f"{stem.name}: {len(points)} points, {sum(p is None for p, _ in points)} without position, {formats}")
    return len(points)


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
            counts = summary["points"]
            expected = counts["kept"] if path.stem == "points" else sum(counts["set_aside"].values())
            require(count == expected, f"holds {count} points; summary.json says {expected}")
        except (AssertionError, ValueError, KeyError, OSError, RuntimeError) as error:
            sys.exit(f"{path}: {type(error).__name__}: {error}")
    parts = [p for p in results.rglob("*") if p.name.endswith(".part")]
    if parts:
        sys.exit(f"unfinished file {parts[0]}")


if __name__ == "__main__":
    main()
