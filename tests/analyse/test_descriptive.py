"""People, flow, missing outcomes and quarters, on the sample and on rows made by hand."""

from datetime import date

import polars as pl
import pytest

from pipeline.analyse.common import mean_interval, periods
from pipeline.analyse.effects import twelve_week_gains
from pipeline.analyse.people import with_exits
from pipeline.analyse.protocol_setting import smd_of_means, smd_of_shares
from pipeline.identity.quarters import label_of, number_of
from pipeline.settings import Settings


def test_quarters_count_through_the_turn_of_a_year():
    assert label_of(number_of("2026Q1") - 1) == "2025Q4"
    assert periods("2026Q1")["last4"] == ["2025Q2", "2025Q3", "2025Q4", "2026Q1"]


def test_mean_interval_is_students():
    """Extra sleep with the second drug, hours, Student 1908 (Biometrika 6:1-25): mean 2.33; by hand 2.33 -+ 2.262 x
    2.002 / sqrt(10) = 0.898 to 3.762."""
    extra = pl.Series([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]).to_numpy()
    assert mean_interval(extra) == pytest.approx((0.8977, 3.7623), abs=1e-3)


def test_people_leave_at_the_first_step_they_miss():
    people = pl.DataFrame({
        "client_key": ["a", "b", "c", "d", "e"],
        "week0_on": [date(2026, 1, 1)] * 3 + [date(2026, 9, 1), date(2026, 1, 1)],
        "is_open": [False, False, False, True, False], "last_on": [date(2026, 9, 30)] * 5,
        "no_gain_reason": ["no_baseline", "no_later_test", None, None, None],
        "baseline_cmh2o": [None, 60.0, 60.0, 60.0, 60.0], "gain_last_cmh2o": [None, None, 5.0, 5.0, 5.0],
        "gain12_cmh2o": [None, None, None, None, 5.0], "dose_at12": [None, None, None, None, 0.7],
    })  # fmt: skip
    found = with_exits(people, Settings())
    assert found["exit_step"].to_list() == ["baseline", "retested", "window12", "window12", None]
    assert found["exit_reason"].to_list() == [
        "no_baseline", "no_later_test", "no comparable test in the 12-week window", "12 weeks not reached yet", None,
    ]  # fmt: skip


def test_flow_of_the_sample_ends_with_the_people_of_the_gains(by_key, frames):
    for pressure in ("mip", "mep"):
        stay = by_key[f"quarter.counted.stay[pressure={pressure};step=window12]@4"]
        assert stay.n == twelve_week_gains(frames, pressure).height
        assert by_key[f"quarter.gains.raw_gain_cmh2o[pressure={pressure}]@12"].n == stay.n


def test_standardised_differences():
    assert smd_of_means(pl.Series([1.0, 2.0, 3.0]), pl.Series([3.0, 4.0, 5.0])) == pytest.approx(2.0)
    assert smd_of_shares(0.5, 0.3) == pytest.approx(0.2 / ((0.25 + 0.21) / 2) ** 0.5)
    assert smd_of_means(pl.Series([1.0, 1.0]), pl.Series([1.0, 1.0])) is None


def test_protocol_differences_of_the_sample_hold_holms_order(by_key):
    family = [r for k, r in by_key.items() if k.startswith("protocols.difference.p_holm[pressure=mip")]
    raw = [by_key[r.key.replace("p_holm", "p_value")] for r in family]
    assert len(family) == by_key["protocols.difference.family_size[pressure=mip]"].value
    assert all(h.value >= p.value for h, p in zip(family, raw, strict=True))


def test_no_answer_no_numbers(frames):
    """A cohort that the gate turns away gets a sentence in the place of its contrasts."""
    from pipeline.analyse import fit_models
    from pipeline.analyse.protocol_models import difference, dose_response

    keys = sorted(frames["courses"]["client_key"].unique().to_list())[:50]
    few = {n: f.filter(pl.col("client_key").is_in(keys)) if "client_key" in f.columns else f for n, f in frames.items()}
    models = fit_models(few, Settings())
    assert {r.statistic for r in difference(models, Settings()).rows} == {"state"}
    assert {r.statistic for r in dose_response(models).rows} == {"state"}
