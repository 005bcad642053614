"""What a reader of results from sums can subtract: parts from a whole, one model's people from another's."""

from __future__ import annotations

import pytest

from pipeline.identity.small_cells import broken_sums, derivable_after, protect
from pipeline.identity.sums_of_models import with_sums
from pipeline.results import Result, ResultSet

LIMIT = 10
WHOLE, PART, FITTED = "quarter.gains.gain_cmh2o", "protocols.difference.protocol_gain_cmh2o", "protocols.fitted.people"


def told(stem: str, group: str, n: int, at: float | None = 12.0) -> Result:
    """A mean of n people, or their number alone."""
    report, section, statistic = stem.split(".")
    mean = {"value": 9.87, "low": 8.1, "high": 11.6, "unit": "cmH2O"} if statistic != "people" else {}
    return Result(report, section, statistic, group, at if mean else None, n=n, **mean)  # type: ignore[arg-type]


def shown(*rows: Result) -> dict[str, int | None]:
    """The counts that an edition of these rows shows, after an audit that finds nothing."""
    results = with_sums(ResultSet(rows), LIMIT)
    assert broken_sums(results) == []
    shared = protect(results, LIMIT)
    assert derivable_after(results, shared, LIMIT) == []
    return {r.key: r.n for r in shared.rows}


def test_a_small_protocol_cannot_be_had_by_subtraction() -> None:
    rows = [told(WHOLE, "pressure=mip", 47), told(WHOLE, "pressure=mip;protocol=a", 22),
            told(WHOLE, "pressure=mip;protocol=b", 18), told(WHOLE, "pressure=mip;protocol=c", 7)]
    alone = {r.key: r.n for r in protect(ResultSet(tuple(rows)), LIMIT).rows}
    assert [alone[r.key] for r in rows] == [47, 22, 18, None]  # 47 - 22 - 18: what the sums are for
    assert sum(n is None for n in shown(*rows).values()) >= 2


@pytest.mark.parametrize("only_sums", [True, False])
def test_a_protocol_that_is_not_compared_cannot_be_had_either(only_sums: bool) -> None:
    """Seven of 47 had a protocol of too few people: no row is theirs, from sums or from rows."""
    rows = [told(FITTED, "pressure=mip", 47), told(PART, "pressure=mip;protocol=a", 22),
            told(PART, "pressure=mip;protocol=b", 18)]
    rows += [told(PART, r.group, r.n or 0, 24.0) for r in rows[1:]]
    results = with_sums(ResultSet(tuple(rows)), LIMIT, only_sums=only_sums)
    shared = protect(results, LIMIT)
    assert derivable_after(results, shared, LIMIT) == []
    counts = {r.key: r.n for r in shared.rows}
    assert None in [counts[r.key] for r in rows]
    assert [counts[r.key] for r in rows[1:3]] == [counts[r.key] for r in rows[3:]]


@pytest.mark.parametrize(("mip", "mep", "is_told"), [(116, 108, False), (116, 116, True), (116, 90, True)])
def test_those_with_one_pressure_and_not_the_other(mip: int, mep: int, is_told: bool) -> None:
    counts = shown(told(PART, "pressure=mip;protocol=a", mip), told(PART, "pressure=mep;protocol=a", mep))
    assert (None not in counts.values()) == is_told


def test_those_whom_a_model_leaves_out() -> None:
    """Three of fifty did not agree to research."""
    counts = shown(told(WHOLE, "pressure=mip;protocol=a", 50), told(PART, "pressure=mip;protocol=a", 47))
    assert None in counts.values()


def test_rows_that_tell_the_same_people_are_hidden_together() -> None:
    rows = [told(WHOLE, "pressure=mip;protocol=a", 50), told(PART, "pressure=mip;protocol=a", 47)]
    rows += [told(PART, "pressure=mip;protocol=a", 47, at) for at in (2.0, 4.0, 24.0)]
    counts = shown(*rows)
    assert len({counts[r.key] for r in rows[1:]}) == 1
