"""The rows about one person, gathered: what the worklist draws and says of them."""

from __future__ import annotations

from dataclasses import dataclass, field

from pipeline.report.look import Look, parts_of
from pipeline.results import Result

SERIES = ("test_value", "fitted", "setting_in", "setting_out", "effort", "weekly_adherence", "pause", "event")


@dataclass(frozen=True)
class Client:
    """One client and pressure: single results by statistic, and series by statistic in the order of weeks."""

    key: str
    pressure: str
    facts: dict[str, Result] = field(default_factory=dict)
    series: dict[str, list[Result]] = field(default_factory=dict)

    def text(self, statistic: str, otherwise: str = "not recorded") -> str:
        """The word of a statistic."""
        row = self.facts.get(statistic)
        return row.text if row is not None and row.text else otherwise

    def many(self, statistic: str) -> list[Result]:
        """The rows of a series."""
        return self.series.get(statistic, [])

    @property
    def order(self) -> tuple[float, str, str]:
        """Where the client stands in the order of checking; those without a place come last."""
        row = self.facts.get("order")
        return (row.value if row is not None and row.value is not None else 1e9, self.key, self.pressure)


def _fill(client: Client, rows: list[Result]) -> None:
    for row in rows:
        if row.statistic in SERIES or row.statistic in ("reason", "question"):
            client.series.setdefault(row.statistic, []).append(row)
        else:
            client.facts.setdefault(row.statistic, row)


def gathered(look: Look) -> list[Client]:
    """Every client and pressure with a state, in the order of checking."""
    by_key: dict[tuple[str, str], list[Result]] = {}
    for row in look.rows:
        if row.klass == "client":
            parts = parts_of(row.group)
            by_key.setdefault((parts["key"], parts.get("pressure", "")), []).append(row)
    clients = []
    for (key, pressure), rows in by_key.items():
        if any(r.statistic == "state" for r in rows):
            word = next((r.text for r in rows if r.statistic == "pressure"), "")
            client = Client(key, pressure or word)
            _fill(client, rows)
            _fill(client, by_key.get((key, ""), []) if pressure else [])
            clients.append(client)
    for client in clients:
        for rows in client.series.values():
            rows.sort(key=lambda r: r.at if r.at is not None else 0.0)
    return sorted(clients, key=lambda c: c.order)
