"""The results of the sample as a whole: names, sums, numbers that can be read, and small or empty cohorts."""

import math
import re

import polars as pl
import pytest

from pipeline.analyse import analyse
from pipeline.identity.shared_ledger import OF, UNPRINTED
from pipeline.results import repeated_keys
from pipeline.settings import Settings
from tests.analyse.conftest import QUARTER

SECTIONS = {
    "common": ("data", "can_answer"),
    "quarter": ("who", "counted", "records", "safety", "service", "dose", "effort", "settings", "gains", "gain_apart",
                "past_error", "model", "over_time", "decisions", "function", "instruments", "sites", "cautions",
                "made"),
    "protocols": ("estimand", "plan", "training", "compared", "alike", "overlap", "balance", "fitted",
                  "difference", "dose_response", "believable", "choices", "missing_outcome", "tipping"),
    "queries": ("how_many", "asked"),
}  # fmt: skip


def counted(row):
    if row.hits is not None:
        return row.hits
    return row.n if row.n_of == "people" else row.n_people


def faults(results):
    """What is wrong with a result set, in words; empty when nothing is."""
    by_key = {r.key: r for r in results.rows}
    wrong = [f"twice: {k}" for k in repeated_keys(results.rows)]
    for row in results.rows:
        if row.report == "stalled":  # one person's rows and simulated shares; its own tests hold them
            continue
        numbers = [v for v in (row.value, row.low, row.high) if v is not None]
        if not all(math.isfinite(v) for v in numbers):
            wrong.append(f"not a number: {row.key}")
        if len(numbers) == 3 and not row.low - 1e-9 <= row.value <= row.high + 1e-9:
            wrong.append(f"value outside its interval: {row.key}")
        if row.unit == "%" and row.value is not None and row.n is None and row.statistic != "setting":
            wrong.append(f"a percentage without n: {row.key}")
        if not numbers and row.n is None and not row.text:
            wrong.append(f"neither number nor word: {row.key}")
    for total in results.partitions:
        if any(k.startswith(UNPRINTED) for k in total.parts):
            continue  # the rest of such a sum is printed nowhere: it serves the audit only
        missing = [k for k in (total.total, *total.parts) if k.removesuffix(OF) not in by_key]
        if missing:
            wrong.append(f"a sum names no row: {missing[0]}")
        elif counted(by_key[total.total]) != sum(
                by_key[k.removesuffix(OF)].n if k.endswith(OF) else counted(by_key[k]) for k in total.parts):
            wrong.append(f"parts do not add up to {total.total}")
    return wrong


def few(frames, people):
    keys = sorted(frames["courses"]["client_key"].unique().to_list())[:people]
    mine = pl.col("client_key").is_in(keys)
    return {n: f.filter(mine) if "client_key" in f.columns else f for n, f in frames.items()}


def test_nothing_is_wrong_with_the_sample(results):
    assert faults(results) == []


def test_every_section_is_there(results):
    for report, names in SECTIONS.items():
        assert tuple(dict.fromkeys(r.section for r in results.rows if r.report == report)) == names


@pytest.mark.slow
def test_the_same_frames_give_the_same_results(frames):
    part = few(frames, 130)
    shuffled = {name: frame.sample(fraction=1.0, shuffle=True, seed=3) for name, frame in part.items()}
    again, once = (analyse(f, Settings(), QUARTER) for f in (shuffled, part))
    assert [r.key for r in again.rows] == [r.key for r in once.rows]
    for a, b in zip(again.rows, once.rows, strict=True):
        assert (a.n, a.hits, a.text) == (b.n, b.hits, b.text), a.key
        assert (a.value or 0.0) == pytest.approx(b.value or 0.0, rel=1e-6, abs=1e-6), a.key


@pytest.mark.parametrize("people", [0, 1, 4, 15, 40, 75])
def test_few_people_give_words_instead_of_numbers(frames, people):
    found = analyse(few(frames, people), Settings(), QUARTER)
    assert faults(found) == []
    states = [r for r in found.rows if r.statistic in ("state", "answer")]
    assert states if people < 75 else True
    if people < 30:
        assert not [r for r in found.rows if r.section == "difference" and r.statistic == "difference_cmh2o"]


def test_an_earlier_quarter_knows_nothing_of_later_ones(frames):
    part = few(frames, 130)
    cut = {n: f.filter(pl.col("quarter") <= "2025Q4") if "quarter" in f.columns else f for n, f in part.items()}
    early, from_cut = (analyse(f, Settings(), "2025Q4") for f in (part, cut))
    assert faults(early) == []
    same = {r.key: r for r in from_cut.rows}
    assert all(same[r.key].value == r.value for r in early.rows if r.section in ("gains", "over_time", "dose"))
    assert max(r.text for r in early.rows if r.statistic == "median_gain12_cmh2o") == "2025Q4"


def test_no_client_key_and_no_data_number_in_words(frames, results):
    keys = frames["courses"]["client_key"].to_list()
    said = " ".join(f"{r.text} {r.note} {r.method} {r.group}" for r in results.rows if r.klass == "aggregate")
    assert not [k for k in keys if k in said]
    notes = {r.note for r in results.rows if r.section != "made" and r.klass == "aggregate"}
    counts = [n for n in notes if re.search(r"\d+ (people|persons|tests|sessions|clients)", n)]
    assert counts == []
