"""A day of two meanings refuses a file whole, whether it is read as a frame or inside the database."""

from __future__ import annotations

import pytest

from pipeline.contract import TABLES
from pipeline.errors import FileRefused
from pipeline.ingest import Intake
from pipeline.ingest.csv_file import read_csv
from pipeline.ingest.days import undeclared
from pipeline.validate import check
from tests.validate.folder import KEY, LENIENT, SOUND, write


@pytest.mark.parametrize(("day", "is_refused"), [("03/04/2026", True), ("25/04/2026", False), ("soon", False)])
def test_both_ways_say_the_same(tmp_path, day, is_refused):
    write(tmp_path, tests=[*SOUND["tests"], f"{KEY},{day},mip,1,61,cmh2o,"])
    path = tmp_path / "tests.csv"
    small = Intake((read_csv(path),), (), ())
    said = [f.text for f in undeclared(TABLES["tests"], "tests.csv", read_csv(path).rows)]
    assert bool(said) == is_refused
    large = Intake((read_csv(path, scan_from_bytes=0),), (), ())
    assert large.files[0].scan is not None
    for intake in (small, large):
        if is_refused:
            with pytest.raises(FileRefused) as refused:
                check(intake, LENIENT)
            assert [f.text for f in refused.value.faults] == said
        else:
            assert check(intake, LENIENT).files[0].rows_set_aside == 1
