"""How much repeated testing alone raises MIP: Larson 1993, and the fixed curve drawn through it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class LearningStudy:
    """Rise of MIP over weekly tests without training, in cmH2O. ``r_3_to_4`` is a test-retest correlation."""

    citation: str
    doi: str
    condition_group: str
    n: int
    rise_1_to_4_cmh2o: float
    rise_1_to_4_sd_cmh2o: float
    rise_3_to_4_cmh2o: float
    r_3_to_4: float
    difference_3_to_4_ci_cmh2o: tuple[float, float]


LARSON_1993 = LearningStudy(
    citation="Larson JL, et al. Maximal inspiratory pressure. Learning effect and test-retest reliability in patients "
    "with chronic obstructive pulmonary disease. Chest 1993;104:448-53 (abstract)",
    doi="10.1378/chest.104.2.448",
    condition_group="copd",
    n=91,
    rise_1_to_4_cmh2o=9.0,
    rise_1_to_4_sd_cmh2o=10.0,
    rise_3_to_4_cmh2o=2.0,
    r_3_to_4=0.97,
    difference_3_to_4_ci_cmh2o=(3.0, 5.0),
)

FULL_RISE_CMH2O = 13.6
STILL_TO_LEARN = 0.696
"""Share of what is still to be learned that remains after one more test. Our own fit of a geometric curve to two
printed numbers (test 1 to 4: +9, test 3 to 4: +2); not a published curve."""


def learned_cmh2o(test_no: int) -> float:
    """Rise by learning alone from a person's first-ever MIP test to test ``test_no`` (1, 2, ...), in cmH2O.

    13.6·(1 − 0.696^(test_no − 1)): 0 at the first test, 9.0 at the fourth. Source: LARSON_1993, fitted by us; naive
    people with COPD, weekly tests. Raises ValueError below 1. None is held for MEP.
    """
    if test_no < 1:
        raise ValueError("test_no: expected 1 or more")
    return FULL_RISE_CMH2O * (1 - STILL_TO_LEARN ** (test_no - 1))


def learned_between_cmh2o(from_test_no: int, to_test_no: int) -> float:
    """Rise by learning alone between two of a person's tests, counted from the first-ever one, in cmH2O."""
    return learned_cmh2o(to_test_no) - learned_cmh2o(from_test_no)
