"""Analyses asked for after the data were seen: the primary model on a chosen part, marked post hoc, beside the rest.

They never take the primary's place, and one that was asked for stays in the store: it cannot be tried and forgotten.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import polars as pl

from pipeline.analyse.choice import Ground, Reading, Refit, failed
from pipeline.analyse.common import FEW, Frames
from pipeline.analyse.where import BadCondition, parse
from pipeline.identity.gate_words import is_person

COURSES = (
    "site", "protocol", "sex", "age_years", "age_band", "condition_group", "respiratory_support", "caution", "aim",
    "assigned_by", "referral_reason", "other_rehabilitation", "device_class", "planned_weeks", "baseline_mip_cmh2o",
    "baseline_mep_cmh2o", "mip_pct_predicted", "first_quarter", "is_mover", "research_consent",
)  # fmt: skip
"""Columns of frames.courses that people may be chosen by: no key, no day, nothing that came after the start."""
MODEL = (
    "week", "quarter", "test_no", "first_ever", "prior_test_days", "efforts_kept", "instrument", "same_tester",
    "mouthpiece", "posture", "metric", "interval_logged_share",
)  # fmt: skip
"""Columns of frames.model that tests may be chosen by. The outcome itself and doses are not: that would bend it."""
LABEL = re.compile(r"[A-Za-z][A-Za-z0-9 .,%<>+-]{0,59}")


@dataclass(frozen=True)
class Asked:
    """One such analysis: its label, its condition, and the day it was first asked for (YYYY-MM-DD)."""

    label: str
    condition: str
    asked_on: str


def asked_of(frames: Frames) -> list[Asked]:
    """Those kept in the store, from the frame "asked" (asked_no, label, condition, asked_on), the first first."""
    if "asked" not in frames:
        return []
    return [Asked(row["label"], row["condition"], row["asked_on"])
            for row in frames["asked"].sort("asked_no").iter_rows(named=True)]  # fmt: skip


def choosable(frames: Frames) -> dict[str, pl.DataType]:
    """Column to type (String, Float64 or Boolean) of everything that a condition may name."""
    found: dict[str, pl.DataType] = {}
    for table, names in (("courses", COURSES), ("model", MODEL)):
        schema = frames[table].schema
        for name in names:
            if name in schema and name not in found:
                kind = schema[name]
                found[name] = pl.Boolean() if kind == pl.Boolean else pl.Float64() if kind.is_numeric() else pl.String()
    return found


def check(label: str, condition: str, frames: Frames) -> None:
    """BadCondition unless the label can stand in a table and the condition can be read."""
    words = re.findall("[A-Za-z]+", label)
    is_name = any(is_person(a) and is_person(b) for a, b in pairwise(words))
    if not LABEL.fullmatch(label) or is_name:
        raise BadCondition("the label cannot stand in a table", where="--label", now="choose another and run again",
                           expected="a letter, then up to 59 letters, digits, blanks or any of . , % < > + -, and "
                                    "nobody's name")
    parse(condition, choosable(frames))


def chosen(frames: Frames, condition: str) -> pl.DataFrame:
    """The tests that satisfy a condition: client_key, course_no, pressure, tested_on."""
    schema = choosable(frames)
    keep = parse(condition, schema)
    of_courses = [c for c in COURSES if c in schema]
    own = ["client_key", "course_no", "pressure", "tested_on"]
    tests = frames["model"].select(*own, *(c for c in MODEL if c in schema))
    rows = tests.join(frames["courses"].select("client_key", "course_no", *of_courses), on=["client_key", "course_no"],
                      how="left", maintain_order="left")  # fmt: skip
    rows = rows.with_columns(pl.col(name).cast(kind) for name, kind in schema.items())
    return rows.filter(keep.fill_null(False)).select(own)


def _people(rows: pl.DataFrame) -> set[str]:
    return set(rows["client_key"].to_list())


def apart_of_each(parts: Sequence[set[str]], everybody: set[str]) -> list[int]:
    """People whom each chosen part sets apart: itself, or the few by whom it differs from what is shown beside it.

    Beside it stand the primary analysis, of everybody, and the parts asked for earlier that are shown themselves: two
    estimates that rest on the same people but for a handful would tell about that handful.
    """
    shown, sizes = [everybody], []
    for mine in parts:
        few = [n for n in (len(mine), *(len(mine ^ other) for other in shown)) if 0 < n <= FEW]
        sizes.append(min(few) if few else len(mine))
        if not few:
            shown.append(mine)
    return sizes


def readings(ground: Ground, asked: Sequence[Asked]) -> list[Reading]:
    """One row an analysis asked for, in the order in which they were first asked."""
    parts = []
    for one in asked:
        keep = chosen(ground.frames, one.condition).filter(pl.col("pressure") == ground.found.pressure)
        parts.append(ground.rows.join(keep, on=["client_key", "tested_on"], how="semi", maintain_order="left"))
    apart = apart_of_each([_people(p) for p in parts], _people(ground.rows))
    said = []
    for one, rows, few in zip(asked, parts, apart, strict=True):
        note = f"post hoc, asked on {one.asked_on}: {one.condition}"
        if rows.is_empty():
            said.append(failed("post hoc", one.label, ground, "nobody satisfies the condition"))
            continue
        said += [_post_hoc(reading, note, few) for reading in _refit(one, rows)(ground)]
    return said


def _refit(one: Asked, rows: pl.DataFrame) -> Refit:
    return Refit("post hoc", one.label, rows=lambda g: rows)


def _post_hoc(reading: Reading, note: str, apart: int) -> Reading:
    return Reading(reading.kind, reading.name, reading.found, reading.trouble, reading.tests, note, "post hoc",
                   reading.method, apart)  # fmt: skip
