"""One family of errors: where, what, expected, what now. None of them ever carries a cell's value."""

from __future__ import annotations


class RmtError(Exception):
    """A fault that a user can understand and mend. `exit_code` is what the command ends with."""

    exit_code = 1

    def __init__(self, what: str, *, where: str = "", expected: str = "", now: str = "") -> None:
        self.what, self.where, self.expected, self.now = what, where, expected, now
        super().__init__(self.text)

    @property
    def text(self) -> str:
        """The whole sentence, as a user reads it."""
        parts = [f"{self.where}: {self.what}" if self.where else self.what]
        if self.expected:
            parts.append(f"Expected {self.expected}.")
        if self.now:
            parts.append(f"What now: {self.now}")
        return " ".join(p if p.endswith((".", "?", "!")) else p + "." for p in parts)


class FileRefused(RmtError):
    """One or more files cannot be trusted at all; the store stays as it was. `faults` holds every fault found."""

    exit_code = 3

    def __init__(self, faults: list[RmtError]) -> None:
        self.faults = faults
        super().__init__("\n".join(f.text for f in faults))

    @property
    def text(self) -> str:
        return self.what


class IdentifierFound(FileRefused):
    """A heading or a column of values looks like identifying data."""

    exit_code = 4


class SettingsError(RmtError):
    """The settings file names an unknown setting, or a value of the wrong kind."""

    exit_code = 2


class AuditFailed(RmtError):
    """The disclosure audit found a hidden cell that a reader could derive: nothing shared was written."""

    exit_code = 6


class StoreError(RmtError):
    """The store is busy, of another version, or cannot be written."""

    exit_code = 1


class EngineError(RmtError):
    """An engine cannot be reached, is of another version, went away, or cannot run a file of sql/."""

    exit_code = 1
