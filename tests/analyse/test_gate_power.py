"""What the gate calls detectable has the power that it promises: the committed table, and a small slice of it anew."""

import re
from pathlib import Path

import pytest

from pipeline.analyse.design import prepared
from pipeline.analyse.gate import gate
from pipeline.simulate.model_frame import simulate_model_frame
from tests.studies.gate_power import COHORTS, SEED, SETTINGS, WITHIN_POINTS, asked, power

TABLE = max((Path(__file__).parents[1] / "studies" / "results").glob("*_gate_power.md"))
ROWS = [r.groups() for r in re.finditer(r"\| (R\d) \| (\d+) \| (.+?) \| ([\d.]+) \| ([\d.]+) \|",
                                        TABLE.read_text(encoding="utf-8"))]  # fmt: skip


def test_every_row_of_the_table_has_the_promised_power():
    assert {(rung, int(people)) for rung, people, *_ in ROWS} == set(COHORTS)
    draws = int(re.search(r"(\d+) draws a model", TABLE.read_text(encoding="utf-8"))[1])
    assert 100 * (0.8 * 0.2 / draws) ** 0.5 < 1.0
    for rung, people, question, _, found in ROWS:
        assert abs(float(found) - 80.0) <= WITHIN_POINTS, (rung, people, question)


@pytest.mark.parametrize(("rung", "people"), COHORTS)
def test_the_gate_still_promises_what_the_table_was_made_for(rung, people):
    found = gate(prepared(simulate_model_frame(people, SEED + people), "mip"), "mip", SETTINGS)
    table = {q: float(d) for r, n, q, d, _ in ROWS if (r, int(n)) == (rung, people)}
    assert found.rung == rung
    assert found.detectable == pytest.approx(table, abs=0.006)


def test_a_slice_drawn_anew():
    """The smallest cohort, where 2.8 standard errors had 71 to 76 % power: 200 draws, Monte Carlo error 3 points."""
    rows = prepared(simulate_model_frame(30, SEED + 30), "mip")
    found = gate(rows, "mip", SETTINGS)
    shares, _, failed = power(asked(rows, found, found.recipe, {"gain", "dose"}), 200, 1)
    assert failed == 0
    assert shares == pytest.approx(0.8, abs=0.07)
