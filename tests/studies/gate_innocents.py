"""Innocent columns that look like identifiers: pressures, test dates, codes, labels, versions, times, ranges.

`SEEN` and `SECOND` ones were looked at while the gate was written; `HELD_OUT` ones were only scored.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from random import Random

Maker = Callable[[Random], str]


def day(form: str, first: int = 2019, last: int = 2026) -> Maker:
    """A day of the service's own years."""
    start, end = dt.date(first, 1, 1).toordinal(), dt.date(last, 12, 31).toordinal()
    return lambda r: dt.date.fromordinal(r.randint(start, end)).strftime(form)


def number(low: float, high: float, digits: int = 0, *, comma: bool = False) -> Maker:
    """A measurement, with decimal point or comma."""

    def make(r: Random) -> str:
        text = f"{r.uniform(low, high):.{digits}f}"
        return text.replace(".", ",") if comma else text

    return make


def one_of(words: str, split: str = " ") -> Maker:
    """One of a list of codes or labels."""
    listed = [w.strip() for w in words.split(split)]
    return lambda r: r.choice(listed)


def readings(n: int, mark: str) -> Maker:
    """Efforts of one test in one cell, alike in size."""

    def make(r: Random) -> str:
        middle = r.randint(45, 110)
        return mark.join(str(middle + r.randint(-6, 6)) for _ in range(n))

    return make


def _range(r: Random) -> str:
    low = r.randint(40, 120)
    return f"{low}-{low + r.randint(5, 30)}"


SEEN: dict[str, tuple[str, Maker]] = {
    "mip in cmH2O": ("mip_best", number(25, 160)),
    "pressure in kPa": ("pimax", number(2.0, 15.0, 2)),
    "pressure, decimal comma": ("druck_kpa", number(2.0, 15.0, 1, comma=True)),
    "pressure in Pa": ("pressure_pa", number(2500, 15000)),
    "negative pressure": ("pi", number(-150, -20)),
    "vital capacity in mL": ("fvc_ml", number(1100, 5900)),
    "test day": ("tested", day("%Y-%m-%d")),
    "test day, dotted": ("datum", day("%d.%m.%Y")),
    "test day, compact": ("visit", day("%Y%m%d")),
    "test day, US": ("visit_day", day("%m/%d/%Y")),
    "time of day": ("at", lambda r: f"{r.randint(6, 21):02}:{r.randint(0, 59):02}"),
    "stamp": ("logged", lambda r: day("%Y-%m-%d")(r) + f"T{r.randint(6, 21):02}:{r.randint(0, 59):02}:00"),
    "seconds since 1970": ("ts", lambda r: str(r.randint(1_577_000_000, 1_798_000_000))),
    "diagnosis code": ("icd", one_of("J44.0 J44.1 J44.9 G20 G35 G70.0 G12.2 I50.0 I63.9 J84.1 J45.9 T91.3 G61.0")),
    "drug class": ("atc", one_of("R03AC02 R03AC13 R03BB04 R03BA02 C09AA05 C07AB07 N04BA02 H02AB06 R03AK06")),
    "drug": ("drug", one_of("Salbutamol Tiotropium Budesonid Formoterol Ramipril Metoprolol Levodopa Prednisolon")),
    "protocol": ("plan", one_of("firm_5x6 ladder_6 steady_30 plan-a plan-b 2x10 3x10")),
    "local label": ("gauge", one_of("gauge-1 gauge-2 gauge-3 gauge-12")),
    "instrument": ("instrument", one_of("gauge-1 gauge-2 M3 meter-7")),
    "ward": ("ward", one_of("East,West,North 2,Stroke Unit,Day Clinic", ",")),
    "site": ("site", one_of("mill harbour orchard")),
    "spinal level": ("level", one_of("C4 C5 C6 C7 T1 T2 T4 T6 T8 T10 T12 L1 L2")),
    "firmware": ("firmware", lambda r: f"{r.randint(1, 4)}.{r.randint(0, 12)}.{r.randint(0, 9)}"),
    "firmware of four parts": (
        "fw",
        lambda r: f"{r.randint(1, 4)}.{r.randint(0, 12)}.{r.randint(0, 9)}.{r.randint(0, 30)}",
    ),
    "efforts in one cell": ("efforts", readings(3, " ")),
    "efforts with hyphens": ("efforts_", readings(5, "-")),
    "range": ("normal_range", _range),
    "share": ("pct", number(0, 120, 1)),
    "blood pressure": ("bp", lambda r: f"{r.randint(95, 180)}/{r.randint(50, 105)}"),
    "effort": ("borg", number(0, 10)),
    "yes or no": ("done", one_of("yes no unknown")),
    "quarter": ("quarter", one_of("2024Q1 2024Q2 2024Q3 2024Q4 2025Q1 2025Q2 2025Q3")),
    "week": ("week", one_of("W01 W02 W03 W12 W26 W40 W52")),
    "dose": ("dose", lambda r: f"{r.choice([1, 2, 3])}x{r.choice([6, 10, 30])}"),
    "surrogate key": ("client_key", lambda r: "".join(r.choice("abcdefghjkmnpqrstuvwxyz23456789") for _ in range(12))),
    "age": ("age", number(18, 90)),
    "breaths a quarter": ("breaths_total", number(300, 9000)),
    "short remark": ("state", one_of("ok,tired,felt well,none,cough,new mouthpiece", ",")),
    "posture": ("posture_", one_of("Seated Standing Supine")),
    "weekday": ("weekday", one_of("Monday Tuesday Wednesday Thursday Friday Saturday Sunday")),
    "steps a day": ("steps", number(900, 14000)),
    "percent predicted": ("pred_pct", number(20, 160, 2)),
    "colour": ("band_colour", one_of("Red Green Blue Yellow Black")),
}

SECOND: dict[str, tuple[str, Maker]] = {
    "pressure in mmHg": ("mep_mmhg", number(20, 140, 1)),
    "flow in L/min": ("pcf", number(80, 620)),
    "walk in m": ("six_mwd", number(90, 640)),
    "scientific": ("z", lambda r: f"{r.uniform(-3, 3):.3e}"),
    "test day, words": ("seen_on", day("%d %b %Y")),
    "test day, slashes": ("taken", day("%Y/%m/%d")),
    "test day, short year": ("when", day("%d/%m/%y", 2021)),
    "compact stamp": ("stamp", day("%Y%m%d0815", 2022)),
    "procedure code": ("opcode", one_of("94010 94060 94150 94200 94664 97110 97530 99213")),
    "laboratory code": ("loinc", one_of("19868-9 20150-9 19926-5 33437-5 2710-2 59408-5 8867-4")),
    "clinical term code": ("sct", one_of("13645005 49049000 230690007 84114007 195967001 26929004")),
    "trial": ("trial", one_of("NCT01234567 NCT07654321")),
    "device model": ("model", one_of("PB-20 PB-30 RX5 TH-100 FLOW-2")),
    "lot of mouthpieces": ("batch", one_of("L21A L21B L22A L23C")),
    "room": ("room", one_of("3B 4A 12 14 2C 5")),
    "bed": ("bed", one_of("E1 E2 E3 W1 W2 W3 W4")),
    "tester code": ("tester", one_of("t1 t2 t3 t4 t5")),
    "condition": ("condition", one_of("COPD;Parkinson's disease;Stroke;Heart failure;Guillain-Barré;ALS;Asthma", ";")),
    "condition, words": (
        "dx",
        one_of("chronic obstructive disease;spinal cord injury;myasthenia gravis;post polio", ";"),
    ),
    "duration": ("took", lambda r: f"{r.randint(4, 35)} min"),
    "pace": ("pace", lambda r: f"{r.randint(6, 30)}/min"),
    "level with unit": ("load", lambda r: f"{r.randint(10, 90)} cmH2O"),
    "volume with unit": ("vol", lambda r: f"{r.randint(8, 45) * 100} ML"),
    "half steps": ("setting", lambda r: str(r.randint(2, 20) / 2)),
    "interval": ("ci", lambda r: f"{r.uniform(1, 5):.1f} to {r.uniform(6, 12):.1f}"),
    "ratio": ("ie", one_of("1:2 1:3 1:1.5 2:1")),
    "three pressures": ("trio", readings(3, "/")),
    "pairs": ("pair", readings(2, ", ")),
    "rep flags": ("flags", one_of("A A,B B C A,C")),
    "country": ("country", one_of("DE FR GB US IE")),
    "language": ("language", one_of("English German French Turkish Polish")),
    "month": ("month", one_of("Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec")),
    "month and year": ("month_year", day("%m/%Y")),
    "year": ("year", one_of("2019 2020 2021 2022 2023 2024 2025")),
    "week number": ("iso_week", day("%G-W%V")),
    "row number": ("row", number(1, 2000)),
    "day offset": ("day_offset", number(-60, 700)),
    "surrogate key, hex": ("client_key", lambda r: f"{r.getrandbits(48):012x}"),
    "surrogate key, groups": (
        "client_key",
        lambda r: "-".join("".join(r.choice("ABCDEFGHJKLMNPQRSTUVWXYZ23456789") for _ in range(4)) for _ in range(3)),
    ),
    "arm": ("arm", one_of("Arm A;Arm B;Control", ";")),
    "stage": ("gold", one_of("GOLD 1;GOLD 2;GOLD 3;GOLD 4", ";")),
    "goal": ("aim_", one_of("climb stairs;walk to shop;sing again;louder voice", ";")),
    "mouthpiece": ("mouthpiece_", one_of("Flanged Tube Mask")),
    "saturation": ("spo2", number(82, 100)),
    "weight": ("weight", number(40, 130, 1)),
    "height": ("height", number(148, 200)),
    "sum in Pa": ("auc", number(100000, 990000, 1)),
    "effort count": ("n_efforts", number(3, 9)),
}

HELD_OUT: dict[str, tuple[str, Maker]] = {
    "expired volume in L": ("fev1", number(0.6, 4.8, 2)),
    "pressure in hPa": ("mep_hpa", number(20, 180, 1)),
    "pressure in N/m2": ("p_max", number(1500, 16500)),
    "flow in mL/s": ("peak_ml_s", number(900, 9800)),
    "signed change": ("delta", lambda r: f"{r.randint(-30, 45):+d}"),
    "thousands": ("breaths_year", lambda r: f"{r.randint(8000, 90000):,}"),
    "test day, dots first year": ("on_day", day("%Y.%m.%d")),
    "test day, month in words": ("session_day", day("%B %d, %Y")),
    "stamp with zone": (
        "synced",
        lambda r: day("%Y-%m-%d")(r) + f" {r.randint(6, 21):02}:{r.randint(0, 59):02}:07+02:00",
    ),
    "milliseconds since 1970": ("epoch_ms", lambda r: str(r.randint(1_577_000_000_000, 1_798_000_000_000))),
    "seconds of the day": ("second", number(21600, 79200)),
    "clock, am and pm": ("clock", lambda r: f"{r.randint(1, 12)}:{r.randint(0, 59):02} {r.choice(['am', 'pm'])}"),
    "function code": ("icf", one_of("b440 b4402 b445 b455 d450 d4500 b3100 b310")),
    "diagnosis with words": ("dx_label", one_of("J44.1 COPD exacerbation;G20 Parkinson;G12.2 ALS;I63.9 Stroke", ";")),
    "training mode": ("mode", one_of("interval;endurance;sniff;hold;warm up", ";")),
    "device and setting": ("device_set", lambda r: f"{r.choice(['PB', 'TH'])}-{r.randint(1, 9)}"),
    "part of a device": ("valve", one_of("V1.2 V1.3 V2.0 V2.1")),
    "manometer": ("meter", one_of("meter A;meter B;meter C;old meter", ";")),
    "instrument in words": ("instrument", one_of("blue gauge;red gauge;gauge 2019;spare", ";")),
    "site in words": ("site", one_of("North Clinic;Mill Lane;Harbour;Day Unit 2", ";")),
    "protocol in words": ("protocol", one_of("Strong 30;Steady 2x10;Ladder;Taper 12", ";")),
    "effort words": ("effort_word", one_of("very light;light;somewhat hard;hard;very hard", ";")),
    "role": ("decided", one_of("physiotherapist;speech therapist;nurse;physician", ";")),
    "setting steps": ("steps_path", lambda r: ">".join(str(r.randint(1, 10)) for _ in range(3))),
    "list of sets": ("sets", lambda r: "+".join(str(r.randint(4, 12)) for _ in range(4))),
    "list of pressures": ("curve", lambda r: ";".join(f"{r.uniform(40, 95):.1f}" for _ in range(6))),
    "share as fraction": ("done_of", lambda r: f"{r.randint(0, 12)}/12"),
    "share with sign": ("adherence", lambda r: f"{r.randint(0, 130)} %"),
    "load with unit": ("resistance", lambda r: f"{r.randint(9, 90)}cmH2O"),
    "duration, ISO": ("dur", lambda r: f"PT{r.randint(4, 35)}M"),
    "rep code": ("set_code", lambda r: f"S{r.randint(1, 4)}R{r.randint(4, 12)}"),
    "hex colour": ("chart_colour", one_of("#ff8800 #0033aa #118833 #555555")),
    "true or false": ("flag", one_of("TRUE FALSE")),
    "category letter": ("cat", one_of("A B C D")),
    "roman": ("nyha", one_of("I II III IV")),
    "season": ("season", one_of("Winter Spring Summer Autumn")),
    "quarter in words": ("q_label", lambda r: f"Q{r.randint(1, 4)} {r.randint(2019, 2026)}"),
    "age band": ("age_band", one_of("18-39 40-59 60-69 70-79 80-89 90+")),
    "band of weeks": ("weeks_band", one_of("0-4 4-8 8-12 12-16 16-26")),
    "surrogate key, long": (
        "client_key",
        lambda r: "".join(r.choice("abcdefghijkmnopqrstuvwxyz0123456789") for _ in range(20)),
    ),
    "surrogate key, capitals": (
        "client_key",
        lambda r: "".join(r.choice("ABCDEFGHJKMNPQRSTVWXYZ0123456789") for _ in range(10)),
    ),
    "surrogate key, url-safe": (
        "client_key",
        lambda r: "".join(
            r.choice("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_") for _ in range(16)
        ),
    ),
    "row number with zeros": ("seq", lambda r: f"{r.randint(1, 400):04}"),
    "visit": ("visit_no", lambda r: f"V{r.randint(1, 12)}"),
    "score": ("score", number(0, 40)),
    "temperature": ("temp", number(35.5, 39.5, 1)),
    "humidity": ("rh", number(20, 80)),
    "not recorded": ("mep2", one_of("n/a - . 62 58 70 71 66")),
}
