"""Finds the SQL files and page templates, in a checkout or in an installed wheel."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import RmtError, SettingsError

_PACKAGE = Path(__file__).resolve().parent


def folder(kind: str) -> Path:
    """Return the folder of `kind` ("sql" or "reports"); RmtError says where it looked if there is none."""
    tried = (_PACKAGE / "_assets" / kind, _PACKAGE.parent / kind)
    for path in tried:
        if path.is_dir():
            return path
    raise RmtError(
        f"the folder '{kind}' of this program is missing", where="installation",
        expected="it in " + " or ".join(p.parent.name + "/" + p.name for p in tried), now="install the program again",
    )


def text(kind: str, name: str) -> str:
    """Return the text of one asset, such as text("reports", "page.css")."""
    return (folder(kind) / name).read_text(encoding="utf-8")


def names(kind: str, suffix: str) -> list[str]:
    """List the assets of `kind` that end in `suffix`, as sorted POSIX paths relative to its folder."""
    base = folder(kind)
    return sorted(p.relative_to(base).as_posix() for p in base.rglob("*" + suffix))


def languages() -> list[str]:
    """Codes of the languages that pages can be written in, English first: each other one is a file of its own."""
    return ["en", *(n[len("languages/"):-len(".toml")] for n in names("reports", ".toml")
                    if n.startswith("languages/"))]


def checked_language(code: str) -> str:
    """Return the code of a language; SettingsError names those that there are."""
    if code not in languages():
        raise SettingsError("there is no catalogue of texts for the language asked for", where="language",
                            expected="one of " + ", ".join(languages()), now="choose one of these")
    return code
