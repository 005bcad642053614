"""A small folder of input files, sound as it stands; tests spoil one line of it."""

from __future__ import annotations

from pathlib import Path

from pipeline.ingest import read_folder
from pipeline.settings import Settings
from pipeline.validate import Verdict, check

KEY, OTHER = "kq7mzx2a", "w9trcb4e"

SOUND = {
    "clients": ["client_key,sex,age_years", f"{KEY},female,61", f"{OTHER},male,70"],
    "episodes": ["client_key,episode_no,site,protocol,from_on,to_on", f"{KEY},1,mill,plan a,2025-01-06,",
                 f"{OTHER},1,mill,plan b,2025-02-03,2025-05-01"],
    "tests": ["client_key,tested_on,pressure,effort_no,value,unit,not_done_reason",
              f"{KEY},2025-01-06,mip,1,61,cmh2o,", f"{KEY},2025-01-06,mip,2,64.5,cmh2o,",
              f"{OTHER},2025-02-03,mep,1,80,cmh2o,", f"{OTHER},2025-02-03,mip,1,,cmh2o,too_ill"],
    "sessions": ["client_key,session_on,slot,sets_done,breaths_done,effort_rating,effort_scale",
                 f"{KEY},2025-01-06,am,2,20,5,nrs_0_10", f"{KEY},2025-01-06,pm,2,20,6,nrs_0_10",
                 f"{KEY},2025-01-07,,2,20,6,nrs_0_10", f"{KEY},2025-01-07,,2,20,6,nrs_0_10"],
}

#: A small file has few rows: let any share of them be set aside.
LENIENT = Settings(set_aside_max_pct=100.0)


def write(folder: Path, **changed: list[str]) -> Path:
    """Write the sound files, with the tables in `changed` replaced (an empty list: no such file)."""
    for table, lines in (SOUND | changed).items():
        if lines:
            (folder / f"{table}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def checked(folder: Path, settings: Settings = LENIENT, **changed: list[str]) -> Verdict:
    """Write, read and check a folder."""
    return check(read_folder(write(folder, **changed)), settings)


def with_line(table: str, line: str) -> dict[str, list[str]]:
    """Return the sound lines of a table and one more at the end, as a change for `write`."""
    return {table: [*SOUND[table], line]}
