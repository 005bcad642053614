"""Headings that announce an identifier, by the words they are made of, in a few languages of clinics."""

from __future__ import annotations

import re

_WORD = re.compile(r"[^\W\d_]+")
_CAMEL = re.compile(r"(?<=[a-zà-ÿ])(?=[A-Z])")

#: Kind of identifier -> words of a heading that announce it. Kinds follow 45 CFR 164.514(b)(2).
WORDS: dict[str, frozenset[str]] = {
    kind: frozenset(words.split())
    for kind, words in {
        "name": (
            "achternaam adı apelido apellido apellidos clientname cognome efternamn etternavn etunimi "
            "familienaam familienname familyname firstname forename fornavn fullname förnamn givenname "
            "imię imya initials isim jméno keresztnév lastname maidenname middlename naam nachname "
            "nazwisko nimi nom nombre nombres nome név patientname prenom prijmeni prénom příjmení "
            "sobrenome soyadı sukunimi surname vezetéknév voornaam vorname επώνυμο όνομα имя фамилия 姓名 "
            "氏名 이름"
        ),
        "birth date": (
            "birth birthdate birthday birthyear born dateofbirth dob doğum födelsedag födelsedatum "
            "fødselsdato geboortedatum geboren geburt geburtsdatum geburtstag nacimiento naissance "
            "narození nascido nascimento nascita nato syntymäaika urodzenia yob"
        ),
        "e-mail": ("correo courriel courrier email emailaddress emails epost mail mailadresse"),
        "telephone": (
            "cell cellphone celular gsm handy mobiel mobil mobile mobilenumber mobilnummer pager phone "
            "phonenumber puhelin rufnummer tel telefon telefone telefonnummer telefono telefoon telemóvel "
            "telephone teléfono tlf téléphone"
        ),
        "fax": ("fax faxnumber faxnummer telefax"),
        # before "address", which is one of its words
        "network address": ("ip ipaddress mac macaddress"),
        "address": (
            "addr address addresses adres adresa adress adresse calle cím direccion dirección domicile "
            "domicilio endereço gade gata hausnummer indirizzo logradouro morada osoite rue straat "
            "strasse straße street streetaddress ulica ulice vei wohnadresse"
        ),
        "postal code": (
            "cap cep codepostal eircode irányítószám pincode plz postal postalcode postcode postinumero "
            "postleitzahl postnr postnummer psc psč zip zipcode zipcodes"
        ),
        "place": (
            "cidade città city ciudad commune comune county district gemeinde kaupunki kommune localidad "
            "locality miasto municipality město ort parish suburb town village ville wohnort"
        ),
        "record number": (
            "aktenzeichen casefile casenumber chartno chi dossier fallnr fallnummer hospitalid "
            "hospitalnumber ipp mrn nhs nhsnumber nip participant patid patientennummer patientid "
            "patientnumber patnr personid recordid recordnumber subject urn"
        ),
        "insurance number": (
            "beneficiary insurance insured krankenkasse mbi medicaid medicare memberid mutuelle payer "
            "policy policyno seguro subscriber versichertennr versichertennummer versicherung "
            "versicherungsnummer"
        ),
        "social security number": (
            "aadhaar bsn cnp cpf cpr curp dni fiscale hetu insee nationalid nie nif nino nir personnummer "
            "pesel sin socialsecurity ssn steuernummer"
        ),
        "account": ("account accountno bank bic creditcard creditcardnumber iban konto kontonummer"),
        "licence": (
            "ausweis certificate certificates driverslicense führerschein licence licenceno license "
            "licenseno pasaporte passeport passport reisepass"
        ),
        "vehicle": (
            "kennzeichen licenseplate matrícula numberplate numberplates plate registrationplate "
            "rekisteri targa vehicle vin"
        ),
        "device serial": ("deviceid imei serial serialno serialnr serialnumber seriennummer sn udi"),
        "web address": ("blog homepage site_url url webpage website www"),
        "biometric": ("audio biometric dna faceid fingerprint iris recording retina voiceprint voiceprints"),
        "free text": (
            "anamnese anamnesis bemerkung bemerkungen comment commentaire comments freetext kommentar "
            "note notes observaciones opmerking remark remarks"
        ),
        "other unique code": ("fingerprinthash guid hash participantid personid subjectid uuid"),
        "picture": ("bild foto photo photo_file photograph picture portrait portraits selfie"),
    }.items()
}

#: Pairs of words that announce an identifier together.
PAIRS: dict[tuple[str, str], str] = {
    ("first", "name"): "name",
    ("last", "name"): "name",
    ("patient", "name"): "name",
    ("client", "name"): "name",
    ("patient", "id"): "record number",
    ("patient", "no"): "record number",
    ("patient", "number"): "record number",
    ("hospital", "no"): "record number",
    ("hospital", "number"): "record number",
    ("record", "no"): "record number",
    ("record", "number"): "record number",
    ("chart", "number"): "record number",
    ("chart", "no"): "record number",
    ("medical", "record"): "record number",
    ("social", "security"): "social security number",
    ("national", "id"): "social security number",
    ("member", "id"): "insurance number",
    ("credit", "card"): "account",
    ("next", "kin"): "name",
    ("person", "id"): "other unique code",
    ("nhs", "no"): "record number",
    ("health", "plan"): "insurance number",
    ("s", "n"): "device serial",
    ("device", "id"): "device serial",
    ("free", "text"): "free text",
    ("car", "registration"): "vehicle",
    ("subject", "identifier"): "other unique code",
    ("participant", "id"): "other unique code",
    ("voice", "recording"): "biometric",
    ("face", "image"): "picture",
    ("home", "page"): "web address",
    ("web", "page"): "web address",
    ("date", "birth"): "birth date",
}

#: A heading with the word "name" is a person's name unless one of these stands beside it.
_THINGS = frozenset(
    (
        "protocol",
        "site",
        "device",
        "file",
        "table",
        "measure",
        "product",
        "column",
        "variable",
        "group",
        "study",
        "drug",
        "centre",
        "center",
        "clinic",
        "unit",
        "programme",
    )
)


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
