"""Invented results on dose, effort and settings: computed from nobody."""

from __future__ import annotations

from pipeline.results import Result
from tests.report.made import CLASSES, middle, row, share


def dose() -> list[Result]:
    rows = [row("dose", "people", "period=this", n=187)]
    for measure, value in (
        ("session_adherence_pct", 71.4),
        ("session_adherence_unpaused_pct", 76.2),
        ("breath_adherence_pct", 68.8),
        ("breath_adherence_unpaused_pct", 73.0),
        ("logged_pct", 84.0),
    ):
        rows += [
            middle("dose", measure, f"period={p}", value - minus, 171) for p, minus in (("this", 0.0), ("last", 2.4))
        ]
        rows += [middle("dose", measure, f"period=this;protocol={p}", value - 3, 55) for p in ("dawn", "ridge", "tide")]
    rows += [
        middle("dose", f"session_adherence_{end}_pct", "period=this", v, 171)
        for end, v in (("low", 60.1), ("high", 79.7))
    ]
    rows += [
        row("dose", "people", f"period=this;adherence={band}", n=n)
        for band, n in (
            ("under 50 %", 34),
            ("50 to under 80 %", 71),
            ("80 to 120 %", 62),
            ("over 120 %", 0),
            ("not known", 20),
        )
    ]
    rows += [
        share("dose", "no_prescription", "period=this", 12, 187),
        share("dose", "people_paused", "period=this", 31, 187),
    ]
    for week in range(1, 27):
        rows.append(
            middle("dose", "adherence_by_week_pct", "all", 88 - 1.3 * week + 0.02 * week**2, 380 - 9 * week, week)
        )
        rows.append(row("dose", "people_at_week", "all", week, n=412 - 9 * week))
    return rows


def effort() -> list[Result]:
    rows = []
    for c, now in zip(CLASSES, (18.2, 52.6, 9.1, 20.1), strict=True):
        rows += [
            row("effort", "effort_share_pct", f"period={p};class={c}", value=now, unit="%", n=168)
            for p in ("this", "last")
        ]
    for week in range(1, 25):
        for c, v in zip(CLASSES, (26.0 - week * 0.4, 42 + week * 0.5, 10.0, 22 - week * 0.1), strict=True):
            rows.append(
                row("effort", "effort_share_by_week_pct", f"class={c}", week, value=v, unit="%", n=360 - 8 * week)
            )
    rows += [middle("effort", "in_band_pct", f"period={p}", v, 149) for p, v in (("this", 66.0), ("last", 63.5))]
    rows += [
        row("effort", "people_by_in_band", f"period=this;band={b}", n=n)
        for b, n in (("0 to 20 %", 12), ("20 to 40 %", 19), ("40 to 60 %", 31), ("60 to 80 %", 52), ("80 to 100 %", 35))
    ]
    return rows


def settings() -> list[Result]:
    rows = [
        share("settings", "weeks", f"device_class={d};change={c}", hits, 800, n_of="weeks", n_people=88)
        for d in ("threshold", "flow_resistive")
        for c, hits in (("up", 212), ("same", 511), ("down", 77))
    ]
    for week in (0, 4, 8, 12, 16, 20, 24):
        rows += [
            row(
                "settings",
                "setting_median",
                f"device_class={d};direction=inhale",
                week,
                value=3 + week / 4,
                low=2 + week / 4,
                high=4.5 + week / 4,
                n=120,
            )
            for d in ("threshold", "flow_resistive")
        ]
    return [*rows, row("settings", "eased_sessions", "period=this", n=141, n_of="sessions", n_people=39)]
