"""What is left of a key: a search of bytes that takes a longer key, of which it is a part, for what it is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

#: More bytes than any key takes, in UTF-16 too: so many are looked at again with the next part.
_OVERLAP = 256


@dataclass(frozen=True)
class Erased:
    """The key of a person who is erased, and the keys of other people that contain it (hardly ever any)."""

    key: str
    longer: tuple[str, ...] = ()

    def in_text(self, text: str) -> bool:
        """Say whether a text holds the key other than inside a longer one."""
        return self.in_bytes([text.encode("utf-8", "surrogatepass")])

    def in_bytes(self, parts: Iterable[bytes]) -> bool:
        """Say the same of bytes that come part by part, in UTF-8 and in UTF-16."""
        before = b""
        for part in parts:
            found = before + part
            if any(self._is_in(found, code) for code in ("utf-8", "utf-16-le", "utf-16-be")):
                return True
            before = found[-_OVERLAP:]
        return False

    def _is_in(self, found: bytes, code: str) -> bool:
        if (key := self.key.encode(code)) not in found:
            return False
        for other in self.longer:
            found = found.replace(other.encode(code), b"\n")
        return key in found
