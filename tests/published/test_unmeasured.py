"""The robustness value against the worked example of the paper that defines it, and against its own equation."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.stats.unmeasured import robustness


def test_darfur():
    # Cinelli and Hazlett 2020, J R Stat Soc B 82:39-67, harm in Darfur and attitudes: 0.09731582 with SE 0.02325654 on
    # 783 degrees of freedom. Values: the public tests of the authors' R package sensemakr ("test-02-darfur.R"); the
    # paper prints them as 2.2 %, 13.9 % and 7.6 %.
    found = robustness(0.09731582 / 0.02325654, 783)
    assert found.partial_r2 == pytest.approx(0.02187309, rel=1e-5)
    assert found.to_nothing == pytest.approx(0.1387764, rel=1e-5)
    assert found.to_doubt == pytest.approx(0.07625797, rel=1e-5)


def test_darfur_as_it_is_quoted():
    # t 4.18 and the rounded percentages: from memory.
    found = robustness(4.18, 783)
    shares = (found.partial_r2, found.to_nothing, found.to_doubt)
    assert [round(100 * share, 1) for share in shares] == [2.2, 13.9, 7.6]


def test_the_formula_as_it_is_printed():
    f = 2.5 / math.sqrt(40)
    assert robustness(2.5, 40).to_nothing == pytest.approx((math.sqrt(f**4 + 4 * f**2) - f**2) / 2, rel=1e-14)


@given(t=st.floats(1e-3, 50), df=st.floats(1.5, 1e6))
def test_an_unmeasured_cause_of_that_strength_takes_the_estimate_to_nothing(t, df):
    # The bias that a cause with partial R2 of r in outcome and term puts on an estimate is SE sqrt(df r^2 / (1 - r))
    # (equation 9 of the same paper): at the robustness value it is the estimate itself.
    found = robustness(t, df)
    r = found.to_nothing
    assert 0 < r < 1
    assert math.sqrt(df * r * r / (1 - r)) == pytest.approx(t, rel=1e-6)
    assert 0 <= found.to_doubt <= r
    assert robustness(-t, df) == found


def test_doubt_is_nothing_where_the_interval_holds_zero():
    assert robustness(1.9, 60).to_doubt == 0.0
    assert robustness(0.0, 60).to_nothing == 0.0
    with pytest.raises(ValueError, match="df"):
        robustness(2.0, 1.0)
