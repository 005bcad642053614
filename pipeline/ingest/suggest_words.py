"""Words by which headings and cells of foreign files are known again. They only make a draft that a person reads."""

from __future__ import annotations

import re

from pipeline.ingest.raw import plain

#: Column -> words of headings, besides its own name. Letters and digits only, in small letters.
HEADINGS: dict[str, tuple[str, ...]] = {
    "client_key": ("client", "clientid", "clientcode", "person", "personid", "participant", "participantid", "patient",
                   "patientid", "patientcode", "subject", "subjectid", "studyid", "code", "key", "id", "pseudonym",
                   "kürzel"),
    "sex": ("gender", "geschlecht", "sexe", "sexo", "mf", "fm"),
    "age_years": ("age", "alter", "edad", "âge"),
    "height_cm": ("height", "heightcm", "größe", "groesse", "taille", "stature"),
    "weight_kg": ("weight", "weightkg", "gewicht", "poids"),
    "condition_group": ("condition", "diagnosis", "diagnosisgroup", "group"),
    "research_consent": ("consent", "consented"),
    "episode_no": ("episode", "course", "courseno"),
    "site": ("clinic", "centre", "center", "standort", "location"),
    "protocol": ("programme", "program", "plan", "regimen", "arm"),
    "from_on": ("start", "startdate", "begin", "started", "startedon", "beginn", "from", "since"),
    "to_on": ("end", "enddate", "ended", "endedon", "ende", "schluß", "until", "to"),
    "session_on": ("date", "day", "datum", "sessiondate", "trainingdate", "trainedon", "übungstag"),
    "tested_on": ("date", "day", "datum", "testdate", "testedon", "testday", "measuredon", "prüftag"),
    "week_from_on": ("week", "weekof", "weekstart", "weekstarting", "weekbeginning", "firstday", "firstdayofweek"),
    "event_on": ("date", "day", "datum", "eventdate", "happenedon"),
    "measured_on": ("date", "day", "datum", "measured", "dateofmeasurement"),
    "slot": ("time", "timeofday", "partofday", "ampm"),
    "sets_done": ("sets",), "breaths_done": ("breaths", "reps", "repetitions"),
    "sessions_done": ("sessions",), "days_trained": ("days", "trainingdays"),
    "effort_rating": ("effort", "rpe", "rating", "exertion"), "usual_effort": ("effort", "rpe", "exertion"),
    "effort_scale": ("scale",), "inhale_setting": ("setting", "resistance", "inhaleresistance", "inspiratorysetting"),
    "exhale_setting": ("exhaleresistance", "expiratorysetting"), "wellbeing_before": ("wellbeing", "feeling"),
    "stopped_early": ("stopped", "brokenoff"), "spo2_min_pct": ("spo2", "saturation", "spo2min"),
    "returned": ("diaryreturned", "diary"),
    "pressure": ("test", "kind", "which", "manoeuvre", "maneuver"), "effort_no": ("effort", "trial", "attempt", "no"),
    "value": ("pressure", "result", "measured", "best", "reading"), "unit": ("units", "einheit"),
    "posture": ("position",), "instrument": ("gauge", "manometer", "meter"), "acceptable": ("valid", "ok"),
    "lung_volume": ("volume", "startvolume"), "not_done_reason": ("notdone", "whynot", "reasonnotdone"),
    "reason": ("why", "cause"), "kind": ("event", "what", "type"), "serious": ("sae",),
    "sets_per_session": ("sets",), "breaths_per_set": ("breaths", "reps"), "sessions_per_day": ("perday", "sessions"),
    "days_per_week": ("perweek", "days"), "measure": ("test", "outcome", "what"), "what": ("done", "action", "service"),
    "event": (),
}

#: Words for maximal pressures in headings, and the code they stand for.
PRESSURES = {"mip": "mip", "pimax": "mip", "inspiratory": "mip", "inhale": "mip", "mep": "mep", "pemax": "mep",
             "expiratory": "mep", "exhale": "mep"}
UNITS = {"cmh2o": "cmh2o", "cmh₂o": "cmh2o", "kpa": "kpa", "mmhg": "mmhg", "hpa": "hpa"}
SLOTS = {"am": "am", "morning": "am", "morgens": "am", "früh": "am", "pm": "pm", "evening": "pm", "afternoon": "pm",
         "abends": "pm", "later": "pm"}
DAYS = ({"mon", "monday", "mo", "montag"}, {"tue", "tues", "tuesday", "di", "dienstag"},
        {"wed", "wednesday", "mi", "mittwoch"}, {"thu", "thur", "thurs", "thursday", "do", "donnerstag"},
        {"fri", "friday", "fr", "freitag"}, {"sat", "saturday", "sa", "samstag"}, {"sun", "sunday", "so", "sonntag"})
TICKS = ("x", "✓", "✔", "1", "yes", "y", "ja", "j", "done")

#: Code -> how cells say it, in small letters without blanks.
CODES: dict[str, tuple[str, ...]] = {
    "female": ("f", "w", "woman", "weiblich", "femme", "mujer", "2"), "male": ("m", "man", "männlich", "homme", "1"),
    "yes": ("y", "j", "ja", "oui", "si", "sí", "true", "1", "x"), "no": ("n", "nein", "non", "false", "0"),
    "unknown": ("?", "n/a", "na", "unbekannt"), "mip": ("pimax", "inspiratory", "in"),
    "mep": ("pemax", "expiratory", "out"), "cmh2o": ("cmh2o", "cmh₂o"), "kpa": ("kpa",), "mmhg": ("mmhg",),
    "hpa": ("hpa", "mbar"), "seated": ("sitting", "sit", "sitzend"), "standing": ("stand", "stehend"),
    "supine": ("lying", "liegend"), "am": ("morning", "a.m.", "morgens"), "pm": ("evening", "afternoon", "p.m."),
    "nrs_0_10": ("nrs", "0-10", "nrs0-10"), "cr10": ("borgcr10", "borg", "cr-10"),
    "copd": ("coad",), "stroke": ("cva",), "parkinson": ("parkinson's", "parkinsons", "parkinson'sdisease", "pd"),
    "heart_failure": ("chf", "hf"), "post_viral": ("longcovid", "postcovid"), "spinal_cord_injury": ("sci",),
    "neuromuscular": ("nmd",), "plateau_1s": ("plateau", "sustained", "1s"), "peak": ("max", "peakpressure"),
}

_UNIT_IN_HEADING = re.compile(r"[(\[]\s*([^)\]]+?)\s*[)\]]|(?<=[_ ])(cmh2o|kpa|mmhg|hpa)$", re.IGNORECASE)


#: A scale at the end of a heading: `Effort 0-10`.
_SCALE = re.compile(r"(?<=\S)\s+[0-9]+\s?(?:-|\u2013|to)\s?[0-9]+$")


def bare(text: str) -> str:
    """Return the letters and digits of a text, small."""
    return "".join(c for c in plain(text).casefold() if c.isalnum() or c == "₂")


def words(text: str) -> list[str]:
    """Return the words of a heading, small."""
    return re.findall(r"[^\W\d_]+[0-9]*|[0-9]+", plain(text).casefold())


def unit_in(heading: str) -> str | None:
    """Return what a heading says in brackets, or as its last word, if that is a unit of pressure."""
    found = _UNIT_IN_HEADING.search(plain(heading))
    return UNITS.get(bare(found[1] or found[2])) if found else None


def without_unit(heading: str) -> str:
    """Return a heading without what stands in brackets, and without a scale at its end."""
    return _SCALE.sub("", _UNIT_IN_HEADING.sub(" ", plain(heading)).strip()) or plain(heading)


def day_of(heading: str) -> int | None:
    """Return the place in the week (0: Monday) of the day that a heading names."""
    said = set(words(heading))
    return next((k for k, names in enumerate(DAYS) if said & names), None)


def slot_of(heading: str) -> str | None:
    return next((SLOTS[w] for w in words(heading) if w in SLOTS), None)
