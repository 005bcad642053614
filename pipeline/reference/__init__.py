"""Published knowledge, pure: prediction equations, unit factors, sham arms, pooled effects, learning.

``EQUATIONS`` are on by default: coefficients and SEE read in the source. ``SWITCHED_OFF`` are used only when a
person asks for them by id. A new equation is one file and one line here; it adds rows, never columns.
"""

from collections.abc import Iterable

import polars as pl

from pipeline.reference import araujo_2024, harik_khan_1998, pessoa_2014
from pipeline.reference.equation import Equation

EQUATIONS: tuple[Equation, ...] = (harik_khan_1998.MIP, araujo_2024.MIP, araujo_2024.MEP)
SWITCHED_OFF: tuple[Equation, ...] = (pessoa_2014.MIP,)

PREDICTION_COLUMNS = {
    "client_key": pl.String,
    "equation": pl.String,
    "pressure": pl.String,
    "predicted_cmh2o": pl.Float64,
    "lower_limit_cmh2o": pl.Float64,
    "see_cmh2o": pl.Float64,
}
_INPUTS = ("client_key", "sex", "age_years", "height_cm", "weight_kg")


def predictions(clients: pl.DataFrame, equations: Iterable[Equation] = EQUATIONS) -> pl.DataFrame:
    """Predict each client's pressures: one row per client and equation that applies, sorted by both.

    clients: client_key, sex, age_years, height_cm, weight_kg, one row a client. A client whom an equation does not
    cover (age, sex, missing input) has no row for it. Values in cmH2O; lower_limit_cmh2o and see_cmh2o are null
    where the equation has no SEE. Raises polars' ColumnNotFoundError if an input column is absent.
    """
    rows: list[tuple[str, str, str, float, float | None, float | None]] = []
    ordered = sorted(equations, key=lambda equation: equation.id)
    for client_key, sex, age, height, weight in clients.select(_INPUTS).sort("client_key").iter_rows():
        for equation in ordered:
            predicted = equation.predict(sex, age, height, weight)
            if predicted is not None:
                see = equation.see_cmh2o.get(sex or "")
                low = equation.lower_limit_cmh2o(sex, predicted)
                rows.append((client_key, equation.id, equation.pressure, predicted, low, see))
    return pl.DataFrame(rows, schema=PREDICTION_COLUMNS, orient="row")
