"""What counts as an identifier, and how much of a faulty value may be shown (none of it)."""

from pipeline.identity.gate import Finding, findings
from pipeline.identity.masked import masked, shown_heading

__all__ = ["Finding", "findings", "masked", "shown_heading"]
