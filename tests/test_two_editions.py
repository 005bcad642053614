"""Two successive shared editions of small services give no hidden count away together, nor a person who came late."""

from __future__ import annotations

import re
from pathlib import Path

import polars as pl
import pytest

from pipeline.identity.audit import derivable_cells
from tests.attack import LIMIT, ranges
from tests.recover import digits_of, numbers_of_people
from tests.small_services import QUARTERS, Written, load, one_quarter, reviewed, service, tables
from tests.some_people import write

pytestmark = pytest.mark.slow

SERVICES = [(8, False), (20, True), (20, False), (40, True)]


@pytest.fixture(scope="module", params=SERVICES, ids=lambda s: f"{s[0]}-{'one' if s[1] else 'three'}")
def two(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[Written]:
    """Both quarters of one service."""
    n, one = request.param
    return reviewed(service(n, one_protocol=one), 1, tmp_path_factory.mktemp("service"))


def truth(two: list[Written]) -> dict[str, int]:
    """The true counts of people of both editions, by the names of the attack; who went and who came since, too."""
    found: dict[str, int] = {}
    for edition, written in zip(("old", "new"), two, strict=True):
        for r in written.results.rows:
            n = r.n if r.n_of == "people" else r.n_people
            if n is not None:
                found[f"{edition}|{r.key}"] = n
            if r.hits is not None and r.n is not None and r.n_of == "people":
                found[f"{edition}|{r.key}:hits"], found[f"{edition}|{r.key}:rest"] = r.hits, r.n - r.hits
    for name in list(found):
        edition, _, key = name.partition("|")
        if "period=last4" in key and (now := found.get(name.replace("last4", "this"))) is not None:
            found[f"{edition}|gone:{key}"] = found[name] - now
        if edition == "new" and f"old|{key}" in found:
            found[f"since:{key}"] = found[name] - found[f"old|{key}"]
    return found


def printed_nowhere(two: list[Written]) -> set[str]:
    """Counts of more than ten that no page prints, nor says to hide: the rest of a share, who went, who came since, and
    parts that are counted with others."""
    parts = {f"{e}|{r.key}" for e, w in zip(("old", "new"), two, strict=True) for r in w.shared.rows.rows
             if r.text == "counted with others"}  # fmt: skip
    known = truth(two)
    return {k for k, n in known.items() if n > LIMIT
            and (k in parts or k.endswith(":rest") or "gone:" in k or k.startswith("since:"))}  # fmt: skip


def given_away(two: list[Written]) -> list[tuple[str, tuple[int, int]]]:
    """The hidden counts that an integer solver pins or narrows, where two editions are laid beside each other.

    A 0 may be known: nobody is in it. So may the denominator of a hidden share, where the total itself is printed, and
    what no page prints where it is more than ten.
    """
    old, new = (list(w.shared.rows.rows) for w in two)
    left = ranges(old, new)
    known = truth(two)
    assert len(left) > 100
    free = printed_nowhere(two)
    secret = [k for k in left if f"{k}:hits" not in known and k not in free]
    small = [k for k, n in known.items() if 1 <= n <= LIMIT and k in left]
    return [(k, left[k]) for k in sorted({*secret, *small})
            if (k in secret and left[k][0] == left[k][1] != 0)
            or (k in small and (left[k][0] > 1 or left[k][1] < LIMIT))]


def test_an_integer_solver_pins_no_hidden_count_of_two_editions(two: list[Written]) -> None:
    assert given_away(two) == []


def test_no_mean_without_its_count_gives_the_count_away(two: list[Written]) -> None:
    """Every mean in cmH2O whose n is hidden fits so many numbers of people that no one of them stands out."""
    for written in two:
        exact = {r.key: r for r in written.results.rows}
        means = [r for r in written.shared.rows.rows if r.unit == "cmH2O" and r.value is not None and r.n is None
                 and r.n_people is None and r.key in exact and exact[r.key].n is not None]  # fmt: skip
        for row in means:
            assert row.value is not None and digits_of(row.value) <= 1, row.key
            assert len(numbers_of_people(row.value, decimals=1, most=60)) == 51, row.key


def test_no_day_of_the_data_is_told(two: list[Written]) -> None:
    for written in two:
        shared = {r.statistic: r.text for r in written.shared.rows.rows if r.section == "data"}
        whole = {r.statistic: r.text for r in written.results.rows if r.section == "data"}
        assert whole["data_from_on"][:4] == "2025" and shared["data_from_on"] == "2025Q2"
        assert whole["data_until_on"][4] == "-" and re.fullmatch(r"20\d\dQ[1-4]", shared["data_until_on"])
        assert written.shared.meta.data_until_on == "2026Q3"


def test_the_attack_does_pin_counts_of_editions_made_alone(two: list[Written]) -> None:
    """The same attack on what the pages would print without any hiding finds what it should: it can fail."""
    old, new = (list(w.results.rows) for w in two)
    assert all(low == high for low, high in ranges(old, new).values())


def test_no_mean_of_a_few_people_is_printed(two: list[Written]) -> None:
    for written in two:
        behind = {r.key: r.n if r.n_of == "people" else r.n_people for r in written.results.rows}
        for row in written.shared.rows.rows:
            if row.value is not None and "period=last" not in row.group:
                n = behind.get(row.key)
                assert n is None or not 1 <= n <= LIMIT, row.key


def test_last_quarter_is_repeated_as_it_was_printed(two: list[Written]) -> None:
    old = {r.key: r for r in two[0].shared.rows.rows}
    again = [r for r in two[1].shared.rows.rows if "period=last" in r.group.split(";")]
    assert again
    for row in again:
        was = old[row.key.replace("period=last", "period=this")]
        assert (row.n, row.value, row.text) == (was.n, was.value, was.text)


def late(folder: Path, to: Path) -> str:
    """Write the tables again with one person more, who came late; return the key."""
    extra = tables(service(9, one_protocol=True), 77)
    key = sorted(set(extra["clients"]["client_key"]))[0]
    for path in folder.glob("*.csv"):
        frame = pl.read_csv(path, infer_schema=False)
        mine = extra[path.stem]
        if "client_key" in mine.columns:
            frame = pl.concat([frame, mine.filter(pl.col("client_key") == key)])
        to.mkdir(exist_ok=True)
        frame.write_csv(to / path.name)
    return key


@pytest.fixture(scope="module")
def with_a_late_person(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Written, Written]:
    """(folder, first review of a quarter, the same quarter after the rows of one more person came)."""
    base = tmp_path_factory.mktemp("late")
    write(tables(service(24, one_protocol=True), 5), base / "in")
    load(base / "in", base / "out")
    first = one_quarter(base / "out", QUARTERS[1])
    late(base / "in", base / "more")
    load(base / "more", base / "out")
    return base, first, one_quarter(base / "out", QUARTERS[1])


def test_the_same_quarter_again_does_not_tell_of_a_late_person(with_a_late_person) -> None:
    _, first, again = with_a_late_person
    moved = {r.key: r.n for r in first.results.rows if r.n_of == "people" and r.n}
    now = {r.key: r.n for r in again.results.rows}
    assert any(now.get(k) == n + 1 for k, n in moved.items()), "internally the person is there"
    assert again.shared.rows.rows == first.shared.rows.rows
    assert "stands as first written" in again.shared.said[0]


def test_what_nobody_was_given_can_be_made_anew(with_a_late_person) -> None:
    base, first, _ = with_a_late_person
    anew = one_quarter(base / "out", QUARTERS[1], replace_shared=True)
    assert anew.shared.said == () and anew.shared.rows.rows != first.shared.rows.rows
    assert anew.shared.ledger is not None
    assert derivable_cells(anew.shared.ledger.cells, anew.shared.ledger.sums, LIMIT) == []
