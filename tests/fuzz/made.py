"""Small logs made here for formats of which no sample is shipped: one flight in each.

The flight is a square at 40 m over open sea; what matters is that the files are well formed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

from tests.fuzz.inputs import GUESS, TABLE, Source
from tests.importers.test_ulog_hostile import everything

BEGIN = datetime(2027, 3, 15, 9, 14, 5, tzinfo=UTC)
LATITUDE, LONGITUDE = 12.0, -30.0


def fixes(seconds: int = 120) -> Iterator[tuple[datetime, float, float, float, float, float]]:
    """Give time, latitude, longitude, height [m], speed [m/s] and course [deg] once a second."""
    north = east = 0.0
    for k in range(seconds):
        speed = min(max(0.0, 2.5 * (k - 20)), 15.0) if k < 100 else max(0.0, 15.0 - 2.0 * (k - 100))
        course = 90.0 * ((k // 15) % 4)
        north += speed * math.cos(math.radians(course))
        east += speed * math.sin(math.radians(course))
        height = min(max(0.0, 2.0 * (k - 26)), 40.0) if k < 90 else max(0.0, 40.0 - 4.0 * (k - 90))
        yield (
            BEGIN + timedelta(seconds=k),
            LATITUDE + north / 110_600,
            LONGITUDE + east / 108_900,
            height,
            speed,
            course,
        )


def gpx() -> bytes:
    points = "\n".join(
        f'<trkpt lat="{la:.7f}" lon="{lo:.7f}"><ele>{h:.1f}</ele>'
        f"<time>{t:%Y-%m-%dT%H:%M:%SZ}</time>"
        f"<speed>{v:.2f}</speed><course>{c:.0f}</course><sat>11</sat><hdop>0.9</hdop></trkpt>"
        for t, la, lo, h, v, c in fixes()
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.0" creator="made" '
        'xmlns="http://www.topografix.com/GPX/1/0">\n<trk><name>Square</name><trkseg>\n'
        f"{points}\n</trkseg></trk></gpx>\n"
    ).encode()


def _minutes(degrees: float, width: int) -> str:
    whole = int(abs(degrees))
    return f"{whole:0{width}d}{60 * (abs(degrees) - whole):07.4f}"


def _sentence(body: str) -> str:
    check = 0
    for char in body:
        check ^= ord(char)
    return f"${body}*{check:02X}"


def nmea() -> bytes:
    lines = []
    for t, la, lo, h, v, c in fixes():
        place = f"{_minutes(la, 2)},N,{_minutes(lo, 3)},W"
        lines += [
            _sentence(f"GPGGA,{t:%H%M%S}.00,{place},1,11,0.9,{h:.1f},M,30.0,M,,"),
            _sentence(f"GPRMC,{t:%H%M%S}.00,A,{place},{v / 0.514444:.2f},{c:.1f},{t:%d%m%y},,"),
            _sentence("GPGSA,A,3,01,02,03,04,05,06,07,08,09,10,11,,1.5,0.9,1.2"),
        ]
    return "\r\n".join(lines).encode("ascii")


def igc() -> bytes:
    lines = ["AXXX001", "HFDTE150327", "HFFXA015", "HFDTM100GPSDATUM:WGS-1984", "I023638FXA3940SIU"]
    for t, la, lo, h, _, _ in fixes():
        a, o = _minutes(la, 2).replace(".", "")[:7], _minutes(lo, 3).replace(".", "")[:8]
        lines.append(f"B{t:%H%M%S}{a}N{o}WA{h:05.0f}{h + 30:05.0f}01511")
    return ("\r\n".join(lines) + "\r\n").encode("ascii")


def dataflash_text() -> bytes:
    lines = [
        "FMT, 128, 89, FMT, BBnNZ, Type,Length,Name,Format,Columns",
        "FMT, 130, 50, GPS, QBIHBcLLefff, TimeUS,Status,GMS,GWk,NSats,HDop,Lat,Lng,Alt,Spd,GCrs,VZ",
        "FMT, 131, 23, BARO, Qfff, TimeUS,Alt,Press,Temp",
        "FMT, 132, 24, BAT, QBfff, TimeUS,Inst,Volt,Curr,CurrTot",
        "FMT, 133, 75, MSG, QZ, TimeUS,Message",
        "FMT, 134, 31, PARM, QNf, TimeUS,Name,Value",
        "MSG, 10000000, Simulated autopilot 1.0, with a comma",
        "PARM, 10000000, BATT_MONITOR, 4",
    ]
    for k, (_, la, lo, h, v, c) in enumerate(fixes()):
        us = 10_000_000 + 1_000_000 * k
        lines += [
            f"GPS, {us}, 3, {1000 * k}, 2462, 11, 0.90, {la:.7f}, {lo:.7f}, {h:.2f}, {v:.3f}, "
            f"{c:.2f}, 0.000",
            f"BARO, {us}, {h:.3f}, {101325 - 12 * h:.2f}, 21.50",
            f"BAT, {us}, 0, {25.1 - 0.01 * k:.3f}, {30 if v else 0.4:.2f}, {8.3 * k:.2f}",
        ]
    return ("\n".join(lines) + "\n").encode("ascii")


def transmitter() -> bytes:
    lines = ["Date,Time,RQly(%),RxBt(V),Curr(A),Capa(mAh),GPS,GSpd(kmh),Hdg(@),Alt(m),Sats,Rud,Ele,"
             "Thr,Ail,TxBat(V)"]  # fmt: skip
    for k, (t, la, lo, h, v, c) in enumerate(fixes()):
        for part in (0, 500):
            lines.append(
                f"{t:%Y-%m-%d},{t:%H:%M:%S}.{part:03d},{100 - k % 5},{25.1 - 0.01 * k:.1f},"
                f"{30 if v else 0.4:.1f},{8 * k},{la:.6f} {lo:.6f},{3.6 * v:.1f},{c:.2f},{h:.0f},"
                f"11,0,{k % 7},{-1024 if not v else 900},-2,7.9"
            )
    return ("\r\n".join(lines) + "\r\n").encode("ascii")


def table() -> bytes:
    """Semicolons, decimal commas, day first, headers in another language."""
    lines = ["Zeit;Breite;Länge;Höhe (m);Tempo (km/h);Spannung;Strom"]
    for k, (t, la, lo, h, v, _) in enumerate(fixes()):
        cells = f"{la:.6f};{lo:.6f};{h:.1f};{3.6 * v:.1f};{25.1 - 0.01 * k:.2f};{30 if v else 0.4}"
        lines.append(f"{t:%d.%m.%Y %H:%M:%S};{cells.replace('.', ',')}")
    return ("\r\n".join(lines) + "\r\n").encode("utf-8")


@cache
def table_map(folder: Path) -> Path:
    """Write the column map of `table` into a folder."""
    path = folder / "table.columns.toml"
    path.write_text(TABLE_MAP, encoding="utf-8")
    return path


TABLE_MAP = """
schema = "flightlog.columns/1"

[time]
columns = ["Zeit"]
format = "date and time"
order = "day-month-year"
utc_offset_h = 1.0
""" + "".join(
    f'''
[[column]]
header = "{header}"
table = "{table_}"
is = "{column}"
unit = "{unit}"
'''
    for header, table_, column, unit in (
        ("Breite", "gps", "latitude_deg", "deg"),
        ("Länge", "gps", "longitude_deg", "deg"),
        ("Höhe (m)", "baro", "height_m", "m"),
        ("Tempo (km/h)", "gps", "ground_speed_m_s", "km/h"),
        ("Spannung", "battery", "voltage_v", "V"),
        ("Strom", "battery", "current_a", "A"),
    )
)
"""Column map of `table`."""


def made_sources() -> list[Source]:
    """One small log of each format of text, and a table."""
    return [
        Source("gpx", "made.gpx", gpx()),
        Source("nmea", "made.nmea", nmea()),
        Source("igc", "made.igc", igc()),
        Source("dataflash-text", "made.log", dataflash_text()),
        Source("transmitter", "made.csv", transmitter()),
        Source("ulog", "made.ulg", everything(40)),
        Source(TABLE, "made_table.csv", table()),
        Source(GUESS, "made_table.csv", table()),
    ]
