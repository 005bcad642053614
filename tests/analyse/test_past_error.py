"""Shares past measurement error: zones on made-up people, the floor by chance, quantiles of true gains."""

import numpy as np
import polars as pl
import pytest

from pipeline.analyse.common import Section
from pipeline.analyse.effects import MeasurementError, TrueGains, measurement_error
from pipeline.analyse.fits import PressureModels
from pipeline.analyse.past_error import _zones, by_chance_pct
from pipeline.settings import Settings

ERROR = MeasurementError(8.0, None, None, "test")


def test_zones_split_at_the_change_beyond_error_and_add_up():
    section = Section("quarter", "past_error")
    _zones(section, pl.DataFrame({"gain12_cmh2o": [25.0, 22.2, 5.0, -5.0, -30.0]}), 22.17, "pressure=mip")
    found = {r.group.split("zone=")[1]: (r.hits, r.n) for r in section.rows if r.statistic == "zone"}
    assert found == {"up": (2, 5), "within": (2, 5), "down": (1, 5)}
    assert section.sums[0].total == "quarter.gains.raw_gain_cmh2o[pressure=mip]@12"


def test_error_alone_puts_two_and_a_half_percent_past_its_own_limit():
    assert by_chance_pct(ERROR.sdc95, ERROR, np.empty(0), 50, 1.0) == pytest.approx(2.5, abs=0.01)


@pytest.mark.parametrize(("rise", "share_pct"), [(5.0, 6.4), (9.0, 12.2), (13.0, 20.9)])
def test_learning_raises_the_floor(rise, share_pct):
    """Normal tail of 22.2 cmH2O less the learning over the error of a difference, 11.3 cmH2O; all people first-ever."""
    assert by_chance_pct(ERROR.sdc95, ERROR, np.full(40, rise), 40, 1.0) == pytest.approx(share_pct, abs=0.1)


def test_only_first_ever_people_learn():
    none, half, full = (by_chance_pct(17.0, ERROR, np.full(20, 9.0), 40, share) for share in (0.0, 0.5, 1.0))
    everybody = by_chance_pct(17.0, ERROR, np.full(40, 9.0), 40, 1.0)
    assert none < half < full
    assert full - none == pytest.approx((everybody - none) / 2)


def test_quantiles_of_true_gains_are_those_of_the_mixture():
    one = TrueGains(("a",), np.array([10.0]), np.array([2.0]))
    assert one.quantile(0.975) == pytest.approx(10 + 1.96 * 2, abs=0.01)
    two = TrueGains(("a", "b"), np.array([0.0, 100.0]), np.array([1.0, 1.0]))
    assert two.quantile(0.25) == pytest.approx(0.0, abs=0.01)
    assert two.past(50.0) == pytest.approx([0.0, 1.0])


def test_without_a_model_the_published_error_stands():
    empty = PressureModels("mep", pl.DataFrame(), None)
    found = measurement_error(empty, Settings())
    assert (found.sem, found.low) == (12.0, None)
    assert "published" in found.source


def test_shares_of_the_sample_lie_above_the_floor_and_hold_the_truth(by_key):
    """12-week gains with true effects: more people past the limit than error and learning give."""
    share = by_key["quarter.past_error.expected_past_sdc_pct[pressure=mip]@12"]
    floor = by_key["quarter.past_error.by_chance_pct[pressure=mip;learning=full]@12"]
    assert floor.value < share.value < by_key["quarter.past_error.zone[pressure=mip;zone=up]@12"].high
