"""Items of four reporting guidelines, and where these pages answer each: the guideline asks, a section answers.

STROBE for cohort studies (von Elm et al. 2007), RECORD for routinely kept data (Benchimol et al. 2015), CERT for
exercise (Slade et al. 2016), TARGET for the emulation of a target trial (Cashin et al. 2025). Numbers of STROBE and
CERT are those of their checklists, numbers of RECORD and TARGET those of summaries by others. What an item asks is in
our own words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Item:
    """A line of a guideline. `places` ("page#section") answer it; texts `checklist.<guideline>.<key>...` say the rest.

    needs: a condition (see `sections_checklist.MET`) that adds `more` places where it is met; where it is not, the text
    `_without` says what is lacking. absent: the item does not apply to these pages. The text `_left`, if there is one,
    says what a person must add.
    """

    key: str
    places: tuple[str, ...] = ()
    needs: str = ""
    more: tuple[str, ...] = ()
    absent: bool = False


ANSWERS, ESTIMAND, PLAN = "protocols#answers", "protocols#estimand", "protocols#plan"
TRAINED, COMPARED, ALIKE = "protocols#training", "protocols#compared", "protocols#alike"
SITES, BALANCE, DIFFERENCE = "protocols#overlap", "protocols#balance", "protocols#difference"
DOSE, FITTED, CHOICES = "protocols#dose_response", "protocols#fitted", "protocols#choices"
NO_OUTCOME, TIPPING = "protocols#missing_outcome", "protocols#tipping"
COUNTED, RECORDS, SAFETY = "quarter#counted", "quarter#records", "quarter#safety"
DONE, EFFORT, SETTINGS = "quarter#dose", "quarter#effort", "quarter#settings"
GAINS, APART, ERROR = "quarter#gains", "quarter#gain_apart", "quarter#past_error"
GAUGES, CAUTIONS, DAYS = "quarter#instruments", "quarter#cautions", "index#data"

STROBE = (
    Item("1a"),
    Item("1b", ("protocols#first",)),
    Item("2"),
    Item("3", needs="question", more=(PLAN,)),
    Item("4", (ESTIMAND,)),
    Item("5", (DAYS, SITES)),
    Item("6a", (ESTIMAND, COMPARED, COUNTED), "eligibility", (PLAN,)),
    Item("6b", absent=True),
    Item("7", (ESTIMAND, FITTED, DOSE)),
    Item("8", (ERROR, GAUGES, RECORDS)),
    Item("9", (APART, BALANCE, TIPPING, CAUTIONS)),
    Item("10", (ANSWERS,)),
    Item("11", (FITTED, DOSE, EFFORT)),
    Item("12a", (DIFFERENCE, FITTED, BALANCE)),
    Item("12b", (FITTED,), "subgroup", (CHOICES,)),
    Item("12c", (NO_OUTCOME, RECORDS, BALANCE)),
    Item("12d", (NO_OUTCOME, TIPPING), "drop-out", (CHOICES,)),
    Item("12e", needs="choices", more=(CHOICES, TIPPING)),
    Item("13a", (COMPARED, COUNTED)),
    Item("13b", (COMPARED,)),
    Item("13c", (COMPARED,)),
    Item("14a", (ALIKE,)),
    Item("14b", (BALANCE, RECORDS)),
    Item("14c", (TIPPING,)),
    Item("15", (GAINS, DIFFERENCE)),
    Item("16a", (GAINS, DIFFERENCE, FITTED)),
    Item("16b", (TRAINED,)),
    Item("16c", absent=True),
    Item("17", (DOSE,), "choices", (CHOICES, TIPPING)),
    Item("18", ("protocols#first",)),
    Item("19", (CAUTIONS, TIPPING)),
    Item("20"),
    Item("21", (ALIKE, SITES)),
    Item("22", needs="funding", more=(PLAN,)),
)
RECORD = (
    Item("1.1"), Item("1.2", (DAYS,)), Item("1.3", absent=True),
    Item("6.1", (ESTIMAND, COMPARED)), Item("6.2"), Item("6.3", absent=True),
    Item("7.1"), Item("12.1"), Item("12.2", (RECORDS,)), Item("12.3", absent=True),
    Item("13.1", (COMPARED, COUNTED, RECORDS)), Item("19.1", (CAUTIONS, RECORDS)),
    Item("22.1", needs="plan", more=(PLAN,)),
)  # fmt: skip
CERT = (
    Item("1", (TRAINED,)), Item("2"), Item("3"), Item("4", needs="supervision", more=(TRAINED,)),
    Item("5", (DONE, RECORDS)), Item("6"), Item("7a", needs="progression rule", more=(TRAINED,)),
    Item("7b", (SETTINGS,)), Item("8", (TRAINED,)), Item("9"), Item("10"), Item("11", (SAFETY,)), Item("12"),
    Item("13", (TRAINED,)), Item("14a"), Item("14b"), Item("15"), Item("16a", (DONE, EFFORT)),
    Item("16b", (TRAINED, DONE)),
)  # fmt: skip
TARGET = (
    Item("1"), Item("2"), Item("3", needs="question", more=(PLAN,)), Item("4"), Item("5", (DAYS, RECORDS)),
    Item("6", (ESTIMAND,)), Item("7a", (ESTIMAND, COMPARED)), Item("7b", (TRAINED,)), Item("7c", (ALIKE,)),
    Item("7d", (ESTIMAND,)), Item("7e", (ESTIMAND, ERROR)), Item("7f", (ESTIMAND, DIFFERENCE)),
    Item("7g", (ESTIMAND, BALANCE)), Item("7h", (FITTED,), "choices", (CHOICES, TIPPING)),
    Item("8", (COMPARED,)), Item("9", (ALIKE,)), Item("10", (COMPARED, TIPPING)), Item("11", (NO_OUTCOME,)),
    Item("12", (DIFFERENCE,)), Item("13", (DIFFERENCE,)), Item("14", needs="choices", more=(CHOICES, TIPPING)),
    Item("15"), Item("16", (CAUTIONS, TIPPING)), Item("17", needs="ethics", more=(PLAN,)),
    Item("18", needs="plan", more=(PLAN,)), Item("19"), Item("20", needs="funding", more=(PLAN,)), Item("21"),
)  # fmt: skip
GUIDELINES: Mapping[str, tuple[Item, ...]] = {"strobe": STROBE, "record": RECORD, "cert": CERT, "target": TARGET}
