"""The frame of each reference fit in mixed/: from a printed table, from a wheel of the lock, or from the R data."""

from pathlib import Path

import polars as pl
import pytest
import statsmodels
from polars import col

from tests.published import published_tables
from tests.published.r_data import r_frame

RESULTS = Path(statsmodels.__file__).parent / "regression" / "tests" / "results"


def wheel_csv(name: str) -> pl.DataFrame:
    """A CSV file of the tests inside the statsmodels wheel (BSD-3); skips when a later wheel leaves them out."""
    path = RESULTS / name
    if not path.exists():
        pytest.skip(f"this statsmodels ships no {name}")
    header, first, *_ = path.read_text().splitlines()
    names = [name.strip('"') for name in header.split(",")]
    unnamed = ["row"] * (first.count(",") + 1 - len(names))  # R leaves the row names without a heading
    return pl.read_csv(path, has_header=False, skip_rows=1, new_columns=unnamed + names, null_values=["NA", ""])


def _cell(*names: str) -> pl.Expr:
    return pl.concat_str([col(name).cast(pl.String) for name in names], separator="_")


def _dietox() -> pl.DataFrame:
    return wheel_csv("dietox.csv").with_columns(col("Pig", "Litter", "Cu", "Evit").cast(pl.String))


def _math_achieve() -> pl.DataFrame:
    frame = r_frame("nlme::MathAchieve").with_columns(mses=col("SES").mean().over("School"))
    return frame.with_columns(cses=col("SES") - col("mses"))


def _oats() -> pl.DataFrame:
    return r_frame("nlme::Oats").with_columns(plot=_cell("Block", "Variety"), dose=col("nitro").cast(pl.String))


def _pixel() -> pl.DataFrame:
    return r_frame("nlme::Pixel").with_columns(side=_cell("Dog", "Side"), day2=col("day") ** 2)


def _wafer() -> pl.DataFrame:
    return r_frame("nlme::Wafer").with_columns(place=_cell("Wafer", "Site"), voltage2=col("voltage") ** 2)


def _anorexia() -> pl.DataFrame:
    wide = r_frame("MASS::anorexia").with_row_index("client")
    arm = col("Treat").cast(pl.String).cast(pl.Enum(["Cont", "CBT", "FT"]))
    before = wide.select("client", arm.alias("arm"), after=pl.lit(0.0), weight="Prewt")
    return pl.concat([before, wide.select("client", arm.alias("arm"), after=pl.lit(1.0), weight="Postwt")])


def _carrots() -> pl.DataFrame:
    return r_frame("lmerTest::carrots").drop_nulls("Preference").filter(col("Preference").is_not_nan())


# fit -> how its frame is made; every other fit takes its R data set as it stands.
PREPARED = {
    "sleepstudy_slope": published_tables.sleep_lines,
    "sleepstudy_intercept": published_tables.sleep_lines,
    "sleepstudy_slope_only": published_tables.sleep_lines,
    "sleepstudy_diagonal": published_tables.sleep_lines,
    "dyestuff": lambda: published_tables.batches(published_tables.DYESTUFF),
    "dyestuff2": lambda: published_tables.batches(published_tables.DYESTUFF2),
    "orthodont_slope": published_tables.orthodont,
    "orthodont_sex": published_tables.orthodont,
    "dietox_slope": _dietox,
    "dietox3": _dietox,
    "dietox3_slopes": _dietox,
    "dietox3_diagonal": _dietox,
    "dietox_curve": lambda: (
        _dietox().with_columns(t=col("Time") - 6.5).with_columns(t2=col("t") ** 2, t3=col("t") ** 3)
    ),
    "ham": lambda: r_frame("lmerTest::ham").with_columns(liking=col("Informed.liking")),
    "rats_diet": lambda: r_frame("nlme::BodyWeight").with_columns(days=col("Time")),
    "pastes3": lambda: wheel_csv("pastes.csv"),
    "oxboys_square": lambda: r_frame("nlme::Oxboys").with_columns(age2=col("age") ** 2),
    "oxboys_three": lambda: r_frame("nlme::Oxboys").with_columns(age2=col("age") ** 2),
    "math_achieve": _math_achieve,
    "math_intercept": _math_achieve,
    "machines": lambda: r_frame("nlme::Machines").with_columns(cell=_cell("Worker", "Machine")),
    "oats": _oats,
    "alfalfa": lambda: r_frame("nlme::Alfalfa").with_columns(plot=_cell("Block", "Variety")),
    "oxide": lambda: r_frame("nlme::Oxide").with_columns(wafer=_cell("Lot", "Wafer")),
    "oxide_plain": lambda: r_frame("nlme::Oxide").with_columns(wafer=_cell("Lot", "Wafer")),
    "pixel": _pixel,
    "wafer": _wafer,
    "beets": lambda: r_frame("pbkrtest::beets").with_columns(plot=_cell("block", "harvest")),
    "carrots": _carrots,
    "carrots_three": _carrots,
    "anorexia_long": _anorexia,
}


def frame_of(name: str, source: str) -> pl.DataFrame:
    """The rows of one reference fit. name: the TOML file's stem; source: its "source" line, such as nlme::Oats."""
    return PREPARED[name]() if name in PREPARED else r_frame(source)
