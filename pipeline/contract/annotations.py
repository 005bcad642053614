"""What `annotations.toml` may hold: dated notes, and what a review decided and what followed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from pipeline.contract.columns import SPELLING

FILE = "annotations.toml"
NOTE, DECISION = "note", "decision"
MOST_LETTERS = 200
QUARTER = re.compile(r"[0-9]{4}Q[1-4]")
FIRST_ON, LAST_ON = date(1990, 1, 1), date(2100, 12, 31)

MEASURES: Mapping[str, str] = {
    "mip_gain": "median 12-week gain in MIP, cmH2O",
    "mep_gain": "median 12-week gain in MEP, cmH2O",
    "session_adherence": "median share of prescribed sessions done, %",
    "effort_in_band": "median share of rated sessions in the target band, %",
    "weeks_logged": "median share of weeks with a log, %",
    "mip_12_week_tests": "share of those due who had a 12-week test of MIP, %",
    "effort_ratings": "share of sessions done that carry an effort rating, %",
}
"""What a decision may say it is meant to move, and what is then shown of it for then and now."""

KEYS: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    NOTE: (("on", "text"), ("sites",)),
    DECISION: (("on", "text", "of_quarter"), ("sites", "measure", "followed")),
}
"""Kind to the names that must be there and those that may."""


@dataclass(frozen=True)
class Annotation:
    """One note or decision. sites: none means all; of_quarter: the quarter whose review decided ("" for a note)."""

    kind: str
    on_day: date
    text: str
    sites: tuple[str, ...] = ()
    of_quarter: str = ""
    measure: str = ""
    followed: str = ""


def _day(given: Any) -> date | None:
    """A TOML day, or one written as text; None where it is neither."""
    if isinstance(given, str):
        try:
            given = date.fromisoformat(given)
        except ValueError:
            return None
    return given if type(given) is date and FIRST_ON <= given <= LAST_ON else None


def _is_sentence(given: Any) -> bool:
    return isinstance(given, str) and 0 < len(given.strip()) <= MOST_LETTERS and "\n" not in given


def _faults_of(kind: str, given: Mapping[str, Any]) -> list[str]:
    needed, optional = KEYS[kind]
    found = [f"'{name}' is missing" for name in needed if name not in given]
    found += [f"an entry has no '{name}'" if re.fullmatch("[a-z_]{1,20}", name) else "a name that no entry has"
              for name in given if name not in (*needed, *optional)]  # fmt: skip
    if "on" in given and _day(given["on"]) is None:
        found.append("'on' is not a day written YYYY-MM-DD, 1990-01-01 to 2100-12-31")
    found += [f"'{n}' is not one line of 1 to {MOST_LETTERS} letters" for n in ("text", "followed")
              if n in given and not _is_sentence(given[n])]
    sites = given.get("sites", [])
    if not isinstance(sites, list) or not all(isinstance(s, str) and re.fullmatch(SPELLING["label"], s) for s in sites):
        found.append("'sites' is not a list of site labels")
    if "of_quarter" in given and not (isinstance(given["of_quarter"], str) and QUARTER.fullmatch(given["of_quarter"])):
        found.append("'of_quarter' is not a quarter such as 2026Q2")
    if "measure" in given and given["measure"] not in MEASURES:
        found.append(f"'measure' is none of {', '.join(MEASURES)}")
    return found


def _made(kind: str, given: Mapping[str, Any]) -> Annotation:
    day = _day(given["on"])
    assert day is not None
    return Annotation(kind, day, given["text"].strip(), tuple(sorted(set(given.get("sites", [])))),
                      given.get("of_quarter", ""), given.get("measure", ""), given.get("followed", "").strip())


def parsed(tree: Mapping[str, Any]) -> tuple[list[Annotation], list[str]]:
    """The annotations of a TOML tree in the order of days, and every fault of it with its place ("note 2: ...")."""
    made: list[Annotation] = []
    faults = ["the only entries are [[note]] and [[decision]]"] if set(tree) - set(KEYS) else []
    for kind in KEYS:
        entries = tree.get(kind, [])
        if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
            faults.append(f"each {kind} stands under a heading [[{kind}]] of its own")
            continue
        for number, given in enumerate(entries, start=1):
            wrong = _faults_of(kind, given)
            faults += [f"{kind} {number}: {w}" for w in wrong]
            made += [] if wrong else [_made(kind, given)]
    if len(set(made)) < len(made):
        faults.append("two entries say the same")
    return sorted(made, key=lambda a: (a.on_day, a.kind, a.text)), faults
