"""Demands of a job on a machine, and the limits that they can reach.

A limit's displayed words stand here alone; code compares members of ``LimitKind``.
"""

from __future__ import annotations

import math
from enum import StrEnum
from typing import TYPE_CHECKING, Literal, NamedTuple, Self

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pinchline.units import Dimension


class LimitKind(StrEnum):
    """A reason why a pass or a part cannot be made, or a pass not be tighter.

    The value is what is displayed and stored; ``label`` what it is called where there
    is little room.
    """

    label: str

    def __new__(cls, words: str, label: str = "") -> Self:
        """Make a member of its words and its label, by default the words."""
        member = str.__new__(cls, words)
        member._value_ = words
        member.label = label or words
        return member

    # ratings of the machine card, in the order in which they are checked
    GRIP = "grip exceeded", "grip"
    HAND_FORCE = "effort exceeded", "crank"
    SCREW_FORCE = "screw force exceeded", "screw"
    SCREW_TORQUE = "screw torque exceeded", "screw torque"
    PINCH_FORCE = "pinch force exceeded", "bearings"
    ROLL_DEFLECTION = "roll deflection exceeded", "deflection"
    # ends of the lift
    JAM = "jam"
    TRAVEL = "end of screw travel", "travel"
    # of the sheet in a pass
    WRAP = "wrap"
    NO_SET = "no permanent set", "no set"
    STRAIN = "surface strain", "strain"
    EDGE = "an edge runs out", "edge"
    SOLVER = "solver", "not found"
    # stops of a job
    CURL_MEETS_MACHINE = "curl meets the machine"
    CURL_MEETS_ITSELF = "curl meets itself"
    EDGE_RUNS_AGAINST_ROLL = "edge runs against the rear roll"
    NO_GRIP = "no grip"
    NOT_IN_NIP = "does not lie in the nip"
    NOTHING_TO_FEED = "nothing to feed"
    TAIL_LEAVES_GRIP = "tail leaves the grip"
    # of a wanted part
    NIP_EDGE = "the nip must hold the edge"
    ONE_WAY = "the rolls bend one way only"
    NOT_IN_NIP_AGAIN = (
        "the bent sheet does not go into the nip again, turned end for end"
    )
    NO_JOB = "no job found that meets it"


LIFT_LIMITS = (LimitKind.JAM, LimitKind.TRAVEL)
CURL_LIMITS = (LimitKind.CURL_MEETS_MACHINE, LimitKind.CURL_MEETS_ITSELF)


class DemandQuantity(NamedTuple):
    """One quantity of a ``Demand``, as tables and messages have it.

    name : of the field; ``unit``, ``dimension``
    in_step, in_job, in_pass : words for one step, and the extreme of a job or a pass
    follows : the force of a pass to which it is proportional
    limit : what forbids more; None where nothing does
    excess : sentence about too much of it
    """

    name: str
    unit: str
    dimension: Dimension
    in_step: str
    in_job: str
    in_pass: str
    follows: Literal["grip", "drive", "rear", "pinch"]
    limit: LimitKind | None = None
    excess: str = ""

    @property
    def extreme(self) -> str:
        """Name of a job's extreme: of a margin the least, else the largest."""
        return f"{self.name}_min" if self.follows == "grip" else f"{self.name}_max"


DEMAND_QUANTITIES = (
    DemandQuantity(
        "grip_margin",
        "N/mm",
        "line_force",
        "grip of the pinch rolls beyond the drive force",
        "smallest grip beyond the drive force, when feeding",
        "least grip beyond the drive",
        "grip",
        LimitKind.GRIP,
        "the drive of {} is more than the friction of the pinch rolls, which holds {}; "
        "the rolls slip",
    ),
    DemandQuantity(
        "crank_torque",
        "N mm",
        "torque",
        "torque at the crank",
        "largest torque at the crank",
        "largest torque at the crank",
        "drive",
    ),
    DemandQuantity(
        "hand_force",
        "N",
        "force",
        "force of the hand at the crank",
        "largest force of the hand at the crank",
        "largest force of the hand",
        "drive",
        LimitKind.HAND_FORCE,
        "the crank would need {} by hand, {} is allowed",
    ),
    DemandQuantity(
        "screw_force",
        "N",
        "force",
        "force of the rear roll on the screw that bears more",
        "largest force on a screw of the rear roll",
        "largest force on a screw of the rear roll",
        "rear",
        LimitKind.SCREW_FORCE,
        "a screw of the rear roll would bear {}, {} is allowed",
    ),
    DemandQuantity(
        "screw_torque",
        "N mm",
        "torque",
        "torque that raises that screw",
        "largest torque to raise a screw",
        "largest torque to raise a screw",
        "rear",
        LimitKind.SCREW_TORQUE,
        "a screw of the rear roll would need {} to be raised, {} is allowed",
    ),
    DemandQuantity(
        "pinch_force",
        "N",
        "force",
        "force on the pinch roll that is pushed away harder",
        "largest force that pushes a pinch roll away",
        "largest force on a pinch roll",
        "pinch",
        LimitKind.PINCH_FORCE,
        "a pinch roll would be pushed away with {}, {} is allowed",
    ),
    DemandQuantity(
        "roll_deflection",
        "mm",
        "length",
        "deflection of a roll under the middle of the sheet",
        "largest deflection of a roll",
        "largest deflection of a roll",
        "pinch",
        LimitKind.ROLL_DEFLECTION,
        "a roll would deflect by {} under the middle of the sheet, {} is allowed",
    ),
)
# in the tables of passes
RATED_QUANTITIES = tuple(q for q in DEMAND_QUANTITIES if q.limit is not None)
MACHINE_LIMITS = tuple(q.limit for q in RATED_QUANTITIES if q.limit is not None)


class Demand(NamedTuple):
    """Demand of a step, a pass or a job on a machine, over the whole width.

    NaN where the machine card does not say. The fields are ``DEMAND_QUANTITIES``.
    grip_margin: friction grip of the pinch rolls less the drive (N/mm); crank_torque:
    at the crank (N mm); hand_force: at its handle (N); screw_force: along the slide, of
    the screw that bears more (N); screw_torque: to raise it so (N mm); pinch_force: of
    the pinch roll that is pushed away harder (N); roll_deflection: of the roll that
    deflects most, under the middle of the sheet (mm).
    """

    grip_margin: float
    crank_torque: float
    hand_force: float
    screw_force: float
    screw_torque: float
    pinch_force: float
    roll_deflection: float = math.nan

    @classmethod
    def of_job(cls, summary: Mapping[str, float]) -> Demand:
        """Read the extremes of a job from its summary."""
        return cls(*(summary[q.extreme] for q in DEMAND_QUANTITIES))


def worst_of(one: Demand, other: Demand) -> Demand:
    """Worse of two demands in every quantity: the least margin, else the largest."""
    worst = Demand(*(max(pair) for pair in zip(one, other, strict=True)))
    return worst._replace(grip_margin=min(one.grip_margin, other.grip_margin))


NO_DEMAND = Demand(*(math.nan,) * len(DEMAND_QUANTITIES))
