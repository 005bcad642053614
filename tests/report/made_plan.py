"""Invented results on the plan of an analysis: an amended one, a planned contrast, consent."""

from __future__ import annotations

from pipeline.results import Result

BEFORE, AFTER = "planned before any test was loaded", "planned when tests had been loaded"


def row(statistic: str, group: str = "all", at: float | None = None, **fields: object) -> Result:
    return Result("protocols", "plan", statistic, group, at, **fields)  # type: ignore[arg-type]


def rows() -> list[Result]:
    """Section "plan" as analyse makes it."""
    made = []
    for number, (day, tests, changed) in enumerate((("2024-01-08", 0, ""), ("2025-11-03", 1840, "sensitivity")), 1):
        where = f"plan={number}"
        made += [row("registered", where, number, n=tests, n_of="test days loaded", text=day, note=changed),
                 row("sha256", where, number, text=f"{number}" * 64)]
    made += [row("item", f"item={name}", text=text) for name, text in (
        ("question", "Does MIP rise more on ridge than on dawn?"), ("eligibility", "First courses with two tests."),
        ("ethics", "Approved by nobody: invented."), ("funding", "None."))]
    made.append(row("people", n=418, text="with a first course of training"))
    made += [row("people", f"consent={name}", n=n)
             for name, n in (("yes", 300), ("no", 70), ("unknown", 48), ("not recorded", 0))]
    made.append(row("family_size", value=1.0, unit="contrasts", text="Holm over those that could be read"))
    pair = "pressure=mip;of=difference;protocols=ridge - dawn"
    made += [
        row("contrast_cmh2o", pair, 12, value=3.1, low=0.4, high=5.8, unit="cmH2O", method="as the page",
            note=f"primary, {BEFORE}"),
        row("p_value", pair, 12, value=0.024, unit="p"), row("p_holm", pair, 12, value=0.024, unit="p"),
        row("contrast_cmh2o", "pressure=mep;of=dose", 12, unit="cmH2O", note=AFTER,
            text="this cohort cannot answer it: the smallest detectable difference is larger than what would matter"),
    ]  # fmt: skip
    made += [row("covariate", f"covariate={name}", text=BEFORE, note=used, method="as recorded")
             for name, used in (("age", "mip mep"), ("condition", "mip"), ("efforts", ""), ("sex", "mip mep"))]
    made += [row("sensitivity", f"choice={name}", text=text, note=note) for name, text, note in (
        ("straight line", BEFORE, "made"), ("scheduled tests only", AFTER, "made"),
        ("by moon", BEFORE, "not made: no such row in this program"), ("by site", "not planned", "made"))]
    return made
