#!/usr/bin/env python3
"""Thirty invented grain logs of one invented field, in thirty header styles, with the truth beside them.

Standard library only, fixed seed. Writes sNN.csv, aNN.csv, expected.json, README.md and truth/NAME.csv beside itself.
The same serpentine and the same yield surface lie behind every file; it is laid down at one of three invented sites so that
west, south and two seasons occur. Delay is nil: a row's flow is the grain of that row's ground.
"""
import json, math, os, random
from datetime import datetime, timedelta, timezone

HERE = os.path.dirname(os.path.abspath(__file__))
WIDTH = 9.1
A_, F_ = 6378137.0, 1 / 298.257223563
E2 = F_ * (2 - F_)
LB, FT, IN, ACRE = 0.45359237, 0.3048, 0.0254, 4046.8564224
BU_MAIZE = 56 * LB

SITES = {  # origin, bearing of the first pass, local offset from UTC in hours, zone, first instant (UTC), crop, moisture mean
    "A": dict(lon=10.4321, lat=53.0912, bearing=74.0, offset=2, zone="Europe/Berlin",
              start=datetime(2024, 8, 17, 9, 14, 30), crop="wheat", moist=14.8, utm=(32, "north", 32632)),
    "B": dict(lon=-63.9087, lat=-33.2143, bearing=61.0, offset=-3, zone="America/Argentina/Cordoba",
              start=datetime(2025, 4, 23, 13, 40, 12), crop="maize", moist=17.6, utm=(20, "south", 32720)),
    "C": dict(lon=-93.6214, lat=42.0337, bearing=83.0, offset=-5, zone="America/Chicago",
              start=datetime(2024, 10, 23, 18, 21, 45), crop="maize", moist=17.6, utm=(15, "north", 32615)),
}


def utm(lon, lat, zone, hemi):
    """Transverse Mercator by Krueger's series to n^4 (well below a millimetre inside a zone)."""
    n = F_ / (2 - F_)
    aa = A_ / (1 + n) * (1 + n**2 / 4 + n**4 / 64)
    al = (n / 2 - 2 * n**2 / 3 + 5 * n**3 / 16 + 41 * n**4 / 180, 13 * n**2 / 48 - 3 * n**3 / 5 + 557 * n**4 / 1440,
          61 * n**3 / 240 - 103 * n**4 / 140, 49561 * n**4 / 161280)
    phi, lam = math.radians(lat), math.radians(lon - (6 * zone - 183))
    s = math.sin(phi)
    c = 2 * math.sqrt(n) / (1 + n)
    t = math.sinh(math.atanh(s) - c * math.atanh(c * s))
    xi, eta = math.atan2(t, math.cos(lam)), math.atanh(math.sin(lam) / math.sqrt(1 + t * t))
    x, y = eta, xi
    for j, a in enumerate(al, 1):
        x += a * math.cos(2 * j * xi) * math.sinh(2 * j * eta)
        y += a * math.sin(2 * j * xi) * math.cosh(2 * j * eta)
    return 500000 + 0.9996 * aa * x, (0 if hemi == "north" else 1e7) + 0.9996 * aa * y


def surface(u, v):
    """Wet yield, t/ha, of the ground u along and v across the field (m)."""
    return 8.3 + 1.5 * math.sin(u / 23 + 0.6) * math.cos(v / 19) + 0.7 * math.sin(v / 11 + 1.1) + 0.5 * math.cos(u / 9)


def drive(site, dt, start=None):
    """Rows of six passes and their turns, one row each `dt` seconds."""
    s = SITES[site]
    rng = random.Random(20240817)
    length = 46 * dt * 1.62
    turn = math.pi * WIDTH / 2
    m = A_ * (1 - E2) / (1 - E2 * math.sin(math.radians(s["lat"])) ** 2) ** 1.5
    nn = A_ / math.sqrt(1 - E2 * math.sin(math.radians(s["lat"])) ** 2)
    b = math.radians(s["bearing"])
    legs = 11  # pass, turn, pass, ...

    def place(d):  # (u, v, heading in the field's frame, pass or None)
        for leg in range(legs):
            span = length if leg % 2 == 0 else turn
            k = leg // 2
            up = k % 2 == 0
            if d <= span or leg == legs - 1:
                if leg % 2 == 0:
                    return (d if up else length - d), k * WIDTH, (0.0 if up else 180.0), k + 1
                a = d / (WIDTH / 2)
                bulge = WIDTH / 2 * math.sin(a)
                return ((length + bulge) if up else -bulge), k * WIDTH + WIDTH / 2 * (1 - math.cos(a)), \
                    (math.degrees(a) if up else 180 - math.degrees(a)), None
            d -= span

    total = 6 * length + 5 * turn
    d, t, rows, wander = 0.0, 0, [], 0.0
    moist = s["moist"]
    instant = start or s["start"]
    while True:
        wander = 0.9 * wander + rng.gauss(0, 0.02)
        k_before = place(d)[3] or 0
        v = 1.62 + 0.12 * math.sin(1.7 * k_before) + 0.08 * math.sin(t / (17 * dt)) + wander
        v = min(max(v, 1.2), 2.1)
        step = v * dt
        if d + step > total:
            break
        mid = place(d + step / 2)
        d += step
        u, w, h, k = place(d)
        work = mid[3] is not None
        y = max(5.1, min(11.9, surface(mid[0], mid[1]) * (1 + rng.gauss(0, 0.035)))) if work else 0.0
        moist = s["moist"] + 1.6 * math.sin(u / 31 + 0.4) * math.cos(w / 14) + 0.6 * math.sin(w / 8) + rng.gauss(0, 0.12) \
            if work or not rows else moist
        uu, ww = u + rng.gauss(0, 0.015), w + rng.gauss(0, 0.015)
        east, north = uu * math.sin(b) + ww * math.cos(b), uu * math.cos(b) - ww * math.sin(b)
        lat = s["lat"] + math.degrees(north / m)
        lon = s["lon"] + math.degrees(east / (nn * math.cos(math.radians(s["lat"]))))
        e, nth = utm(lon, lat, s["utm"][0], s["utm"][1])
        flow = y / 10 * WIDTH * step / dt
        rows.append(dict(i=len(rows), utc=instant + timedelta(seconds=t), local=instant + timedelta(seconds=t, hours=s["offset"]),
                         lon=lon, lat=lat, e=e, n=nth, dt=dt, dist=step, v=step / dt, y=y, flow=flow, mass=flow * dt, m=moist,
                         head=(s["bearing"] + h) % 360, work=int(work), k=k or (rows[-1]["k"] if rows else 1),
                         z=61.0 + 0.011 * u - 0.02 * w + rng.gauss(0, 0.03), load="north bin" if (k or 6) <= 3 else "south bin",
                         fuel=38 + 2.1 * flow + rng.gauss(0, 1), engine=40 + 2.4 * flow + rng.gauss(0, 1.5), temp=24.5 + 0.004 * t,
                         sat=rng.choice((14, 15, 16, 17)), bm=moist + 1.4 + rng.gauss(0, 0.35)))
        t += dt
    tot = area = 0.0
    for r in rows:
        tot += r["mass"]
        area += WIDTH * r["dist"] * r["work"] / 1e4
        r["tot"], r["area"] = tot, area
    return rows


def ex(v, n):
    return f"{v:.{n}f}"


def iso(t):
    return t.strftime("%Y-%m-%dT%H:%M:%S")


def dry(r, ref):
    return (100 - r["m"]) / (100 - ref)


def dm(v, pos, neg):
    h = pos if v >= 0 else neg
    v = abs(v)
    d = int(v)
    mi = round((v - d) * 60, 5)
    return f"{d}\u00b0{mi:08.5f}' {h}"


def serial(t):
    return (t - datetime(1899, 12, 30)).total_seconds() / 86400


def unix(t):
    return int(t.replace(tzinfo=timezone.utc).timestamp())


FILES = []


def col(header, canonical, unit, fn, **more):
    return dict(header=header, canonical=canonical, unit=unit, fn=fn, **more)


def add(name, line, site, dt, cols, **o):
    FILES.append(dict(name=name, line=line, site=site, dt=dt, cols=cols, o=o))


LON = lambda r: ex(r["lon"], 7)
LAT = lambda r: ex(r["lat"], 7)
DEG = "deg"

# ---------------------------------------------------------------- plain styles
add("s01", "English, commas, units in round brackets, ISO times in UTC, wet flow in kg/s", "A", 1, [
    col("Time (UTC)", "time", "iso", lambda r: iso(r["utc"]) + "Z"),
    col("Longitude (deg)", "lon", DEG, LON), col("Latitude (deg)", "lat", DEG, LAT),
    col("Wet grain flow (kg/s)", "flow", "kg/s", lambda r: ex(r["flow"], 3), basis="wet"),
    col("Grain moisture (%)", "moisture", "%", lambda r: ex(r["m"], 2)),
    col("Ground speed (m/s)", "speed", "m/s", lambda r: ex(r["v"], 3))], zone="UTC")

add("s02", "German, semicolons, decimal commas, Windows-1252, units in square brackets, date and time apart, wet yield in dt/ha, "
    "both a geographic and a working 'Breite'", "A", 1, [
    col("Datum", "time", "date", lambda r: r["local"].strftime("%d.%m.%Y"), part="date", format="%d.%m.%Y"),
    col("Uhrzeit", "time", "clock", lambda r: r["local"].strftime("%H:%M:%S"), part="clock", format="%H:%M:%S"),
    col("Geogr. Breite [\u00b0]", "lat", DEG, LAT), col("Geogr. L\u00e4nge [\u00b0]", "lon", DEG, LON),
    col("Ertrag feucht [dt/ha]", "yield", "dt/ha", lambda r: ex(r["y"] * 10, 1), basis="wet"),
    col("Kornfeuchte [%]", "moisture", "%", lambda r: ex(r["m"], 1)),
    col("Fahrgeschwindigkeit [km/h]", "speed", "km/h", lambda r: ex(r["v"] * 3.6, 2)),
    col("Arbeitsbreite [m]", "width", "m", lambda r: "9.1"),
    col("Motorauslastung [%]", "ignored", None, lambda r: ex(r["engine"], 0))],
    sep=";", decimal=",", encoding="windows-1252", zone=None)

add("s03", "French, tabs, decimal commas, UTF-8 with a byte order mark, day/month/year and a UTC clock apart, wet throughput in t/h, fuel in L/h beside it", "A", 2, [
    col("Date (jj/mm/aaaa)", "time", "date", lambda r: r["utc"].strftime("%d/%m/%Y"), part="date", format="%d/%m/%Y"),
    col("Heure (UTC)", "time", "clock", lambda r: r["utc"].strftime("%H:%M:%S"), part="clock", format="%H:%M:%S"),
    col("Consommation de carburant (L/h)", "ignored", None, lambda r: ex(r["fuel"], 1)),
    col("D\u00e9bit de grain humide (t/h)", "flow", "t/h", lambda r: ex(r["flow"] * 3.6, 2), basis="wet"),
    col("Humidit\u00e9 du grain (%)", "moisture", "%", lambda r: ex(r["m"], 1)),
    col("Vitesse d'avancement (km/h)", "speed", "km/h", lambda r: ex(r["v"] * 3.6, 2)),
    col("Largeur de coupe (m)", "width", "m", lambda r: "9.1"),
    col("Distance parcourue (m)", "distance", "m", lambda r: ex(r["dist"], 2)),
    col("Latitude (\u00b0)", "lat", DEG, LAT), col("Longitude (\u00b0)", "lon", DEG, LON)],
    sep="\t", decimal=",", bom=True, zone="UTC")

add("s04", "Spanish, south and west, commas with every cell quoted and decimal commas inside the quotes, wet mass per record in kg", "B", 2, [
    col("Registro", "ignored", None, lambda r: str(r["i"] + 1)),
    col("Longitud (grados)", "lon", DEG, LON), col("Latitud (grados)", "lat", DEG, LAT),
    col("Fecha y hora", "time", "date-time", lambda r: r["local"].strftime("%d/%m/%Y %H:%M:%S"), format="%d/%m/%Y %H:%M:%S"),
    col("Segundos del registro", "interval", "s", lambda r: str(r["dt"])),
    col("Grano h\u00famedo del registro (kg)", "mass", "kg", lambda r: ex(r["mass"], 2), basis="wet"),
    col("Humedad del grano (%)", "moisture", "%", lambda r: ex(r["m"], 1)),
    col("Velocidad (km/h)", "speed", "km/h", lambda r: ex(r["v"] * 3.6, 2))],
    decimal=",", quote="all", zone=None)

add("s05", "Portuguese, semicolons, decimal commas, UTM metres with zone and hemisphere in the header, UTC-3 in the header, wet yield in kg/ha", "B", 3, [
    col("Data e hora (UTC-3)", "time", "date-time", lambda r: r["local"].strftime("%d/%m/%Y %H:%M:%S"), format="%d/%m/%Y %H:%M:%S"),
    col("Leste UTM fuso 20 Sul WGS 84 (m)", "x", "m", lambda r: ex(r["e"], 2)),
    col("Norte UTM fuso 20 Sul WGS 84 (m)", "y", "m", lambda r: ex(r["n"], 2)),
    col("Produtividade \u00famida (kg/ha)", "yield", "kg/ha", lambda r: ex(r["y"] * 1000, 0), basis="wet"),
    col("Umidade (%)", "moisture", "%", lambda r: ex(r["m"], 1)),
    col("Velocidade (m/s)", "speed", "m/s", lambda r: ex(r["v"], 3)),
    col("Largura da plataforma (m)", "width", "m", lambda r: "9.10"),
    col("Temperatura do motor (\u00b0C)", "ignored", None, lambda r: ex(r["temp"] + 62, 1))],
    sep=";", decimal=",", zone="UTC-3", crs="EPSG:32720")

add("s06", "Polish, semicolons, decimal commas, ISO times with a blank, wet flow in kg/s; the words for latitude and for working width are one", "A", 1, [
    col("Nr", "ignored", None, lambda r: str(r["i"] + 1)),
    col("Czas (UTC)", "time", "date-time", lambda r: r["utc"].strftime("%Y-%m-%d %H:%M:%S"), format="%Y-%m-%d %H:%M:%S"),
    col("Szeroko\u015b\u0107 geograficzna [\u00b0]", "lat", DEG, LAT), col("D\u0142ugo\u015b\u0107 geograficzna [\u00b0]", "lon", DEG, LON),
    col("Szeroko\u015b\u0107 robocza [m]", "width", "m", lambda r: "9.1"),
    col("Pr\u0119dko\u015b\u0107 jazdy [km/h]", "speed", "km/h", lambda r: ex(r["v"] * 3.6, 2)),
    col("Przep\u0142yw mokrego ziarna [kg/s]", "flow", "kg/s", lambda r: ex(r["flow"], 2), basis="wet"),
    col("Wilgotno\u015b\u0107 ziarna [%]", "moisture", "%", lambda r: ex(r["m"], 1)),
    col("Zu\u017cycie paliwa [l/h]", "ignored", None, lambda r: ex(r["fuel"], 1))],
    sep=";", decimal=",", zone="UTC")

add("s07", "Dutch, tabs, decimal points, unpadded day-month-year, dry yield in t/ha at a moisture stated in the header", "A", 3, [
    col("Tijdstip (UTC)", "time", "date-time",
        lambda r: f"{r['utc'].day}-{r['utc'].month}-{r['utc'].year} {r['utc'].hour}:{r['utc']:%M:%S}", format="%d-%m-%Y %H:%M:%S"),
    col("Breedtegraad", "lat", DEG, LAT), col("Lengtegraad", "lon", DEG, LON), col("Hoogte (m)", "elevation", "m", lambda r: ex(r["z"], 2)),
    col("Rijsnelheid (km/u)", "speed", "km/h", lambda r: ex(r["v"] * 3.6, 2)),
    col("Maaibreedte (m)", "width", "m", lambda r: "9.10"),
    col("Opbrengst droog bij 15 % vocht (t/ha)", "yield", "t/ha", lambda r: ex(r["y"] * dry(r, 15), 3), basis="dry", dry_at_pct=15),
    col("Vocht bij oogst (%)", "moisture", "%", lambda r: ex(r["m"], 2))], sep="\t", zone="UTC")

add("s08", "English, American units: wet pounds per record, inches travelled, header in feet, elevation in feet, Unix seconds", "C", 2, [
    col("unix seconds", "time", "unix s", lambda r: str(unix(r["utc"]))), col("bin", "load", None, lambda r: r["load"]),
    col("travel in this record (inches)", "distance", "in", lambda r: ex(r["dist"] / IN, 1)),
    col("record lasts (s)", "interval", "s", lambda r: str(r["dt"])),
    col("wet grain in this record (lb)", "mass", "lb", lambda r: ex(r["mass"] / LB, 2), basis="wet"),
    col("water in the grain (%)", "moisture", "%", lambda r: ex(r["m"], 1)),
    col("header (ft)", "width", "ft", lambda r: "29.86"), col("height above sea (ft)", "elevation", "ft", lambda r: ex(r["z"] / FT, 1)),
    col("degrees east", "lon", DEG, LON), col("degrees north", "lat", DEG, LAT)], zone="UTC")

add("s09", "English, short names in the first row and units in a second header row, flow in lb/min, speed in mph, header in feet", "C", 1, [
    col("lat", "lat", DEG, LAT, units_row="deg"), col("lon", "lon", DEG, LON, units_row="deg"),
    col("time", "time", "iso", lambda r: iso(r["utc"]), units_row="UTC"),
    col("wet flow", "flow", "lb/min", lambda r: ex(r["flow"] / LB * 60, 1), units_row="lb/min", basis="wet"),
    col("moisture", "moisture", "%", lambda r: ex(r["m"], 1), units_row="%"),
    col("speed", "speed", "mph", lambda r: ex(r["v"] / 0.44704, 2), units_row="mph"),
    col("width", "width", "ft", lambda r: "29.86", units_row="ft"),
    col("heading", "heading", DEG, lambda r: ex(r["head"], 1), units_row="deg"),
    col("coolant", "ignored", None, lambda r: ex((r["temp"] + 62) * 1.8 + 32, 0), units_row="F")], header_rows=2, zone="UTC")

add("s10", "English, no unit anywhere; positions and times make the speed m/s, the pass spacing makes the width m, yields of 5 to 12 are t/ha, and then flow = yield x width x speed only in kg/s", "A", 1, [
    col("time", "time", "date-time", lambda r: r["local"].strftime("%Y-%m-%d %H:%M:%S"), format="%Y-%m-%d %H:%M:%S"),
    col("longitude", "lon", DEG, LON), col("latitude", "lat", DEG, LAT),
    col("width", "width", "m", lambda r: "9.1"), col("speed", "speed", "m/s", lambda r: ex(r["v"], 3)),
    col("yield", "yield", "t/ha", lambda r: ex(r["y"], 3), basis="wet"),
    col("moisture", "moisture", "%", lambda r: ex(r["m"], 1)),
    col("flow", "flow", "kg/s", lambda r: ex(r["flow"], 3), basis="wet")], zone=None)

add("s11", "English in capitals, semicolons with decimal points, spreadsheet day numbers for the time, wet flow in t/h", "C", 2, [
    col("SPREADSHEET DATE AND TIME", "time", "spreadsheet days", lambda r: ex(serial(r["local"]), 8)),
    col("LATITUDE", "lat", DEG, LAT), col("LONGITUDE", "lon", DEG, LON),
    col("WET GRAIN T/H", "flow", "t/h", lambda r: ex(r["flow"] * 3.6, 2), basis="wet"),
    col("MOISTURE %", "moisture", "%", lambda r: ex(r["m"], 1)), col("SPEED KM/H", "speed", "km/h", lambda r: ex(r["v"] * 3.6, 2)),
    col("HEADER M", "width", "m", lambda r: "9.1"), col("SATELLITES", "ignored", None, lambda r: str(r["sat"]))], sep=";", zone=None)

add("s12", "English, degrees and decimal minutes with letters (N, W), twelve-hour American dates with UTC-5 in the header, flow in 'pounds a second', 'miles an hour'", "C", 1, [
    col("Date and time (month/day/year, UTC-5)", "time", "date-time", lambda r: r["local"].strftime("%m/%d/%Y %I:%M:%S %p"), format="%m/%d/%Y %I:%M:%S %p"),
    col("Position north-south", "lat", "deg min", lambda r: dm(r["lat"], "N", "S")),
    col("Position east-west", "lon", "deg min", lambda r: dm(r["lon"], "E", "W")),
    col("Moist grain, pounds a second", "flow", "lb/s", lambda r: ex(r["flow"] / LB, 2), basis="wet"),
    col("Moisture, per cent", "moisture", "%", lambda r: ex(r["m"], 1)),
    col("Speed, miles an hour", "speed", "mph", lambda r: ex(r["v"] / 0.44704, 2)),
    col("Header, feet", "width", "ft", lambda r: "29.86")], quote="header", zone="UTC-5")

add("s13", "English, UTM with the zone in a column of its own, header as a number of rows with the row spacing in cm beside it, flow in kg/s", "B", 2, [
    col("easting m", "x", "m", lambda r: ex(r["e"], 2)), col("northing m", "y", "m", lambda r: ex(r["n"], 2)),
    col("utm zone", "crs", None, lambda r: "20 south", note="names the CRS of x and y"),
    col("rows cut", "width", "rows", lambda r: "13", times="row spacing cm"),
    col("row spacing cm", "row spacing", "cm", lambda r: "70", note="width = rows cut x row spacing = 9.1 m"),
    col("utc", "time", "iso", lambda r: iso(r["utc"]) + "Z"),
    col("wet flow kg/s", "flow", "kg/s", lambda r: ex(r["flow"], 3), basis="wet"), col("moisture %", "moisture", "%", lambda r: ex(r["m"], 1)),
    col("forward speed m/s", "speed", "m/s", lambda r: ex(r["v"], 3))], zone="UTC", crs="EPSG:32720")

add("s14", "English, lower case with underscores and units written out, wet yield in bushels per acre of maize, milliseconds, engine load and fuel flow as bait", "C", 1, [
    col("engine_load_percent", "ignored", None, lambda r: ex(r["engine"], 0)),
    col("fuel_flow_litres_per_hour", "ignored", None, lambda r: ex(r["fuel"], 1)),
    col("lat_decimal_degrees", "lat", DEG, LAT), col("lon_decimal_degrees", "lon", DEG, LON),
    col("unix_milliseconds", "time", "unix ms", lambda r: str(unix(r["utc"]) * 1000)),
    col("crop", "crop", None, lambda r: "maize"),
    col("wet_yield_bushels_per_acre", "yield", "bu/ac", lambda r: ex(r["y"] * 1000 / BU_MAIZE * ACRE / 1e4, 1), basis="wet", bushel_lb=56),
    col("moisture_percent", "moisture", "%", lambda r: ex(r["m"], 1)),
    col("speed_feet_per_second", "speed", "ft/s", lambda r: ex(r["v"] / FT, 2)), col("header_feet", "width", "ft", lambda r: "29.86"),
    col("satellite_count", "ignored", None, lambda r: str(r["sat"]))], zone="UTC")

add("s15", "English, date and UTC time of day apart, dry flow at 14 % moisture stated, moisture with a per cent sign in every cell", "A", 2, [
    col("day", "time", "date", lambda r: r["utc"].strftime("%Y-%m-%d"), part="date", format="%Y-%m-%d"),
    col("time of day UTC", "time", "clock", lambda r: r["utc"].strftime("%H:%M:%S"), part="clock", format="%H:%M:%S"),
    col("lat", "lat", DEG, LAT), col("lon", "lon", DEG, LON), col("pass", "pass", None, lambda r: str(r["k"])),
    col("grain flow as dry grain of 14 % moisture (kg/s)", "flow", "kg/s", lambda r: ex(r["flow"] * dry(r, 14), 3), basis="dry", dry_at_pct=14),
    col("moisture as cut", "moisture", "%", lambda r: ex(r["m"], 2) + " %", unit_in_cell=True),
    col("speed (m/s)", "speed", "m/s", lambda r: ex(r["v"], 3))], zone="UTC")

add("s16", "English, three lines of remarks above the header that state the CRS, semicolons, flow in kg/h, work state yes/no", "A", 3, [
    col("when", "time", "iso", lambda r: iso(r["utc"]) + "+00:00"),
    col("east (m)", "x", "m", lambda r: ex(r["e"], 2)), col("north (m)", "y", "m", lambda r: ex(r["n"], 2)),
    col("wet flow (kg/h)", "flow", "kg/h", lambda r: ex(r["flow"] * 3600, 0), basis="wet"),
    col("moisture (%)", "moisture", "%", lambda r: ex(r["m"], 1)), col("travel (m)", "distance", "m", lambda r: ex(r["dist"], 3)),
    col("cutting", "work_state", "yes/no", lambda r: "yes" if r["work"] else "no")],
    sep=";", preamble=["# grain log of one field, wheat", "# east and north: WGS 84, UTM zone 32 north, metres (EPSG:32632)", "# one row every three seconds"],
    zone="UTC", crs="EPSG:32632")

add("s17", "Italian, semicolons, decimal commas, wet yield in quintals (100 kg) per hectare, date and UTC clock apart, clock with points", "A", 2, [
    col("Lat. (gradi)", "lat", DEG, LAT), col("Long. (gradi)", "lon", DEG, LON),
    col("Data (gg/mm/aaaa)", "time", "date", lambda r: r["utc"].strftime("%d/%m/%Y"), part="date", format="%d/%m/%Y"),
    col("Ora (UTC)", "time", "clock", lambda r: r["utc"].strftime("%H.%M.%S"), part="clock", format="%H.%M.%S"),
    col("Resa umida (q/ha)", "yield", "q/ha", lambda r: ex(r["y"] * 10, 1), basis="wet"),
    col("Umidit\u00e0 della granella (%)", "moisture", "%", lambda r: ex(r["m"], 1)),
    col("Velocit\u00e0 (km/h)", "speed", "km/h", lambda r: ex(r["v"] * 3.6, 2)), col("Larghezza di taglio (m)", "width", "m", lambda r: "9.1"),
    col("Quota (m)", "elevation", "m", lambda r: ex(r["z"], 1))], sep=";", decimal=",", zone="UTC")

add("s18", "Danish, semicolons, decimal commas, wet kilograms per record, speed in km/t (per hour), fuel in l/t, day-month-year", "A", 3, [
    col("Tidspunkt", "time", "date-time", lambda r: r["local"].strftime("%d-%m-%Y %H:%M:%S"), format="%d-%m-%Y %H:%M:%S"),
    col("L\u00e6ngdegrad", "lon", DEG, LON), col("Breddegrad", "lat", DEG, LAT),
    col("V\u00e5dt korn i m\u00e5lingen (kg)", "mass", "kg", lambda r: ex(r["mass"], 2), basis="wet"),
    col("Vandindhold i korn (%)", "moisture", "%", lambda r: ex(r["m"], 1)),
    col("K\u00f8rehastighed (km/t)", "speed", "km/h", lambda r: ex(r["v"] * 3.6, 2)),
    col("Br\u00e6ndstof (l/t)", "ignored", None, lambda r: ex(r["fuel"], 1)), col("Sk\u00e6rebredde (m)", "width", "m", lambda r: "9.1")],
    sep=";", decimal=",", zone=None)

add("s19", "English, every name a quoted phrase with a comma in it, flow in grams per second, moisture as a fraction of one (said so), knots, running totals as bait", "A", 1, [
    col("Clock, UTC", "time", "iso", lambda r: iso(r["utc"]) + "Z"),
    col("Grain so far, kilograms", "ignored", None, lambda r: ex(r["tot"], 0), note="running total, not the mass of the row"),
    col("Ground cut so far, hectares", "ignored", None, lambda r: ex(r["area"], 4)),
    col("Latitude, degrees north", "lat", DEG, LAT), col("Longitude, degrees east", "lon", DEG, LON),
    col("Flow of wet grain, grams per second", "flow", "g/s", lambda r: ex(r["flow"] * 1000, 0), basis="wet"),
    col("Moisture, wet basis, fraction of one", "moisture", "fraction", lambda r: ex(r["m"] / 100, 4)),
    col("Speed over ground, knots", "speed", "kn", lambda r: ex(r["v"] * 3600 / 1852, 3)),
    col("Course over ground, degrees", "heading", DEG, lambda r: ex(r["head"], 1))], quote="header", zone="UTC")

add("s20", "English, words run together with capitals inside, wet flow in tonnes per hour, on/off work state, names of machine, load, crop and pass", "A", 2, [
    col("MachineName", "machine", None, lambda r: "Red hen"), col("CropName", "crop", None, lambda r: "wheat"),
    col("LoadName", "load", None, lambda r: r["load"]), col("PassNumber", "pass", None, lambda r: str(r["k"])),
    col("TimeUtc", "time", "iso", lambda r: iso(r["utc"])),
    col("LatitudeDegrees", "lat", DEG, LAT), col("LongitudeDegrees", "lon", DEG, LON), col("ElevationMetres", "elevation", "m", lambda r: ex(r["z"], 2)),
    col("HeaderWidthMetres", "width", "m", lambda r: "9.1"), col("SpeedKilometresPerHour", "speed", "km/h", lambda r: ex(r["v"] * 3.6, 2)),
    col("FuelLitresPerHour", "ignored", None, lambda r: ex(r["fuel"], 1)), col("AirTemperature", "ignored", None, lambda r: ex(r["temp"], 1)),
    col("WetGrainTonnesPerHour", "flow", "t/h", lambda r: ex(r["flow"] * 3.6, 3), basis="wet"),
    col("MoisturePercent", "moisture", "%", lambda r: ex(r["m"], 2)), col("WorkingOnOff", "work_state", "on/off", lambda r: "on" if r["work"] else "off")], zone="UTC")

# ---------------------------------------------------------------- ambiguous styles
BASE = lambda: [col("time (UTC)", "time", "iso", lambda r: iso(r["utc"]) + "Z"), col("longitude", "lon", DEG, LON), col("latitude", "lat", DEG, LAT)]
FLOW = lambda: col("wet flow (kg/s)", "flow", "kg/s", lambda r: ex(r["flow"], 3), basis="wet")
MOIST = lambda: col("moisture (%)", "moisture", "%", lambda r: ex(r["m"], 2))
SPEED = lambda: col("speed (m/s)", "speed", "m/s", lambda r: ex(r["v"], 3))
WID = lambda: col("header width (m)", "width", "m", lambda r: "9.1")


def ask(about, question, readings, **more):
    return dict(about=about, question=question, readings=readings, **more)


def reading(label, true=False, **over):
    return dict(label=label, true=true, columns=over.pop("columns", {}), **over)


add("a01", "two yields in t/ha, one wet and one dry at some moisture, neither said nor any moisture given; they cross each other", "A", 1, BASE() + [
    col("yield one (t/ha)", "ignored", None, lambda r: ex(r["y"] * dry(r, 14.8), 3), basis="dry", dry_at_pct=14.8, note="truth: dry at 14.8 %"),
    col("yield two (t/ha)", "yield", "t/ha", lambda r: ex(r["y"], 3), basis="wet"), SPEED(), WID()], zone="UTC", no_moisture=True,
    ask=[ask(["yield one (t/ha)", "yield two (t/ha)"], "which yield is of wet grain; and what was the moisture (a column, or one value), and at what moisture is the other yield?",
             [reading("yield one is wet", columns={"yield one (t/ha)": dict(canonical="yield", unit="t/ha", basis="wet"), "yield two (t/ha)": dict(canonical="ignored", unit=None)}),
              reading("yield two is wet", true=True)])])

add("a02", "x and y in metres without a CRS", "A", 2, [
    col("time (UTC)", "time", "iso", lambda r: iso(r["utc"]) + "Z"),
    col("x (m)", "x", "m", lambda r: ex(r["e"], 2)), col("y (m)", "y", "m", lambda r: ex(r["n"], 2)), FLOW(), MOIST(), SPEED(), WID()], zone="UTC", crs="EPSG:32632",
    ask=[ask(["x (m)", "y (m)"], "which CRS (the values fit every UTM zone of either hemisphere, and other grids)?",
             [reading("UTM zone 31 north", crs="EPSG:32631"), reading("UTM zone 32 north", true=True, crs="EPSG:32632"), reading("UTM zone 33 north", crs="EPSG:32633"),
              reading("any other UTM zone, or another grid")])])

add("a03", "flow without a unit, values that give believable wheat as kg/s, as lb/s and (poor) as t/h", "A", 1, BASE() + [
    col("flow", "flow", "kg/s", lambda r: ex(r["flow"], 2), basis="wet"), MOIST(), SPEED(), WID()], zone="UTC",
    ask=[ask(["flow"], "in which unit is the flow?",
             [reading("kg/s (8.5 t/ha)", true=True), reading("lb/s (3.9 t/ha)", columns={"flow": dict(canonical="flow", unit="lb/s", basis="wet")}),
              reading("t/h (2.4 t/ha)", columns={"flow": dict(canonical="flow", unit="t/h", basis="wet")})])])

add("a04", "a date that is 10 September or 9 October, maize", "C", 1, [
    col("date", "time", "date", lambda r: r["local"].strftime("%d/%m/%Y"), part="date", format="%d/%m/%Y"),
    col("time", "time", "clock", lambda r: r["local"].strftime("%H:%M:%S"), part="clock", format="%H:%M:%S"),
    col("longitude", "lon", DEG, LON), col("latitude", "lat", DEG, LAT), FLOW(), MOIST(), SPEED()],
    zone=None, start=datetime(2024, 9, 10, 18, 21, 45),
    ask=[ask(["date"], "day/month or month/day? (Everything else can be read, and the map does not depend on it; tickets by time do.)",
             [reading("day/month/year: 2024-09-10", true=True),
              reading("month/day/year: 2024-10-09", columns={"date": dict(canonical="time", unit="date", part="date", format="%m/%d/%Y")})])])

add("a05", "latitude and longitude under each other's names; as labelled the field lies in a sea, and steps contradict speed, directions contradict heading", "A", 1, [
    col("time (UTC)", "time", "iso", lambda r: iso(r["utc"]) + "Z"),
    col("latitude", "lon", DEG, LON, note="label swapped"), col("longitude", "lat", DEG, LAT, note="label swapped"), FLOW(), MOIST(), SPEED(),
    col("heading (deg)", "heading", DEG, lambda r: ex(r["head"], 1)), WID()], zone="UTC",
    ask=[ask(["latitude", "longitude"], "are the two names swapped? As labelled, steps along the passes are 1.62 times what speed and time say, the first pass runs at about 10 degrees while heading says 74, and turns go the other way round (pass spacing tells nothing: 9.2 m)",
             [reading("names swapped (10.43 E, 53.09 N)", true=True),
              reading("as labelled (53.09 E, 10.43 N)", columns={"latitude": dict(canonical="lat", unit=DEG), "longitude": dict(canonical="lon", unit=DEG)})])])

add("a06", "speed said to be km/h, 0.62 of what positions and times say (as if mph)", "A", 1, BASE() + [FLOW(), MOIST(),
    col("speed (km/h)", "speed", "mph", lambda r: ex(r["v"] / 0.44704, 2), note="label wrong"), WID()], zone="UTC",
    ask=[ask(["speed (km/h)"], "speed contradicts positions and times by 1.61: is it mph, or are the times wrong?",
             [reading("the column is mph; positions and times are right", true=True),
              reading("the column is km/h as it says; positions or times are off", columns={"speed (km/h)": dict(canonical="speed", unit="km/h")})])])

add("a07", "moisture said to be %, values of 0.12 to 0.18", "A", 2, BASE() + [FLOW(),
    col("moisture (%)", "moisture", "fraction", lambda r: ex(r["m"] / 100, 4), note="label wrong"), SPEED(), WID()], zone="UTC",
    ask=[ask(["moisture (%)"], "grain of 0.15 % does not exist: is it a fraction, and of wet or of dry grain?",
             [reading("fraction of the wet mass", true=True),
              reading("fraction of the dry mass", columns={"moisture (%)": dict(canonical="moisture", unit="fraction of dry mass")}),
              reading("% as it says (not believable)", columns={"moisture (%)": dict(canonical="moisture", unit="%")})])])

add("a08", "two moistures, 1.4 points apart, with nothing to tell them by", "A", 2, BASE() + [FLOW(),
    col("moisture A (%)", "ignored", None, lambda r: ex(r["bm"], 1)), col("moisture B (%)", "moisture", "%", lambda r: ex(r["m"], 1)), SPEED(), WID()], zone="UTC",
    ask=[ask(["moisture A (%)", "moisture B (%)"], "which moisture holds?",
             [reading("A", columns={"moisture A (%)": dict(canonical="moisture", unit="%"), "moisture B (%)": dict(canonical="ignored", unit=None)}), reading("B", true=True)])])

add("a09", "time of day without a date, over midnight", "A", 1, [
    col("time", "time", "clock", lambda r: r["local"].strftime("%H:%M:%S"), part="clock", format="%H:%M:%S"),
    col("longitude", "lon", DEG, LON), col("latitude", "lat", DEG, LAT), FLOW(), MOIST(), SPEED(), WID()],
    zone=None, start=datetime(2024, 8, 17, 21, 57, 40), no_date=True,
    ask=[ask(["time"], "which day? Midnight passes in the log: the rows after it belong to the next day and their order holds",
             [reading("one run over midnight, the day unknown (truth: from 2024-08-17 local)", true=True),
              reading("two different days, or the rows after midnight come before the others")], midnight=True)])

add("a10", "wet yield in 'tons per acre': short, metric or long tons, 10 % apart", "C", 1, [
    col("time (UTC)", "time", "iso", lambda r: iso(r["utc"]) + "Z"), col("longitude", "lon", DEG, LON), col("latitude", "lat", DEG, LAT),
    col("wet yield (tons per acre)", "yield", "short ton/ac", lambda r: ex(r["y"] * 1000 / (2000 * LB) * ACRE / 1e4, 3), basis="wet"),
    MOIST(), col("speed (mph)", "speed", "mph", lambda r: ex(r["v"] / 0.44704, 2)), col("header width (ft)", "width", "ft", lambda r: "29.86")], zone="UTC",
    ask=[ask(["wet yield (tons per acre)"], "which ton? (A short ton is likely here; a metric one gives 10 % more.)",
             [reading("short ton of 2000 lb", true=True),
              reading("metric ton of 1000 kg", columns={"wet yield (tons per acre)": dict(canonical="yield", unit="t/ac", basis="wet")}),
              reading("long ton of 2240 lb", columns={"wet yield (tons per acre)": dict(canonical="yield", unit="long ton/ac", basis="wet")})])])


# ---------------------------------------------------------------- writing
def cell(text, sep, mode, is_header):
    if mode == "all" or (mode == "header" and is_header) or sep in text or '"' in text:
        return '"' + text.replace('"', '""') + '"'
    return text


def write(f):
    o, sep = f["o"], f["o"].get("sep", ",")
    rows = drive(f["site"], f["dt"], o.get("start"))
    lines = list(o.get("preamble", []))
    lines.append(sep.join(cell(c["header"], sep, o.get("quote"), True) for c in f["cols"]))
    if o.get("header_rows") == 2:
        lines.append(sep.join(cell(c["units_row"], sep, o.get("quote"), True) for c in f["cols"]))
    numeric = lambda c: c["canonical"] != "time" or c["unit"] in ("spreadsheet days",)
    for r in rows:
        out = []
        for c in f["cols"]:
            t = c["fn"](r)
            if o.get("decimal") == "," and numeric(c):
                t = t.replace(".", ",")
            out.append(cell(t, sep, o.get("quote"), False))
        lines.append(sep.join(out))
    text = "\n".join(lines) + "\n"
    if o.get("bom"):
        text = "\ufeff" + text
    with open(os.path.join(HERE, f["name"] + ".csv"), "wb") as h:
        h.write(text.encode("cp1252" if o.get("encoding") else "utf-8"))
    with open(os.path.join(HERE, "truth", f["name"] + ".csv"), "w") as h:
        h.write("row,utc,lon,lat,flow_kg_s,mass_kg,moisture_pct,speed_m_s,distance_m,wet_yield_t_ha,work_state,pass\n")
        for r in rows:
            h.write(f"{r['i'] + 1},{iso(r['utc'])}Z,{r['lon']:.9f},{r['lat']:.9f},{r['flow']:.5f},{r['mass']:.5f},{r['m']:.4f},{r['v']:.5f},"
                    f"{r['dist']:.5f},{r['y']:.5f},{r['work']},{r['k']}\n")
    s, a, b = SITES[f["site"]], rows[0], rows[-1]
    zone = o.get("zone")
    has_m = not o.get("no_moisture")

    def shown(r):
        return dict(lon=round(r["lon"], 8), lat=round(r["lat"], 8), utc=iso(r["utc"]) + "Z" if zone and not o.get("no_date") else None,
                    local=None if zone else (r["local"].strftime("%H:%M:%S") if o.get("no_date") else iso(r["local"])),
                    flow_kg_s=round(r["flow"], 4), mass_kg=round(r["mass"], 4), moisture_pct=round(r["m"], 3) if has_m else None,
                    speed_m_s=round(r["v"], 4), wet_yield_t_ha=round(r["y"], 4))
    e = dict(file=f["name"] + ".csv", kind="plain" if f["name"][0] == "s" else "ambiguous", style=f["line"], crop=s["crop"],
             reading=dict(encoding=o.get("encoding", "utf-8"), byte_order_mark=bool(o.get("bom")), separator=sep, decimal=o.get("decimal", "."),
                          lines_before_header=len(o.get("preamble", [])), header_rows=o.get("header_rows", 1), crs=o.get("crs", "EPSG:4326"),
                          crs_stated=(o.get("crs") is None or f["name"] != "a02"), zone=zone,
                          zone_if_the_job_says=None if zone else s["zone"], interval_s=f["dt"]),
             columns=[{k: v for k, v in c.items() if k != "fn" and (v is not None or k == "unit")} for c in f["cols"]],
             rows=len(rows), width_m=WIDTH, total_kg=round(rows[-1]["tot"], 2), first_row=shown(a), last_row=shown(b), ask=o.get("ask", []))
    return e


def alternatives(e):
    """First-row figures of each other reading of an ambiguous file, so that a tool can be held against them too."""
    t = e["first_row"]
    y, v, f, m = t["wet_yield_t_ha"], t["speed_m_s"], t["flow_kg_s"], t["moisture_pct"]
    n = e["file"][:3]
    rs = e["ask"][0]["readings"]
    for r in rs:
        if r["true"]:
            r["first_row"] = t
    alt = lambda i, **k: rs[i].__setitem__("first_row", {**t, **k})
    if n == "a01":
        y1 = float(open(os.path.join(HERE, "a01.csv")).read().splitlines()[1].split(",")[3])
        alt(0, wet_yield_t_ha=y1, flow_kg_s=round(y1 / 10 * WIDTH * v, 4), mass_kg=round(y1 / 10 * WIDTH * v, 4))
    if n == "a02":  # same latitude within the UTM graticule, six degrees of longitude away
        alt(0, lon=round(t["lon"] - 6, 8)), alt(2, lon=round(t["lon"] + 6, 8))
    if n == "a03":
        alt(1, flow_kg_s=round(f * LB, 4), mass_kg=round(f * LB, 4), wet_yield_t_ha=round(y * LB, 4))
        alt(2, flow_kg_s=round(f / 3.6, 4), mass_kg=round(f / 3.6, 4), wet_yield_t_ha=round(y / 3.6, 4))
    if n == "a04":
        alt(1, local="2024-10-09" + t["local"][10:])
    if n == "a05":
        alt(1, lon=t["lat"], lat=t["lon"])
    if n == "a06":
        alt(1, speed_m_s=round(v / 1.609344, 4), wet_yield_t_ha=round(y * 1.609344, 4))
    if n == "a07":
        alt(1, moisture_pct=round(100 * (m / 100) / (1 + m / 100), 3)), alt(2, moisture_pct=round(m / 100, 4))
    if n == "a08":
        ma = float(open(os.path.join(HERE, "a08.csv")).read().splitlines()[1].split(",")[4])
        alt(0, moisture_pct=ma)
    if n == "a10":
        for i, k in ((1, 1000 / (2000 * LB)), (2, 2240 / 2000)):
            alt(i, flow_kg_s=round(f * k, 4), mass_kg=round(f * k, 4), wet_yield_t_ha=round(y * k, 4))


def main():
    os.makedirs(os.path.join(HERE, "truth"), exist_ok=True)
    out = []
    for f in FILES:
        e = write(f)
        if e["ask"]:
            alternatives(e)
        out.append(e)
    with open(os.path.join(HERE, "expected.json"), "w") as h:
        json.dump(dict(note="invented data; one field at three invented sites; positions and times are those of a row's end; flow, mass are wet", files=out),
                  h, indent=1, ensure_ascii=False)
        h.write("\n")
    with open(os.path.join(HERE, "README.md"), "w") as h:
        h.write("# Thirty header styles of one invented grain log\n\nMade by `make.py` (fixed seed); `check.py` re-reads every file by `expected.json` and recovers `truth/`.\n"
                "All data, sites and headers are invented; headers are plain words of the trade.\n\n## Plain\n\n")
        for f in FILES:
            if f["name"] == "a01":
                h.write("\n## Ambiguous (a careful person would ask)\n\n")
            h.write(f"- `{f['name']}` ({SITES[f['site']]['crop']}, {f['dt']} s rows): {f['line']}\n")


if __name__ == "__main__":
    main()
