"""Funnels of sites: only from ten sites of more than ten people, exact limits, additive spread, and no rank."""

import numpy as np
import polars as pl
import pytest

from pipeline.analyse.common import Section
from pipeline.analyse.funnels import GAIN, SHARE, chance_of_one, funnels, mean_gain
from pipeline.analyse.funnels import tests_done as done_tests
from pipeline.settings import Settings
from pipeline.stats.funnel import funnel_limits


def cohort(sites, *, shift=0.0, done=0.6, due=40, seed=3):
    """Frames with so many sites; the gains of site-00 are shifted, the tests done of every other one are `done`."""
    rng = np.random.default_rng(seed)
    rows, first = [], []
    for s in range(sites):
        for i in range(30):
            who = {"client_key": f"c{s:02}-{i:03}", "course_no": 1}
            first.append(who | {"is_primary": True, "sex": "male", "condition_group": "copd", "age_years": 60})
            rows.append(who | {"pressure": "mip", "site": f"site-{s:02}",
                               "gain12_cmh2o": float(rng.normal(12 + (shift if s == 0 else 0), 10))})
    items = [{"site": f"site-{s:02}", "item": "12_week_mip", "quarter": "2026Q1", "expected": due,
              "filled": round(due * done)} for s in range(sites)]
    return {"gains": pl.DataFrame(rows), "courses": pl.DataFrame(first), "completeness": pl.DataFrame(items)}


def made(frames, expected=None):
    section = Section("quarter", "sites")
    funnels(section, frames, expected or {}, Settings())
    return {r.key.removeprefix("quarter.sites."): r for r in section.rows}


def test_below_ten_sites_there_is_a_table_and_no_point():
    found = made(cohort(9))
    assert found[f"funnel_sites[measure={SHARE}]"].text == found[f"funnel_sites[measure={GAIN}]"].text == "table"
    assert not [k for k in found if k.startswith("funnel_point")]


def test_from_ten_sites_the_limits_of_a_share_are_exact():
    found = made(cohort(10))
    low, high = funnel_limits(0.6, 40)
    line = next(r for k, r in found.items() if k.startswith(f"funnel_limits[measure={SHARE};level=0.95]@"))
    assert (line.low, line.high) == pytest.approx([100 * v for v in funnel_limits(0.6, int(line.at))])
    assert line.low < 100 * low < 60 < 100 * high < line.high  # fewer people than any site: wider
    assert "exact binomial" in line.method
    assert found[f"funnel_point[measure={SHARE};site=site-03]"].text == "inside"
    assert all(r.klass == "client" for k, r in found.items() if "site=" in k)


def test_one_site_far_off_is_found_and_the_many_are_not():
    found = made(cohort(12, shift=30.0))
    assert found[f"funnel_point[measure={GAIN};site=site-00]"].text == "outside 99.8 %"
    others = [found[f"funnel_point[measure={GAIN};site=site-{s:02}]"].text for s in range(1, 12)]
    assert others.count("outside 99.8 %") == 0


def test_sites_that_differ_beyond_chance_widen_the_limits():
    frames = cohort(12)
    apart = frames["gains"].with_columns(
        gain12_cmh2o=pl.col("gain12_cmh2o") + 8.0 * (pl.col("site").str.slice(5).cast(pl.Int32) % 2))
    calm, wild = (made(frames | {"gains": g})[f"funnel_limits[measure={GAIN};level=0.95]@36"]
                  for g in (frames["gains"], apart))
    assert wild.high - wild.low > 1.5 * (calm.high - calm.low) and "additive" in wild.method


def test_what_the_model_expects_of_a_sites_people_is_taken_off():
    frames = cohort(10, shift=30.0)
    expected = {f"site-{s:02}": 42.0 if s == 0 else 12.0 for s in range(10)}
    assert made(frames, expected)[f"funnel_point[measure={GAIN};site=site-00]"].text == "inside"


def test_sites_of_ten_people_are_not_drawn():
    frames = cohort(10, due=10)
    assert done_tests(frames, 11) is None
    assert mean_gain(frames, {}, 31) is None and len(mean_gain(frames, {}, 30).points) == 10


def test_the_chance_of_one_outside_is_that_of_the_books():
    # ten stable sites: 40 % that one lies outside 95 %, 2 % outside 99.8 %
    assert (chance_of_one(10, 0.95), chance_of_one(10, 0.998)) == pytest.approx((40.1, 1.98), abs=0.05)
