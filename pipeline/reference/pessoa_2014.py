"""Pessoa and colleagues 2014: MIP of healthy adults in Belo Horizonte. Switched off (see ``status``)."""

from pipeline.reference.equation import Equation, given, within

AGES_YEARS = (20.0, 89.0)


def predict(sex: str | None, age_years: float | None, height_cm: float | None, weight_kg: float | None) -> float | None:
    """Predict MIP of a healthy adult, in cmH2O. Ages 20-89; outside them None. No SEE read, so no lower limit.

    Printed: 63.27 − 0.55·age + 17.96·gender + 0.58·weight (kg), R² 34 %, 74 women and 60 men; the abstract does
    not say how gender is coded (male 1, female 0 assumed). The MEP equation is left out: its 0.03·age² is printed
    to one digit, worth ±25 cmH2O at 70 years. Source: Braz J Phys Ther 2014;18:410-8, abstract.
    """
    if age_years is None or weight_kg is None or not within(age_years, AGES_YEARS) or not given(weight_kg):
        return None
    male = {"male": 1, "female": 0}.get(sex or "")
    return None if male is None else 63.27 - 0.55 * age_years + 17.96 * male + 0.58 * weight_kg


MIP = Equation(
    id="pessoa_2014_mip",
    pressure="mip",
    citation="Pessoa IMBS, Houri Neto M, Montemezzo D, et al. Predictive equations for respiratory muscle strength "
    "according to international and Brazilian guidelines. Braz J Phys Ther 2014;18:410-8",
    doi=None,
    ages_years=AGES_YEARS,
    predict=predict,
    status="off: coefficients confirmed, coding of sex assumed, no SEE read",
)
