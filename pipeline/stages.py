"""Strings the rooms together: check, load, derive, analyse, report, review. Owns the clock and the seconds by stage."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline import settings as settings_file
from pipeline.assets import checked_language
from pipeline.settings import Settings

if TYPE_CHECKING:
    from pipeline.engines import Choice
    from pipeline.stages_engine import OnlySums

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Output:
    """A file that a command wrote: its path as given by the user, sha256 and size in bytes."""

    path: str
    sha256: str
    size: int


@dataclass
class Summary:
    """What a command did, for people (`lines`, `faults`) and for machines (the rest)."""

    command: str
    exit_code: int = 0
    counts: dict[str, int] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)
    outputs: list[Output] = field(default_factory=list)
    warnings: list[dict[str, Any]] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    answer: dict[str, Any] = field(default_factory=dict)

    @contextmanager
    def timed(self, stage: str) -> Iterator[None]:
        """Add the wall-clock seconds of a stage."""
        begun = time.perf_counter()
        yield
        self.seconds[stage] = round(self.seconds.get(stage, 0.0) + time.perf_counter() - begun, 3)


def check(folder: Path, settings_path: Path | None, progress: Progress, map_path: Path | None = None) -> Summary:
    """Validate the tables of a folder; write nothing. Exit code 7 when rows were set aside."""
    from pipeline import stages_load
    return stages_load.check(folder, _settings(settings_path), Summary("check"), progress, map_path)


def load(
    folder: Path, out: Path, settings_path: Path | None, progress: Progress, map_path: Path | None = None
) -> Summary:
    """Load a folder into the store at `out` as one batch."""
    from pipeline import stages_load
    return stages_load.load(folder, out, _settings(settings_path), _now(), Summary("load"), progress, map_path)


def plan(file: Path, out: Path, settings_path: Path | None) -> Summary:
    """Check a plan file and register it in the store at `out`."""
    from pipeline import stages_plan
    return stages_plan.plan(file, out, _settings(settings_path), _now(), Summary("plan"))


def derive(
    out: Path, settings_path: Path | None, progress: Progress, engine: Choice | None = None,
    only_sums: OnlySums | None = None,
) -> Summary:
    """Build every derived table in the store at `out`, by an engine (None: in the store itself).

    only_sums: an engine's tables stay with it; results that need sums only are kept in the store.
    """
    from pipeline import stages_load
    return stages_load.derive(out, _settings(settings_path), Summary("derive"), progress, engine=engine,
                              only_sums=only_sums)


def analyse(
    out: Path, settings_path: Path | None, quarter: str | None, progress: Progress, cross_check: bool = False, *,
    where: str | None = None, label: str | None = None,
) -> Summary:  # fmt: skip
    """Compute the results of `quarter` from the frames in the store and keep them there.

    where, label: a further analysis of a part of the rows, kept and marked post hoc.
    """
    from pipeline import stages_crosscheck, stages_post_hoc, stages_report
    settings, summary = _settings(settings_path), Summary("analyse")
    if where is not None and label is not None:
        stages_post_hoc.ask(out, label, where, _now(), settings, summary)
    summary = stages_report.analyse(out, settings, quarter, summary, progress)
    return stages_crosscheck.add_cross_check(out, settings, summary) if cross_check else summary


def report(
    out: Path, settings_path: Path | None, progress: Progress, language: str | None = None, *,
    replace_shared: bool = False,
) -> Summary:  # fmt: skip
    """Write both editions from the results in the store, in `language` or that of the settings.

    replace_shared: nobody was given the shared edition of this quarter that was written before; it does not stand.
    """
    from pipeline import stages_report
    return stages_report.report(out, _settings(settings_path), _now(), Summary("report"), progress, language,
                                replace_shared=replace_shared)  # fmt: skip


def export(out: Path, to: Path | None, settings_path: Path | None, progress: Progress) -> Summary:
    """Write rows, models, figures and tables for others from a finished review."""
    from pipeline import stages_export
    return stages_export.export(out, to, _settings(settings_path), Summary("export"), progress)


def bundle(out: Path, to: Path | None) -> Summary:
    """Pack the shared edition, and it alone."""
    from pipeline import stages_bundle
    return stages_bundle.bundle(out, to, Summary("bundle"))


def review(
    folder: Path, out: Path, settings_path: Path | None, quarter: str | None, progress: Progress,
    map_path: Path | None = None, engine: Choice | None = None, *, only_sums: bool = False,
) -> Summary:
    """Load, derive, analyse and report in one go; the seconds of each stage stand in the summary. only_sums: what an
    engine sums is analysed, and no table of rows."""
    from pipeline import stages_load, stages_report
    from pipeline.stages_engine import OnlySums
    settings, summary = _settings(settings_path), Summary("review")
    checked_language(settings.language)
    stages_load.load(folder, out, settings, _now(), summary, progress, map_path)
    wanted = OnlySums(quarter) if only_sums else None
    stages_load.derive(out, settings, summary, progress, engine=engine, only_sums=wanted)
    if wanted is None:
        stages_report.analyse(out, settings, quarter, summary, progress)
    return stages_report.report(out, settings, _now(), summary, progress)


def review_as_of(
    batch: int, out: Path, settings_path: Path | None, quarter: str | None, progress: Progress
) -> Summary:
    """Rebuild the review that followed the load of `batch`, into out/as_of_<batch>."""
    from pipeline import stages_history
    return stages_history.review_as_of(batch, out, settings_path, quarter, _now(), progress)


def _settings(path: Path | None) -> Settings:
    return settings_file.load(path)


def _now() -> str:
    return dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
