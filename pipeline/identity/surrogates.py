"""The crosswalk: which random key stands for which person. Pure: entries in, keys out; chance comes from outside.

A crosswalk is a journal: entries are added and never changed, so that nothing a site once decided is lost. A person is
named by one or several columns together (a record number; or family name, given name and birth date).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

Op = Literal["columns", "person", "start", "split", "merge", "one", "transferred", "withdrawn"]

#: Letters and digits of a key: none that is easily taken for another.
ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"
KEY_LENGTH = 12

Person = tuple[str, ...]


@dataclass(frozen=True)
class Entry:
    """One line of the journal. columns: `columns` names the columns of a person, `split` those that tell two apart."""

    op: Op
    key: str = ""
    columns: tuple[str, ...] = ()
    person: Person = ()
    other: str = ""
    on: str = ""


@dataclass
class Crosswalk:
    """The state that a journal leads to. `splits`: person -> columns whose values are part of the name from now on."""

    columns: tuple[str, ...] = ()
    keys: dict[Person, str] = field(default_factory=dict)
    starts: dict[str, str] = field(default_factory=dict)
    splits: dict[Person, tuple[str, ...]] = field(default_factory=dict)
    merged: dict[str, str] = field(default_factory=dict)
    known: set[str] = field(default_factory=set)
    are_one: set[str] = field(default_factory=set)
    transferred: set[str] = field(default_factory=set)
    withdrawn: set[str] = field(default_factory=set)

    def key_of(self, person: Person) -> str | None:
        """Return the key that stands for a person today, None for a new one."""
        key = self.keys.get(person)
        while key in self.merged:
            key = self.merged[key]
        return key

    def people_of(self, key: str) -> list[Person]:
        """Return every name that leads to a key, in the order they were entered."""
        return [p for p in self.keys if self.key_of(p) == key]


def plain_name(part: str) -> str:
    """Return one part of a person's name in one spelling: Unicode form KC, small letters, single blanks."""
    return " ".join(unicodedata.normalize("NFKC", part).casefold().split())


def replayed(entries: Iterable[Entry]) -> Crosswalk:
    """Return the state after all entries, in their order."""
    state = Crosswalk()
    for e in entries:
        state.known |= {k for k in (e.key, e.other) if k}
        match e.op:
            case "columns":
                state.columns = e.columns
            case "person":
                state.keys[e.person] = e.key
            case "start":
                state.starts[e.key] = e.on
            case "split":
                for person in [p for p, k in state.keys.items() if state.key_of(p) == e.key and p not in state.splits]:
                    state.splits[person] = e.columns
            case "merge":
                state.merged[e.other] = e.key
            case "one":
                state.are_one.add(e.key)
            case "transferred":
                state.transferred.add(e.key)
            case "withdrawn":
                state.withdrawn.add(e.key)
    return state


def fresh_key(draw: Callable[[str], str], taken: set[str]) -> str:
    """Return a random key that was never used. draw: gives one random sign of those it is shown."""
    while True:
        key = "".join(draw(ALPHABET) for _ in range(KEY_LENGTH))
        if key not in taken and any(c.isalpha() for c in key) and any(c.isdigit() for c in key):
            return key


def entries_for(state: Crosswalk, people: Sequence[Person], draw: Callable[[str], str]) -> list[Entry]:
    """Return an entry with a new random key for each person who has none, in the order given."""
    taken, found, seen = set(state.known), list[Entry](), set[Person]()
    for person in people:
        if person in seen or state.key_of(person) is not None:
            continue
        seen.add(person)
        key = fresh_key(draw, taken)
        taken.add(key)
        found.append(Entry("person", key, person=person))
    return found


def to_mapping(entry: Entry) -> dict[str, object]:
    """Return an entry as a plain mapping without empty parts."""
    parts = {"op": entry.op, "key": entry.key, "columns": list(entry.columns), "person": list(entry.person),
             "other": entry.other, "on": entry.on}
    return {name: part for name, part in parts.items() if part}


def from_mapping(given: Mapping[str, object]) -> Entry:
    """Build an entry of a mapping; ValueError, TypeError or KeyError if it is none."""
    op = given["op"]
    if op not in ("columns", "person", "start", "split", "merge", "one", "transferred", "withdrawn"):
        raise ValueError("no such entry")
    texts = {name: str(given.get(name, "")) for name in ("key", "other", "on")}
    lists = {name: _texts(given.get(name, [])) for name in ("columns", "person")}
    return Entry(op, texts["key"], lists["columns"], lists["person"], texts["other"], texts["on"])


def _texts(given: object) -> tuple[str, ...]:
    if not isinstance(given, list) or not all(isinstance(x, str) for x in given):
        raise TypeError("not a list of texts")
    return tuple(given)
