"""The models and their results from an engine's sums are those from rows: every number to 1e-8, all else exactly.

From rows: the sections as `analyse` makes them, over the frames of a derivation in the store. The fits themselves are
held to R and to statsmodels in tests/published; here only the way that the sums take is at stake.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path

import polars as pl
import pytest

from pipeline.contract.plan import read_plan
from pipeline.derive import derive
from pipeline.derive_sums import AtEngine
from pipeline.ingest import read_folder
from pipeline.results import ResultSet
from pipeline.settings import Settings
from pipeline.stages_frames import frames_of
from pipeline.store import Store, open_store
from pipeline.validate import check, load
from tests.engines.same_results import differing, from_rows, from_sums
from tests.engines.ways import META, SAMPLE, cohort
from tests.sql.portable import refused

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def store() -> Iterator[Store]:
    """The sample cohort, derived in the store."""
    with open_store(":memory:") as made:
        load(made, check(read_folder(SAMPLE), Settings()), META)
        derive(made, Settings())
        yield made


@pytest.mark.parametrize(("word", "quarter", "settings"), [
    ("slices:1", "2026Q3", Settings()),
    ("slices:3", "2023Q3", Settings()),  # few people: other rungs, and the frames are cut
    ("slices:1", "2026Q3", Settings(sites_random_from=2)),  # sites drawn at random
    ("slices:1", "2026Q3", Settings(site_overlap_people=1000)),  # sites with slopes of their own
    ("slices:1", "2026Q3", Settings(site_overlap_people=1000, sites_random_from=2)),  # both
    ("sc", "2026Q3", Settings()),
])
def test_results_from_sums_are_those_from_rows(
    word: str, quarter: str, settings: Settings, store: Store, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    place = request.getfixturevalue("address") if word == "sc" else word
    found = from_sums(store, place, tmp_path, settings, quarter)
    assert len(found.rows) > 150 and sum(r.statistic == "mean_term" for r in found.rows) > 20
    assert differing(found, from_rows(frames_of(store), settings, quarter)) == []


def test_a_plan_that_takes_those_who_agreed_is_kept_to(store: Store, tmp_path: Path) -> None:
    """Models of the protocols are of those who agreed to research use; what the cohort can answer is of everybody."""
    text = tomllib.loads((SAMPLE / "plan.toml").read_text(encoding="utf-8"))
    registered = pl.DataFrame([{"plan_no": 1, "registered_at": "2026-10-01", "tests_loaded": 0, "sha256": "x",
                                "changed": "", "plan_text": (SAMPLE / "plan.toml").read_text(encoding="utf-8")}])
    assert read_plan(text)[0].consented_only
    frames = frames_of(store) | {"plans": registered}
    found = from_sums(store, "slices:2", tmp_path, Settings(), "2026Q3", registered)
    assert differing(found, from_rows(frames, Settings(), "2026Q3")) == []
    of = {r.key: r.n for r in found.rows if r.key.endswith("[pressure=mip]")}
    assert of["protocols.fitted.people[pressure=mip]"] < of["common.can_answer.people_in_frame[pressure=mip]"]


def test_terms_that_follow_from_others_are_named_alike(tmp_path: Path) -> None:
    """Generated rows beside the sample hold a site with one protocol: both ways say which terms have no estimate."""
    with cohort(0) as odd:
        derive(odd, Settings())
        found = from_sums(odd, "slices:1", tmp_path, Settings(), "2026Q3")
        assert any("Not identified" in r.text for r in found.rows)
        assert differing(found, from_rows(frames_of(odd), Settings(), "2026Q3")) == []


def asked(store: Store, folder: Path, quarter: str) -> tuple[ResultSet, list[tuple[str, pl.DataFrame]]]:
    """Results from sums, and every SELECT that was run for them with what came home (nothing of a table made there)."""
    ask, make, seen = AtEngine.ask, AtEngine.make, list[tuple[str, pl.DataFrame]]()

    def kept(at: AtEngine, sql: str) -> pl.DataFrame:
        seen.append((sql, ask(at, sql)))
        return seen[-1][1]

    def made(at: AtEngine, name: str, sql: str) -> None:
        make(at, name, sql)
        seen.append((sql, pl.DataFrame()))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(AtEngine, "ask", kept)
        patch.setattr(AtEngine, "make", made)
        return from_sums(store, "slices:1", folder, Settings(), quarter), seen


@pytest.mark.parametrize("quarter", ["2026Q3", "2023Q3"])  # splines; and a logarithm of time, with few people
def test_the_questions_keep_to_the_portable_forms(quarter: str, store: Store, tmp_path: Path) -> None:
    """They are made by Python and read by the same lint as the files in sql/; what it does not know was tried below."""
    _, seen = asked(store, tmp_path, quarter)
    assert len(seen) > 20
    assert {said for sql, _ in seen for said in refused(sql)} == set()


def test_no_answer_holds_a_key_and_a_wrong_sum_would_be_seen(store: Store, tmp_path: Path) -> None:
    """What comes home has no client's key; and results of rows with one test more differ from those of the sums."""
    found, answers = asked(store, tmp_path, "2026Q3")
    keys = set(store.sql("select client_key from settled.clients")["client_key"])
    texts = {v for _, a in answers for c in a.columns if a[c].dtype == pl.String for v in a[c].to_list()}
    assert len(answers) > 50 and len(keys) > 200 and not texts & keys
    frames = frames_of(store)
    less = dict(frames) | {"model": frames["model"].with_row_index().filter(pl.col("index") != 700).drop("index")}
    assert differing(found, from_rows(less, Settings(), "2026Q3"))
