"""Each invariant is seen to fail on a planted row, and to stay silent on a sound one."""

from __future__ import annotations

import pytest

from pipeline import derive
from tests.sql.rows import Row, day, run

A: Row = {"client_key": "aaaaaaaa", "course_no": 1}
WEEK = A | {"week_no": 0, "logged_by": "sessions", "sessions_done": 3, "rated_below": 1, "rated_in": 1,
            "rated_above": 0}
BOUNDS = A | {"session_adherence_low_pct": 60.0, "session_adherence_high_pct": 80.0, "has_prescription": True}
MODEL = A | {"is_baseline": False, "dose_d": 0.5, "dose_d_low": 0.4, "dose_d_high": 0.6, "effort_e": 0.1,
             "effort_e_low": 0.0, "effort_e_high": 0.2, "between_dose": 0.3, "within_dose": 0.2, "time12": 1.0}
SESSION: Row = {"client_key": "aaaaaaaa", "session_on": day("2025-01-06"), "file": "s.csv", "line": 2}
SPAN: list[Row] = [{"data_until_on": day("2025-12-31")}]
RECEIVED: dict[str, list[Row]] = {"received.sessions": [SESSION], "settled.span": SPAN}

#: name of the file -> (sound inputs, spoiled inputs)
CASES: dict[str, tuple[dict[str, list[Row]], dict[str, list[Row]]]] = {
    "effort_does_not_add_up": ({"quantities.client_weeks": [WEEK | {"not_rated": 1}]},
                               {"quantities.client_weeks": [WEEK | {"not_rated": 0}]}),
    "adherence_out_of_bounds": ({"quantities.adherence": [BOUNDS | {"session_adherence_pct": 70.0}]},
                                {"quantities.adherence": [BOUNDS | {"session_adherence_pct": 81.0}]}),
    "quarters_do_not_add_up": (
        {"settled.courses": [A], "quantities.client_weeks": [WEEK],
         "quantities.client_quarters": [A | {"weeks_in_course": 1, "n_sessions": 3, "n_tests": 0}]},
        {"settled.courses": [A], "quantities.client_weeks": [WEEK],
         "quantities.client_quarters": [A | {"weeks_in_course": 1, "n_sessions": 2, "n_tests": 0}]}),
    "pressure_not_above_zero": ({"settled.tests": [{"value_cmh2o": 1.0}, {"value_cmh2o": None}]},
                                {"settled.tests": [{"value_cmh2o": -1.0}]}),
    "dose_out_of_bounds": ({"frames.model": [MODEL]}, {"frames.model": [MODEL | {"within_dose": 0.3}]}),
    "grain_repeated": ({"frames.courses": [A, A | {"course_no": 2}]}, {"frames.courses": [A, A]}),
    "grand_grain_repeated": ({"frames.files": [{"file": "a"}, {"file": "b"}]}, {"frames.files": [{"file": "a"}] * 2}),
    "rows_unaccounted": (RECEIVED | {"settled.sessions": [SESSION]}, RECEIVED),
}


@pytest.mark.parametrize("name", sorted(CASES))
def test_invariant_speaks_only_of_the_spoiled_rows(name: str) -> None:
    sound, spoiled = CASES[name]
    assert run(f"must_be_empty.{name}", sound) == []
    assert len(run(f"must_be_empty.{name}", spoiled)) == 1


@pytest.mark.parametrize("spoiled", [
    {"dose_d": 0.7}, {"dose_d": 0.3}, {"effort_e": 0.3}, {"effort_e": -0.1}, {"is_baseline": True}])
def test_each_bound_of_the_dose_is_watched(spoiled: Row) -> None:
    assert len(run("must_be_empty.dose_out_of_bounds", {"frames.model": [MODEL | spoiled]})) == 1


def test_every_invariant_has_a_case() -> None:
    names = {n.removeprefix("must_be_empty.") for n in derive.sql_files() if n.startswith("must_be_empty.")}
    assert names == set(CASES)
