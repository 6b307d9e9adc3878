"""Writes a small corpus per target from what other software writes. Usage: seeds.py FOLDER (beside it: tests/oracles)"""

import gzip
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

out, here = Path(sys.argv[1]), Path(__file__).resolve().parent
CUT = b"\n--8<--\n"


def seed(target, name, data):
    folder = out / target
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(data)


example = (here / "../../examples/first-field/log.csv").read_bytes()
small = b"\n".join(example.replace(b"moisture_pct", b"moisture").splitlines()[:12]) + b"\n"
seed("csv", "comma", small)
seed("csv", "semicolon", small.replace(b",", b";").replace(b".", b","))
seed("csv", "utf16", small.decode().encode("utf-16"))
seed("csv", "quoted", small.replace(b"C1", b'"C 1\n"'))
seed("csv", "yield", b"x_m,y_m,yield_t_ha,distance_m\n1,2,3,4\n")
seed("tickets", "tickets", b"ticket,load,net_kg,moisture_pct,start,end,use\nT1,L1;L2,8000,16,,,yes\nT2,,1,,2025-01-01,2025-01-02,no\n")
with tempfile.TemporaryDirectory() as folder:
    folder = Path(folder)
    (folder / "small.csv").write_bytes(small)
    for script, args in (("write_logs.py", [folder / "small.csv", folder / "g"]), ("write_taskdata.py", [folder / "t"])):
        subprocess.run([sys.executable, here / "../oracles" / script, *args], check=True, stdout=subprocess.DEVNULL)
    g, t = folder / "g", folder / "t"
    for crs in ("4326", "32632"):
        seed("geojson", crs, (g / f"log-{crs}.geojson").read_bytes())
        seed("geopackage", crs, (g / f"log-{crs}.gpkg").read_bytes())
        for kind in ("geojson", "shp", "gpkg"):
            seed("boundary", f"{crs}-{kind}", (g / f"boundary-{crs}.{kind}").read_bytes())
    seed("shapefile", "4326", CUT.join((g / f"log-4326.{e}").read_bytes() for e in ("shp", "dbf", "cpg")))
    xml = (t / "TASKDATA.XML").read_bytes().replace(b' <XFR A="DVC00001" B="1"/>', (t / "DVC00001.XML").read_bytes().split(b"<XFC>")[1].split(b"</XFC>")[0])
    for name, log in (("1", "TLG00001"), ("2", "tlg00002"), ("3", "TLG00003")):
        header, records = (next(t.glob(f"{log}.[{e[0].upper()}{e[0]}]*")).read_bytes() for e in ("xml", "bin"))
        seed("taskdata", name, CUT.join((xml, header.removeprefix(b"\xef\xbb\xbf"), records[:400])))
    for name, files in (("csv", {"a.csv": small}), ("two", {"a/a.csv": small, "b.geojson": (g / "log-4326.geojson").read_bytes()})):
        with zipfile.ZipFile(folder / "z.zip", "w", zipfile.ZIP_DEFLATED) as z:
            for path, data in files.items():
                z.writestr(path, data)
        seed("packed", name, (folder / "z.zip").read_bytes())
    seed("packed", "gz", gzip.compress(small))
