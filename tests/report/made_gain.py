"""Invented results on where the gain may come from, and on decisions: computed from nobody."""

from __future__ import annotations

from pipeline.results import Result
from tests.report.made import row

PARTS = (("learning", 1.8, 0.0, 3.6), ("regression", 0.0, 0.0, 0.0), ("survivors", 0.2, 0.2, 2.4),
         ("efforts", -0.3, -0.4, -0.1), ("instruments", 1.1, 0.4, 1.8), ("remainder", 8.4, 3.9, 11.0))  # fmt: skip


def gain_apart() -> list[Result]:
    rows: list[Result] = []
    for pressure, n in (("mip", 297), ("mep", 297)):
        p = f"pressure={pressure}"
        rows.append(row("gain_apart", "measured_cmh2o", p, 12, value=11.2, low=8.9, high=13.5, n=n, unit="cmH2O"))
        for name, middle, low, high in PARTS:
            where = f"{p};part={name}"
            same = {"n": n, "unit": "cmH2O", "text": "what this part assumes", "method": "how it was got"}
            if (pressure, name) == ("mep", "learning"):
                rows.append(row("gain_apart", "part_cmh2o", where, 12, n=n, unit="cmH2O", text="no curve is held"))
            else:
                rows.append(row("gain_apart", "part_cmh2o", where, 12, value=middle, low=low, high=high, **same))
        rows += [
            row("gain_apart", "efforts_known", p, value=100 * 270 / 297, hits=270, n=297, unit="%"),
            row("gain_apart", "assigned", f"{p};assigned_by=clinician", n=210),
            row("gain_apart", "assigned", f"{p};assigned_by=written_rule", n=87),
        ]
    return rows


def decisions() -> list[Result]:
    def mine(statistic: str, group: str, **fields: object) -> Result:
        return row("decisions", statistic, group, klass="client", **fields)

    note = "on=2025-11-10;kind=note"
    return [
        mine("note", f"mark=A;quarter=2025Q4;{note}", text="Diaries as a bound booklet", note="mill"),
        mine("note", "mark=B;quarter=2026Q2;on=2026-04-13;kind=decision", text="Book the 12-week test at the start"),
        mine("decided", "mark=B;of_quarter=2026Q1", text="Book the 12-week test at the start"),
        mine("followed", "mark=B;of_quarter=2026Q1", text="booked from May on"),
        mine("measure_then", "mark=B;measure=weeks_logged;quarter=2026Q1", value=71.0, low=60.0, high=80.0, n=40,
             unit="%"),
        mine("measure_now", "mark=B;measure=weeks_logged;quarter=2026Q2", text="hidden (n<11)", unit="%"),
    ]  # fmt: skip
