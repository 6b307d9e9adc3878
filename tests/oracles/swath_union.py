"""Union of a log's swath rectangles by GEOS in a UTM zone.

usage: swath_union.py LOG WIDTH_M LONGEST_STEP_M EPSG

LOG has quoted, tab-separated columns `long` and `lat` in degrees. Each step between consecutive positions of at most
LONGEST_STEP_M is a rectangle WIDTH_M wide. Prints the number of rectangles, the sum of their areas and the area of
their union, m².
"""

import csv
import math
import sys

import shapely
from pyproj import Transformer


def positions(path):
    with open(path, newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file, delimiter="\t"))
    header = rows[0]
    for row in rows[1:]:
        skip = len(row) - len(header)  # a row may begin with its name
        yield tuple(float(row[header.index(name) + skip]) for name in ("long", "lat"))


def main():
    path, width, longest, epsg = sys.argv[1:]
    half, longest = float(width) / 2, float(longest)
    plane = Transformer.from_crs("EPSG:4326", f"EPSG:{epsg}", always_xy=True)
    places = [plane.transform(*p) for p in positions(path)]
    swaths = []
    for (ax, ay), (bx, by) in zip(places, places[1:]):
        step = math.hypot(bx - ax, by - ay)
        if 0 < step <= longest:
            nx, ny = -(by - ay) / step * half, (bx - ax) / step * half
            corners = [(ax + nx, ay + ny), (bx + nx, by + ny), (bx - nx, by - ny), (ax - nx, ay - ny)]
            swaths.append(shapely.Polygon(corners))
    print(len(swaths), sum(s.area for s in swaths), shapely.union_all(swaths).area)


main()
