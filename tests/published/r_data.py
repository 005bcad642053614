"""Data frames of Debian's R packages, read without R, when `make oracles` has fetched them.

The data stay outside the repository (they are GPL); only numbers computed from them are kept here.
"""

import os
import subprocess
import warnings
import zlib
from functools import cache
from pathlib import Path

import polars as pl
import pytest
import rdata

PACKAGES = {
    "nlme": "r-cran-nlme",
    "lme4": "r-cran-lme4",
    "lmerTest": "r-cran-lmertest",
    "pbkrtest": "r-cran-pbkrtest",
    "MASS": "r-cran-mass",
    "clubSandwich": "r-cran-clubsandwich",
}
FOLDER = Path(os.environ.get("R_DATA_FOLDER", Path(__file__).parents[2] / "out" / "r_data"))
MISSING = "the R data are not here: `make oracles` fetches them (Debian's apt-get, no R needed)"


def unpack(deb: Path) -> None:
    """Put the data of one .deb file into FOLDER; dpkg does the unpacking."""
    subprocess.run(["dpkg", "-x", str(deb), str(FOLDER)], check=True)


def _database(package: str) -> Path | None:
    found = sorted(FOLDER.glob(f"usr/lib/R/*library/{package}/data/Rdata.rdx"))
    return found[0] if found else None


def _parsed(raw: bytes) -> object:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # rdata warns about every class it has no constructor for
        return rdata.conversion.convert(rdata.parser.parse_data(raw))


@cache
def r_frame(name: str) -> pl.DataFrame:
    """A data set as a polars frame, factors as Enum in R's level order. name: "nlme::Oats". Skips when absent."""
    package, _, variable = name.partition("::")
    index = _database(package)
    if index is None:
        pytest.skip(MISSING)
    offset, length = _parsed(index.read_bytes())["variables"][variable]
    stored = index.with_suffix(".rdb").read_bytes()[offset : offset + length]
    return _as_polars(_parsed(zlib.decompress(stored[4:])))  # four bytes of length precede the zlib stream


def _as_polars(table) -> pl.DataFrame:
    columns = []
    for name in table.columns:
        values = table[name]
        if values.dtype.name == "category":
            names = {level: str(level) for level in values.cat.categories}  # a missing value is none of them
            levels = pl.Enum(list(names.values()))
            columns.append(pl.Series(str(name), [names.get(v) for v in values], dtype=levels))
        else:
            columns.append(pl.Series(str(name), values.to_numpy()))
    return pl.DataFrame(columns)
