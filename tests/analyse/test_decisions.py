"""Notes and decisions: marks in order, a measure then and now, few people not told, nothing of it shared."""

from datetime import date

import polars as pl

from pipeline.analyse.decisions import EMPTY, decisions, letter
from pipeline.identity.small_cells import protect
from pipeline.settings import Settings
from tests.analyse.test_over_time import cohort

FRAMES = cohort([10.0, 14.0], people=[20, 20]) | {"completeness": pl.DataFrame({
    "site": ["mill", "mill"], "quarter": ["2023Q1", "2023Q2"], "item": ["12_week_mip"] * 2, "expected": [20, 25],
    "filled": [10, 20]})}  # fmt: skip


def note(on, text, **more):
    row = {"kind": "note", "on_day": date.fromisoformat(on), "text": text, "sites": "", "of_quarter": "", "measure": "",
           "followed": ""} | more  # fmt: skip
    return row | {"quarter": f"{row['on_day'].year}Q{(row['on_day'].month - 1) // 3 + 1}"}


def decision(on, text, of_quarter, **more):
    return note(on, text, kind="decision", of_quarter=of_quarter, **more)


def made(*rows, quarter="2023Q2", frames=FRAMES):
    table = pl.DataFrame(list(rows), schema=EMPTY.schema)
    return decisions(dict(frames) | {"annotations": table}, quarter, Settings())


def by_key(found):
    return {r.key.removeprefix("quarter.decisions."): r for r in found.rows}


def test_marks_go_by_day_and_never_end():
    assert [letter(k) for k in (0, 25, 26, 27, 52)] == ["A", "Z", "AA", "AB", "BA"]
    found = made(note("2023-05-01", "later"), note("2023-02-01", "first"), note("2023-07-01", "after the quarter"))
    assert [(r.group.split(";")[0], r.text) for r in found.rows if r.statistic == "note"] == [
        ("mark=A", "first"), ("mark=B", "later")]


def test_a_decision_tells_its_measure_then_and_now():
    found = by_key(made(decision("2023-04-10", "book earlier", "2023Q1", measure="mip_gain", followed="booked")))
    then = found["measure_then[mark=A;measure=mip_gain;quarter=2023Q1]"]
    now = found["measure_now[mark=A;measure=mip_gain;quarter=2023Q2]"]
    assert (round(then.value, 6), round(now.value, 6), then.unit) == (10.0, 14.0, "cmH2O")
    assert found["followed[mark=A;of_quarter=2023Q1]"].text == "booked"
    share = by_key(made(decision("2023-04-10", "book", "2023Q1", measure="mip_12_week_tests")))
    assert share["measure_then[mark=A;measure=mip_12_week_tests;quarter=2023Q1]"].value == 50.0
    assert share["measure_now[mark=A;measure=mip_12_week_tests;quarter=2023Q2]"].value == 80.0


def test_of_the_sites_named_and_never_of_ten_people_or_fewer():
    few = cohort([10.0, 14.0], people=[10, 20]) | {"completeness": FRAMES["completeness"]}
    found = by_key(made(decision("2023-04-10", "x", "2023Q1", measure="mip_gain"), frames=few))
    hidden = found["measure_then[mark=A;measure=mip_gain;quarter=2023Q1]"]
    assert hidden.value is None and hidden.n is None and hidden.text == "hidden (n<11)"
    elsewhere = by_key(made(decision("2023-04-10", "x", "2023Q1", measure="mip_gain", sites="harbour")))
    assert elsewhere["measure_now[mark=A;measure=mip_gain;quarter=2023Q2]"].text == "nobody to count"


def test_a_decision_of_this_quarters_review_waits_for_the_next():
    found = made(decision("2023-05-10", "x", "2023Q2", measure="mip_gain"))
    assert not [r for r in found.rows if r.statistic == "decided"]
    assert any("last quarter's review" in r.text for r in found.rows if r.statistic == "state")


def test_without_a_file_one_sentence():
    found = decisions(FRAMES, "2023Q2", Settings())
    assert [r.statistic for r in found.rows] == ["state"]


def test_no_word_of_it_is_shared():
    found = made(note("2023-02-01", "first"), decision("2023-04-10", "book earlier", "2023Q1", measure="mip_gain"))
    assert not [r for r in protect(found).rows if r.statistic != "state"]
