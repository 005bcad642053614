"""Invented results on protocols and on what the cohort can answer: computed from nobody."""

from __future__ import annotations

from pipeline.results import Result
from tests.report import made_choices, made_plan

PROTOCOLS = ("dawn", "ridge", "tide")
PAIRS = ("dawn - ridge", "dawn - tide", "ridge - tide")


def row(section: str, statistic: str, group: str = "all", at: float | None = None, **fields: object) -> Result:
    return Result("protocols", section, statistic, group, at, **fields)  # type: ignore[arg-type]


def common() -> list[Result]:
    rows = [
        Result("common", "data", s, text=t)
        for s, t in (("data_from_on", "2023-01-02"), ("data_until_on", "2026-06-30"), ("quarter", "2026Q2"))
    ]
    rows += [
        Result("common", "data", s, n=n, n_of=s)
        for s, n in (("people", 418), ("courses", 431), ("test_days", 2790), ("weeks_logged", 9120))
    ]
    for pressure in ("mip", "mep"):
        for question, text in (
            ("gain", "can answer"),
            ("protocol", "can answer roughly"),
            ("dose", "can answer"),
            ("effort", "cannot"),
        ):
            rows.append(
                Result(
                    "common",
                    "can_answer",
                    "answer",
                    f"pressure={pressure};question={question}",
                    text=text,
                    value=140.0 if text == "cannot" else None,
                    unit="second tests",
                    note="the smallest detectable association is wider than the widest useful one",
                )
            )
        rows += [
            Result(
                "common",
                "can_answer",
                "detectable_protocol_difference_cmh2o",
                f"pressure={pressure};protocols={p}",
                12,
                value=4.1,
                unit="cmH2O",
            )
            for p in PAIRS
        ]
    return rows


def setting() -> list[Result]:
    names = ("population", "treatments", "variable", "intercurrent events", "summary")
    rows = [
        row("estimand", "attribute", f"attribute={a}", i, text=f"what stands for {a}") for i, a in enumerate(names, 1)
    ]
    for p in PROTOCOLS:
        rows.append(row("training", "people", f"protocol={p}", n=140))
        rows += [
            row("training", s, f"protocol={p}", value=v, low=v - 2, high=v + 2, n=140)
            for s, v in (
                ("prescribed_sessions_per_week", 12.0),
                ("done_sessions_per_week", 8.5),
                ("planned_weeks", 12.0),
            )
        ]
        rows.append(row("training", "people", f"protocol={p};device_class=threshold", n=88))
        rows += [
            row("compared", "stay", f"pressure=mip;protocol={p};step={s}", i, n=n)
            for i, (s, n) in enumerate((("course", 140), ("baseline", 131), ("retested", 117)), 1)
        ]
        rows += [
            row("compared", "leave", f"pressure=mip;protocol={p};step=baseline;reason=no baseline test", 2, n=9),
            row("compared", "leave", f"pressure=mip;protocol={p};step=retested;reason=one test", 3, n=14),
        ]
        rows.append(row("alike", "mean", f"covariate=age_years;protocol={p}", value=61.0, low=49.0, high=73.0, n=140))
        rows.append(row("alike", "sd", f"covariate=age_years;protocol={p}", value=12.0, n=140))
        rows.append(
            row("alike", "share_pct", f"covariate=sex:female;protocol={p}", value=52.0, hits=73, n=140, unit="%")
        )
        rows += [row("overlap", "people", f"site={s};protocol={p}", n=46) for s in ("east", "north", "south")]
    rows.append(row("training", "not_recorded", "item=progression rule", text="not recorded"))
    for i, pair in enumerate(PAIRS):
        rows += [
            row("alike", "smd", f"covariate={c};protocols={pair}", value=0.05 + 0.08 * i)
            for c in ("age_years", "sex:female", "baseline_mip_cmh2o")
        ]
        rows.append(row("overlap", "separable", f"protocols={pair}", text="separable", note="all three sites use both"))
    return rows


def differences() -> list[Result]:
    rows = [
        row("difference", "family_size", "pressure=mip", value=3.0, text="every pair at 12 weeks"),
        row("difference", "smallest_worthwhile_cmh2o", "pressure=mip", value=3.0, unit="cmH2O"),
    ]
    for place, p in enumerate(PROTOCOLS):
        g = f"pressure=mip;protocol={p}"
        rows.append(
            row("difference", "protocol_gain_cmh2o", g, 12, value=9.0 + place, low=7.0, high=13.0, unit="cmH2O")
        )
        for week in range(0, 25, 2):
            v = (11 + 2 * place) * (1 - 0.9**week)
            rows.append(
                row(
                    "difference",
                    "protocol_gain_curve_cmh2o",
                    g,
                    week,
                    value=v,
                    low=v - 0.1 * week,
                    high=v + 0.1 * week,
                    unit="cmH2O",
                )
            )
    for place, pair in enumerate(PAIRS):
        g, v = f"pressure=mip;protocols={pair}", -1.5 - place
        rows += [
            row("difference", "difference_cmh2o", g, 12, value=v, low=v - 2.4, high=v + 2.4, unit="cmH2O"),
            row("difference", "difference_adjusted_cmh2o", g, 12, value=v, low=v - 3.1, high=v + 3.1, unit="cmH2O"),
            row("difference", "difference_50_cmh2o", g, 12, low=v - 0.8, high=v + 0.8, unit="cmH2O"),
            row("difference", "difference_80_cmh2o", g, 12, low=v - 1.6, high=v + 1.6, unit="cmH2O"),
            row("difference", "p_value", g, 12, value=0.021),
            row("difference", "p_holm", g, 12, value=0.063),
            row("difference", "df", g, 12, value=211.4),
            row("difference", "hedges_g", g, 12, value=-0.21, low=-0.4, high=-0.02, text="baseline SD"),
        ]
    return rows


def model() -> list[Result]:
    rows = [
        row("fitted", "formula", "pressure=mip", text="value ~ 1 + spline(time12) * protocol"),
        row("fitted", "fit_state", "pressure=mip", text="converged"),
        row("fitted", "residual_sd_cmh2o", "pressure=mip", value=6.4, unit="cmH2O"),
        row("fitted", "people", "pressure=mip", n=338),
        row("fitted", "tests", "pressure=mip", n=1890, n_of="tests"),
    ]
    for term in ("Intercept", "time12", "time12:protocol[ridge]"):
        rows += [
            row("fitted", "mean_term", f"pressure=mip;term={term}", value=9.1, low=7.5, high=10.7, unit="cmH2O"),
            row("fitted", "mean_term_se", f"pressure=mip;term={term}", value=0.81),
            row("fitted", "mean_term_df", f"pressure=mip;term={term}", value=301.2),
        ]
    rows += [
        row("dose_response", "headline", "pressure=mip", text="shown"),
        row(
            "dose_response",
            "dose_per_10_points_cmh2o",
            "pressure=mip;form=past;effort=with",
            value=1.1,
            low=0.6,
            high=1.6,
            unit="cmH2O",
        ),
        row("dose_response", "lead_test_p", "pressure=mip", value=0.41),
    ]
    rows += [
        row(
            "dose_response",
            "partial_gain_cmh2o",
            "pressure=mip",
            x,
            value=4 + 0.08 * x,
            low=3 + 0.06 * x,
            high=5 + 0.1 * x,
            unit="cmH2O",
        )
        for x in range(0, 121, 10)
    ]
    rows += [
        row("dose_response", "adherence_decile_pct", "pressure=mip", x, value=20.0 + 0.8 * x, unit="%")
        for x in range(10, 100, 10)
    ]
    rows += [
        row(
            "believable",
            "residual_quantile_cmh2o",
            "pressure=mip",
            -2 + i / 10,
            value=6.4 * (-2 + i / 10) + (i % 3),
            unit="cmH2O",
        )
        for i in range(41)
    ]
    for i in range(1, 11):
        rows += [
            row("believable", "observed_cmh2o", "pressure=mip", i, value=40.0 + 6 * i, n=189, unit="cmH2O"),
            row("believable", "fitted_cmh2o", "pressure=mip", i, value=40.5 + 6 * i, n=189, unit="cmH2O"),
        ]
    return rows


def missing() -> list[Result]:
    rows = []
    for p in PROTOCOLS:
        rows.append(
            row(
                "missing_outcome",
                "lacks_outcome",
                f"pressure=mip;protocol={p}",
                12,
                hits=31,
                n=131,
                value=23.7,
                unit="%",
            )
        )
    for outcome in ("yes", "no"):
        rows += [
            row(
                "missing_outcome",
                "baseline_cmh2o",
                f"pressure=mip;outcome={outcome}",
                value=60.1,
                low=57.0,
                high=63.2,
                n=120,
                unit="cmH2O",
            ),
            row(
                "missing_outcome",
                "adherence_pct",
                f"pressure=mip;outcome={outcome}",
                value=66.0,
                low=50.0,
                high=80.0,
                n=120,
                unit="%",
            ),
        ]
    return rows


def rows() -> list[Result]:
    return [*common(), *setting(), *made_plan.rows(), *differences(), *model(), *made_choices.rows(), *missing()]
