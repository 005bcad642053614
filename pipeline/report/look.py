"""How sections look things up: results by section, statistic, group and position; nothing is computed here."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from pipeline.report.language import Texts, texts
from pipeline.report.views import PageMeta
from pipeline.results import Result, ResultSet


def parts_of(group: str) -> dict[str, str]:
    """Split a group such as "pressure=mip;protocol=x" into its parts; a part without "=" has the name "key"."""
    parts: dict[str, str] = {}
    for piece in group.split(";"):
        name, equals, value = piece.partition("=")
        parts[name if equals else "key"] = value if equals else name
    return parts


def part(result: Result, name: str) -> str:
    """Return one part of a result's group, or "" when it has none of that name."""
    return parts_of(result.group).get(name, "")


def pair(result: Result) -> str:
    """The two protocols of a difference, "a - b" in the results, as a reader says it."""
    one, dash, other = part(result, "protocols").partition(" - ")
    return texts().say("locale.against", one=one, other=other) if dash else one


@dataclass(frozen=True)
class Look:
    """The results of one page, its texts, and what the head of the page says."""

    rows: tuple[Result, ...]
    texts: Texts
    meta: PageMeta
    filled: frozenset[tuple[str, str]] = frozenset()
    """Report and section of every page that has more than a sentence saying why it is empty."""
    _index: dict[tuple[str, str], list[Result]] = field(default_factory=dict, compare=False, repr=False)

    def __post_init__(self) -> None:
        for row in self.rows:
            self._index.setdefault((row.section, row.statistic), []).append(row)

    @classmethod
    def at(cls, results: ResultSet, reports: Iterable[str], texts: Texts, meta: PageMeta) -> Look:
        """Look at the rows of `reports` only."""
        wanted = set(reports)
        filled = frozenset((r.report, r.section) for r in results.rows if r.statistic != "state")
        return cls(tuple(r for r in results.rows if r.report in wanted), texts, meta, filled)

    def many(self, section: str, statistic: str, **group: str) -> list[Result]:
        """Rows of a statistic whose group has these parts, in the order of the results table."""
        found = self._index.get((section, statistic), [])
        if not group:
            return list(found)
        return [r for r in found if group.items() <= parts_of(r.group).items()]

    def one(self, section: str, statistic: str, group: str = "all", at: float | None = None) -> Result | None:
        """The row of exactly this group (and position), or None."""
        for row in self._index.get((section, statistic), []):
            if row.group == group and (at is None or row.at == at):
                return row
        return None

    def filled_at(self, report: str, section: str) -> bool:
        """Whether a section, of this page or another, has something to show."""
        return (report, section) in self.filled

    def section(self, section: str) -> list[Result]:
        """Every row of a section."""
        return [r for r in self.rows if r.section == section]

    def say(self, key: str, **values: str) -> str:
        """A sentence of the catalogue with its blanks filled."""
        return self.texts.say(key, **values)
