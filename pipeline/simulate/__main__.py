"""`python -m pipeline.simulate FOLDER [--seed N] [--format csv|parquet]` writes the sample; silent when it works."""

from __future__ import annotations

import argparse
from pathlib import Path

from pipeline.simulate.cohort import DEFAULT_SEED, generate
from pipeline.simulate.write import write_csv, write_parquet


def main() -> None:
    words = argparse.ArgumentParser(prog="python -m pipeline.simulate", description="Write the sample cohort.")
    words.add_argument("folder", type=Path, help="folder to write into")
    words.add_argument("--seed", type=int, default=DEFAULT_SEED)
    words.add_argument("--format", choices=("csv", "parquet"), default="csv")
    given = words.parse_args()
    (write_csv if given.format == "csv" else write_parquet)(generate(given.seed), given.folder)


if __name__ == "__main__":
    main()
