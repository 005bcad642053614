"""What a number lets one conclude: the three things, by hand."""

import pytest

from pipeline.analyse.choice import DIFFERENCE, DOSE, GAIN, Target
from pipeline.analyse.conclusions import changes, conclusion, worthwhile
from pipeline.settings import Settings
from pipeline.stats import Contrast

NAN = float("nan")


def at(estimate, low, high):
    return Contrast(estimate, 1.0, 50.0, low, high, NAN, NAN)


MAIN = at(5.0, 1.0, 9.0)


@pytest.mark.parametrize(("now", "said"), [
    (at(4.0, 0.5, 8.0), []),
    (at(4.0, -0.5, 8.0), ["the interval holds 0"]),
    (at(-1.0, -5.0, 3.0), ["the sign turns", "the interval holds 0"]),
    (at(-5.0, -9.0, -1.0), ["the sign turns"]),
    (at(6.5, 2.0, 11.0), ["the estimate reaches the smallest worthwhile one"]),
])  # fmt: skip
def test_what_changes(now, said):
    assert changes(now, MAIN, 6.0) == said


def test_the_other_way_round():
    assert changes(MAIN, at(6.5, -1.0, 14.0), 6.0) == [
        "the interval leaves 0 out", "the estimate falls under the smallest worthwhile one"]  # fmt: skip


def test_an_end_at_0_holds_0():
    assert changes(at(4.0, 0.0, 8.0), MAIN, None) == ["the interval holds 0"]


def test_without_a_number_nothing_is_concluded():
    assert changes(at(NAN, NAN, NAN), MAIN, 6.0) == []


def test_in_words():
    assert conclusion(MAIN, 6.0) == ("the estimate is above 0 and its interval leaves 0 out; it is smaller than the "
                                     "smallest worthwhile one")
    assert conclusion(at(-7.0, -15.0, 1.0), 6.0) == ("the estimate is below 0 and its interval holds 0; it is at least "
                                                     "the smallest worthwhile one")
    assert conclusion(MAIN, None) == "the estimate is above 0 and its interval leaves 0 out"


def test_worthwhile_sizes_come_from_the_settings():
    settings = Settings(mip_worthwhile_cmh2o=13.5, mep_worthwhile_cmh2o=0.0, widest_per_10_points_cmh2o=2.0)
    assert worthwhile(Target(DIFFERENCE, "a", "b"), "mip", settings) == 13.5
    assert worthwhile(Target(DIFFERENCE, "a", "b"), "mep", settings) is None  # none is set
    assert worthwhile(Target(DOSE), "mip", settings) == 2.0
    assert worthwhile(Target(GAIN), "mip", settings) is None
