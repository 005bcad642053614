"""Patterns by which one cell gives an identifier away wherever it stands: sure enough to refuse a file for it."""

from __future__ import annotations

_OCTET = r"(?:25[0-5]|2[0-4][0-9]|1?[0-9]?[0-9])"
_HIGH_OCTET = r"(?:25[0-5]|2[0-4][0-9]|1[0-9][0-9]|[5-9][0-9])"

_TELEPHONE = (
    r"\+[0-9][0-9 ().-]{7,16}[0-9]",
    r"\(\+?[0-9]{1,5}\) ?[0-9][0-9 -]{4,10}[0-9]",
    r"[0-9]{3}[-. ][0-9]{3}[-. ][0-9]{4}",
    r"0?01[-. ][0-9]{3}[-. ][0-9]{3}[-. ][0-9]{4}",
    r"1[-. ][0-9]{3}[-. ][0-9]{3}[-. ][0-9]{4}",
    r"0[0-9]{2,4}[ /-][0-9]{3,4}[ -]?[0-9]{3,4}",
    r"0[0-9]{1,4}[ /-]{1,3}[0-9]{5,9}",
    r"0[1-9](?:[ .-][0-9]{2}){4}",
    r"00[1-9][0-9]{0,2}[ -][0-9][0-9 -]{6,13}",
    r"0[0-9]{1,4}[ -][0-9]{3,4}[ -][0-9]{3,4}",
    r"8 ?\([0-9]{3}\) ?[0-9]{3}-[0-9]{2}-[0-9]{2}",
)

_NATIONAL = (
    r"\b[A-CEGHJ-PR-TW-Z][A-CEGHJ-NPR-TW-Z] ?[0-9]{2} ?[0-9]{2} ?[0-9]{2} ?[A-D]\b",
    r"\b[A-Z]{6}[0-9]{2}[A-EHLMPRST][0-9]{2}[A-Z][0-9]{3}[A-Z]\b",
    r"\b[0-9]{3}\.[0-9]{3}\.[0-9]{3}-[0-9]{2}\b",
    r"\b[0-9]{6}[-+A][0-9]{3}[0-9A-Z]\b",
    r"\b(?:19|20)[0-9]{6}[-+][0-9]{4}\b",
    r"\b756\.?[0-9]{4}\.?[0-9]{4}\.?[0-9]{2}\b",
    r"\b[0-9]{8}-?[A-HJ-NP-TV-Z]\b",
    r"\b[XYZ]-?[0-9]{7}-?[A-Z]\b",
    r"\b[0-9]{6}-[1-4][0-9]{6}\b",
    r"\b[12] [0-9]{2} [0-9]{2} [0-9AB]{2} [0-9]{3} [0-9]{3}(?: [0-9]{2})?\b",
)

#: In front of the number (English) the words begin with capitals, so that "3 sets in place" is no address.
_STREET = (
    r"\b[0-9]{1,5}[A-Za-z]?,? (?:\p{Lu}[\p{L}'.-]* ){1,4}(?:Street|St|Road|Rd|Avenue|Ave|Lane|Ln|Drive|Dr|Court|Ct|"
    r"Close|Crescent|Terrace|Place|Square|Boulevard|Blvd|Way|Highway|Hwy|Parkway|Pkwy)\b",
    r"\p{Lu}[\p{L}. -]*(?:stra(?:ß|ss)e|str\.|gasse|platz|allee|weg|straat|laan|plein|gracht|gatan|vägen|veien|gata|"
    r"vej|gade|katu) ?[0-9]{1,4}",
    r"\b[0-9]{1,5},? (?:bis |ter )?(?i:rue|avenue|boulevard|chemin|impasse|allée|quai)\.? \p{L}",
    r"\b(?i:calle|c/|avda\.?|avenida|plaza|paseo|via|viale|piazza|corso|rua|travessa|praça|ul\.|ulica|al\.) ?"
    r"\p{Lu}[\p{L} .'-]+,? ?(?:n[º°.] ?)?[0-9]{1,5}",
    r"(?i)\b(?:p\.? ?o\.? box|postfach|apartado|boîte postale) [0-9]",
)

#: Kind -> patterns; a cell in which any of them is found tells.
PATTERNS: dict[str, tuple[str, ...]] = {
    "e-mail": (r"[^\s@,;]+@[^\s@,;]+\.[A-Za-z]{2,}", r"(?i)[a-z0-9._-]+ ?[(\[](?:at|@)[)\]] ?[a-z0-9-]+"),
    "web address": (
        r"(?i)\b(?:https?|ftp)://|\bwww\.[a-z0-9-]+\.",
        r"(?i)^[a-z0-9-]+(?:\.[a-z0-9-]+)*\.(?:com|org|net|edu|gov|info|de|fr|es|it|nl|pl|pt|se|uk|us|ca|au|ch|at)(?:/\S*)?$",
    ),
    # four small numbers are the version of a program rather than an address
    "network address": (
        rf"\b10\.{_OCTET}\.{_OCTET}\.{_OCTET}\b",
        *(r"\b" + r"\.".join(_HIGH_OCTET if k == place else _OCTET for k in range(4)) + r"\b" for place in range(4)),
        r"\b(?:[0-9A-Fa-f]{2}[:-]){5}[0-9A-Fa-f]{2}\b",
        r"\b(?:[0-9A-Fa-f]{1,4}:){7}[0-9A-Fa-f]{1,4}\b",
        r"\b(?:[0-9A-Fa-f]{1,4}:){1,6}:(?:[0-9A-Fa-f]{1,4}:){0,5}[0-9A-Fa-f]{1,4}\b",
    ),
    "social security number": (r"(?:^|[^0-9-])[0-9]{3}-[0-9]{2}-[0-9]{4}(?:[^0-9-]|$)", *_NATIONAL),
    "telephone": (r"(?:^|[^0-9A-Za-z.-])(?:" + "|".join(_TELEPHONE) + r")(?:[^0-9]|$)",),
    "account": (
        r"\b[A-Z]{2}[0-9]{2}(?: ?[0-9A-Z]{4}){3,7}(?: ?[0-9A-Z]{1,3})?\b",
        r"\b[3-6][0-9]{3}([ -])[0-9]{4}[ -][0-9]{4}[ -][0-9]{4}\b",
    ),
    "insurance number": (r"\b[1-9][A-Z][A-Z0-9][0-9]-?[A-Z][A-Z0-9][0-9]-?[A-Z]{2}[0-9]{2}\b", r"^[A-Z][0-9]{9}$"),
    "name": (r"\b(?:Mr|Mrs|Ms|Miss|Dr|Prof|Herr|Frau|Mme|Mlle|Sra?|Srta|Dott|Dhr|Mevr)\.? \p{Lu}\p{Ll}+",),
    "address": _STREET,
    "place": (r"[0-9]{1,2}\.[0-9]{3,}°?\s*[NS]?[,; ]\s*-?[0-9]{1,3}\.[0-9]{3,}",),
    "picture": (r"(?i)\.(?:jpe?g|png|gif|heic|bmp|tiff?|webp|dcm)\b|data:image/",),
    "biometric": (r"(?i)\.(?:wav|mp3|m4a|ogg|flac|aac|mp4|mov|avi|wsq)\b|data:audio/", r"^[A-Za-z0-9+/]{60,}={0,2}$"),
    "other unique code": (
        r"\b[0-9A-Fa-f]{8}-[0-9A-Fa-f]{4}-[0-9A-Fa-f]{4}-[0-9A-Fa-f]{4}-[0-9A-Fa-f]{12}\b",
        r"^(?:[0-9a-f]{32}|[0-9a-f]{40}|[0-9a-f]{64}|[0-9A-F]{32}|[0-9A-F]{40}|[0-9A-F]{64})$",
    ),
    "free text": (r"(?:\p{L}{2,}[\s,.;:!?'-]+){4,}\p{L}{2,}", r"[\p{Han}\p{Hiragana}\p{Katakana}\p{Thai}]{12,}"),
}

#: One regular expression a kind.
TELLING: dict[str, str] = {kind: "|".join(f"(?:{p})" for p in patterns) for kind, patterns in PATTERNS.items()}

#: A label of an instrument tells one that is used, and no serial number: fewer digits than these.
SERIAL = r"(?:[0-9][^0-9]?){5,}|[A-Z0-9]{9,}"
