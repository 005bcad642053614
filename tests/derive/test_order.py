"""The order of the SQL files is read from them; a cycle, a missing table and a slip are named."""

from __future__ import annotations

import pytest

from pipeline import derive
from pipeline.errors import RmtError


def test_each_table_comes_after_those_it_reads() -> None:
    files = derive.sql_files()
    order = derive.run_order(files)
    place = {name: at for at, name in enumerate(order)}
    for name, read in derive.references(files).items():
        assert all(place[t] < place[name] for t in read if not t.startswith("received.")), name
    assert place["settled.clients"] < place["reference.predictions"] < place["quantities.gains"]
    assert derive.run_order(files) == order


def test_names_of_parts_and_texts_are_no_tables() -> None:
    text = "with tests as (select t.line from settled.tests as t) select x.line, 'from a.b' as c from tests as x -- d.e"
    assert derive.references({"q": text}) == {"q": {"settled.tests"}}


def test_a_cycle_is_named() -> None:
    files = {"quantities.a": "select b.x from quantities.b as b", "quantities.b": "select a.x from quantities.a as a"}
    with pytest.raises(RmtError, match=r"in a circle: quantities.. <- quantities.. <- quantities."):
        derive.run_order(files)


def test_a_table_that_nobody_makes_is_named() -> None:
    with pytest.raises(RmtError, match=r"sql/frames/x.sql: reads settled.testz, which no file makes"):
        derive.run_order({"frames.x": "select t.line from settled.testz as t"})


@pytest.mark.parametrize(("text", "where"), [
    ("select 1 as a,\nfrom from x", "sql/frames/x.sql:2"), ("select 1 as a; select 2 as b", "more than one statement")])
def test_a_slip_is_placed(text: str, where: str) -> None:
    with pytest.raises(RmtError, match=where):
        derive.references({"frames.x": text})
