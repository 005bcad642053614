"""Reasons before blame: what else could explain a flag, each with its numbers and one of three marks.

The order is the order of asking: first the measurement, then health, then the plan, last the person's training. "Not
recorded" is never "no".
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from pipeline.stats.stalled_rule import AIMS_WITHOUT_GAIN, StalledRule

FOUND = "found"
NOT_FOUND = "looked for, not found"
NOT_RECORDED = "not recorded"

TEST_CHANGED = "test_changed"
TOO_FEW_TESTS = "too_few_tests"
ILLNESS = "illness_pause_or_event"
EASED = "eased_settings"
DIARIES_MISSING = "diaries_missing"
LOW_DOSE = "low_dose"
EFFORT_UNDER = "effort_under_band"
EFFORT_OVER = "effort_over_band"
ROOM = "room_to_progress"
NO_RISE_EXPECTED = "aim_or_condition_expects_no_rise"
WHOLE_PLAN = "as_planned"


@dataclass(frozen=True)
class Evidence:
    """What the records of one client hold on the window of a flag; None (or a missing key) = not recorded.

    test_changed: by what (instrument, metric, posture, tester, mouthpiece): True if it changed between the tests.
    days in the window: ill_days, pause_days; events: untoward events. eased_sessions: sessions below the prescription
    with a reason. logged_pct: weeks with a log, of the window's weeks. adherence_pct: sessions done of prescribed.
    effort_under_pct, effort_over_pct: share of rated sessions below and above the band. setting_steps_up: rises of the
    setting. effort_change: mean effort of the window's second half minus the first, in points of one scale.
    days_since_quiet: days since the last early stop, event or end of a pause; None if there was none.
    """

    test_changed: Mapping[str, bool | None] = field(default_factory=dict)
    power_if_flat: float | None = None
    tests: int = 0
    ill_days: int | None = None
    pause_days: int | None = None
    events: int | None = None
    eased_sessions: int | None = None
    logged_pct: float | None = None
    adherence_pct: float | None = None
    effort_under_pct: float | None = None
    effort_over_pct: float | None = None
    setting_steps_up: int | None = None
    effort_change: float | None = None
    aim: str | None = None
    caution: str | None = None
    condition_group: str | None = None
    days_since_quiet: int | None = None


@dataclass(frozen=True)
class Reason:
    """One possible reason: its code, its mark (FOUND, NOT_FOUND, NOT_RECORDED) and a line with its numbers."""

    code: str
    mark: str
    text: str


TEST_CONDITIONS = ("instrument", "metric", "posture", "tester", "mouthpiece")


def _test_changed(evidence: Evidence, rule: StalledRule) -> Reason:
    marks = {what: evidence.test_changed.get(what) for what in TEST_CONDITIONS}
    changed = [what for what, did in marks.items() if did]
    unknown = [what for what, did in marks.items() if did is None]
    note = f"; not recorded: {', '.join(unknown)}" if unknown else ""
    if changed:
        return Reason(TEST_CHANGED, FOUND, f"changed between tests: {', '.join(changed)}{note}")
    if unknown:
        return Reason(TEST_CHANGED, NOT_RECORDED, f"no change of the test among what is recorded{note}")
    return Reason(TEST_CHANGED, NOT_FOUND, f"{', '.join(TEST_CONDITIONS)} were the same at every test")


def _too_few(evidence: Evidence, rule: StalledRule) -> Reason:
    power = evidence.power_if_flat
    if power is None:
        return Reason(TOO_FEW_TESTS, NOT_RECORDED, f"{evidence.tests} tests; what they could show is not known")
    text = f"{evidence.tests} tests; they would tell a flat course from one on pace {100 * power:.0f} % of the time"
    return Reason(TOO_FEW_TESTS, FOUND if power < rule.low_power else NOT_FOUND, text)


def _illness(evidence: Evidence, rule: StalledRule) -> Reason:
    counts = {
        "days of illness": evidence.ill_days,
        "days of pause": evidence.pause_days,
        "events": evidence.events,
    }
    known = {what: count for what, count in counts.items() if count is not None}
    text = ", ".join(f"{what}: {count}" for what, count in known.items())
    missing = [what for what in counts if what not in known]
    if any(known.values()):
        return Reason(ILLNESS, FOUND, text)
    if missing:
        return Reason(
            ILLNESS, NOT_RECORDED, "; ".join([*([text] if text else []), f"no record of {', '.join(missing)}"])
        )
    return Reason(ILLNESS, NOT_FOUND, text)


def _eased(evidence: Evidence, rule: StalledRule) -> Reason:
    if evidence.eased_sessions is None:
        return Reason(EASED, NOT_RECORDED, "no record of easier settings")
    text = f"sessions eased with a reason: {evidence.eased_sessions}; easing is legitimate titration"
    return Reason(EASED, FOUND if evidence.eased_sessions else NOT_FOUND, text)


def _diaries(evidence: Evidence, rule: StalledRule) -> Reason:
    if evidence.logged_pct is None:
        return Reason(DIARIES_MISSING, NOT_RECORDED, "no session rows and no diaries")
    text = f"{evidence.logged_pct:.0f} % of weeks logged; an unlogged week is unknown, not missed"
    return Reason(DIARIES_MISSING, FOUND if evidence.logged_pct < rule.logged_pct else NOT_FOUND, text)


def _low_dose(evidence: Evidence, rule: StalledRule) -> Reason:
    logged, done = evidence.logged_pct, evidence.adherence_pct
    if logged is None or done is None or logged < rule.logged_pct:
        why = f"can be judged from {rule.logged_pct:.0f} % of weeks logged on"
        return Reason(LOW_DOSE, NOT_RECORDED, f"the dose done {why}")
    text = f"{done:.0f} % of prescribed sessions done, {logged:.0f} % of weeks logged"
    return Reason(LOW_DOSE, FOUND if done < rule.low_dose_pct else NOT_FOUND, text)


def _effort(code: str, side: str, share: float | None, rule: StalledRule) -> Reason:
    if share is None:
        return Reason(code, NOT_RECORDED, "no effort ratings")
    mark = FOUND if share >= rule.outside_band_pct else NOT_FOUND
    return Reason(code, mark, f"{share:.0f} % of rated sessions {side} the effort band")


def _room(evidence: Evidence, rule: StalledRule) -> Reason:
    steps, change = evidence.setting_steps_up, evidence.effort_change
    if steps is None or change is None:
        return Reason(ROOM, NOT_RECORDED, "settings or effort over the window are not recorded")
    moved = f"{change:+.1f}".replace("-", "−")
    found = steps == 0 and change <= -rule.effort_fall
    return Reason(
        ROOM, FOUND if found else NOT_FOUND, f"steps up of the setting: {steps}; effort moved by {moved} points"
    )


def _no_rise(evidence: Evidence, rule: StalledRule) -> Reason:
    told = []
    if evidence.aim in AIMS_WITHOUT_GAIN:
        told.append(f"the aim is to {evidence.aim.replace('_', ' ')}" if evidence.aim else "")
    if evidence.caution == "progressive_disease":
        told.append("progressive disease is recorded")
    if told:
        return Reason(NO_RISE_EXPECTED, FOUND, "; ".join(told))
    if evidence.aim is None or evidence.caution is None:
        return Reason(NO_RISE_EXPECTED, NOT_RECORDED, "aim or caution is not recorded")
    return Reason(NO_RISE_EXPECTED, NOT_FOUND, "the aim is a rise, and no progressive disease is recorded")


CHECKS: tuple[Callable[[Evidence, StalledRule], Reason], ...] = (
    _test_changed,
    _too_few,
    _illness,
    _eased,
    _diaries,
    _low_dose,
    lambda evidence, rule: _effort(EFFORT_UNDER, "under", evidence.effort_under_pct, rule),
    lambda evidence, rule: _effort(EFFORT_OVER, "over", evidence.effort_over_pct, rule),
    _room,
    _no_rise,
)


def reasons(evidence: Evidence, rule: StalledRule) -> tuple[Reason, ...]:
    """Every reason in order, each marked; if none was found, a last one says that dose and effort were as planned.

    "As planned" is FOUND only if dose and effort are on record and in order; otherwise NOT_RECORDED, for then nobody
    knows. A reason explains a flag; it does not take it away.
    """
    checked = tuple(check(evidence, rule) for check in CHECKS)
    if any(reason.mark == FOUND for reason in checked):
        return checked
    training = [r for r in checked if r.code in {DIARIES_MISSING, LOW_DOSE, EFFORT_UNDER, EFFORT_OVER}]
    if all(reason.mark == NOT_FOUND for reason in training):
        return (*checked, Reason(WHOLE_PLAN, FOUND, "dose and effort were as planned: look at the whole plan"))
    return (*checked, Reason(WHOLE_PLAN, NOT_RECORDED, "no reason found, but dose or effort is not on record"))


def has_high_dose(evidence: Evidence, rule: StalledRule) -> bool:
    """True if more was done than prescribed (over rule.over_dose_pct of sessions) or effort lay over the band."""
    over = evidence.effort_over_pct is not None and evidence.effort_over_pct >= rule.outside_band_pct
    return over or (evidence.adherence_pct is not None and evidence.adherence_pct > rule.over_dose_pct)
