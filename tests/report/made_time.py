"""Invented results over quarters, with cautions and settings: computed from nobody."""

from __future__ import annotations

from pipeline.results import Result
from tests.report.made import QUARTERS, row


def over_time() -> list[Result]:
    rows: list[Result] = []
    for statistic, group, centre, unit in (
        ("median_gain12_cmh2o", "pressure=mip", 10.8, "cmH2O"),
        ("median_session_adherence_pct", "all", 70.0, "%"),
    ):
        about = f"measure={statistic}" if group == "all" else f"measure={statistic};{group}"
        for at, quarter in enumerate(QUARTERS, 1):
            rows.append(
                row(
                    "over_time",
                    statistic,
                    group,
                    at,
                    value=centre + ((at * 7) % 5 - 2) * 0.9,
                    n=30 + at,
                    unit=unit,
                    text=quarter,
                )
            )
        rows += [
            row("over_time", "chart_kind", about, text="xmr"),
            row("over_time", "limits", about, value=centre, low=centre - 4.1, high=centre + 4.1, unit=unit),
            row("over_time", "run_chart", about, text="no signal"),
            row("over_time", "longest_run", about, value=4, low=1, high=7),
            row("over_time", "crossings", about, value=8, low=3, high=13),
            row("over_time", "false_signal_pct", about, value=8, unit="%"),
        ]
    return [
        *rows,
        row("over_time", "signal", "measure=median_session_adherence_pct", 12, text="outside the limits", note="high"),
    ]


def cautions() -> list[Result]:
    return [
        row(
            "cautions",
            "caution",
            f"caution=c{i}",
            i,
            text=text,
            hits=hits,
            n=187,
            value=100 * hits / 187,
            unit="%",
            note="makes gains look larger; both ways of counting are shown",
        )
        for i, (text, hits) in enumerate(
            (
                ("Baseline was the first test ever, so part of the gain may be learning.", 83),
                ("No test in the 12-week window.", 36),
                ("Weeks without a log.", 31),
                ("The gauge was replaced.", 44),
                ("No prescription on record.", 12),
                ("Tests in a different posture.", 11),
            ),
            1,
        )
    ]


def made() -> list[Result]:
    return [
        row("made", "setting", "name=window_12_low_weeks", value=10, unit="weeks"),
        row("made", "setting", "name=stalled_slope_se", value=1.26, unit="cmH2O/week"),
        row(
            "made",
            "formula",
            "pressure=mip",
            text="value_cmh2o ~ 1 + spline(time12, 3) * protocol + (1 + time12 | client)",
        ),
        row("made", "state", text="This is the first report, so nothing has changed since the last one."),
    ]
