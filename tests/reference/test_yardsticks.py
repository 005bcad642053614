"""Sham arms, pooled effects and the learning curve: the printed figures, and saying "none held"."""

import pytest

from pipeline.reference.learning import LARSON_1993, learned_between_cmh2o, learned_cmh2o
from pipeline.reference.pooled import POOLED_EFFECTS, pooled_effects
from pipeline.reference.sham_arms import SHAM_ARMS, sham_range, sham_range_any


def test_sham_ranges_by_pressure_and_population():
    # Hill 2006: 66.5 -> 71.7. del Corral 2022: MIP 85.2 -> 98.6 and 91.4 -> 104.1, MEP 104.9 -> 116.0, 109.1 -> 127.1.
    copd, viral, mep = sham_range("mip", "copd"), sham_range("mip", "post_viral"), sham_range("mep", "post_viral")
    assert (copd.low_cmh2o, copd.high_cmh2o, copd.weeks) == (5.2, 5.2, 8)
    assert (viral.low_cmh2o, viral.high_cmh2o) == (12.7, 13.4)
    assert (mep.low_cmh2o, mep.high_cmh2o) == (11.1, 18.0)
    assert sham_range_any("mip") == (5.2, 13.4) and sham_range_any("mep") == (11.1, 18.0)


@pytest.mark.parametrize("group", ["stroke", "neuromuscular", "post_intensive_care", "unknown"])
def test_no_range_is_borrowed_from_another_population(group):
    assert sham_range("mip", group) is None and sham_range("mep", group) is None
    assert sham_range("mep", "copd") is None


def test_every_sham_arm_has_a_source_and_inferred_n_is_marked():
    assert all(arm.doi and arm.citation for arm in SHAM_ARMS)
    assert all(arm.n_note for arm in SHAM_ARMS if "del Corral" in arm.citation)


@pytest.mark.parametrize(
    "row", POOLED_EFFECTS, ids=lambda row: f"{row.condition_group}-{row.pressure}-{row.value_cmh2o}"
)
def test_pooled_values_lie_at_the_middle_of_their_interval(row):
    # A check of transcription. Tolerance: half the last printed digit of the three figures together, or 1 cmH2O where
    # the paper rounds to whole numbers (Vorona 2018: 6 (5 to 8), 9 (7 to 12)).
    if row.low_cmh2o is not None:
        whole = all(value == int(value) for value in (row.value_cmh2o, row.low_cmh2o, row.high_cmh2o))
        middle = (row.low_cmh2o + row.high_cmh2o) / 2
        assert row.value_cmh2o == pytest.approx(middle, abs=1.0 if whole else 0.1)


def test_pooled_rows_by_group():
    assert [row.value_cmh2o for row in pooled_effects("mep", "stroke")] == [13.0]
    assert pooled_effects("mip", "athlete") == ()


def test_the_learning_curve_goes_through_both_printed_rises():
    # Larson 1993, Chest 104:448-53: test 1 to 4 +9, test 3 to 4 +2 cmH2O, printed as whole numbers.
    assert learned_cmh2o(1) == 0
    assert learned_cmh2o(4) == pytest.approx(LARSON_1993.rise_1_to_4_cmh2o, abs=0.05)
    assert learned_between_cmh2o(3, 4) == pytest.approx(LARSON_1993.rise_3_to_4_cmh2o, abs=0.05)
    assert learned_cmh2o(50) == pytest.approx(13.6, abs=0.001)


def test_there_is_no_test_number_zero():
    with pytest.raises(ValueError):
        learned_cmh2o(0)
