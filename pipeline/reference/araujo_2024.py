"""Araújo and colleagues 2024: MIP and MEP of healthy adults in three Brazilian cities."""

from types import MappingProxyType

from pipeline.reference.equation import Equation, given, within

AGES_YEARS = (20.0, 80.0)
CITATION = (
    "Araújo PRS, Fonseca JDM, Marcelino AA, et al. Reference values for respiratory muscle strength and maximal "
    "voluntary ventilation in the Brazilian adult population: a multicentric study. PLoS ONE 2024;19(11):e0313209"
)
DOI = "10.1371/journal.pone.0313209"


def _known(age_years: float | None) -> bool:
    return within(age_years, AGES_YEARS) and given(age_years)


def predict_mip(
    sex: str | None, age_years: float | None, height_cm: float | None, weight_kg: float | None
) -> float | None:
    """Predict MIP of a healthy adult, in cmH2O. Ages 20-80; outside them None. Height and weight play no part.

    Printed: men 137 − 0.57·age, SEE 26.11 (111 men); women 107.3 − 0.4·age, SEE 16.10 (132 women).
    Source: PLoS ONE 2024;19(11):e0313209, abstract.
    """
    if age_years is None or not _known(age_years):
        return None
    return {"male": 137 - 0.57 * age_years, "female": 107.3 - 0.4 * age_years}.get(sex or "")


def predict_mep(
    sex: str | None, age_years: float | None, height_cm: float | None, weight_kg: float | None
) -> float | None:
    """Predict MEP of a healthy adult, in cmH2O. Ages 20-80; outside them None. Height and weight play no part.

    Printed: men 179.9 − 0.67·age, SEE 38.54 (111 men); women 127.4 − 0.43·age, SEE 24.09 (132 women).
    Source: PLoS ONE 2024;19(11):e0313209, abstract.
    """
    if age_years is None or not _known(age_years):
        return None
    return {"male": 179.9 - 0.67 * age_years, "female": 127.4 - 0.43 * age_years}.get(sex or "")


MIP = Equation(
    id="araujo_2024_mip",
    pressure="mip",
    citation=CITATION,
    doi=DOI,
    ages_years=AGES_YEARS,
    predict=predict_mip,
    see_cmh2o=MappingProxyType({"female": 16.10, "male": 26.11}),
)
MEP = Equation(
    id="araujo_2024_mep",
    pressure="mep",
    citation=CITATION,
    doi=DOI,
    ages_years=AGES_YEARS,
    predict=predict_mep,
    see_cmh2o=MappingProxyType({"female": 24.09, "male": 38.54}),
)
