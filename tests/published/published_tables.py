"""Small data sets printed in the literature, and sufficient numbers of one that was not."""

import numpy as np
import polars as pl

# Davies O L, Goldsmith P L (1972), Statistical Methods in Research and Production, 4th ed., table 6.1:
# yield of dyestuff, grams of standard colour, five preparations of each of six batches.
DYESTUFF = {
    "A": [1545, 1440, 1440, 1520, 1580],
    "B": [1540, 1555, 1490, 1560, 1495],
    "C": [1595, 1550, 1605, 1510, 1560],
    "D": [1445, 1440, 1595, 1465, 1545],
    "E": [1595, 1630, 1515, 1635, 1625],
    "F": [1520, 1455, 1450, 1480, 1445],
}
# Box G E P, Tiao G C (1973), Bayesian Inference in Statistical Analysis, table 5.1.4: generated, between-batch
# mean square below the within-batch one, so that the batch variance is zero.
DYESTUFF2 = {
    "A": [7.298, 3.846, 2.434, 9.566, 7.990],
    "B": [5.220, 6.556, 0.608, 11.788, -0.892],
    "C": [0.110, 10.386, 13.434, 5.510, 8.166],
    "D": [2.212, 4.852, 7.092, 9.288, 4.980],
    "E": [0.282, 9.014, 4.458, 9.446, 7.198],
    "F": [1.722, 4.782, 8.106, 0.758, 3.758],
}
# Potthoff R F, Roy S N (1964), Biometrika 51:313-326, table 1: distance from the pituitary to the
# pterygomaxillary fissure, mm, at ages 8, 10, 12 and 14 years; 11 girls (F) and 16 boys (M).
ORTHODONT_MM = {
    "F01": [21.0, 20.0, 21.5, 23.0], "F02": [21.0, 21.5, 24.0, 25.5], "F03": [20.5, 24.0, 24.5, 26.0],
    "F04": [23.5, 24.5, 25.0, 26.5], "F05": [21.5, 23.0, 22.5, 23.5], "F06": [20.0, 21.0, 21.0, 22.5],
    "F07": [21.5, 22.5, 23.0, 25.0], "F08": [23.0, 23.0, 23.5, 24.0], "F09": [20.0, 21.0, 22.0, 21.5],
    "F10": [16.5, 19.0, 19.0, 19.5], "F11": [24.5, 25.0, 28.0, 28.0],
    "M01": [26.0, 25.0, 29.0, 31.0], "M02": [21.5, 22.5, 23.0, 26.5], "M03": [23.0, 22.5, 24.0, 27.5],
    "M04": [25.5, 27.5, 26.5, 27.0], "M05": [20.0, 23.5, 22.5, 26.0], "M06": [24.5, 25.5, 27.0, 28.5],
    "M07": [22.0, 22.0, 24.5, 26.5], "M08": [24.0, 21.5, 24.5, 25.5], "M09": [23.0, 20.5, 31.0, 26.0],
    "M10": [27.5, 28.0, 31.0, 31.5], "M11": [23.0, 23.0, 23.5, 25.0], "M12": [21.5, 23.5, 24.0, 28.0],
    "M13": [17.0, 24.5, 26.0, 29.5], "M14": [22.5, 25.5, 25.5, 26.0], "M15": [23.0, 24.5, 26.0, 30.0],
    "M16": [22.0, 21.5, 23.5, 25.0],
}  # fmt: skip

# Belenky G et al. (2003), J Sleep Res 12:1-12, 3-hour group, days 0 to 9 (reaction time, ms): each subject's own
# straight line. Mean on 4.5 days, slope per day and residual sum of squares are sufficient for any model of
# Reaction ~ Days with a subject line, so the fits need no raw rows.
# R> for each subject: lm(Reaction ~ I(Days - 4.5), lme4::sleepstudy): coef(), deviance()
SLEEP_LINES = {
    "308": (342.13383, 21.7647024242, 18263.1875999),
    "309": (215.23298, 2.26178545455, 630.088661399),
    "310": (231.00127, 6.11489878788, 1214.322275),
    "330": (303.22142, 3.00807272727, 3976.98131678),
    "331": (309.43605, 5.26601878788, 4391.6331903),
    "332": (307.30207, 9.56676787879, 29666.8486975),
    "333": (316.15831, 9.14204545455, 1241.77191296),
    "334": (295.30205, 12.2531412121, 3380.52057022),
    "335": (250.07004, -2.88103393939, 1037.59983413),
    "337": (375.72101, 19.0259739394, 2130.98207171),
    "349": (275.83447, 13.4939327273, 1570.88889457),
    "350": (313.60268, 19.5040169697, 4747.49155353),
    "351": (290.09775, 6.43349757576, 4143.2772622),
    "352": (337.42154, 13.5665490909, 5209.65084723),
    "369": (306.03464, 11.3481090909, 2005.2385481),
    "370": (291.70177, 18.0561509091, 4653.48326356),
    "371": (294.98404, 9.18844484848, 5028.9146261),
    "372": (317.88613, 11.2980733333, 1018.6267733),
}


def batches(table: dict[str, list[float]]) -> pl.DataFrame:
    """Rows Batch, Yield of a table by batch."""
    rows = [(batch, float(y)) for batch, ys in table.items() for y in ys]
    return pl.DataFrame(rows, ["Batch", "Yield"], orient="row")


def orthodont() -> pl.DataFrame:
    """Rows Subject, Sex, age (years), age11 (years from 11), distance (mm); reference Male as in R."""
    rows = [
        (child, "Male" if child[0] == "M" else "Female", age, age - 11.0, distance)
        for child, distances in ORTHODONT_MM.items()
        for age, distance in zip((8.0, 10.0, 12.0, 14.0), distances, strict=True)
    ]
    frame = pl.DataFrame(rows, ["Subject", "Sex", "age", "age11", "distance"], orient="row")
    return frame.with_columns(pl.col("Sex").cast(pl.Enum(["Male", "Female"])))


def sleep_lines() -> pl.DataFrame:
    """Rows Subject, Days, Reaction (ms) with the published sums: each line plus a bow of the stated size.

    The bow (a centred quadratic in Days) is orthogonal to 1 and Days; the single days are not the measured ones.
    """
    days = np.arange(10.0)
    bow = (days - 4.5) ** 2 - 8.25
    bow /= np.sqrt(bow @ bow)
    parts = [
        pl.DataFrame({"Subject": subject, "Days": days, "Reaction": mean + slope * (days - 4.5) + bow * np.sqrt(rss)})
        for subject, (mean, slope, rss) in SLEEP_LINES.items()
    ]
    return pl.concat(parts)
