"""Writes ISO 11783-10 task data as a task controller would, and what they mean beside them (truth.json).

Independent of fanmill: Python's struct packs the records by the layout of ISO 11783-10 annex D (fields in the order
TIM A, PTN A-I, count, index and value), identifiers and units are those of ISO 11783-11 (isobus.net). Moved positions
are computed by PROJ's geodesics (pyproj). Usage: write_taskdata.py FOLDER
"""

import json
import struct
import sys
from datetime import date
from pathlib import Path

from pyproj import Geod

folder = Path(sys.argv[1])
folder.mkdir(parents=True, exist_ok=True)
GEOD = Geod(ellps="WGS84")
DAY = (date(2025, 9, 12) - date(1980, 1, 1)).days
FORWARD, RIGHT = 4.2, 0.4
TASKDATA = """<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="4" VersionMinor="3" ManagementSoftwareManufacturer="Heron Lane"
 ManagementSoftwareVersion="1" TaskControllerManufacturer="Heron Lane" TaskControllerVersion="1" DataTransferOrigin="2">
 <CTR A="CTR1" B="Lane" C="Heron"/>
 <FRM A="FRM1" B="Home" I="CTR1"/>
 <CTP A="CTP1" B="maize"/>
 <PFD A="PFD1" B="7" C="Brook field" D="120000" E="CTR1" F="FRM1" G="CTP1" P094_note="kept by others">
  <PLN A="1"><LSG A="1"><PNT A="10" C="53.99" D="9.99"/><PNT A="10" C="53.99" D="10.01"/>
   <PNT A="10" C="54.01" D="10.01"/><PNT A="10" C="54.01" D="9.99"/></LSG>
   <LSG A="2"><PNT A="10" C="54.005" D="10.005"/><PNT A="10" C="54.005" D="10.006"/><PNT A="10" C="54.006" D="10.006"/>
   </LSG></PLN>
 </PFD>
 <PFD A="PFD2" C="Mill field" D="50000" E="CTR1" F="FRM1"/>
 <P094_Extra A="1"><P094_Inner/></P094_Extra>
 <XFR A="DVC00001" B="1"/>
 <TSK A="TSK1" B="Harvest, first" C="CTR1" D="FRM1" E="PFD1" G="4">
  <TIM A="2025-09-12T14:00:00" B="2025-09-12T14:01:00" D="4"><DLV A="005A" B="1234" C="DET-2"/><DLV A="0074" B="5600" C="DET-1"/></TIM>
  <TLG A="TLG00001" C="1"/><TLG A="TLG00002" C="1"/><TLG A="TLG00009" C="1"/>
 </TSK>
 <TSK A="TSK2" B="Harvest, mill" C="CTR1" D="FRM1" E="PFD2" G="4"><TLG A="TLG00003" C="1"/></TSK>
 <TSK A="TSK3" B="Planned" E="PFD1" G="1"/>
</ISO11783_TaskData>
"""
DEVICE = f"""<?xml version="1.0" encoding="UTF-8"?>
<XFC>
 <DVC A="DVC-1" B="Harvester 1" D="A00086000DF95589" E="SN 12" F="31" G="FF000000406564">
  <DET A="DET-1" B="1" C="1" D="Machine" E="0" F="0"/>
  <DET A="DET-2" B="2" C="2" D="Cutter bar" E="1" F="1"><DOR A="20"/><DOR A="21"/><DOR A="22"/><DOR A="23"/></DET>
  <DET A="DET-3" B="3" C="7" D="Receiver" E="2" F="1"><DOR A="30"/><DOR A="31"/></DET>
  <DET A="DET-4" B="4" C="4" D="Left" E="3" F="2"/>
  <DET A="DET-5" B="5" C="4" D="Right" E="4" F="2"/>
  <DPT A="20" B="0086" C="{round((FORWARD - 1.0) * 1000)}"/><DPT A="21" B="0087" C="{round(RIGHT * 1000)}"/>
  <DPT A="22" B="008F" C="-2000"/><DPT A="23" B="0104" C="3000"/>
  <DPT A="30" B="0086" C="-1000"/><DPT A="31" B="0087" C="0"/>
 </DVC>
</XFC>
"""


def header(ptn, values, start=""):
    ptn = " ".join(f'{k}="{v}"' for k, v in ptn.items())
    rows = "".join(f'<DLV A="{d}" B="{b}" C="{c}"/>' for d, b, c in values)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n<TIM A="{start}" D="4"><PTN {ptn}/>{rows}</TIM>\n'


def values(pairs):
    return struct.pack("<B", len(pairs)) + b"".join(struct.pack("<Bi", k, v) for k, v in pairs)


truth = {"moved": {"forward_m": FORWARD, "right_m": RIGHT}, "logs": {}}

# 1: every field of a position, every status; values only where they change; two machines' worth of sections at rest.
rows, records, held = [], [], {}
lon, lat = 10.0, 54.0
for k in range(40):
    ms = 14 * 3600_000 + 1000 * k
    lon_k = round(lon * 1e7 + k * 300) / 1e7  # about 2 m east a second
    status = k % 16
    up, pdop, hdop, satellites = 31_250 + 10 * k, 18 + k % 5, 9 + k % 3, 7 + k % 6
    new = {}
    if k % 4 == 0:
        new[0] = 8_000_000 + 10_000 * k  # 0057, mg/s
    if k in (1, 20):
        new[1] = 162_500 + k * 100  # 0063, ppm
    if k in (0, 30):
        new[2] = 1 if k == 0 else 0  # 008D
    if k == 2:
        new[3] = 9_000  # 0043, mm
    new[4] = 1_950 + k  # 018D, mm/s
    if k == 25:
        new[5] = 336_000_000  # 0054, an outlier as real machines log it
    held.update(new)
    pairs = sorted(new.items())
    records.append(
        struct.pack("<IHiiiBHHBIH", ms, DAY, round(lat * 1e7), round(lon_k * 1e7), up, status, pdop, hdop, satellites, ms - 7200_000, DAY)
        + values(pairs)
    )
    moved_lon, moved_lat, _ = GEOD.fwd(*GEOD.fwd(lon_k, lat, 90, FORWARD)[:2], 180, RIGHT)
    rows.append({
        "unix": (DAY + 3652) * 86400 + ms / 1000 - 7200, "north": lat, "east": lon_k, "up_mm": up, "status": status, "pdop": pdop / 10,
        "hdop": hdop / 10, "satellites": satellites, "moved_lon": moved_lon, "moved_lat": moved_lat,
        "flow_kg_s": held[0] * 1e-6, "moisture_pct": held[1] * 1e-4 if 1 in held else None, "work": held.get(2),
        "width_m": held[3] * 1e-3 if 3 in held else None, "speed_m_s": held[4] * 1e-3,
        "values": [[i, v] for i, v in pairs],
    })
full = {k: "" for k in "ABCDEFGHI"}
dlv = [("0057", "", "DET-2"), ("0063", "", "DET-2"), ("008D", "", "DET-2"), ("0043", "", "DET-2"), ("018D", "", "DET-1"), ("0054", "", "DET-2")]
(folder / "TLG00001.XML").write_text(header(full, dlv), encoding="utf-8-sig")
(folder / "TLG00001.BIN").write_bytes(b"".join(records))
truth["logs"]["TLG00001"] = {"rows": rows, "ddi": [d for d, _, _ in dlv]}

# 2: lower-case names; constants in the header, one of which the records contradict; yield held; cut within a record.
rows, records = [], []
flow = None
for k in range(12):
    ms = 15 * 3600_000 + 1000 * k
    pairs = [(0, 5_000_000 + k)] + ([(1, 123)] if k == 3 else []) + ([(2, 1 if k in (5, 6) else 0)])
    records.append(struct.pack("<IHii", ms, DAY, 540000000, 100000000 + 200 * k) + values(pairs))
    rows.append({
        "unix": (DAY + 3652) * 86400 + ms / 1000, "north": 54.0, "east": 10.0 + 200 * k / 1e7, "width_m": 7.5,
        "flow_kg_s": None if k in (5, 6) else (5_000_000 + k) * 1e-6, "moisture_pct": 15.5, "values": [list(p) for p in pairs],
    })
dlv = [("0057", "", "DET-1"), ("0043", "7500", "DET-1"), ("00EF", "", "DET-1"), ("0063", "155000", "DET-1")]
(folder / "tlg00002.xml").write_text(header({"A": "", "B": "", "D": "1"}, dlv))
whole = b"".join(records)
(folder / "tlg00002.bin").write_bytes(whole + records[0][:9])
truth["logs"]["TLG00002"] = {"rows": rows, "ddi": [d for d, _, _ in dlv]}

# 3: two sections with widths of their own, a condensed work state, yield per area and no flow; the header is cut short.
rows, records = [], []
for k in range(10):
    ms = 16 * 3600_000 + 1000 * k
    left, right = (1, 1) if k < 6 else (1, 0) if k < 8 else (0, 0)
    state = left | right << 2 | 0xFFFFFFF0
    pairs = [(0, 900_000), (1, 3000 * left), (2, 3000 * right), (3, state - (1 << 32))]
    records.append(struct.pack("<IHii", ms, DAY, 540000000, 100000000 + 300 * k) + values(pairs))
    rows.append({
        "unix": (DAY + 3652) * 86400 + ms / 1000, "north": 54.0, "east": 10.0 + 300 * k / 1e7, "yield_kg_ha": 9000.0,
        "width_m": (left + right) * 3.0 or None, "work": 1 if left or right else 0, "values": [list(p) for p in pairs],
    })
dlv = [("0054", "", "DET-2"), ("0043", "", "DET-4"), ("0043", "", "DET-5"), ("00A1", "", "DET-2")]
text = header({"A": "", "B": ""}, dlv)
(folder / "TLG00003.XML").write_text(text[: text.index("</TIM>") + 2])
(folder / "TLG00003.BIN").write_bytes(b"".join(records))
truth["logs"]["TLG00003"] = {"rows": rows, "ddi": [d for d, _, _ in dlv]}

# Named by TASKDATA.XML and not there: TLG00009.
(folder / "TASKDATA.XML").write_text(TASKDATA)
(folder / "DVC00001.XML").write_text(DEVICE)
(folder / "truth.json").write_text(json.dumps(truth))
