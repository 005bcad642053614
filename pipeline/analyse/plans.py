"""The plans registered in a store as analyse meets them: the one in force, since when it says what, and whom it takes.

Read from the frame "plans": plan_no, registered_at, tests_loaded, sha256, changed, plan_text (a row a registration).
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass

import polars as pl

from pipeline.analyse.common import Frames
from pipeline.contract.plan import Plan, read_plan

BEFORE, AFTER = "before any test was loaded", "when tests had been loaded"
CONSENTED = "yes"


@dataclass(frozen=True)
class Registered:
    """One registration: its number, day (or what the date policy leaves of it), outcome tests loaded by then, hash."""

    number: int
    on: str
    tests: int
    sha256: str
    changed: str
    plan: Plan | None

    @property
    def when(self) -> str:
        """Before or after the data, in words."""
        return BEFORE if self.tests == 0 else AFTER


def history(frames: Frames) -> list[Registered]:
    """Every registration, the first first; a plan that this version cannot read has none in `plan`."""
    if "plans" not in frames:
        return []
    return [
        Registered(row["plan_no"], row["registered_at"][:10], row["tests_loaded"], row["sha256"], row["changed"],
                   read_plan(tomllib.loads(row["plan_text"].removeprefix("\ufeff")))[0])
        for row in frames["plans"].sort("plan_no").iter_rows(named=True)
    ]  # fmt: skip


def plan_in_force(frames: Frames) -> Plan | None:
    """The last plan registered; None where there is none (or none that this version can read)."""
    known = history(frames)
    return known[-1].plan if known else None


def since(known: list[Registered], says: Callable[[Plan], bool]) -> Registered | None:
    """The registration since which every plan up to the one in force says something; None where that one does not."""
    found = None
    for one in reversed(known):
        if one.plan is None or not says(one.plan):
            return found
        found = one
    return found


def limits_to_consent(frames: Frames) -> bool:
    """True where the plan in force takes people who agreed to research use only."""
    plan = plan_in_force(frames)
    return plan is not None and plan.consented_only


def taken(frames: Frames) -> Frames:
    """The frames of the people whom the plan in force takes: all of them, or those who agreed to research use.

    A person whose consent is not recorded has not agreed.
    """
    if not limits_to_consent(frames):
        return frames
    people = frames["courses"].filter(pl.col("research_consent") == CONSENTED)["client_key"].unique().to_list()
    return {name: frame.filter(pl.col("client_key").is_in(people)) if "client_key" in frame.columns else frame
            for name, frame in frames.items()}  # fmt: skip
