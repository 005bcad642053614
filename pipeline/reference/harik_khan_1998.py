"""Harik-Khan, Wise and Fozard 1998: MIP of healthy adults, Baltimore Longitudinal Study of Aging."""

from types import MappingProxyType

from pipeline.reference.equation import Equation, given, within

AGES_YEARS = (20.0, 90.0)


def predict(sex: str | None, age_years: float | None, height_cm: float | None, weight_kg: float | None) -> float | None:
    """Predict MIP of a healthy adult, in cmH2O (positive magnitude). Ages 20-90; outside them None.

    Printed: men 126 − 1.028·age + 0.343·weight, SEE 22.4 (139 men); women 171 − 0.694·age + 0.861·weight −
    0.743·height, SEE 18.5 (128 women). Weight in kg, height in cm. An age of 90 may stand for "90 or over".
    Source: Am J Respir Crit Care Med 1998;158:1459-64, abstract.
    """
    if age_years is None or weight_kg is None or not within(age_years, AGES_YEARS) or not given(weight_kg):
        return None
    if sex == "male":
        return 126 - 1.028 * age_years + 0.343 * weight_kg
    if sex == "female" and height_cm is not None and given(height_cm):
        return 171 - 0.694 * age_years + 0.861 * weight_kg - 0.743 * height_cm
    return None


MIP = Equation(
    id="harik_khan_1998_mip",
    pressure="mip",
    citation="Harik-Khan RI, Wise RA, Fozard JL. Determinants of maximal inspiratory pressure. The Baltimore "
    "Longitudinal Study of Aging. Am J Respir Crit Care Med 1998;158:1459-64",
    doi="10.1164/ajrccm.158.5.9712006",
    ages_years=AGES_YEARS,
    predict=predict,
    see_cmh2o=MappingProxyType({"female": 18.5, "male": 22.4}),
)
