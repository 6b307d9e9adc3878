"""The steps of a yield map as an analyst would write them with numpy, scipy and geopandas: the slow end of scripts/bench.

    python analyst.py JOB RESULTS

Reads the logs that a bench job lists, field by field: metres, swaths, transport delay by opposed neighbours, cut width by
what earlier swaths left over, scale tickets, limits, neighbours; writes points and set-aside points as GeoJSON and
shapefile. Plain and vectorised where numpy makes that easy; nothing is tuned.
"""

import sys
import tomllib
from pathlib import Path

import geopandas
import numpy as np
import pandas
import shapely
from scipy.spatial import cKDTree

HEADER_M = 9.0


def column(table, *starts):
    return table[next(c for c in table.columns for s in starts if c.lower().startswith(s))]


def field(base, entry, results):
    log = pandas.concat([pandas.read_csv(p) for pattern in entry["logs"] for p in sorted(base.glob(pattern))])
    points = geopandas.GeoSeries.from_xy(column(log, "lon"), column(log, "lat"), crs=4326)
    metres = points.to_crs(points.estimate_utm_crs())
    x, y = metres.x.to_numpy(), metres.y.to_numpy()
    flow = column(log, "flow").to_numpy(float)
    moisture = column(log, "moist").to_numpy(float)
    dx, dy = np.diff(x, prepend=x[0]), np.diff(y, prepend=y[0])
    distance = np.hypot(dx, dy)
    heading = np.arctan2(dy, dx)
    working = (distance > 0.3) & (distance < 10) & (flow > 0)

    # Transport delay: opposed neighbours see the same ground.
    rows = np.flatnonzero(working)
    pairs = cKDTree(np.column_stack([x[rows], y[rows]])).query_pairs(1.3 * HEADER_M, output_type="ndarray")
    a, b = rows[pairs[:, 0]], rows[pairs[:, 1]]
    opposed = np.cos(heading[a] - heading[b]) < -0.9
    a, b = a[opposed], b[opposed]
    worst = []
    delays = np.arange(-15, 31)
    for delay in delays:
        shifted = np.roll(flow, -delay)
        with np.errstate(all="ignore"):
            ratio = np.log(shifted[a] / distance[a]) - np.log(shifted[b] / distance[b])
        worst.append(np.nanmedian(np.abs(ratio)))
    flow = np.roll(flow, -delays[int(np.argmin(worst))])

    # Cut width: each swath without those before it.
    across = np.column_stack([-np.sin(heading), np.cos(heading)]) * HEADER_M / 2
    here, before = np.column_stack([x, y]), np.column_stack([x - dx, y - dy])
    rings = np.stack([before - across, here - across, here + across, before + across, before - across], axis=1)
    swaths = shapely.polygons(rings[rows])
    tree = shapely.STRtree(swaths)
    share = np.ones(len(x))
    for k, swath in enumerate(swaths):
        near = tree.query(swath)
        earlier = near[near < k - 3]
        if len(earlier) and swath.area > 0:
            left = shapely.difference(swath, shapely.union_all(swaths[earlier]))
            share[rows[k]] = left.area / swath.area

    # Scale tickets, limits, neighbours.
    mass = flow * 1.0
    tickets = pandas.concat([pandas.read_csv(base / t) for t in entry["tickets"]])
    factor = column(tickets, "net").sum() / np.nansum(mass)
    with np.errstate(all="ignore"):
        wet = mass * factor / (distance * HEADER_M * share)
        dry = wet * (100 - moisture) / (100 - 15.5) * 10
    kept = working & np.isfinite(dry) & (share > 0.3)
    log_yield = np.log(np.where(kept & (dry > 0), dry, np.nan))
    middle = np.nanmedian(log_yield)
    kept &= np.abs(log_yield - middle) < 3 * 1.4826 * np.nanmedian(np.abs(log_yield - middle))
    places = np.column_stack([x[kept], y[kept]])
    near = cKDTree(places).query(places, k=12)[1]
    local = log_yield[kept][near]
    off = np.abs(local[:, 0] - np.median(local[:, 1:], axis=1)) > 0.5
    kept[np.flatnonzero(kept)[off]] = False

    frame = geopandas.GeoDataFrame(log.assign(yield_t_ha=dry, cut_m=share * HEADER_M), geometry=points.to_numpy(), crs=4326)
    folder = results / entry["name"]
    folder.mkdir(parents=True, exist_ok=True)
    for name, part in (("points", frame[kept]), ("set-aside", frame[~kept])):
        part.to_file(folder / f"{name}.geojson")
        part.rename(columns=lambda c: c[:10]).to_file(folder / f"{name}.shp")


job = Path(sys.argv[1])
for entry in tomllib.loads(job.read_text())["field"]:
    field(job.parent, entry, Path(sys.argv[2]))
