"""A differencing attack on two successive shared editions, written from what the pages say and nothing else.

The attacker has the rows of both editions and knows what each count means: which splits add up, which steps follow one
another, which rows count the same people, that "last quarter" is last quarter, and that counts of courses only grow.
No declared sum and no code of the audit is used. Every hidden count is an integer; `scipy.optimize.milp` gives its
least and its greatest value.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from pipeline.results import Result
from tests.attack_unknowns import MOST, Unknowns

LIMIT = 10


def parts_of(group: str) -> dict[str, str]:
    return {n: v for n, eq, v in (p.partition("=") for p in group.split(";")) if eq}


def read(rows: Iterable[Result], edition: str, found: Unknowns) -> None:
    """Every count of people of an edition: n, numerator, rest; the words in place of hidden ones are read too."""
    for row in rows:
        name = f"{edition}|{row.key}"
        beside = next((p[2:] for p in row.note.split("; ") if p.startswith(("n hidden", "n within"))), "")
        mark = beside or row.text
        n = row.n if row.n_of == "people" else row.n_people
        if n is not None:
            found.know(name, n, n)
        elif mark.startswith("hidden (n<"):
            found.know(name, *((0, MOST) if row.unit == "%" else (1, LIMIT)))
        elif near := re.match(r"within (\d+) of (\d+)", mark):
            found.know(name, int(near[2]) - int(near[1]), int(near[2]) + int(near[1]))
        elif mark.startswith(("hidden (protects", "hidden (too few")) and row.unit != "%":
            found.know(name, 0, MOST)  # more than ten, or nobody
        elif mark.startswith(("hidden", "counted with")):
            found.know(name, 0, MOST)
        else:
            continue
        if row.hits is not None and row.n_of == "people":
            found.know(f"{name}:hits", row.hits, row.hits)
            found.know(f"{name}:rest", (row.n or 0) - row.hits, (row.n or 0) - row.hits)
        elif row.unit == "%" and row.n_of == "people" and mark.startswith("hidden") and not beside:
            found.know(f"{name}:hits", 0, MOST)
            found.know(f"{name}:rest", 0, MOST)
        found.add(name, [f"{name}:hits", f"{name}:rest"])


def splits(rows: Iterable[Result]) -> Iterator[tuple[str, list[str], str]]:
    """(total key, part keys, name of the split) wherever a count is told again with one more name in its group."""
    by_place: dict[tuple[str, float | None], dict[str, Result]] = defaultdict(dict)
    for row in rows:
        if row.text == "counted with others" or not row.note.startswith("together: "):
            by_place[f"{row.report}.{row.section}.{row.statistic}", row.at][row.group] = row
    for groups in by_place.values():
        longer: dict[tuple[str, str], list[str]] = defaultdict(list)
        for group, row in groups.items():
            pieces = parts_of(group)
            for name in pieces:
                rest = ";".join(f"{n}={v}" for n, v in pieces.items() if n != name) or "all"
                longer[rest, name].append(row.key)
        for (rest, name), keys in longer.items():
            if rest in groups:
                yield groups[rest].key, keys, name


SPLITS = {"quarter.who.people", "quarter.sites.people", "quarter.gains.raw_gain_cmh2o", "quarter.dose.people",
          "protocols.training.people", "stalled.how_many.people", "stalled.ledger.people", "quarter.function.graded",
          "quarter.counted.stay", "protocols.compared.stay"}


def within(rows: list[Result], edition: str, found: Unknowns) -> None:
    """What the pages of one edition say about each other."""
    key = {r.key: r for r in rows}
    at = lambda k: f"{edition}|{k}"  # noqa: E731
    for total, parts, name in splits(rows):
        place = total.split("[")[0]
        if place in SPLITS and name not in ("period", "pressure", "step", "reason", "learning"):
            found.add(at(total), map(at, parts))
    for row in rows:
        p, place = parts_of(row.group), f"{row.report}.{row.section}.{row.statistic}"
        if row.note.startswith("together: "):
            kept = {k for k, v in p.items() if v == "other or hidden" or ", " in v}
            labels = row.note.removeprefix("together: ").split(", ")
            for k in kept:
                mine = [r.key for r in rows if r.statistic == row.statistic and r.section == row.section
                        and r.at == row.at and parts_of(r.group) == p | {k: parts_of(r.group).get(k, "")}
                        and parts_of(r.group).get(k) in labels]
                found.add(at(row.key), map(at, mine))
        if place == "quarter.sites.people" and "site" in p:
            found.add(at(row.key), [at(f"quarter.who.people[period=this;site={p['site']}]")])
        if place == "quarter.who.people" and p.get("period") == "last4" and "standing" not in p:
            other = row.key.replace("last4", "this")
            found.extra(at(row.key), at(other), at(f"gone:{row.key}"))
        if place == "protocols.overlap.people":
            mine = [r.key for r in rows if r.section == "overlap" and r.statistic == "people"
                    and parts_of(r.group)["protocol"] == p["protocol"]]
            found.add(at(f"protocols.training.people[protocol={p['protocol']}]"), map(at, mine))
        if place == "protocols.missing_outcome.lacks_outcome":
            base = f"[pressure={p['pressure']};protocol={p['protocol']};step="
            found.add(at(row.key), [at(f"protocols.compared.stay{base}baseline]@2")])
            found.add(at(row.key) + ":hits", [at(f"protocols.compared.leave{base}window12;reason=any reason]@4")])
        if place == "protocols.alike.share_pct":
            found.add(at(row.key), [at(f"protocols.training.people[protocol={p['protocol']}]")])
    _shares(rows, at, found)
    _flow(rows, key, at, found)
    _service(rows, at, found)


def _shares(rows: list[Result], at, found: Unknowns) -> None:
    """Shares of one whole add up to it: zones of the gain, kinds of people by protocol."""
    wholes: dict[str, list[str]] = defaultdict(list)
    for row in rows:
        p = parts_of(row.group)
        if row.section == "past_error" and row.statistic == "zone":
            wholes[f"quarter.gains.raw_gain_cmh2o[pressure={p['pressure']}]@12"].append(row.key)
        if row.section == "alike" and row.statistic == "share_pct":
            kind = p["covariate"].split(":")[0]
            wholes[f"{kind}!protocols.training.people[protocol={p['protocol']}]"].append(row.key)
    for whole, keys in wholes.items():
        total = at(whole.split("!")[-1])
        found.add(total, [f"{at(k)}:hits" for k in keys])
        for k in keys:
            found.add(total, [at(k)])


def _service(rows: list[Result], at, found: Unknowns) -> None:
    """Who ended did so for a reason; everybody was asked to come for something, and has a caution on record or none."""
    stem, so_far, everybody = "quarter.service.", "[so_far=yes]", at("common.data.people[all]")
    parts: dict[str, list[str]] = defaultdict(list)
    for row in rows:
        p = parts_of(row.group)
        if row.section == "service" and not row.note.startswith("together: ") and {"reason", "caution"} & set(p):
            parts[row.statistic].append(at(row.key))
    found.add(at(f"{stem}ended{so_far}"), parts["ended"])
    for split in ("referral", "caution"):
        found.add(everybody, parts[split])
    found.add(at(f"{stem}opened[period=this]"), [at(f"{stem}trained[period=this]")])
    for name in ("trained", "with_event"):
        found.add(everybody, [at(f"{stem}{name}{so_far}")])
    for name in ("with_serious", "with_related"):
        found.add(at(f"{stem}with_event{so_far}:hits"), [at(f"{stem}{name}{so_far}")])


def _flow(rows: list[Result], key: dict[str, Result], at, found: Unknowns) -> None:
    """Who stays at a step and who leaves before it are those of the step before; protocols add up at each step."""
    steps: dict[tuple[str, str], dict[float, str]] = defaultdict(dict)
    leaves: dict[tuple[str, str, float], list[str]] = defaultdict(list)
    by_protocol: dict[tuple[str, float], list[str]] = defaultdict(list)
    for row in rows:
        p = parts_of(row.group)
        if row.note.startswith("together: ") and row.text != "counted with others":
            continue  # stands for other rows of the list, which are in it
        if row.section in ("counted", "compared") and row.statistic == "stay" and row.at:
            steps[p["pressure"], p.get("protocol", "")][row.at] = row.key
            if "protocol" in p:
                by_protocol[p["pressure"], row.at].append(row.key)
        if row.section in ("counted", "compared") and row.statistic == "leave" and row.at:
            leaves[p["pressure"], p.get("protocol", ""), row.at].append(row.key)
    for (pressure, protocol), found_steps in steps.items():
        order = sorted(found_steps)
        for before, after in pairwise(order):
            found.add(at(found_steps[before]), [at(found_steps[after]),
                                                *map(at, leaves[pressure, protocol, after])])
        group = f"pressure={pressure}" + (f";protocol={protocol}" if protocol else "")
        for stat, step in (("raw_gain_cmh2o", 4.0), ("gain_cmh2o", 2.0)):
            if step in found_steps and f"quarter.gains.{stat}[{group}]@12" in key:
                found.add(at(found_steps[step]), [at(f"quarter.gains.{stat}[{group}]@12")])
        if not protocol:
            for step, name in found_steps.items():
                if by_protocol[pressure, step]:
                    found.add(at(name), map(at, by_protocol[pressure, step]))
        elif 1.0 in found_steps:
            found.add(at(found_steps[1.0]), [at(f"protocols.training.people[protocol={protocol}]")])


GROWING = (".stay", "training.people", "data.people", "people_in_frame", "service.referral", "service.caution")


def across(old: list[Result], new: list[Result], found: Unknowns) -> None:
    """What the newer edition says of the older one."""
    printed = {r.key for r in old}
    for row in new:
        name = f"{row.report}.{row.section}.{row.statistic}"
        if "period=last]" in row.key or "period=last;" in row.key:
            this = re.sub(r"period=last(?=[;\]])", "period=this", row.key)
            if this in printed:
                found.add(f"new|{row.key}", [f"old|{this}"])
        elif row.key in printed and name.endswith(GROWING):
            found.extra(f"new|{row.key}", f"old|{row.key}", f"since:{row.key}")
        if row.section == "restated" and row.statistic == "printed" and (of := re.search(r"\[of=(.*)\]$", row.key)):
            found.add(f"new|{row.key}", [f"old|{of[1].replace(',', ';')}"])


class Attack:
    """The two editions as integer programs, one for each set of counts that equations tie together."""

    def __init__(self, unknowns: Unknowns) -> None:
        self.ends, self.names = unknowns.ends, list(unknowns.ends)
        place = {n: k for k, n in enumerate(self.names)}
        entries = [(i, place[n], w) for i, eq in enumerate(unknowns.equations) for n, w in eq.items() if w]
        i, j, w = (np.array(column) for column in zip(*entries, strict=True))
        open_ = np.array([self.ends[n][0] != self.ends[n][1] for n in self.names])
        n, m = len(self.names), len(unknowns.equations)
        ties = open_[j]
        graph = csr_matrix((np.ones(int(ties.sum())), (j[ties], n + i[ties])), shape=(n + m, n + m))
        label = connected_components(graph, directed=False)[1]
        matrix = csr_matrix((w, (i, j)), shape=(m, n))
        self.groups: list[Group] = []
        for one in np.unique(label[:n][open_]):
            rows = np.flatnonzero(label[n:] == one)
            if rows.size:
                inside = np.flatnonzero(np.asarray(abs(matrix[rows]).sum(axis=0)).ravel() > 0)
                names = [self.names[k] for k in inside]
                ends = np.array([self.ends[name] for name in names])
                self.groups.append(Group(names, matrix[rows][:, inside], ends))


@dataclass(frozen=True)
class Group:
    """Counts tied together: equations add up to 0; `ends` holds what is known of each."""

    names: list[str]
    matrix: csr_matrix
    ends: np.ndarray

    def solve(self, aim: np.ndarray) -> np.ndarray | None:
        """The whole numbers that fit every equation and make the weighted sum least; None where none fit."""
        zero = np.zeros(self.matrix.shape[0])
        found = milp(aim, integrality=np.ones(len(self.names)), bounds=Bounds(self.ends[:, 0], self.ends[:, 1]),
                     constraints=LinearConstraint(self.matrix, zero, zero))
        return None if found.status != 0 else np.round(found.x)

    def ranges(self) -> dict[str, tuple[int, int]]:
        """Least and greatest value of every count that is not shown; a few tables first, then two programs a count."""
        low, high = np.full(len(self.names), np.inf), np.full(len(self.names), -np.inf)
        unseen = np.flatnonzero(self.ends[:, 0] != self.ends[:, 1])

        def look(aim: np.ndarray) -> None:
            table = self.solve(aim)
            assert table is not None, "what the editions print contradicts itself"
            low[:], high[:] = np.minimum(low, table), np.maximum(high, table)

        aims = np.random.default_rng(7).integers(-3, 4, (12, len(self.names)))
        for aim in aims:
            look(aim.astype(float))
        for k in unseen:
            if low[k] > 1 or high[k] < LIMIT:
                for way in (1.0, -1.0):
                    aim = np.zeros(len(self.names))
                    aim[k] = way
                    look(aim)
        return {self.names[k]: (int(low[k]), int(high[k])) for k in unseen}


def ranges(old: list[Result], new: list[Result]) -> dict[str, tuple[int, int]]:
    """What is left of every hidden count that two editions together tie to others."""
    found = Unknowns()
    read(old, "old", found)
    read(new, "new", found)
    within(old, "old", found)
    within(new, "new", found)
    across(old, new, found)
    left: dict[str, tuple[int, int]] = {}
    for group in Attack(found).groups:
        left |= group.ranges()
    return left
