"""What a plan of an analysis says, as data, and every fault of one. Read from `plan.toml`, kept whole in the store.

The five attributes of an estimand are those of ICH E9(R1), Statistical principles for clinical trials: addendum on
estimands and sensitivity analysis (2019).
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

ATTRIBUTES = ("population", "treatments", "variable", "intercurrent_events", "summary")
COVARIATES = ("age", "condition", "efforts", "sex", "site")
"""What the primary model adjusts for, by its own names."""
KINDS = ("difference", "gain", "dose")
PRESSURES = ("mip", "mep")
WEEKS = (12, 24)
TEXTS = ("question", "ethics", "funding")
SHORTEST = 3
"""Letters below which a text says nothing."""


@dataclass(frozen=True)
class PlannedContrast:
    """One contrast: of "difference" (first protocol less second), "gain" (all protocols) or "dose" (per ten points)."""

    of: str
    pressure: str
    week: int = 12
    protocols: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Its name in results: "firm_5x6 - steady_30", "gain" or "dose"."""
        return " - ".join(self.protocols) or self.of

    def same_as(self, other: PlannedContrast) -> bool:
        """True for the same contrast, whichever protocol comes first."""
        mine, theirs = ((c.of, c.pressure, c.week, frozenset(c.protocols)) for c in (self, other))
        return mine == theirs


@dataclass(frozen=True)
class Plan:
    """A plan without faults. `estimand`: attribute to text, in the order of ATTRIBUTES; the primary is in `family`."""

    question: str
    estimand: Mapping[str, str]
    eligibility: str
    consented_only: bool
    primary: PlannedContrast
    family: tuple[PlannedContrast, ...]
    covariates: tuple[str, ...]
    sensitivity: tuple[str, ...]
    ethics: str
    funding: str


@dataclass(frozen=True)
class PlanFault:
    """One fault: the word it is about ("estimand.summary"), what is wrong, what was expected. It quotes no text."""

    word: str
    what: str
    expected: str


@dataclass
class _Reading:
    """Gathers faults while a plan is read."""

    faults: list[PlanFault] = field(default_factory=list)

    def fault(self, word: str, what: str, expected: str) -> None:
        self.faults.append(PlanFault(word, what, expected))

    def table(self, given: Mapping[str, Any], word: str, known: Collection[str], stem: str = "") -> dict[str, Any]:
        """A table of words that are all known; faults for the others and for what is no table."""
        found = given.get(word) if word else given
        if found is None:
            self.fault(word, "is missing", f"a table with {', '.join(known)}")
            return {}
        if not isinstance(found, Mapping):
            self.fault(word, "is of the wrong kind", f"a table [{word}] with {', '.join(known)}")
            return {}
        for name in found:
            if name not in known:
                near = difflib.get_close_matches(str(name), list(known), n=1, cutoff=0.6)
                self.fault(f"{stem or word}.{name}".strip("."), "is no word of a plan",
                           f"'{near[0]}'" if near else f"one of {', '.join(known)}")
        return {str(k): v for k, v in found.items()}

    def text(self, given: Mapping[str, Any], name: str, word: str, expected: str = "a sentence") -> str:
        """A text that says something."""
        value = given.get(name)
        if value is None:
            self.fault(word, "is missing", expected)
            return ""
        if not isinstance(value, str) or len(value.strip()) < SHORTEST:
            self.fault(word, "is empty or of the wrong kind", expected)
            return ""
        return " ".join(value.split())

    def one_of(self, given: Mapping[str, Any], name: str, word: str, known: tuple[Any, ...], usual: Any = None) -> Any:
        """One of the known values."""
        value = given.get(name, usual)
        if value is None or isinstance(value, bool) or value not in known:
            self.fault(word, "is missing" if value is None else "is none of the known", "one of "
                       + ", ".join(map(str, known)))  # fmt: skip
            return known[0]
        return value

    def texts(self, given: Mapping[str, Any], name: str, expected: str, known: tuple[str, ...] = ()) -> tuple[str, ...]:
        """A list of texts, each once, each one of the known where some are."""
        value = given.get(name)
        if not isinstance(value, list) or not all(isinstance(v, str) and v.strip() for v in value):
            self.fault(name, "is missing" if value is None else "is of the wrong kind", expected)
            return ()
        for place, text in enumerate(value, start=1):
            if known and text not in known:
                self.fault(f"{name}, entry {place}", "is none of the known", f"one of {', '.join(known)}")
        if len(set(value)) < len(value):
            self.fault(name, "names something twice", "each once")
        return tuple(value)


CONTRAST = ("of", "pressure", "week", "protocols")
WORDS = (*TEXTS, "covariates", "sensitivity", "estimand", "eligibility", "primary", "family")


def _contrast(reading: _Reading, given: Any, word: str) -> PlannedContrast | None:
    if not isinstance(given, Mapping):
        reading.fault(word, "is of the wrong kind", f"a table with {', '.join(CONTRAST)}")
        return None
    before = len(reading.faults)
    found = reading.table(given, "", CONTRAST, stem=word)
    of = reading.one_of(found, "of", f"{word}.of", KINDS)
    pressure = reading.one_of(found, "pressure", f"{word}.pressure", PRESSURES)
    week = reading.one_of(found, "week", f"{word}.week", WEEKS, usual=12)
    pair = found.get("protocols", [])
    good = isinstance(pair, list) and all(isinstance(p, str) and p for p in pair)
    if found.get("of") == "difference" and not (good and len(set(pair)) == 2 and len(pair) == 2):
        reading.fault(f"{word}.protocols", "does not name two protocols", "a list of two: the first less the second")
    if found.get("of") in KINDS[1:] and pair:
        reading.fault(f"{word}.protocols", "is no part of such a contrast", "protocols of a difference only")
    if of == "dose" and week != WEEKS[0]:
        reading.fault(f"{word}.week", "is no part of such a contrast", "12: dose is told per ten points over 12 weeks")
    return PlannedContrast(of, pressure, week, tuple(pair)) if len(reading.faults) == before else None


def _family(
    reading: _Reading, given: Mapping[str, Any], primary: PlannedContrast | None
) -> tuple[PlannedContrast, ...]:
    listed = given.get("family")
    if not isinstance(listed, list) or not listed:
        reading.fault("family", "is missing" if listed is None else "is of the wrong kind",
                      "one [[family]] for each contrast that is adjusted together, the primary among them")
        return ()
    found = [_contrast(reading, one, f"family, entry {k}") for k, one in enumerate(listed, start=1)]
    known = [c for c in found if c is not None]
    if any(a.same_as(b) for k, a in enumerate(known) for b in known[:k]):
        reading.fault("family", "names a contrast twice", "each once, whichever protocol comes first")
    if primary is not None and len(known) == len(found) and not any(primary.same_as(c) for c in known):
        reading.fault("family", "does not hold the primary contrast", "the primary among its entries")
    return tuple(known)


def read_plan(given: Mapping[str, Any]) -> tuple[Plan | None, list[PlanFault]]:
    """Read parsed TOML. A plan and no fault, or None and every fault there is."""
    reading = _Reading()
    whole = reading.table(given, "", WORDS)
    texts = {name: reading.text(whole, name, name) for name in TEXTS}
    attributes = reading.table(whole, "estimand", ATTRIBUTES)
    estimand = {n: reading.text(attributes, n, f"estimand.{n}") for n in ATTRIBUTES} if "estimand" in whole else {}
    rules = reading.table(whole, "eligibility", ("rule", "consented_only"))
    rule = reading.text(rules, "rule", "eligibility.rule") if "eligibility" in whole else ""
    consented = rules.get("consented_only")
    if "eligibility" in whole and not isinstance(consented, bool):
        reading.fault("eligibility.consented_only", "is missing" if consented is None else "is of the wrong kind",
                      "true or false")
    if "primary" not in whole:
        reading.fault("primary", "is missing", f"a table with {', '.join(CONTRAST)}")
    primary = _contrast(reading, whole["primary"], "primary") if "primary" in whole else None
    family = _family(reading, whole, primary)
    covariates = reading.texts(whole, "covariates", f"a list of {', '.join(COVARIATES)}", COVARIATES)
    sensitivity = reading.texts(whole, "sensitivity", "a list of names of other analyses")
    if reading.faults or primary is None:
        return None, reading.faults
    return Plan(texts["question"], estimand, rule, bool(consented), primary, family, covariates, sensitivity,
                texts["ethics"], texts["funding"]), []  # fmt: skip


def changed_words(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """Words whose value differs between two parsed plans: "estimand.summary", "family"; in the order of the new one."""
    said = []
    for word in dict.fromkeys([*after, *before]):
        old, new = before.get(word), after.get(word)
        if isinstance(old, Mapping) and isinstance(new, Mapping):
            said += [f"{word}.{inner}" for inner in changed_words(old, new)]
        elif old != new:
            said.append(str(word))
    return said
