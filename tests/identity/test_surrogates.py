"""The crosswalk's journal and the tables that keys are given to, without files."""

from __future__ import annotations

from random import Random

import polars as pl
import pytest

from pipeline.identity.day_offsets import EPOCH, as_offsets, calendar_days, from_offsets, starts
from pipeline.identity.people import keyed, maybe_two, named, people_in, with_ages_told
from pipeline.identity.surrogates import Crosswalk, Entry, entries_for, from_mapping, replayed, to_mapping

COLUMNS = Entry("columns", columns=("family", "born"))


def draw_of(seed: int):
    return Random(seed).choice


def frame(**columns: list[str | None]) -> pl.DataFrame:
    return pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))


def journal(*people: tuple[str, ...]) -> list[Entry]:
    return [COLUMNS, *entries_for(Crosswalk(columns=COLUMNS.columns), people, draw_of(1))]


def test_several_columns_name_a_person_in_one_spelling() -> None:
    rows = frame(
        family=["Muster ", "MUSTER", "Muster", None], born=["1950-01-01", "1950-01-01", "1951-01-01", "1950-01-01"]
    )
    found = named(rows, replayed([COLUMNS]))
    assert people_in([found]) == [("muster", "1950-01-01"), ("muster", "1951-01-01")] and found.n_unnamed == 1


def test_keys_are_stable_different_and_say_nothing_of_the_order() -> None:
    entries = journal(("a", "1"), ("b", "1"))
    again = entries_for(replayed(entries), [("b", "1"), ("c", "1"), ("a", "1")], draw_of(2))
    assert [e.person for e in again] == [("c", "1")]
    rows = named(frame(family=["a", "b", "a"], born=["1", "1", "1"]), replayed(entries))
    out = keyed(rows, replayed(entries))["client_key"].to_list()
    assert out == sorted(out) and len(set(out)) == 2


def test_the_same_people_get_other_keys_in_another_crosswalk() -> None:
    assert not (
        {e.key for e in journal(("a", "1"))} & {e.key for e in entries_for(Crosswalk(), [("a", "1")], draw_of(3))}
    )


def test_a_split_tells_two_apart_and_retires_the_key() -> None:
    entries = journal(("a", "1"))
    key = entries[1].key
    state = replayed([*entries, Entry("split", key, columns=("sex",))])
    rows = named(frame(family=["a", "a"], born=["1", "1"], sex=["female", "male"]), state)
    assert people_in([rows]) == [("a", "1", "female"), ("a", "1", "male")]
    assert state.key_of(("a", "1", "female")) is None
    assert named(frame(family=["a"], born=["1"]), state).n_untold == 1


def test_a_merge_leads_both_names_to_one_key_through_chains() -> None:
    a, b, c = (e.key for e in journal(("a", "1"), ("b", "1"), ("c", "1"))[1:])
    state = replayed(
        [*journal(("a", "1"), ("b", "1"), ("c", "1")), Entry("merge", b, other=a), Entry("merge", c, other=b)]
    )
    assert {state.key_of((p, "1")) for p in "abc"} == {c} and len(state.people_of(c)) == 3


@pytest.mark.parametrize(
    "entry", [COLUMNS, Entry("person", "k1", person=("Ünal", "1")), Entry("merge", "a", other="b")]
)
def test_an_entry_survives_the_file(entry: Entry) -> None:
    assert from_mapping(to_mapping(entry)) == entry


@pytest.mark.parametrize("given", [{}, {"op": "drop"}, {"op": "person", "person": "a"}])
def test_what_is_no_entry_is_refused(given: dict[str, object]) -> None:
    with pytest.raises((KeyError, ValueError, TypeError)):
        from_mapping(given)


def test_signs_of_two_people() -> None:
    clients = frame(
        client_key=["a", "a", "b", "b", "c", "c", "d"],
        sex=["female", "male", "f", "F", "male", None, "male"],
        age_years=["50", "50", "50", "51", "40", "44", "3"],
        height_cm=["170"] * 7,
    )
    days = ["2025-01-01", "2025-01-02", "2025-01-03"]
    sessions = frame(client_key=["d"] * 6, session_on=days * 2, slot=["am"] * 6, sets_done=["2"] * 3 + ["4"] * 3)
    assert maybe_two({"clients": clients, "sessions": sessions}) == {
        "a": ["sex"],
        "c": ["age"],
        "d": ["slots that clash"],
    }
    assert maybe_two({"sessions": sessions.head(5)}) == {}


def test_offsets_count_from_the_clients_own_start_and_come_back_as_days() -> None:
    tables = {
        "episodes": frame(client_key=["a", "a"], from_on=["2025-03-01", "2026-03-01"]),
        "tests": frame(client_key=["a", "b"], tested_on=["2025-02-20", "2025-05-05"]),
    }
    days = {"episodes": ["from_on"], "tests": ["tested_on"]}
    found = starts(tables, days, {})
    assert found == {"a": "2025-03-01", "b": "2025-05-05"}
    told = as_offsets(tables["tests"], ["tested_on"], found)
    assert told["tested_on"].to_list() == ["-9", "0"]
    assert from_offsets(told, ["tested_on"])["tested_on"].to_list() == ["1999-12-23", EPOCH.isoformat()]


def test_a_calendar_day_is_told_from_an_offset() -> None:
    rows = frame(tested_on=["0", "+84", "-9", "1.3.2025", "2025-03-01", "March 1, 2025", None, "abc"])
    assert calendar_days(rows, ["tested_on", "absent"]) == {"tested_on": 3}


def test_ages_over_90_become_90() -> None:
    rows, n = with_ages_told(frame(age_years=["89", "90", "91", " 104 ", "131", "x", None]))
    assert (rows["age_years"].to_list(), n) == (["89", "90", "90", "90", "131", "x", None], 2)
