"""Invented results on people, records, safety and sites: computed from nobody."""

from __future__ import annotations

from pipeline.results import Result
from tests.report.made import SITES, middle, row, share


def who() -> list[Result]:
    levels = {
        "standing": {"new": 41, "continuing": 146},
        "site": {"east": 62, "north": 81, "south": 44},
        "condition_group": {"copd": 88, "post_viral": 51, "neuromuscular": 22, "stroke": 26},
        "sex": {"female": 101, "male": 86},
        "age_band": {"18 to 39": 21, "40 to 64": 84, "65 and over": 82},
    }
    rows = [row("who", "people", f"period={p}", n=n) for p, n in (("this", 187), ("last", 179), ("last4", 298))]
    for kind, parts in levels.items():
        rows += [
            row("who", "people", f"period={p};{kind}={level}", n=n + extra)
            for level, n in parts.items()
            for p, extra in (("this", 0), ("last", -2), ("last4", 28))
        ]
    return rows


def counted() -> list[Result]:
    rows: list[Result] = []
    for pressure, stays in (("mip", (420, 391, 344, 297, 338)), ("mep", (420, 305, 262, 214, 255))):
        for place, (step, n) in enumerate(
            zip(("course", "baseline", "retested", "window12", "modelled"), stays, strict=True), 1
        ):
            rows.append(row("counted", "stay", f"pressure={pressure};step={step}", place, n=n))
            if place in (2, 3, 4):
                lost = stays[place - 2] - n
                rows.append(
                    row("counted", "leave", f"pressure={pressure};step={step};reason=no comparable test", place, n=lost)
                )
    return rows


def records() -> list[Result]:
    rows = []
    for item, hits, n in (
        ("weekly_log", 1406, 1790),
        ("prescription", 181, 187),
        ("effort_rating", 8210, 11022),
        ("12_week_mip", 61, 97),
        ("12_week_mep", 48, 97),
    ):
        rows.append(share("records", "filled", f"item={item};period=this", hits, n, n_of="rows"))
        rows.append(share("records", "filled", f"item={item};period=last", int(hits * 0.93), n, n_of="rows"))
        rows += [
            share("records", "filled", f"item={item};site={s};period=this", hits // 3, n // 3, n_of="rows")
            for s in SITES
        ]
    for file, read, aside in (("clients.csv", 421, 1), ("sessions.csv", 61234, 37), ("tests.csv", 9120, 11)):
        rows += [
            row("records", s, f"file={file}", n=n, n_of="rows")
            for s, n in (
                ("rows_read", read),
                ("rows_kept", read - aside),
                ("rows_set_aside", aside),
                ("rows_unchanged", 0),
            )
        ]
    rows.append(row("records", "set_aside", "rule=sessions.effort_rating.range", n=37, n_of="rows", n_people=21))
    rows.append(row("records", "queries", n=52, n_of="queries", n_people=44))
    rows += [
        row("records", "queries", f"cause={c}", n=26, n_of="queries", n_people=22)
        for c in ("no_prescription", "open_pause")
    ]
    return rows


def safety() -> list[Result]:
    rows = [
        row("safety", "events", f"period={p};kind={k}", n=n, n_of="rows", n_people=n)
        for p in ("this", "last")
        for k, n in (("respiratory_infection", 14), ("headache", 6), ("hospital_admission", 3))
    ]
    rows += [
        row("safety", "events", f"period=this;site={s}", n=n, n_of="rows", n_people=n)
        for s, n in zip(SITES, (8, 9, 6), strict=True)
    ]
    rows += [
        row("safety", "serious", "period=this", hits=3, n=23, n_of="rows"),
        row("safety", "related", "period=this", hits=1, n=23, n_of="rows"),
        row("safety", "early_stops", "period=this", n=64, n_of="sessions", n_people=28),
        row("safety", "in_set_aside", "period=this", n=1, n_of="rows"),
    ]
    return rows + [
        row("safety", "early_stops", f"period=this;reason={k}", n=n, n_of="sessions", n_people=n // 2)
        for k, n in (("breathless", 30), ("dizzy", 20), ("time", 14))
    ]


def sites() -> list[Result]:
    rows: list[Result] = []
    for place, site in enumerate(SITES):
        rows.append(row("sites", "people", f"site={site}", n=(62, 81, 44)[place]))
        rows += [
            middle("sites", m, f"site={site}", 70.0 + place, 40)
            for m in ("logged_pct", "session_adherence_pct", "in_band_pct")
        ]
        rows.append(
            row(
                "sites",
                "raw_gain_cmh2o",
                f"site={site};pressure=mip",
                12,
                value=10.0 + place,
                low=7.0 + place,
                high=13.0 + place,
                n=90,
                unit="cmH2O",
            )
        )
        rows.append(row("sites", "expected_gain_cmh2o", f"site={site};pressure=mip", 12, value=10.9, unit="cmH2O"))
    return rows
