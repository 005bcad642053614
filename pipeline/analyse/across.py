"""Sums that hold between sections: the same people counted twice must be hidden together, or neither is hidden."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from pipeline.identity.shared_ledger import OF, UNPRINTED
from pipeline.results import Partition, Result, parts_of

COMPARED, LEFT_OUT = "protocols.compared.stay", "protocols.plan.left_out"
"""People of the flow whom the plan does not take: rows by pressure, protocol and step, as those who stay."""


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


def _by_protocol(rows: tuple[Result, ...]) -> list[Partition]:
    """The people of each step of the flow are those of the protocols; what leaves follows from that."""
    totals = _collect(rows, "quarter.counted.stay")
    parts = _collect(rows, COMPARED, "protocol")
    beside = _collect(rows, LEFT_OUT, "protocol")  # a plan that takes only those who agreed leaves people out
    return [Partition(totals[k][0], (*parts.get(k, ()), *beside.get(k, ()))) for k in totals
            if k in parts or k in beside]  # fmt: skip


def _equal(rows: tuple[Result, ...]) -> list[Partition]:
    """Pairs of rows that count the same people under two names."""
    keys = {r.key for r in rows}
    pairs: list[tuple[str, str]] = []
    for row in rows:
        place, parts = f"{row.report}.{row.section}.{row.statistic}", parts_of(row.group)
        flow = "protocols.compared" if "protocol" in parts else "quarter.counted"
        if place == "quarter.sites.people" and "site" in parts:
            pairs.append((row.key, f"quarter.who.people[period=this;site={parts['site']}]"))
        if place == "protocols.training.people" and set(parts) == {"protocol"}:
            pairs += [(row.key, f"protocols.compared.stay[pressure={p};protocol={parts['protocol']};step=course]@1")
                      for p in ("mip", "mep")]  # fmt: skip
        if place == "protocols.missing_outcome.lacks_outcome":
            pairs.append((f"protocols.compared.stay[{row.group};step=baseline]@2", row.key + OF))
        if set(parts) in ({"pressure"}, {"pressure", "protocol"}) and row.at == 12.0:
            step = {"quarter.gains.raw_gain_cmh2o": ("window12", 4), "quarter.gains.gain_cmh2o": ("baseline", 2)}
            if place in step and row.n is not None:
                pairs.append((row.key, f"{flow}.stay[{row.group};step={step[place][0]}]@{step[place][1]}"))
    return [Partition(a, kept) for a, b in pairs
            if (kept := tuple(k for k in (b, _left_out(a, b)) if k.removesuffix(OF) in keys))]  # fmt: skip


def _came_in(rows: tuple[Result, ...]) -> list[Partition]:
    """Those whose course was opened in the quarter and those who are new in it, where they are as many."""
    counts = {r.key: r.n for r in rows}
    opened, new = "quarter.service.opened[period=this]", "quarter.who.people[period=this;standing=new]"
    return [Partition(new, (opened,))] if counts.get(opened) and counts.get(opened) == counts.get(new) else []


def _left_out(whole: str, part: str) -> str:
    """The row of those whom the plan leaves out of a row of the quarter, who takes everybody; empty for other rows."""
    is_limited = whole.startswith("quarter.") and part.startswith(COMPARED)
    return part.replace(COMPARED, LEFT_OUT) if is_limited else ""


OF_ONE_QUARTER = ("quarter.sites.people", "quarter.sites.logged_pct", "quarter.sites.session_adherence_pct",
                  "quarter.sites.in_band_pct", "quarter.settings.weeks", "quarter.settings.eased_sessions",
                  "quarter.restated.", "quarter.scored.", "stalled.how_many.")  # fmt: skip
"""Rows about the reported quarter alone that do not say so by a period in their group."""


def gathers(row: Result) -> bool:
    """Tell whether a row counts what has gathered up to the end of the quarter: the next quarter's figure holds it.

    Whatever is not known to be about one quarter alone counts as gathered.
    """
    name = f"{row.report}.{row.section}.{row.statistic}"
    return "period" not in parts_of(row.group) and not name.startswith(OF_ONE_QUARTER)


def _nested(rows: tuple[Result, ...]) -> list[Partition]:
    """The people of the last four quarters are those of this one and others, who are printed nowhere.

    Not so by standing: who is new in a quarter is new in four, but not the other way round.
    """
    who = {r.key: r for r in rows if (r.report, r.section, r.statistic) == ("quarter", "who", "people")}
    pairs = [(k, k.replace("period=last4", "period=this")) for k in who
             if "period=last4" in k and "standing=" not in k]  # fmt: skip
    return [Partition(a, (b, f"{UNPRINTED}{a}")) for a, b in pairs
            if b in who and (who[a].n or 0) >= (who[b].n or 0)]  # fmt: skip


SAME_PEOPLE = (
    ("common.data.people", "quarter.counted.stay", "common.can_answer.people_in_frame", "protocols.fitted.people"),
    ("stalled.how_many.people", "stalled.how_many.stalled_people"),
    ("quarter.dose.people", "quarter.effort.people_by_in_band"),
)  # fmt: skip
"""Counts of people that are often those of one another, though no sum says so."""


def _alike(rows: tuple[Result, ...]) -> list[Partition]:
    """Pairs of SAME_PEOPLE, of one pressure or none, that count as many people in this cohort."""
    found = []
    for names in SAME_PEOPLE:
        some = [r for r in rows if f"{r.report}.{r.section}.{r.statistic}" in names and r.n]
        for k, a in enumerate(some):
            for b in some[k + 1:]:
                apart = {parts_of(r.group).get("pressure") for r in (a, b)} - {None}
                if a.n == b.n and len(apart) < 2 and (a.section, a.statistic) != (b.section, b.statistic):
                    found.append(Partition(a.key, (b.key,)))
    return found


def sums_across(rows: tuple[Result, ...]) -> tuple[Partition, ...]:
    """Every sum that holds between rows of different sections."""
    return (*_by_protocol(rows), *_equal(rows), *_came_in(rows), *_alike(rows), *_nested(rows))
