"""What a clinic runs before its first load: draft an intake map, write the workbook to fill in."""

from __future__ import annotations

import hashlib
from pathlib import Path

from pipeline.stages import Output, Summary


def _output(path: Path) -> Output:
    data = path.read_bytes()
    return Output(str(path), hashlib.sha256(data).hexdigest(), len(data))


def template(folder: Path) -> Summary:
    """Write the empty workbook and the diary week; WontOverwrite where one is there already."""
    from pipeline.ingest.template import WORKBOOK, write_template
    summary = Summary("template")
    summary.outputs = [_output(path) for path in write_template(folder)]
    summary.counts = {"files": len(summary.outputs)}
    summary.lines = [f"Wrote {output.path}" for output in summary.outputs]
    summary.lines.append(f"Next: fill in {WORKBOOK}, then rmt-outcomes review DIR")
    return summary


def suggest_map(file: Path, map_out: Path | None) -> Summary:
    """Draft an intake map beside the working folder; nothing is loaded, and nothing of a cell is printed."""
    from pipeline.ingest.suggest import write_draft
    path = map_out or Path(file.name.split(".")[0] + ".map.toml")
    summary = Summary("suggest-map")
    draft = write_draft(file, path)
    summary.outputs = [_output(path)]
    summary.counts = {"sources": draft.n_sources, "columns_mapped": draft.n_mapped, "questions": draft.n_questions}
    summary.lines = [
        f"Wrote {path}: {draft.n_mapped} columns mapped, {draft.n_questions} questions open.",
        "Next: open it, settle each question and take it out of 'open_questions', then",
        "      rmt-outcomes check DIR --map " + str(path),
    ]
    return summary
