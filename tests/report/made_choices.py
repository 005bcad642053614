"""Invented results on other choices, balance and tipping points: computed from nobody."""

from __future__ import annotations

from pipeline.results import Result

PAIR = "dawn - ridge"
ANALYSES = (
    ("primary", "primary", "primary"), ("dose told otherwise", "dose without effort", "also"),
    ("dose told otherwise", "unlogged weeks as none done", "also"), ("random part", "intercept only", "also"),
    ("drop-out", "not retested: no rise after the last test", "also"),
    ("drop-out", "weighted by the chance of being retested", "also"),
    ("influence", "without site north", "also"), ("post hoc", "Older women", "post hoc"),
)  # fmt: skip
TARGETS = (("difference_cmh2o", ";protocols=dawn - ridge", 12.0), ("difference_cmh2o", ";protocols=dawn - tide", 12.0),
           ("gain_cmh2o", "", 12.0), ("dose_per_10_points_cmh2o", "", None))  # fmt: skip
COVARIATES = ("baseline_cmh2o", "age_years", "sex:female", "referral_reason:cough", "age_years squared")


def row(section: str, statistic: str, group: str, at: float | None = None, **fields: object) -> Result:
    return Result("protocols", section, statistic, group, at, **fields)  # type: ignore[arg-type]


def choices() -> list[Result]:
    rows = []
    for k, (kind, name, said) in enumerate(ANALYSES):
        for statistic, pair, at in TARGETS:
            value = (-1.5 if pair else 11.0) - k / 5
            note = "post hoc, asked on 2026-07-03: sex = female and age_years >= 60" if kind == "post hoc" else ""
            rows.append(row("choices", statistic, f"pressure=mip;kind={kind};choice={name}{pair}", at, value=value,
                            low=value - 2.5, high=value + 2.5, unit="cmH2O", text=said, n=1890, n_of="tests", note=note,
                            n_people=88 if kind == "post hoc" else None))  # fmt: skip
    for statistic, pair, at in TARGETS:
        rows.append(row("choices", statistic, f"pressure=mip;kind=random part;choice=site x time, fixed{pair}", at,
                        unit="cmH2O", text="did not fit: the columns follow from others"))
        of = f"of={statistic}{pair}"
        rows += [row("choices", "conclusion", f"pressure=mip;{of}", value=1.0 if pair else 0.0, unit="analyses", n=4,
                     n_of="analyses", text="the estimate is below 0 and its interval holds 0"),
                 row("choices", "influence_past_1_se", f"pressure=mip;{of}", n=0),
                 row("choices", "influence_tipping", f"pressure=mip;{of}", n=61),
                 row("choices", "influence_most_se", f"key-0001;pressure=mip;{of}", value=0.31, unit="SE",
                     klass="client")]  # fmt: skip
        if pair:
            rows.append(row("choices", "changes", f"pressure=mip;kind=influence;choice=without site north;{of}",
                            text="the interval leaves 0 out"))
    where = "pressure=mip;kind=drop-out;choice=weighted by the chance of being retested"
    rows += [row("choices", s, where, value=v, unit=u, n_of="tests", n_people=61) for s, v, u in (
        ("effective_n", 302.4, "people"), ("cut_pct", 2.1, "% of people"),
        ("largest_weight", 2.37, "times the mean weight"))]
    return [*rows, row("choices", "variance_power", "pressure=mip", value=0.62, unit="power"),
            row("choices", "variance_power_p", "pressure=mip", value=0.004, unit="p")]  # fmt: skip


def balance() -> list[Result]:
    where = "pressure=mip"
    rows = [row("balance", "model", where, text="protocol ~ age", method="overlap weights"),
            row("balance", "min_chance", where, value=0.21, unit="probability"),
            row("balance", "truncated", where, value=0.0, unit="% of people"),
            row("balance", "largest_smd_after", where, value=0.04, unit="SD")]  # fmt: skip
    for k, code in enumerate(COVARIATES):
        at = f"{where};covariate={code};protocols={PAIR}"
        rows += [row("balance", "smd_before", at, value=0.3 - 0.04 * k, unit="SD"),
                 row("balance", "smd_after", at, value=0.01 * k, unit="SD")]  # fmt: skip
        if ":" not in code:
            rows += [row("balance", f"variance_ratio_{when}", at, value=v, unit="ratio")
                     for when, v in (("before", 1.31), ("after", 1.05))]  # fmt: skip
    rows += [row("balance", "missing_pct", f"{where};covariate={c}", value=0.0, hits=0, n=261, unit="%")
             for c in ("age_years", "sex", "site")]  # fmt: skip
    for protocol, n in (("dawn", 131), ("ridge", 130)):
        at = f"{where};protocol={protocol}"
        rows += [row("balance", "people", at, n=n), row("balance", "effective_n", at, value=n - 9.0, unit="people"),
                 row("balance", "max_weight", at, value=1.9, unit="times the mean weight")]  # fmt: skip
    for given, parts in (("yes", (61, 69)), ("no", (70, 61))):
        at = f"{where};chance_of=ridge;given={given}"
        rows.append(row("balance", "people", at, n=sum(parts)))
        rows += [row("balance", "people_by_chance", at, low, low=low, high=high, n=n, unit="probability")
                 for (low, high), n in zip(((0.2, 0.5), (0.5, 0.75)), parts, strict=True)]  # fmt: skip
    return [*rows, row("balance", "model", "pressure=mep", text="protocol ~ age", method="overlap weights"),
            row("balance", "not_weighted", "pressure=mep", n=62, text="a protocol has too few people"),
            row("balance", "needed", "pressure=mep", value=80.0, unit="people in each protocol")]  # fmt: skip


def tipping() -> list[Result]:
    rows = []
    for protocol in ("dawn", "ridge"):
        at = f"pressure=mip;protocol={protocol}"
        rows += [row("tipping", "not_retested", at, value=47.3, hits=62, n=131, unit="%"),
                 row("tipping", "missing_weeks", at, n=62, value=7.4, unit="weeks")]  # fmt: skip
    for who, slope in (("both", 0.02), ("better", 0.1)):
        at = f"pressure=mip;protocols={PAIR};who={who}"
        rows += [row("tipping", "difference_if_lost_cmh2o", at, loss, value=-3.0 + slope * loss, unit="cmH2O",
                     low=-5.0 + slope * loss, high=-1.0 + slope * loss) for loss in (0.0, 10.0, 20.0, 30.0)]
        for to in ("nothing", "doubt"):
            if who == "both":
                rows.append(row("tipping", "tipping_loss_cmh2o", f"{at};to={to}", 12, unit="cmH2O",
                                text="no loss does that: it would widen the difference"))
                continue
            rows += [row("tipping", "tipping_loss_cmh2o", f"{at};to={to}", 12, value=10.0, unit="cmH2O"),
                     row("tipping", "tipping_slope_cmh2o", f"{at};to={to}", 12, value=16.2, unit="cmH2O per 12 weeks")]
    for how, slope in (("everybody", 0.002), ("less", -0.008)):
        rows += [row("tipping", "dose_if_unlogged_share_cmh2o", f"pressure=mip;who={how}", s, value=0.6 + slope * s,
                     low=0.2 + slope * s, high=1.0 + slope * s, unit="cmH2O") for s in (0.0, 50.0, 100.0)]  # fmt: skip
        rows += [row("tipping", "tipping_unlogged_pct", f"pressure=mip;who={how};to={to}", unit="%",
                     **({"value": 62.0} if how == "less" else {"text": "no share up to all of them does"}))
                 for to in ("nothing", "doubt")]  # fmt: skip
    return rows


def rows() -> list[Result]:
    return [*choices(), *balance(), *tipping()]
