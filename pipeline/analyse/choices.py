"""What if choices differ: a fixed list of other models, all of them shown, the failed ones included."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import polars as pl

from pipeline.analyse.association import TEN_POINTS
from pipeline.analyse.common import Array, Frames, Section, group
from pipeline.analyse.contrasts import Reader
from pipeline.analyse.effects import put
from pipeline.analyse.fits import Fitted, Models, PressureModels, run
from pipeline.analyse.models import Recipe
from pipeline.results import ResultSet
from pipeline.settings import Settings

Rows = Callable[[pl.DataFrame], pl.DataFrame]


@dataclass(frozen=True)
class Choice:
    """One other analysis. `shared`: the fit made already; else `recipe` and `rows` change the primary one.

    by_level: the contrast is that of levels at week 12, the baselines being equal (baseline as covariate, constrained).
    """

    name: str
    shared: str = ""
    recipe: Callable[[Recipe], Recipe] = lambda r: r
    rows: Rows = lambda f: f
    by_level: bool = False


def _timed(kind: str) -> Choice:
    return Choice(f"time: {kind}", recipe=lambda r: replace(r, time=kind))


def _baseline_beside(rows: pl.DataFrame) -> pl.DataFrame:
    """Later tests only, with the person's measured baseline as a column."""
    first = rows.filter(pl.col("is_baseline")).select("client_key", pl.col("value_cmh2o").alias("baseline_cmh2o"))
    return rows.filter(~pl.col("is_baseline")).join(first, on="client_key", how="inner").sort("client_key", "tested_on")


def _same_label() -> pl.Expr:
    return pl.col("instrument") == pl.col("instrument").first().over("client_key")


CHOICES: tuple[Choice, ...] = (
    Choice("primary", shared="primary"),
    Choice("as delivered (dose and effort left out)", shared="as_delivered"),
    Choice("dose without effort", shared="dose_alone"),
    Choice("unlogged weeks as none done", shared="unlogged_none"),
    Choice("unlogged weeks as fully done", shared="unlogged_done"),
    Choice("half of learning taken off", shared="learning_half"),
    Choice("all of learning taken off", shared="learning_full"),
    _timed("linear"), _timed("root"), _timed("log"), _timed("spline 2"), _timed("spline 4"),
    Choice("random intercept only", recipe=lambda r: replace(r, client="1")),
    Choice("site x time", recipe=lambda r: r.having("site_slope")),
    Choice("baseline as covariate", recipe=lambda r: r.having("baseline", "baseline_slope"), rows=_baseline_beside,
           by_level=True),
    Choice("same baseline in every protocol", recipe=lambda r: r.without("protocol"), by_level=True),
    Choice("repeatable tests only (20 %)", rows=lambda f: f.filter(pl.col("is_rep20").fill_null(False))),
    Choice("scheduled tests only",
           rows=lambda f: f.filter(pl.col("is_baseline") | (pl.col("test_reason") == "scheduled").fill_null(False))),
    Choice("same manometer label as at the baseline",
           rows=lambda f: f.filter(_same_label().fill_null(True))),
)  # fmt: skip


def _with_test_facts(found: PressureModels, frames: Frames) -> pl.DataFrame:
    """The prepared rows with repeatability and the reason of each test day."""
    facts = frames["test_days"].filter(pl.col("pressure") == found.pressure)
    facts = facts.select("client_key", "tested_on", "is_rep20", "test_reason").unique(
        ["client_key", "tested_on"], keep="first", maintain_order=True
    )
    return found.rows.join(facts, on=["client_key", "tested_on"], how="left").sort("client_key", "tested_on")


def _fit(choice: Choice, found: PressureModels, rows: pl.DataFrame, settings: Settings) -> Fitted | None:
    if choice.shared:
        return found.fits.get(choice.shared)
    assert found.gate is not None
    return run(choice.name, choice.rows(rows), choice.recipe(found.gate.recipe), settings)


def _weights(choice: Choice, look: Reader, a: str, b: str) -> Array:
    return look.level_difference(a, b, 12.0) if choice.by_level else look.difference(a, b, 12.0)


def _row(section: Section, choice: Choice, fit: Fitted, found: PressureModels, where: str) -> None:
    at = f"{where};choice={choice.name}"
    said = "primary" if choice.name == "primary" else "also"
    if not fit.works or fit.look is None:
        section.add("gain_cmh2o", at, at=12.0, unit="cmH2O", text="did not fit", note=fit.state)
        return
    look = fit.look
    # tests, not people: choices that leave a handful of people out would give them away beside the primary count
    tests: dict[str, Any] = {"n": fit.rows.height, "n_of": "tests"}
    if not choice.by_level:
        put(section, "gain_cmh2o", at, fit.read(look.gain(12.0)), at=12.0, text=said, **tests)
    if found.gate is not None and found.gate.answers["protocol"].is_open:
        for a, b in found.pairs:
            if {a, b} <= set(look.protocols):
                put(section, "difference_cmh2o", f"{at};protocols={a} - {b}", fit.read(_weights(choice, look, a, b)),
                    at=12.0, text=said, **tests)
    if found.gate is not None and found.gate.answers["dose"].is_open and "dose" in fit.built.recipe.terms:
        put(section, "dose_per_10_points_cmh2o", at, fit.term("dose_d", TEN_POINTS), text=said, **tests)


def choices(frames: Frames, models: Models, settings: Settings) -> ResultSet:
    """Section "choices": every row of CHOICES, in that order."""
    section = Section("protocols", "choices")
    for pressure, found in models.items():
        where = group(pressure=pressure)
        if found.gate is None or found.gate.rung == "R4" or found.working("primary") is None:
            section.state("Too few people for other models beside the primary one.", group=where)
            continue
        rows = _with_test_facts(found, frames)
        for choice in CHOICES:
            fit = _fit(choice, found, rows, settings)
            if fit is not None:
                _row(section, choice, fit, found, where)
    return section.done()
