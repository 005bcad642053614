"""Writes gate_forms.jsonl: planted identifiers in national forms, made by an independent library, so that whoever wrote
the gate did not write what it is measured on.

    pip install faker==40.63.0    (in an environment of its own: the project does not depend on it)
    python tests/studies/gate_forms.py

The forms of the `seen` and the `second` countries were looked at while the gate was written; those of the `held_out`
countries were only scored.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

PLACES = {
    "seen": (
        "en_US",
        "en_GB",
        "de_DE",
        "fr_FR",
        "es_ES",
        "it_IT",
        "nl_NL",
        "pl_PL",
        "sv_SE",
        "pt_BR",
        "ja_JP",
        "en_IN",
    ),
    "second": (
        "en_AU",
        "en_CA",
        "fr_CA",
        "de_AT",
        "es_MX",
        "pt_PT",
        "da_DK",
        "no_NO",
        "fi_FI",
        "cs_CZ",
        "hu_HU",
        "tr_TR",
        "ru_RU",
        "el_GR",
        "ro_RO",
        "ko_KR",
        "zh_CN",
        "en_NZ",
    ),
    "held_out": (
        "en_IE",
        "id_ID",
        "fr_BE",
        "fr_CH",
        "de_CH",
        "nl_BE",
        "es_AR",
        "es_CO",
        "sk_SK",
        "hr_HR",
        "bg_BG",
        "uk_UA",
        "lt_LT",
        "lv_LV",
        "et_EE",
        "sl_SI",
        "he_IL",
        "th_TH",
    ),
}
N_VALUES = 24
DAY_FORMS = {
    "seen": ("%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y", "%d/%m/%y", "%Y%m%d"),
    "second": ("%d-%m-%Y", "%d %B %Y", "%d-%b-%Y", "%Y/%m/%d", "%d%m%Y", "%m-%d-%y"),
    "held_out": ("%d %m %Y", "%B %d, %Y", "%Y.%m.%d", "%d%b%Y", "%e/%m/%Y", "%Y-%m-%dT00:00:00"),
}


def _makers(fake: Any, place: str, split: str) -> dict[str, dict[str, Any]]:
    """Return class -> form -> a function that makes one value."""
    is_first = place == PLACES[split][0]  # forms that are the same everywhere are made once
    days = (
        {
            f"{form} {place}": lambda form=form: fake.date_of_birth(minimum_age=18, maximum_age=92).strftime(form)
            for form in DAY_FORMS[split]
        }
        if is_first
        else {}
    )
    everywhere = (
        {
            "network address": {"v4": fake.ipv4_public, "v6": fake.ipv6, "mac": fake.mac_address},
            "other unique code": {"uuid": fake.uuid4, "hash": fake.sha1 if split == "seen" else fake.sha256},
            "birth date": days,
        }
        if is_first
        else {}
    )
    return everywhere | {
        "name": {
            f"full {place}": fake.name,
            f"family {place}": fake.last_name,
            f"family, given {place}": lambda: f"{fake.last_name()}, {fake.first_name()}",
        },
        "e-mail": {place: fake.email},
        "telephone": {place: fake.phone_number},
        "fax": {place: fake.phone_number},
        "address": {place: lambda: fake.street_address().replace("\n", ", ")},
        "postal code": {place: fake.postcode},
        "place": {place: fake.city},
        "social security number": {place: fake.ssn},
        "account": {f"iban {place}": fake.iban, f"bban {place}": fake.bban},
        "vehicle": {place: fake.license_plate},
        "licence": {place: fake.passport_number},
        "web address": {f"url {place}": fake.url, f"domain {place}": fake.domain_name},
        "picture": {place: lambda: fake.file_name(category="image")},
        "free text": {place: lambda: fake.sentence(nb_words=9)},
    }


def main(target: Path) -> None:
    """Write every form's values; a form that the library does not know for a country is left out."""
    from faker import Faker

    found: dict[str, dict[str, dict[str, list[str]]]] = {}
    for split, places in PLACES.items():
        for k, place in enumerate(places):
            fake = Faker(place)
            fake.seed_instance(20260925 + k)
            for klass, forms in _makers(fake, place, split).items():
                for form, make in forms.items():
                    try:
                        values = [str(make()) for _ in range(N_VALUES)]
                    except (AttributeError, KeyError, NotImplementedError):
                        continue
                    found.setdefault(split, {}).setdefault(klass, {})[form] = values
    target.write_text(
        "\n".join(
            json.dumps([split, klass, form, values], ensure_ascii=False)
            for split, klasses in found.items()
            for klass, forms in sorted(klasses.items())
            for form, values in sorted(forms.items())
        )
        + "\n",
        encoding="utf-8",
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).with_name("gate_forms.jsonl"))
