"""Protocols page: what was planned, when, and what became of it."""

from __future__ import annotations

from pipeline.report.look import Look, pair, part
from pipeline.report.sections_protocols import PRESSURES, ranged
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Fold, SectionView, said, view
from pipeline.report.words import chance, count, dated, number, people, sentence
from pipeline.results import Result

NOT_PLANNED = "not planned"


def plan(look: Look) -> SectionView:
    """Registrations first, then the words of the plan, its contrasts, covariates and other analyses, and consent."""
    return view(said(_standing(look)), _registrations(look), _words(look), _consent(look), _contrasts(look),
                _covariates(look), _analyses(look))


def registrations(look: Look) -> list[Result]:
    """Every registration of a plan, the first first."""
    return sorted(look.many("plan", "registered"), key=lambda r: r.at or 0.0)


def _standing(look: Look) -> str:
    """One sentence: whether the plan came before the data, and whether it has changed since."""
    known = registrations(look)
    if not known:
        return ""
    first, last = known[0], known[-1]
    when = look.say("protocols.plan.before" if first.n == 0 else "protocols.plan.after", on=dated(first.text),
                    n=count(first.n))
    if len(known) == 1:
        return when
    return when + " " + look.say("protocols.plan.amended", times=number(len(known) - 1), on=dated(last.text))


def _registrations(look: Look) -> Block | None:
    rows = []
    for r in registrations(look):
        sha = look.one("plan", "sha256", r.group)
        rows.append([part(r, "plan"), dated(r.text), count(r.n), r.note or look.say("protocols.plan.first"),
                     sha.text if sha else ""])
    heads = [Column(look.say(f"protocols.plan.{h}"), h == "tests")
             for h in ("number", "on", "tests", "changed", "sha")]  # fmt: skip
    return table("t-plans", look.say("protocols.plan.registered"), heads, rows) if rows else None


def _words(look: Look) -> Block | None:
    rows = [[look.say(f"protocols.plan.item_{part(r, 'item')}"), r.text] for r in look.many("plan", "item")]
    heads = [Column(look.say("protocols.plan.word")), Column(look.say("protocols.plan.text"), False)]
    return table("t-plan-words", look.say("protocols.plan.words"), heads, rows) if rows else None


def _consent(look: Look) -> Block | None:
    """The sentence that says who is left out, for want of consent."""
    rows = {part(r, "consent"): r for r in look.many("plan", "people")}
    total, agreed = look.one("plan", "people"), rows.get("yes")
    if total is None or agreed is None:
        return None
    others = [f"{people(r)} {look.say('protocols.plan.consent_' + name.replace(' ', '_'))}"
              for name, r in rows.items() if name not in ("yes", "key", "") and r.n != 0]
    out = ", ".join(others) or look.say("protocols.plan.nobody_out")
    return said(look.say("protocols.plan.consented", n=people(agreed), of=people(total), out=out),
                look.say("protocols.plan.consented_where"))


def _contrasts(look: Look) -> Block | None:
    rows, groups = [], []
    found = sorted(look.many("plan", "contrast_cmh2o"), key=lambda r: PRESSURES.index(part(r, "pressure")))
    for r in found:
        p, holm = (look.one("plan", s, r.group, r.at) for s in ("p_value", "p_holm"))
        rows.append([_name(look, r), sentence(r.note), ranged(r) if r.value is not None else sentence(r.text),
                     chance(holm), chance(p)])
        groups.append(look.texts.name("pressure", part(r, "pressure")))
    heads = [Column(look.say(f"protocols.plan.{h}"), h not in ("contrast", "when"))
             for h in ("contrast", "when", "estimate", "holm", "p")]
    size = look.one("plan", "family_size")
    caption = look.say("protocols.plan.contrasts", n=number(size.value or 0.0) if size else "0")
    return table("t-planned", caption, heads, rows, groups) if rows else None


def _name(look: Look, row: Result) -> str:
    what = pair(row) or look.say(f"protocols.plan.of_{part(row, 'of')}")
    return look.say("protocols.plan.at_week", what=what, week=number(row.at or 0))


def _covariates(look: Look) -> Block | None:
    rows = []
    for r in look.many("plan", "covariate"):
        used = [look.texts.name("pressure", p) for p in r.note.split()]
        rows.append([look.say(f"protocols.plan.covariate_{part(r, 'covariate')}"), sentence(r.text),
                     ", ".join(used) or look.say("protocols.plan.in_none")])
    heads = [Column(look.say(f"protocols.plan.{h}"), False) for h in ("covariate", "when", "in_models")]
    return table("t-plan-covariates", look.say("protocols.plan.covariates"), heads, rows) if rows else None


def _analyses(look: Look) -> Block | None:
    rows = [[part(r, "choice"), sentence(r.text), sentence(r.note)] for r in look.many("plan", "sensitivity")]
    heads = [Column(look.say(f"protocols.plan.{h}"), False) for h in ("analysis", "when", "made")]
    if not rows:
        return None
    listed = table("t-plan-analyses", look.say("protocols.plan.analyses"), heads, rows)
    return Fold(look.say("protocols.plan.analyses_fold"), (listed,))


def standing_of(look: Look, shown: Result) -> str:
    """What the plan says of a difference that another table shows, in words; empty without a plan."""
    if not registrations(look):
        return ""
    for r in look.many("plan", "contrast_cmh2o", pressure=part(shown, "pressure"), of="difference"):
        if r.at == shown.at and _both(r) == _both(shown):
            return sentence(r.note)
    return sentence(NOT_PLANNED)


def _both(row: Result) -> frozenset[str]:
    return frozenset(part(row, "protocols").split(" - "))
