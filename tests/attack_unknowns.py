"""What an attacker on shared editions does not know: whole numbers with their ends, and the equations among them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

MOST = 2000.0


@dataclass
class Unknowns:
    """Integer counts by name with their ends, and equations among them (weights by name; they add up to 0)."""

    ends: dict[str, tuple[float, float]] = field(default_factory=dict)
    equations: list[dict[str, float]] = field(default_factory=list)

    def know(self, name: str, low: float, high: float) -> None:
        was = self.ends.get(name, (0.0, MOST))
        self.ends[name] = max(was[0], low), min(was[1], high)

    def add(self, total: str, parts: Iterable[str]) -> None:
        parts = list(parts)
        if parts and total in self.ends and all(p in self.ends for p in parts):
            weights: dict[str, float] = defaultdict(float)
            weights[total] += 1.0
            for p in parts:
                weights[p] -= 1.0
            self.equations.append(dict(weights))

    def extra(self, total: str, part: str, name: str) -> None:
        """`total` is `part` and others, who are printed nowhere."""
        if total in self.ends and part in self.ends:
            self.know(name, 0.0, MOST)
            self.add(total, [part, name])
