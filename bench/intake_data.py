"""A folder of input files with any number of session rows, written by DuckDB; not timed."""

from __future__ import annotations

from pathlib import Path

import duckdb

SESSIONS_A_CLIENT = 300

#: Each client trains twice a day for 150 days; about a third of the optional cells are empty.
SESSIONS = f"""
with base as (
  select i, i // {SESSIONS_A_CLIENT} as client, (i % {SESSIONS_A_CLIENT}) // 2 as day_no, i % 2 as half,
         hash(i) as h, hash(i * 7 + 1) as g from range($rows) as t(i))
select 'k' || substr(md5(cast(client as varchar)), 1, 11) as client_key,
       date '2021-01-04' + cast(hash(client) % 1200 + day_no as integer) as session_on,
       case half when 0 then 'am' else 'pm' end as slot, 1 + h % 4 as sets_done, 10 + (h // 8) % 30 as breaths_done,
       case when h % 16 <> 3 then 1 + (h // 64) % 9 end as inhale_setting,
       case when h % 16 <> 3 then 1 + (h // 128) % 9 end as exhale_setting,
       case when g % 10 <> 0 then 3 + (g // 16) % 7 end as effort_rating,
       case when g % 10 <> 0 then 'nrs_0_10' end as effort_scale,
       case when g % 4 <> 0 then 3 + (g // 256) % 8 end as wellbeing_before,
       case when g % 5 = 0 then 'yes' else 'no' end as supervised,
       case when g % 41 = 0 then 'yes' else 'no' end as stopped_early,
       case when g % 41 = 0 then 'breathless' end as stop_reason,
       case when g % 37 = 0 then 'symptom_day' end as ease_reason,
       case when g % 7 = 0 then 88 + h % 12 end as spo2_min_pct, case when g % 3 = 0 then 'flanged' end as mouthpiece
from base order by i
"""

OTHERS = {
    "clients": "client_key,sex,age_years\nkc4ca4238a0b,female,61\n",
    "episodes": "client_key,episode_no,site,protocol,from_on\nkc4ca4238a0b,1,mill,plan a,2021-01-04\n",
    "tests": "client_key,tested_on,pressure,effort_no,value,unit\nkc4ca4238a0b,2021-01-04,mip,1,61,cmh2o\n",
}


def write(folder: Path, rows: int) -> Path:
    """Write the folder with `rows` session rows, unless it is there; return the sessions file."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in OTHERS.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    path = folder / "sessions.csv"
    if not path.exists():
        with duckdb.connect(config={"memory_limit": "1GB", "temp_directory": str(folder.parent / "spill")}) as database:
            database.execute(f"copy ({SESSIONS.replace('$rows', str(rows))}) to '{path}' (header)")
    return path
