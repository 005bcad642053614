"""Reads plan.toml: its bytes, its text, and the plan in it; every fault with the line it stands on."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.contract.plan import Plan, PlanFault, read_plan
from pipeline.errors import FileRefused, RmtError

PLAN_FILE = "plan.toml"
"""The name by which a plan that lies beside the tables is found."""
NOW = "mend it and run again; sample_data/plan.toml shows a whole one"


@dataclass(frozen=True)
class PlanText:
    """A plan as it lies on the disk: its text, the sha256 of its bytes, the parsed words, and the plan."""

    text: str
    sha256: str
    given: Mapping[str, Any]
    plan: Plan


def line_of(text: str, word: str) -> int | None:
    """Line of a word such as "estimand.summary" or "family, entry 2" (from 1); of its table if there is none."""
    table, _, name = word.partition(".")
    table, _, entry = table.partition(", entry ")
    wanted, here, seen, found = int(entry or 1), "", 0, None
    for number, line in enumerate(text.splitlines(), start=1):
        head = re.match(r"\s*\[\[?\s*([A-Za-z_]+)\s*\]", line)
        if head:
            here = head[1]
            seen += here == table
            if here == table and seen == wanted and found is None:
                found = number
        key = re.match(r"\s*([A-Za-z_]+)\s*=", line)
        if key and ((name and here == table and seen == wanted and key[1] == name)
                    or (not name and not here and key[1] == table)):  # fmt: skip
            return number
    return found


def _said(fault: PlanFault, file: str, text: str) -> RmtError:
    line = line_of(text, fault.word)
    return RmtError(f"'{fault.word}' {fault.what}", where=f"{file}:{line}" if line else file, expected=fault.expected,
                    now=NOW)


def load_plan(path: Path) -> PlanText:
    """Read and check a plan. FileRefused with every fault of it, none of which quotes its text."""
    data = path.read_bytes()
    return parsed(data, path.name)


def parsed(data: bytes, file: str) -> PlanText:
    """The same from bytes."""
    try:
        text = data.decode("utf-8-sig")
        given = tomllib.loads(text)
    except UnicodeDecodeError as fault:
        raise FileRefused([RmtError("the plan is not text in UTF-8", where=file, expected="a TOML file in UTF-8",
                                    now=NOW)]) from fault
    except tomllib.TOMLDecodeError as fault:
        # the parser's own words tell the place, and quote nothing but TOML signs
        raise FileRefused([RmtError(f"the plan cannot be read ({fault})", where=file, expected="a TOML file", now=NOW)
                           ]) from fault
    plan, faults = read_plan(given)
    if plan is None:
        raise FileRefused([_said(fault, file, text) for fault in faults])
    return PlanText(text, hashlib.sha256(data).hexdigest(), given, plan)


def plan_beside(folder: Path) -> Path | None:
    """The plan that lies in a folder of tables, or None."""
    path = folder / PLAN_FILE
    return path if path.is_file() else None
