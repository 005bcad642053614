"""The fix list of the sample: each query once, counts that add up, one question a cause, nothing of it shared."""

from __future__ import annotations

from pipeline.analyse.common import Frames
from pipeline.analyse.fix_list import fix_list
from pipeline.identity.small_cells import protect
from pipeline.report.look import part
from pipeline.results import repeated_keys
from tests.analyse.conftest import QUARTER


def test_every_query_is_listed_once_with_its_place(frames: Frames) -> None:
    found = fix_list(frames, QUARTER)
    listed = [r for r in found.rows if r.statistic == "query"]
    queries = frames["queries"]
    assert len(listed) == queries.height > 30 and repeated_keys(found.rows) == []
    assert sorted(r.text for r in listed) == sorted(f"{f}:{n}" for f, n in queries.select("file", "line").iter_rows())
    order = [(part(r, "cause"), part(r, "site"), part(r, "key")) for r in listed]
    assert order == sorted(order) and [r.at for r in listed] == [float(k + 1) for k in range(len(listed))]


def test_counts_by_cause_and_by_site_add_up(frames: Frames) -> None:
    rows = [r for r in fix_list(frames, QUARTER).rows if r.statistic == "open"]
    whole = next(r for r in rows if r.group == "all")
    for names in ({"cause"}, {"site"}, {"cause", "site"}):
        parts = [r for r in rows if {n for n in ("cause", "site") if part(r, n)} == names]
        assert sum(r.n or 0 for r in parts) == whole.n
    assert whole.n_people == frames["queries"]["client_key"].n_unique()


def test_a_cause_has_one_question_and_one_thing_done_meanwhile(frames: Frames) -> None:
    told = frames["queries"].select("cause", "question", "meanwhile").unique()
    asked = [r for r in fix_list(frames, QUARTER).rows if r.statistic == "question"]
    assert told.height == told["cause"].n_unique() == len(asked)
    assert all(r.text.endswith("?") and r.note for r in asked)


def test_none_of_it_reaches_the_shared_edition(frames: Frames) -> None:
    assert protect(fix_list(frames, QUARTER)).rows == ()


def test_no_query_is_a_count_of_none(frames: Frames) -> None:
    nothing = fix_list({"queries": frames["queries"].clear()}, QUARTER)
    assert [(r.statistic, r.n, r.n_people) for r in nothing.rows] == [("open", 0, 0)]
