"""Stages about who is who: surrogate keys and their crosswalk."""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import RmtError
from pipeline.stages import Progress, Summary

if TYPE_CHECKING:
    from pipeline.identity.surrogates import Crosswalk, Entry

ONE_OF_OURS = "a key that this crosswalk knows"


def _lock(crosswalk: Path) -> Path:
    return crosswalk.with_name(crosswalk.name + ".lock")


def surrogate(
    folder: Path, crosswalk: Path, target: Path, person: tuple[str, ...], offsets: bool, progress: Progress,
    map_path: Path | None = None,
) -> Summary:
    """Write the tables of a folder again with random keys in place of people; the crosswalk learns who is new."""
    from pipeline.ingest.crosswalk import require_apart
    from pipeline.stages_surrogate import rewrite
    from pipeline.store.lock import write_lock
    require_apart(crosswalk, [target])
    crosswalk.parent.mkdir(parents=True, exist_ok=True)
    with write_lock(_lock(crosswalk)):
        return rewrite(folder, crosswalk, target, person, offsets, progress, map_path, secrets.choice)


def _known(crosswalk: Path, *keys: str) -> Crosswalk:
    """Return the state of a crosswalk that knows all `keys`; they are not echoed, since they may be anything."""
    from pipeline.identity.surrogates import replayed
    from pipeline.ingest.crosswalk import CrosswalkError, read_crosswalk
    state = replayed(read_crosswalk(crosswalk))
    if strangers := sum(k not in state.known for k in keys):
        raise CrosswalkError(f"{strangers} of the keys given are not in the crosswalk", where=crosswalk.name,
                             expected=ONE_OF_OURS, now="check them letter by letter")
    return state


def who(key: str, crosswalk: Path) -> list[str]:
    """Return the lines that say who a key stands for. For the site's own terminal: never for a file or a log."""
    state = _known(crosswalk, key)
    people = state.people_of(key)
    lines = ["; ".join(f"{c}: {v}" for c, v in zip(_names(state, p), p, strict=True)) for p in people]
    if key in state.merged:
        lines.append(f"merged into {state.merged[key]}")
    marks = {"transferred to another site": state.transferred, "consent withdrawn": state.withdrawn}
    lines += [said for said, keys in marks.items() if key in keys]
    return lines or ["nobody any more: the key was split or taken over"]


def _names(state: Crosswalk, person: tuple[str, ...]) -> list[str]:
    more = state.splits.get(person[: len(state.columns)], ())
    return [*state.columns, *more][: len(person)]


def _add(crosswalk: Path, entries: list[Entry], command: str, lines: list[str]) -> Summary:
    from pipeline.ingest.crosswalk import add_entries
    add_entries(crosswalk, entries)
    return Summary(command, counts={"entries": len(entries)}, lines=lines)


def split(key: str, by: tuple[str, ...], crosswalk: Path) -> Summary:
    """Two people stood under one name: from now on the columns `by` are part of the name, and `key` is used no more."""
    from pipeline.identity.surrogates import Entry
    from pipeline.store.lock import write_lock
    with write_lock(_lock(crosswalk)):
        _known(crosswalk, key)
        return _add(crosswalk, [Entry("split", key, columns=by)], "crosswalk split", [
            f"The key is retired; people are told apart by {', '.join(by)} too from the next `surrogate` on.",
            "A store that holds the key still mixes them: rmt-outcomes forget KEY, then load the new files."])


def merge(key: str, other: str, crosswalk: Path) -> Summary:
    """Two names are one person: `other` gives way to `key`."""
    from pipeline.identity.surrogates import Entry
    from pipeline.store.lock import write_lock
    with write_lock(_lock(crosswalk)):
        state = _known(crosswalk, key, other)
        if key == other or key in state.merged:
            raise RmtError("the key to keep is itself merged away, or both are the same", expected="two keys in use",
                           now="see `rmt-outcomes who KEY`")
        return _add(crosswalk, [Entry("merge", key, other=other)], "crosswalk merge", [
            "Merged. A store that holds the other key: rmt-outcomes forget OTHER, then load the new files."])


def confirm(key: str, crosswalk: Path) -> Summary:
    """A held key is one person after all."""
    return _mark("one", key, crosswalk, "Confirmed: the key is held no more.")


def withdraw(key: str, crosswalk: Path) -> Summary:
    """Consent withdrawn: no row of this person leaves the site any more."""
    return _mark("withdrawn", key, crosswalk, "Noted: rows of this person are left out from the next `surrogate` on.")


def _mark(op: str, key: str, crosswalk: Path, said: str) -> Summary:
    from pipeline.identity.surrogates import from_mapping
    from pipeline.store.lock import write_lock
    with write_lock(_lock(crosswalk)):
        _known(crosswalk, key)
        return _add(crosswalk, [from_mapping({"op": op, "key": key})], f"crosswalk {op}", [said])


def transfer(key: str, crosswalk: Path, to: Path, there: str) -> Summary:
    """A person goes on at another site: the other crosswalk uses `key` for whom it calls `there`. No name is passed."""
    from pipeline.identity.surrogates import Entry
    from pipeline.store.lock import write_lock
    with write_lock(_lock(crosswalk)), write_lock(_lock(to)):
        state = _known(crosswalk, key)
        _known(to, there)
        start = state.starts.get(key)
        entries = [Entry("merge", key, other=there), *([Entry("start", key, on=start)] if start else [])]
        _add(to, entries, "crosswalk transfer", [])
        return _add(crosswalk, [Entry("transferred", key)], "crosswalk transfer", [
            "Transferred: both sites use one key from now on. The episode there tells `continues_episode_no`."])
