"""What people gained in trials while training against next to no load: a yardstick beside an uncontrolled gain.

A sham arm's rise holds learning, attention, natural recovery and regression to the mean, but (nearly) no training.
"""

from dataclasses import dataclass

HILL_2006 = (
    "Hill K, Jenkins SC, Philippe DL, et al. High-intensity inspiratory muscle training in COPD. Eur Respir J "
    "2006;27:1119-28 (table)"
)
HILL_2006_DOI = "10.1183/09031936.06.00105205"
DEL_CORRAL_2022 = (
    "del Corral T, Fabero-Garrido R, Plaza-Manzano G, et al. Home-based respiratory muscle training on quality of life "
    "and exercise tolerance in long-term post-COVID-19: randomized controlled trial. Ann Phys Rehabil Med "
    "2023;66:101709 (table; published online 2022)"
)
DEL_CORRAL_2022_DOI = "10.1016/j.rehab.2022.101709"


@dataclass(frozen=True)
class ShamArm:
    """One sham arm: mean pressure before and after, in cmH2O. ``n_note`` says where n was not printed by arm."""

    arm: str
    pressure: str
    condition_group: str
    weeks: int
    n: int
    before_cmh2o: float
    after_cmh2o: float
    citation: str
    doi: str
    n_note: str = ""

    @property
    def rise_cmh2o(self) -> float:
        """Mean rise, after − before, in cmH2O (both printed with one decimal)."""
        return round(self.after_cmh2o - self.before_cmh2o, 1)


@dataclass(frozen=True)
class ShamRange:
    """Smallest and largest mean rise of the sham arms held for one pressure and population, in cmH2O."""

    pressure: str
    condition_group: str
    low_cmh2o: float
    high_cmh2o: float
    weeks: int
    arms: tuple[ShamArm, ...]


def _del_corral(arm: str, pressure: str, before_cmh2o: float, after_cmh2o: float) -> ShamArm:
    note = "n by arm inferred from 88 people randomised 1:1:1:1"
    return ShamArm(
        arm, pressure, "post_viral", 8, 22, before_cmh2o, after_cmh2o, DEL_CORRAL_2022, DEL_CORRAL_2022_DOI, note
    )


SHAM_ARMS: tuple[ShamArm, ...] = (
    ShamArm("sham at 10 % of MIP", "mip", "copd", 8, 17, 66.5, 71.7, HILL_2006, HILL_2006_DOI),
    _del_corral("sham inspiratory training", "mip", 85.2, 98.6),
    _del_corral("sham inspiratory and expiratory training", "mip", 91.4, 104.1),
    _del_corral("sham inspiratory training", "mep", 104.9, 116.0),
    _del_corral("sham inspiratory and expiratory training", "mep", 109.1, 127.1),
)


def sham_range(pressure: str, condition_group: str) -> ShamRange | None:
    """Range of sham-arm rises for a pressure ("mip", "mep") and a condition group, in cmH2O.

    None where no sham arm is held for that population (stroke, intensive care, neuromuscular disease and others): a
    page then says so, and must not borrow another population's range in silence.
    """
    arms = tuple(arm for arm in SHAM_ARMS if (arm.pressure, arm.condition_group) == (pressure, condition_group))
    if not arms:
        return None
    rises = [arm.rise_cmh2o for arm in arms]
    return ShamRange(pressure, condition_group, min(rises), max(rises), max(arm.weeks for arm in arms), arms)


def sham_range_any(pressure: str) -> tuple[float, float] | None:
    """Smallest and largest sham-arm rise over every population held, in cmH2O; None where none is held.

    MIP +5.2 to +13.4 (COPD, post-viral), MEP +11.1 to +18.0 (post-viral): name the populations beside it.
    """
    rises = [arm.rise_cmh2o for arm in SHAM_ARMS if arm.pressure == pressure]
    return (min(rises), max(rises)) if rises else None
