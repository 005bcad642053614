"""Sums that hold between sections: the same people counted twice must be hidden together, or neither is hidden."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from pipeline.results import Partition, Result

NOT_LACKING = "reason=12 weeks not reached yet"


def parts_of(group: str) -> dict[str, str]:
    """A group's parts by name; "all" has none."""
    return dict(part.split("=", 1) for part in group.split(";") if "=" in part)


def without(group: str, *names: str) -> str:
    """The group's name with some of its parts left out."""
    return ";".join(f"{k}={v}" for k, v in parts_of(group).items() if k not in names) or "all"


def _collect(rows: Iterable[Result], place: str, *left_out: str) -> dict[tuple[str, float | None], list[str]]:
    """Keys of the rows of report.section.statistic by (group without some parts, at)."""
    found: dict[tuple[str, float | None], list[str]] = defaultdict(list)
    for row in rows:
        if f"{row.report}.{row.section}.{row.statistic}" == place and set(left_out) <= set(parts_of(row.group)):
            found[without(row.group, *left_out), row.at].append(row.key)
    return found


def _by_protocol(rows: tuple[Result, ...], statistic: str) -> list[Partition]:
    """The flow of everybody is the sum of the flows of the protocols."""
    totals = _collect(rows, f"quarter.counted.{statistic}")
    parts = _collect(rows, f"protocols.compared.{statistic}", "protocol")
    return [Partition(totals[k][0], tuple(parts[k])) for k in totals if k in parts]


def _lacking(rows: tuple[Result, ...]) -> list[Partition]:
    """Those who lack an outcome left the flow after the baseline, for any reason but that it is not time yet."""
    found = []
    for row in rows:
        if f"{row.report}.{row.section}.{row.statistic}" == "protocols.missing_outcome.lacks_outcome":
            leaves = [r.key for r in rows if r.section == "compared" and r.statistic == "leave" and r.at in (3.0, 4.0)
                      and without(r.group, "step", "reason") == row.group and NOT_LACKING not in r.group]  # fmt: skip
            if leaves:
                found.append(Partition(row.key, tuple(leaves)))
    return found


def _equal(rows: tuple[Result, ...]) -> list[Partition]:
    """Pairs of rows that count the same people under two names."""
    keys = {r.key for r in rows}
    pairs: list[tuple[str, str]] = []
    for row in rows:
        place, parts = f"{row.report}.{row.section}.{row.statistic}", parts_of(row.group)
        if place == "quarter.sites.people" and "site" in parts:
            pairs.append((row.key, f"quarter.who.people[period=this;site={parts['site']}]"))
        if place == "protocols.training.people" and set(parts) == {"protocol"}:
            pairs += [(row.key, row.key.replace("training", section)) for section in ("alike", "overlap")]
            pairs += [(row.key, f"protocols.compared.stay[pressure={p};protocol={parts['protocol']};step=course]@1")
                      for p in ("mip", "mep")]  # fmt: skip
        if place == "quarter.gains.raw_gain_cmh2o" and set(parts) == {"pressure", "protocol"}:
            pairs.append((row.key, f"protocols.compared.stay[{row.group};step=window12]@4"))
        if place == "quarter.past_error.people":
            pairs += [(row.key, f"quarter.counted.stay[{row.group};step=window12]@4"),
                      (row.key, f"quarter.gains.raw_gain_cmh2o[{row.group}]@12")]  # fmt: skip
    return [Partition(a, (b,)) for a, b in pairs if b in keys]


def sums_across(rows: tuple[Result, ...]) -> tuple[Partition, ...]:
    """Every sum that holds between rows of different sections."""
    return (*_by_protocol(rows, "stay"), *_by_protocol(rows, "leave"), *_lacking(rows), *_equal(rows))
