"""Writes a table of points as GDAL (pyogrio) writes it: shapefile, GeoJSON, GeoPackage and CSV, in degrees and in a
projection. Usage: write_logs.py TABLE.csv FOLDER. Empty cells are missing values."""

import csv
import sys
from pathlib import Path

import numpy as np
import pyogrio
import shapely
from pyproj import Transformer

table, folder = sys.argv[1], Path(sys.argv[2])
folder.mkdir(parents=True, exist_ok=True)
with open(table, newline="", encoding="utf-8") as file:
    rows = list(csv.DictReader(file))
lon = np.array([float(r["lon_deg"] or "nan") for r in rows])
lat = np.array([float(r["lat_deg"] or "nan") for r in rows])
fields = [name for name in rows[0] if name not in ("lon_deg", "lat_deg")]
numbers = [f for f in fields if f not in ("time", "load", "machine")]


def column(name):
    cells = [r[name] for r in rows]
    if name in numbers:
        return np.array([float(c) if c else np.nan for c in cells])
    return np.array([c if c else None for c in cells], dtype=object)


data = [column(f) for f in fields]
FORMATS = [("shp", "ESRI Shapefile", {"ENCODING": "UTF-8"}), ("geojson", "GeoJSON", {}), ("gpkg", "GPKG", {}), ("csv", "CSV", {"GEOMETRY": "AS_XY"})]
for crs in (4326, 32632):
    x, y = (lon, lat) if crs == 4326 else Transformer.from_crs(4326, crs, always_xy=True).transform(lon, lat)
    height = np.full(len(x), 31.0)
    for extension, driver, options in FORMATS:
        if extension == "csv" and crs != 4326:
            continue
        if driver == "GeoJSON":
            # Fifteen digits; GDAL writes seven decimals, and a crs member where it is not WGS 84.
            options = {"COORDINATE_PRECISION": "9"} if crs == 4326 else {"COORDINATE_PRECISION": "4"}
        flat = driver in ("CSV", "ESRI Shapefile")
        points = shapely.points(x, y) if flat else shapely.points(x, y, height)
        points = np.where(np.isnan(x), None, points)  # a row without a position has no geometry
        names, columns = list(fields), list(data)
        if driver == "CSV":
            names, columns = names + ["lon_deg", "lat_deg"], columns + [lon, lat]
        pyogrio.raw.write(
            str(folder / f"log-{crs}.{extension}"), geometry=shapely.to_wkb(points), field_data=columns, fields=np.array(names),
            geometry_type="Point" if flat else "Point Z", crs=f"EPSG:{crs}", driver=driver, layer="log", **options,
        )
# A boundary of each format: a polygon with a hole, and another field's beside it.
shell = shapely.box(np.nanmin(lon) - 0.001, np.nanmin(lat) - 0.001, np.nanmax(lon) + 0.001, np.nanmax(lat) + 0.001)
middle = (np.nanmin(lon) + np.nanmax(lon)) / 2
hole = shapely.box(middle, np.nanmax(lat) + 0.0003, middle + 0.0002, np.nanmax(lat) + 0.0006)
own, other = shapely.difference(shell, hole), shapely.box(20, 40, 20.1, 40.1)
for crs in (4326, 32632):
    project = Transformer.from_crs(4326, crs, always_xy=True).transform
    shapes = [own, other] if crs == 4326 else [shapely.transform(s, lambda c: np.column_stack(project(c[:, 0], c[:, 1]))) for s in (own, other)]
    for extension, driver in (("shp", "ESRI Shapefile"), ("geojson", "GeoJSON"), ("gpkg", "GPKG")):
        pyogrio.raw.write(
            str(folder / f"boundary-{crs}.{extension}"), geometry=shapely.to_wkb(np.array(shapes)),
            field_data=[np.array(["First field", "Elsewhere"], dtype=object)], fields=np.array(["name"]), geometry_type="Polygon",
            crs=f"EPSG:{crs}", driver=driver, layer="fields",
        )
print(pyogrio.__gdal_version_string__)
