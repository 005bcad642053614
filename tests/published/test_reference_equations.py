"""Prediction equations against the printed coefficients, means and worked examples.

Two kinds of check: worked examples (arithmetic by hand from the printed coefficients; they test the code) and
self-checks (published group means must come back at a plausible age and size; they test the coefficients).
"""

import pytest

from pipeline.reference import araujo_2024, harik_khan_1998, pessoa_2014

PEOPLE = {  # sex, age in years, height in cm, weight in kg
    "man 30": ("male", 30, 178, 78),
    "woman 45": ("female", 45, 165, 65),
    "man 70": ("male", 70, 172, 80),
    "woman 72": ("female", 72, 160, 66),
}
# By hand: man 30 of Harik-Khan = 126 - 1.028*30 + 0.343*78 = 121.914; LLN = 121.914 - 1.645*22.4 = 85.066.
# Sources of the coefficients: Harik-Khan 1998, Am J Respir Crit Care Med 158:1459-64, abstract (PubMed 9817693);
# Araujo 2024, PLoS ONE 19(11):e0313209, abstract; Pessoa 2014, Braz J Phys Ther 18:410-8, abstract.
EXAMPLES = [
    (harik_khan_1998.MIP, "man 30", 121.914, 85.066),
    (harik_khan_1998.MIP, "woman 45", 73.140, 42.708),
    (harik_khan_1998.MIP, "man 70", 81.480, 44.632),
    (harik_khan_1998.MIP, "woman 72", 58.978, 28.546),
    (araujo_2024.MIP, "man 30", 119.90, 76.95),
    (araujo_2024.MIP, "woman 45", 89.30, 62.82),
    (araujo_2024.MIP, "man 70", 97.10, 54.15),
    (araujo_2024.MIP, "woman 72", 78.50, 52.02),
    (araujo_2024.MEP, "man 30", 159.80, 96.40),
    (araujo_2024.MEP, "woman 45", 108.05, 68.42),
    (araujo_2024.MEP, "man 70", 133.00, 69.60),
    (araujo_2024.MEP, "woman 72", 96.44, 56.81),
]


@pytest.mark.parametrize(("equation", "person", "predicted", "lower"), EXAMPLES)
def test_worked_examples(equation, person, predicted, lower):
    value = equation.predict(*PEOPLE[person])
    assert value == pytest.approx(predicted, abs=0.0005)  # printed to 3 decimals at most
    assert equation.lower_limit_cmh2o(PEOPLE[person][0], value) == pytest.approx(lower, abs=0.005)  # 2 decimals


@pytest.mark.parametrize(
    ("person", "predicted"), [("man 30", 109.970), ("woman 45", 76.220), ("man 70", 89.130), ("woman 72", 61.950)]
)
def test_pessoa_examples_and_no_lower_limit(person, predicted):
    value = pessoa_2014.MIP.predict(*PEOPLE[person])
    assert value == pytest.approx(predicted, abs=0.0005)
    assert pessoa_2014.MIP.lower_limit_cmh2o(PEOPLE[person][0], value) is None


@pytest.mark.parametrize(
    ("predict", "sex", "group_mean"),
    [  # means of the abstract: men MIP 111.0, MEP 149.6; women MIP 87.9, MEP 106.7
        (araujo_2024.predict_mip, "male", 111.0),
        (araujo_2024.predict_mep, "male", 149.6),
        (araujo_2024.predict_mip, "female", 87.9),
        (araujo_2024.predict_mep, "female", 106.7),
    ],
)
def test_araujo_means_come_back_at_one_mean_age_by_sex(predict, sex, group_mean):
    # A line through the means: the age at which it gives the group mean is the group's mean age. MIP and MEP of one
    # sex were measured in the same people, so both must name the same age: (137-111.0)/0.57 = 45.6 and
    # (179.9-149.6)/0.67 = 45.2 for men, 48.5 and 48.1 for women. Tolerance: one year, from rounded coefficients.
    mean_age = {"male": 45.4, "female": 48.3}[sex]
    slope = predict(sex, 41, None, None) - predict(sex, 40, None, None)
    age = 40 + (group_mean - predict(sex, 40, None, None)) / slope
    assert age == pytest.approx(mean_age, abs=1.0)


@pytest.mark.parametrize(("sex", "printed_mean", "height", "weight"), [("male", 101, 177, 82), ("female", 72, 164, 66)])
def test_harik_khan_means_come_back_in_middle_life(sex, printed_mean, height, weight):
    # Abstract: mean MIP 101 (men) and 72 (women) at ages 20-90. At usual sizes the equation gives that mean between
    # 45 and 60 years, the middle of the sample's range; a transposed coefficient or pounds for kilograms would not.
    assert harik_khan_1998.predict(sex, 45, height, weight) >= printed_mean
    assert harik_khan_1998.predict(sex, 60, height, weight) <= printed_mean
