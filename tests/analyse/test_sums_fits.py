"""Corners of the way from sums: whatever a cohort lacks, gate, fits and refusals are those from rows."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.analyse.fits import Fitted, PressureModels, fit_pressure
from pipeline.analyse.sums_fits import fit_pressure_from_sums
from pipeline.derive_sums import AtEngine
from pipeline.engines import opened, parse
from pipeline.settings import Settings
from pipeline.simulate.model_frame import simulate_model_frame

Change = Callable[[pl.DataFrame], pl.DataFrame]
LATER = "2099Q1"


def few(frame: pl.DataFrame, people: int) -> pl.DataFrame:
    return frame.filter(pl.col("client_key").is_in(frame["client_key"].unique().sort()[:people].to_list()))


def without(*columns: str) -> Change:
    return lambda frame: frame.with_columns(pl.lit(None, dtype=frame[c].dtype).alias(c) for c in columns)


def labelled(frame: pl.DataFrame) -> pl.DataFrame:
    """Labels that mean something to SQL or to a formula."""
    odd = {"firm_5x6": "it's:a [T.b]", "ladder_6": 'b"; --', "steady_30": "ü --1"}
    return frame.with_columns(pl.col("protocol").replace(odd), ("%_" + pl.col("site") + "'").alias("site"))


CORNERS: dict[str, Change] = {
    "nobody": lambda f: f.clear(),
    "two people": lambda f: few(f, 2),
    "thirty people": lambda f: few(f, 30),
    "one test each": lambda f: f.filter(pl.col("is_baseline")),
    "no baseline": lambda f: f.filter(~pl.col("is_baseline")),
    "one protocol": lambda f: f.with_columns(protocol=pl.lit("all")),
    "one site": lambda f: f.with_columns(site=pl.lit("here")),
    "many sites": lambda f: f.with_columns(site="s" + (pl.col("client_key").hash(1) % 9).cast(pl.String)),
    "a site of one protocol": lambda f: f.with_columns(site=pl.col("protocol")),
    "one sex, not told": without("sex"),
    "no age, no efforts": without("age_years", "efforts_kept"),
    "no dose": without("dose_d", "dose_d_low", "dose_d_high", "between_dose", "within_dose", "effort_e"),
    "no effort": without("effort_e"),
    "all alike in dose": lambda f: f.with_columns(dose_d=0.9 * pl.col("time12"), dose_d_high=pl.col("time12")),
    "nobody trained": lambda f: f.with_columns(dose_d=0.0 * pl.col("time12"), effort_e=0.0 * pl.col("time12")),
    "no interval": without("interval_adherence", "interval_weeks"),
    "drawn by lot": lambda f: f.with_columns(assigned_by=pl.lit("randomised")),
    "odd labels": labelled,
    "another pressure": lambda f: f.with_columns(pressure=pl.lit("mep")),
    "second courses": lambda f: f.with_columns(is_primary=False),
    "later quarters": lambda f: f.with_columns(quarter=pl.lit("2099Q2")),
}  # fmt: skip
FAST = ("nobody", "one test each", "thirty people", "odd labels")


def from_sums(frame: pl.DataFrame, folder: Path) -> PressureModels:
    choice, place = parse("slices:2"), folder / "frames.model"
    assert choice is not None
    place.mkdir()
    frame.write_parquet(place / "rows.parquet")
    with opened(choice, 2, folder / "_spill") as engine:
        engine.table("frames.model", place)
        return fit_pressure_from_sums(AtEngine(engine, folder / "sums"), "mip", LATER, Settings())


def near(found: float, expected: float) -> bool:
    return found == expected or abs(found - expected) <= 1e-8 * max(1.0, abs(expected))


def unlike(name: str, found: Fitted, expected: Fitted) -> list[str]:
    """What two fits of one name do not share."""
    said = [f"{name} {what}: {a} and {b}" for what, a, b in (
        ("state", found.state, expected.state), ("people", found.people, expected.people),
        ("tests", found.tests, expected.tests), ("formula", found.built.model.mean, expected.built.model.mean),
        ("random", found.built.model.varies, expected.built.model.varies)) if a != b]
    if found.reading is None or expected.reading is None:
        return said
    for column in ("estimate", "std_error", "df"):
        pairs = zip(*(r.mean_terms[column].to_list() for r in (found.reading, expected.reading)), strict=True)
        said += [f"{name} {column}: {a} and {b}" for a, b in pairs
                 if (a is None) != (b is None) or (a is not None and not near(a, b))]
    return said


@pytest.mark.parametrize("corner", [pytest.param(c, marks=[] if c in FAST else pytest.mark.slow) for c in CORNERS])
def test_corners_are_those_from_rows(corner: str, tmp_path: Path) -> None:
    frame = CORNERS[corner](simulate_model_frame(130, 7))
    known = frame.filter(pl.col("quarter") <= LATER) if frame.height else frame
    found, expected = from_sums(frame, tmp_path), fit_pressure(known, "mip", Settings())
    assert (found.gate is None) == (expected.gate is None)
    if found.gate is None or expected.gate is None:
        return
    assert found.handling == expected.handling and found.without_dose == expected.without_dose
    for told in ("rung", "reason", "people", "with_3_tests", "retested", "past_12_weeks", "recipe", "inseparable"):
        assert getattr(found.gate, told) == getattr(expected.gate, told), told
    assert {k: (a.verdict, a.why, a.more_tests) for k, a in found.gate.answers.items()} == {
        k: (a.verdict, a.why, a.more_tests) for k, a in expected.gate.answers.items()}
    for told in ("detectable", "vif"):
        ours, theirs = getattr(found.gate, told), getattr(expected.gate, told)
        assert ours.keys() == theirs.keys()
        assert [k for k in ours if not near(ours[k], theirs[k])] == []
    assert {*expected.fits} - {"learning_half", "learning_full"} == {*found.fits}
    assert [line for name, fit in found.fits.items() for line in unlike(name, fit, expected.fits[name])] == []


def test_a_number_that_is_off_would_be_seen() -> None:
    assert near(1.0, 1.0) and near(np.inf, np.inf) and not near(1.0, 1.0 + 1e-7) and not near(np.inf, 1.0)
