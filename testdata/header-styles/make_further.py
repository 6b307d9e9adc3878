#!/usr/bin/env python3
"""Further styles over the same invented field, in languages and phrasings that the thirty do not have.

Written before the rules that the thirty asked for, and not looked at while those were written. Writes further/hNN.csv and
further/expected.json. Every one is plain: a person who reads the language needs to ask nothing.
"""
import json, os

import make as m
from make import ACRE, BU_MAIZE, DEG, FT, IN, LAT, LB, LON, col, dry, ex, iso, unix

m.FILES.clear()
m.HERE = os.path.join(m.HERE, "further")
add = m.add


def dms(v, pos, neg):
    h, v = (pos if v >= 0 else neg), abs(v)
    d = int(v)
    mi = int((v - d) * 60)
    return f"{d}\u00b0{mi:02d}'{(v - d - mi / 60) * 3600:07.4f}\"{h}"


def ddmm(v):
    v = abs(v)
    return f"{int(v):02d}{(v - int(v)) * 60:08.5f}"


def clock(r):
    return r["local"].strftime("%H:%M:%S")


def dmy(sep):
    return lambda r: r["local"].strftime(f"%d{sep}%m{sep}%Y")


def dmyt(sep):
    return lambda r: r["local"].strftime(f"%d{sep}%m{sep}%Y %H:%M:%S")


def time(header, fn):
    return col(header, "time", "date-time", fn)


def kmh(header):
    return col(header, "speed", "km/h", lambda r: ex(r["v"] * 3.6, 2))


def width(header):
    return col(header, "width", "m", lambda r: "9.1")


def moist(header, n=1):
    return col(header, "moisture", "%", lambda r: ex(r["m"], n))


def fuel(header, n=1):
    return col(header, "ignored", None, lambda r: ex(r["fuel"], n))


add("h01", "Swedish, semicolons, decimal commas", "A", 1, [
    col("Datum", "time", "date", lambda r: r["local"].strftime("%Y-%m-%d")), col("Klockslag", "time", "clock", clock),
    col("Latitud", "lat", DEG, LAT), col("Longitud", "lon", DEG, LON),
    col("Fl\u00f6de v\u00e5t spannm\u00e5l (kg/s)", "flow", "kg/s", lambda r: ex(r["flow"], 2), basis="wet"), moist("Vattenhalt (%)"),
    kmh("K\u00f6rhastighet (km/tim)"), width("Sk\u00e4rbordets bredd (m)"), fuel("Br\u00e4nslef\u00f6rbrukning (l/tim)")], sep=";", decimal=",")
add("h02", "Norwegian, semicolons, decimal commas, kilograms per decare", "A", 2, [
    time("Tidspunkt", dmyt(".")), col("Breddegrad", "lat", DEG, LAT), col("Lengdegrad", "lon", DEG, LON),
    col("R\u00e5 avling (kg/daa)", "yield", "kg/daa", lambda r: ex(r["y"] * 100, 0), basis="wet"), moist("Vanninnhold (%)"),
    kmh("Kj\u00f8refart (km/t)"), width("Arbeidsbredde (m)"), fuel("Drivstoff (l/t)")], sep=";", decimal=",")
add("h03", "German, zone of a projection in the headers, fuel in kg/h beside the throughput", "A", 2, [
    time("Zeitstempel", dmyt(".")), col("Rechtswert UTM 32N (m)", "x", "m", lambda r: ex(r["e"], 2)),
    col("Hochwert UTM 32N (m)", "y", "m", lambda r: ex(r["n"], 2)), fuel("Dieseldurchsatz [kg/h]"),
    col("Korndurchsatz, erntefeucht [t/h]", "flow", "t/h", lambda r: ex(r["flow"] * 3.6, 2), basis="wet"), moist("Wassergehalt Korn [%]"),
    kmh("Vorfahrt [km/h]"), width("Schneidwerksbreite [m]"), col("Trommeldrehzahl [U/min]", "ignored", None, lambda r: ex(800 + r["engine"], 0))],
    sep=";", decimal=",")
add("h04", "French, names cut short with underscores", "A", 1, [
    col("horodat", "time", "date-time", lambda r: iso(r["utc"]) + "Z"), col("lat", "lat", DEG, LAT), col("lon", "lon", DEG, LON),
    col("rdt_humide_qx_ha", "yield", "dt/ha", lambda r: ex(r["y"] * 10, 1), basis="wet"), moist("hum_grain_pct"),
    kmh("vit_km_h"), width("larg_coupe_m"), fuel("conso_l_h")])
add("h05", "Spanish, wet and dry yield in quintals beside each other", "B", 2, [
    col("Fecha", "time", "date", dmy("/")), col("Hora", "time", "clock", clock), col("Lat.", "lat", DEG, LAT), col("Long.", "lon", DEG, LON),
    col("Rinde seco 14,5% (qq/ha)", "ignored", "dt/ha", lambda r: ex(r["y"] * 10 * dry(r, 14.5), 1)),
    col("Rinde h\u00famedo (qq/ha)", "yield", "dt/ha", lambda r: ex(r["y"] * 10, 1), basis="wet"), moist("Hum. (%)"),
    kmh("Vel. (km/h)"), width("Ancho de labor (m)"), fuel("Consumo de gasoil (l/h)")], sep=";", decimal=",")
add("h06", "Portuguese, mass of each record, fuel in kg/h", "B", 2, [
    col("Data", "time", "date", dmy("/")), col("Hor\u00e1rio", "time", "clock", clock), col("Latitude", "lat", DEG, LAT), col("Longitude", "lon", DEG, LON),
    col("Massa \u00famida colhida no registro (kg)", "mass", "kg", lambda r: ex(r["mass"], 2), basis="wet"), moist("Teor de \u00e1gua (%)"),
    kmh("Velocidade de deslocamento (km/h)"), width("Largura de corte (m)"), fuel("Consumo (kg/h)")], sep=";", decimal=",")
add("h07", "Italian, projected metres, the zone in a remark above the header", "A", 3, [
    time("Istante", lambda r: iso(r["utc"]) + "Z"), col("Est (m)", "x", "m", lambda r: ex(r["e"], 2)), col("Nord (m)", "y", "m", lambda r: ex(r["n"], 2)),
    col("Flusso di granella umida (kg/s)", "flow", "kg/s", lambda r: ex(r["flow"], 3), basis="wet"), moist("Acqua nella granella (%)"),
    kmh("Velocit\u00e0 di avanzamento (km/h)"), width("Fronte di taglio (m)")], sep=";", decimal=",",
    preamble=["Mappa di raccolta;;", "Coordinate: UTM WGS84 fuso 32N;;"])
add("h08", "Dutch, abbreviations of north and east", "A", 1, [
    time("Datum/tijd", dmyt("-")), col("Noorderbreedte", "lat", DEG, LAT), col("Oosterlengte", "lon", DEG, LON),
    col("Graanstroom nat (kg/s)", "flow", "kg/s", lambda r: ex(r["flow"], 2), basis="wet"), moist("Vochtgehalte (%)"),
    col("Snelheid (m/s)", "speed", "m/s", lambda r: ex(r["v"], 3)), width("Werkbreedte (m)"), fuel("Brandstofverbruik (l/u)")], sep=";", decimal=",")
add("h09", "Czech, fuel in kg/h as bait", "A", 1, [
    time("\u010cas", dmyt(".")), col("Zem\u011bpisn\u00e1 \u0161\u00ed\u0159ka", "lat", DEG, LAT), col("Zem\u011bpisn\u00e1 d\u00e9lka", "lon", DEG, LON),
    col("V\u00fdnos vlhk\u00fd [t/ha]", "yield", "t/ha", lambda r: ex(r["y"], 2), basis="wet"), moist("Vlhkost zrna [%]"),
    kmh("Rychlost [km/h]"), width("Z\u00e1b\u011br [m]"), fuel("Spot\u0159eba paliva [kg/h]")], sep=";", decimal=",")
add("h10", "Hungarian", "A", 2, [
    time("Id\u0151pont", lambda r: r["local"].strftime("%Y.%m.%d %H:%M:%S")), col("Sz\u00e9less\u00e9gi fok", "lat", DEG, LAT), col("Hossz\u00fas\u00e1gi fok", "lon", DEG, LON),
    col("Nedves hozam (t/ha)", "yield", "t/ha", lambda r: ex(r["y"], 2), basis="wet"), moist("Szemnedvess\u00e9g (%)"),
    kmh("Sebess\u00e9g (km/h)"), width("Munkasz\u00e9less\u00e9g (m)"), fuel("\u00dczemanyag-fogyaszt\u00e1s (kg/h)")], sep=";", decimal=",")
add("h11", "Romanian", "A", 2, [
    time("Data \u0219i ora", dmyt(".")), col("Latitudine", "lat", DEG, LAT), col("Longitudine", "lon", DEG, LON),
    col("Produc\u021bie umed\u0103 (kg/ha)", "yield", "kg/ha", lambda r: ex(r["y"] * 1000, 0), basis="wet"), moist("Umiditate boabe (%)"),
    kmh("Vitez\u0103 (km/h)"), width("L\u0103\u021bime de lucru (m)"), fuel("Consum motorin\u0103 (kg/h)")], sep=";", decimal=",")
add("h12", "Finnish, fuel in kg/h as bait", "A", 1, [
    time("Aika", dmyt(".")), col("Leveysaste", "lat", DEG, LAT), col("Pituusaste", "lon", DEG, LON),
    col("M\u00e4r\u00e4n viljan virtaus (kg/s)", "flow", "kg/s", lambda r: ex(r["flow"], 2), basis="wet"), moist("Viljan kosteus (%)"),
    kmh("Ajonopeus (km/h)"), width("Ty\u00f6leveys (m)"), fuel("Polttoaineen kulutus (kg/h)")], sep=";", decimal=",")
add("h13", "Russian, Cyrillic letters, centners per hectare", "A", 1, [
    time("\u0412\u0440\u0435\u043c\u044f", dmyt(".")), col("\u0428\u0438\u0440\u043e\u0442\u0430", "lat", DEG, LAT), col("\u0414\u043e\u043b\u0433\u043e\u0442\u0430", "lon", DEG, LON),
    col("\u0423\u0440\u043e\u0436\u0430\u0439\u043d\u043e\u0441\u0442\u044c \u0432\u043b\u0430\u0436\u043d\u0430\u044f (\u0446/\u0433\u0430)", "yield", "dt/ha", lambda r: ex(r["y"] * 10, 1), basis="wet"),
    moist("\u0412\u043b\u0430\u0436\u043d\u043e\u0441\u0442\u044c \u0437\u0435\u0440\u043d\u0430 (%)"), kmh("\u0421\u043a\u043e\u0440\u043e\u0441\u0442\u044c (\u043a\u043c/\u0447)"),
    width("\u0428\u0438\u0440\u0438\u043d\u0430 \u0437\u0430\u0445\u0432\u0430\u0442\u0430 (\u043c)"), fuel("\u0420\u0430\u0441\u0445\u043e\u0434 \u0442\u043e\u043f\u043b\u0438\u0432\u0430 (\u043b/\u0447)")], sep=";", decimal=",")
add("h14", "Turkish, fuel in kg per hour as bait", "A", 1, [
    time("Zaman", dmyt(".")), col("Enlem", "lat", DEG, LAT), col("Boylam", "lon", DEG, LON),
    col("Ya\u015f tane ak\u0131\u015f\u0131 (kg/s)", "flow", "kg/s", lambda r: ex(r["flow"], 2), basis="wet"), moist("Tane nemi (%)"),
    kmh("H\u0131z (km/h)"), width("Bi\u00e7me geni\u015fli\u011fi (m)"), fuel("Yak\u0131t t\u00fcketimi (kg/h)")], sep=";", decimal=",")
add("h15", "English, names cut short, projected metres with the zone in their names, seconds of the day", "C", 1, [
    col("date", "time", "date", lambda r: r["local"].strftime("%Y-%m-%d")),
    col("secs_of_day", "time", "s of day", lambda r: str(r["local"].hour * 3600 + r["local"].minute * 60 + r["local"].second)),
    col("x_utm15n_m", "x", "m", lambda r: ex(r["e"], 2)), col("y_utm15n_m", "y", "m", lambda r: ex(r["n"], 2)),
    col("wet_grain_lbs_per_sec", "flow", "lb/s", lambda r: ex(r["flow"] / LB, 2), basis="wet"), moist("h2o_pct"),
    col("gnd_spd_mph", "speed", "mph", lambda r: ex(r["v"] / 0.44704, 2)), col("swath_ft", "width", "ft", lambda r: "29.86"),
    col("fuel_lbs_per_hr", "ignored", None, lambda r: ex(r["fuel"], 1))])
add("h16", "English, degrees, minutes and seconds in the cells, combined date and time", "C", 2, [
    time("Local time", lambda r: iso(r["local"])), col("Lat", "lat", "dms", lambda r: dms(r["lat"], "N", "S")), col("Long", "lon", "dms", lambda r: dms(r["lon"], "E", "W")),
    col("Crop flow rate, as cut (short ton/hr)", "flow", "short ton/h", lambda r: ex(r["flow"] * 3600 / (2000 * LB), 2), basis="wet"), moist("Grain water content (%)"),
    col("Travel speed (ft/s)", "speed", "ft/s", lambda r: ex(r["v"] / FT, 2)), col("Width of cut (in)", "width", "in", lambda r: ex(m.WIDTH / IN, 1))])
add("h17", "English, units in square brackets in a second row, a count of seconds, centimetres", "A", 1, [
    col("Elapsed time", "time", "s", lambda r: str(r["i"] * r["dt"]), units_row="[s]"), col("Latitude", "lat", DEG, LAT, units_row="[deg]"),
    col("Longitude", "lon", DEG, LON, units_row="[deg]"), col("Grain rate (wet)", "flow", "kg/h", lambda r: ex(r["flow"] * 3600, 0), units_row="[kg/h]", basis="wet"),
    col("Moist.", "moisture", "%", lambda r: ex(r["m"], 1), units_row="[%]"), col("Velocity", "speed", "km/h", lambda r: ex(r["v"] * 3.6, 2), units_row="[km/h]"),
    col("Cut width", "width", "cm", lambda r: "910", units_row="[cm]")], header_rows=2)
add("h18", "English, yield corrected to a moisture that is said, distance since the row before", "C", 1, [
    time("Timestamp (UTC)", lambda r: iso(r["utc"])), col("Latitude", "lat", DEG, LAT), col("Longitude", "lon", DEG, LON),
    col("Yield corrected to 14.5% moisture (bu/ac)", "yield", "bu/ac", lambda r: ex(r["y"] * dry(r, 14.5) * 1000 / BU_MAIZE * ACRE / 1e4, 1), basis="dry"),
    moist("Moisture as harvested (%)"), col("Distance since last row (ft)", "distance", "ft", lambda r: ex(r["dist"] / FT, 2)),
    col("Head width (ft)", "width", "ft", lambda r: "29.86")])
add("h19", "Serbian in Latin letters", "A", 3, [
    time("Vreme", dmyt(".")), col("Geografska \u0161irina", "lat", DEG, LAT), col("Geografska du\u017eina", "lon", DEG, LON),
    col("Prinos vla\u017ean (t/ha)", "yield", "t/ha", lambda r: ex(r["y"], 2), basis="wet"), moist("Vlaga zrna (%)"),
    kmh("Brzina (km/h)"), width("Radni zahvat (m)"), fuel("Potro\u0161nja goriva (kg/h)")], sep=";", decimal=",")
add("h20", "English, hundredweight of 100 lb per acre, inches", "C", 2, [
    time("Date/Time", lambda r: r["local"].strftime("%m/%d/%Y %I:%M:%S %p")), col("Latitude", "lat", DEG, LAT), col("Longitude", "lon", DEG, LON),
    col("Wet yield (cwt/acre)", "yield", "cwt/ac", lambda r: ex(r["y"] * 1000 / (100 * LB) * ACRE / 1e4, 2), basis="wet"), moist("Moisture (percent)"),
    col("Swath width (in)", "width", "in", lambda r: ex(m.WIDTH / IN, 1)), col("Speed (mph)", "speed", "mph", lambda r: ex(r["v"] / 0.44704, 2))])
add("h21", "English, degrees and minutes run together as receivers send them, the hemisphere in columns of its own", "C", 1, [
    time("UTC", lambda r: iso(r["utc"]) + "Z"), col("Latitude (ddmm.mmmmm)", "lat", "ddmm", lambda r: ddmm(r["lat"])), col("N/S", "hemisphere", None, lambda r: "N"),
    col("Longitude (dddmm.mmmmm)", "lon", "ddmm", lambda r: ddmm(r["lon"])), col("E/W", "hemisphere", None, lambda r: "W"),
    col("Wet flow (lb/s)", "flow", "lb/s", lambda r: ex(r["flow"] / LB, 2), basis="wet"), moist("Moisture (%)"), col("Speed (mph)", "speed", "mph", lambda r: ex(r["v"] / 0.44704, 2))])
add("h22", "Danish, units of 100 kg a hectare (hkg), dates with points", "A", 1, [
    time("Dato og tid", dmyt(".")), col("Breddegrad", "lat", DEG, LAT), col("L\u00e6ngdegrad", "lon", DEG, LON),
    col("Udbytte, v\u00e5dt (hkg/ha)", "yield", "dt/ha", lambda r: ex(r["y"] * 10, 1), basis="wet"), moist("Vandprocent"),
    kmh("Fart (km/t)"), width("Arbejdsbredde (m)"), fuel("Dieselforbrug (l/t)")], sep=";", decimal=",")


# Alphabets and languages of which no word may be known: kNN.csv, written after the first try of hNN and before the rules
# that read a clock and a position by their values.
add("k01", "Greek", "A", 1, [
    time("\u03a7\u03c1\u03cc\u03bd\u03bf\u03c2", dmyt("/")), col("\u0393\u03b5\u03c9\u03b3\u03c1. \u03c0\u03bb\u03ac\u03c4\u03bf\u03c2", "lat", DEG, LAT),
    col("\u0393\u03b5\u03c9\u03b3\u03c1. \u03bc\u03ae\u03ba\u03bf\u03c2", "lon", DEG, LON),
    col("\u03a1\u03bf\u03ae \u03ba\u03b1\u03c1\u03c0\u03bf\u03cd (kg/s)", "flow", "kg/s", lambda r: ex(r["flow"], 2), basis="wet"),
    moist("\u03a5\u03b3\u03c1\u03b1\u03c3\u03af\u03b1 (%)"), kmh("\u03a4\u03b1\u03c7\u03cd\u03c4\u03b7\u03c4\u03b1 (km/h)"), width("\u03a0\u03bb\u03ac\u03c4\u03bf\u03c2 (m)")], sep=";", decimal=",")
add("k02", "Lithuanian, mass of a record", "A", 2, [
    time("Laikas", lambda r: r["local"].strftime("%Y-%m-%d %H:%M:%S")), col("Platuma", "lat", DEG, LAT), col("Ilguma", "lon", DEG, LON),
    col("\u0160lapi gr\u016bdai (kg)", "mass", "kg", lambda r: ex(r["mass"], 2), basis="wet"), moist("Dr\u0117gnis (%)"), kmh("Greitis (km/h)"),
    width("Pjovimo plotis (m)")], sep=";", decimal=",")
add("k03", "Chinese, flow in t/h", "B", 1, [
    time("\u65f6\u95f4", lambda r: r["local"].strftime("%Y/%m/%d %H:%M:%S")), col("\u7ecf\u5ea6", "lon", DEG, LON), col("\u7eac\u5ea6", "lat", DEG, LAT),
    col("\u8c37\u7269\u6d41\u91cf(t/h)", "flow", "t/h", lambda r: ex(r["flow"] * 3.6, 2), basis="wet"), moist("\u542b\u6c34\u7387(%)"),
    kmh("\u901f\u5ea6(km/h)"), width("\u5272\u5e45(m)")])
add("k04", "Latvian, fuel in kg/h as bait, west of Greenwich", "C", 1, [
    time("Laiks", lambda r: iso(r["local"])), col("Platums", "lat", DEG, LAT), col("Garums", "lon", DEG, LON), fuel("Degviela (kg/h)"),
    col("Graudu pl\u016bsma (kg/s)", "flow", "kg/s", lambda r: ex(r["flow"], 3), basis="wet"), moist("Mitrums (%)"),
    col("\u0100trums (m/s)", "speed", "m/s", lambda r: ex(r["v"], 3)), width("Platums (m)")])
add("k05", "Icelandic, no speed, distance of each row", "A", 1, [
    time("T\u00edmi", dmyt(".")), col("Breiddargr\u00e1\u00f0a", "lat", DEG, LAT), col("Lengdargr\u00e1\u00f0a", "lon", DEG, LON),
    col("Kornfl\u00e6\u00f0i (kg/s)", "flow", "kg/s", lambda r: ex(r["flow"], 2), basis="wet"), moist("Raki (%)"),
    col("Vegalengd (m)", "distance", "m", lambda r: ex(r["dist"], 2)), width("Vinnslubreidd (m)")], sep=";", decimal=",")
add("k06", "Albanian, names and units in two rows", "A", 2, [
    dict(time("Koha", lambda r: r["local"].strftime("%Y-%m-%d %H:%M:%S")), units_row=""), col("Gjer\u00ebsia", "lat", DEG, LAT, units_row="deg"),
    col("Gjat\u00ebsia", "lon", DEG, LON, units_row="deg"), col("Rrjedha e drith\u00ebrave", "flow", "kg/s", lambda r: ex(r["flow"], 2), units_row="kg/s", basis="wet"),
    dict(moist("Lag\u00ebshtia"), units_row="%"), dict(kmh("Shpejt\u00ebsia"), units_row="km/h"), dict(width("Gjer\u00ebsia e korrjes"), units_row="m")], header_rows=2)


def main():
    os.makedirs(os.path.join(m.HERE, "truth"), exist_ok=True)
    out = [m.write(f) for f in m.FILES]
    for e in out:
        e["kind"] = "plain"
        e["total_kg"] = round(e["total_kg"], 2)
    keep = ("file", "kind", "style", "crop", "rows", "width_m", "total_kg", "first_row")
    with open(os.path.join(m.HERE, "expected.json"), "w") as h:
        json.dump(dict(note="invented data, as in the folder above", files=[{k: e[k] for k in keep} for e in out]), h, indent=1, ensure_ascii=False)
        h.write("\n")


main()
