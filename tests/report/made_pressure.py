"""Invented results on pressure: computed from nobody."""

from __future__ import annotations

from pipeline.results import Result
from tests.report.made import row


def gains() -> list[Result]:
    rows: list[Result] = []
    for pressure, gain, n in (("mip", 11.2, 338), ("mep", 8.6, 255)):
        p = f"pressure={pressure}"
        for at in (12, 24):
            rows.append(
                row(
                    "gains",
                    "gain_cmh2o",
                    p,
                    at,
                    value=gain + at / 12,
                    low=gain + at / 12 - 1.6,
                    high=gain + at / 12 + 1.6,
                    n=n,
                    unit="cmH2O",
                )
            )
        for week in range(0, 25, 2):
            v = gain * 1.35 * (1 - 0.9**week)
            rows.append(
                row(
                    "gains",
                    "gain_curve_cmh2o",
                    p,
                    week,
                    value=v,
                    low=v - 0.08 * week,
                    high=v + 0.08 * week,
                    n=n,
                    unit="cmH2O",
                )
            )
        for extra, shift in (
            ("", 0.0),
            (";first_ever=yes", 1.4),
            (";first_ever=no", -2.2),
            (";condition_group=copd", 0.8),
            (";condition_group=post_viral", 2.1),
            (";sex=female", -0.7),
            (";sex=male", 0.9),
        ):
            rows.append(
                row(
                    "gains",
                    "raw_gain_cmh2o",
                    p + extra,
                    12,
                    value=gain + shift,
                    low=gain + shift - 2.3,
                    high=gain + shift + 2.3,
                    n=n // (3 if extra else 1),
                    unit="cmH2O",
                )
            )
            rows.append(
                row(
                    "gains",
                    "middle_80_cmh2o",
                    p + extra,
                    12,
                    value=gain,
                    low=gain - 14.0,
                    high=gain + 16.0,
                    n=n // (3 if extra else 1),
                    unit="cmH2O",
                )
            )
        for statistic, v in (
            ("baseline_mean_cmh2o", 61.3),
            ("baseline_sd_cmh2o", 19.8),
            ("at12_mean_cmh2o", 72.6),
            ("change_sd_cmh2o", 12.1),
        ):
            rows.append(row("gains", statistic, p, 12, value=v, unit="cmH2O"))
        for statistic, v in (("change_per_baseline_sd", 0.57), ("change_per_change_sd", 0.93)):
            rows.append(
                row("gains", statistic, p, 12, value=v, low=v - 0.09, high=v + 0.09, text="denominator in words")
            )
        rows += [
            row("gains", "sem_repeats_cmh2o", p, value=5.6, low=5.3, high=5.9, n=265, unit="cmH2O", text="repeats"),
            row("gains", "sdc95_repeats_cmh2o", p, value=15.4, low=14.6, high=16.4, n=265, unit="cmH2O", text="by SEM"),
            row("gains", "repeat_rise_cmh2o", p, value=0.9, n=265, unit="cmH2O", text="second less first"),
            row("gains", "sem_cmh2o", p, value=6.4, low=6.0, high=6.9, unit="cmH2O", text="residual SD"),
            row("gains", "sdc95_cmh2o", p, value=17.7, low=16.6, high=19.1, unit="cmH2O", text="1.96 x root 2 x SEM"),
            row("gains", "percent_change", p, 12, value=18.4, unit="%"),
            row(
                "gains",
                "sham_arm_rise_cmh2o",
                p + ";condition_group=any",
                low=5.2,
                high=13.4,
                unit="cmH2O",
                text="Hill 2006; del Corral 2022",
            ),
            row("gains", "sham_arm_rise_cmh2o", p + ";condition_group=stroke", text="none held for this population"),
        ]
        for size, v in (("none", 0.0), ("half", 2.1), ("full", 4.2)):
            rows += [
                row("gains", "learning_cmh2o", f"{p};learning={size}", 12, value=v, unit="cmH2O"),
                row(
                    "gains",
                    "gain_less_learning_cmh2o",
                    f"{p};learning={size}",
                    12,
                    value=gain - v,
                    low=gain - v - 1.6,
                    high=gain - v + 1.6,
                    unit="cmH2O",
                ),
            ]
    return rows


def past_error() -> list[Result]:
    rows: list[Result] = []
    for pressure in ("mip", "mep"):
        p = f"pressure={pressure}"
        for zone, hits in (("up", 81), ("within", 203), ("down", 13)):
            rows.append(
                row(
                    "past_error",
                    "zone",
                    f"{p};zone={zone}",
                    12,
                    hits=hits,
                    n=297,
                    value=100 * hits / 297,
                    low=100 * hits / 297 - 4.8,
                    high=100 * hits / 297 + 5.2,
                    unit="%",
                )
            )
        rows += [
            row(
                "past_error",
                "gain_quantile_cmh2o",
                p,
                (i + 0.5) / 50,
                value=-16 + 0.95 * i + 0.004 * i * i,
                unit="cmH2O",
                n=297,
            )
            for i in range(50)
        ]
        for seen, alone in (
            ("expected_past_sdc_pct", "by_chance_pct"),
            ("expected_past_target_pct", "target_by_chance_pct"),
        ):
            rows.append(row("past_error", seen, p, 12, value=29.4, low=25.0, high=33.9, unit="%", n=297))
            rows += [
                row("past_error", alone, f"{p};learning={s}", 12, value=v, unit="%")
                for s, v in (("none", 2.5), ("half", 6.1), ("full", 12.9))
            ]
    return rows


def model() -> list[Result]:
    return [
        row("model", "headline", "pressure=mip;question=dose", text="shown"),
        row("model", "dose_per_10_points_cmh2o", "pressure=mip", value=1.12, low=0.61, high=1.63, unit="cmH2O"),
        row(
            "model",
            "headline",
            "pressure=mip;question=effort",
            text="not shown",
            note="the detectable association is wider than the widest useful one",
        ),
    ]
