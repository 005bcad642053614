"""Headings that announce an identifier, by the words they are made of, in a few languages of clinics."""

from __future__ import annotations

import re

_WORD = re.compile(r"[^\W\d_]+")
_CAMEL = re.compile(r"(?<=[a-zà-ÿ])(?=[A-Z])")

#: Kind of identifier -> words of a heading that announce it. Kinds follow 45 CFR 164.514(b)(2).
WORDS: dict[str, frozenset[str]] = {
    kind: frozenset(words.split())
    for kind, words in {
        "name": "surname forename firstname lastname fullname givenname familyname middlename maidenname initials "
                "vorname nachname familienname nom prenom prénom nombre nombres apellido apellidos cognome achternaam "
                "voornaam naam patientname clientname efternamn förnamn nome sobrenome",
        "birth date": "dob birth birthdate birthday birthdate dateofbirth geburtsdatum geburtstag geboren naissance "
                      "nacimiento nascita geboortedatum födelsedatum nascimento",
        "e-mail": "email mail emailaddress courriel correo",
        "telephone": "phone telephone mobile cell tel telefon handy téléphone telefono teléfono telefoon cellphone "
                     "phonenumber mobilenumber",
        "fax": "fax telefax",
        # before "address", which is one of its words
        "network address": "ip ipaddress mac macaddress",
        "address": "address street streetaddress adresse strasse straße rue calle direccion dirección indirizzo adres "
                   "straat hausnummer endereço",
        "postal code": "zip zipcode postcode postal postalcode plz eircode postleitzahl cap",
        "place": "city town suburb county municipality village wohnort ville ciudad città",
        "record number": "mrn nhs chi hospitalnumber patientid patientnumber recordnumber casenumber patientennummer "
                         "fallnummer urn",
        "insurance number": "insurance policy insured medicare medicaid versicherung versicherungsnummer krankenkasse "
                            "memberid",
        "social security number": "ssn socialsecurity nino sin bsn cpf dni nie personnummer",
        "account": "account iban konto creditcard",
        "licence": "licence license passport certificate driverslicense führerschein pasaporte passeport reisepass",
        "vehicle": "vehicle plate licenseplate numberplate vin kennzeichen",
        "device serial": "serial serialno serialnumber imei udi seriennummer",
        "web address": "url website webpage homepage",
        "biometric": "fingerprint voiceprint retina iris biometric",
        "picture": "photo photograph picture portrait selfie foto",
    }.items()
}

#: Pairs of words that announce an identifier together.
PAIRS: dict[tuple[str, str], str] = {
    ("first", "name"): "name", ("last", "name"): "name", ("patient", "name"): "name", ("client", "name"): "name",
    ("patient", "id"): "record number", ("patient", "no"): "record number", ("patient", "number"): "record number",
    ("hospital", "no"): "record number", ("hospital", "number"): "record number", ("record", "no"): "record number",
    ("record", "number"): "record number", ("chart", "number"): "record number", ("chart", "no"): "record number",
    ("medical", "record"): "record number", ("social", "security"): "social security number",
    ("national", "id"): "social security number", ("member", "id"): "insurance number",
    ("credit", "card"): "account", ("next", "kin"): "name",
}

#: A heading with the word "name" is a person's name unless one of these stands beside it.
_THINGS = frozenset((
    "protocol", "site", "device", "file", "table", "measure", "product", "column", "variable", "group", "study", "drug",
    "centre", "center", "clinic", "unit", "programme",
))


def heading_kind(heading: str) -> str | None:
    """Return the kind of identifier that a heading announces, or None."""
    words = [w.casefold() for w in _WORD.findall(_CAMEL.sub(" ", heading))]
    for kind, telling in WORDS.items():
        if telling.intersection(words) or "".join(words) in telling:
            return kind
    for (first, second), kind in PAIRS.items():
        if first in words and second in words:
            return kind
    if ("name" in words or "names" in words) and not _THINGS.intersection(words):
        return "name"
    return None
