"""Machine limits over many jobs: which are stopped, and by what.

The record of the job as it stands has forces and grip of every step; those of another
sheet are in the ratio in which its passes stand to the case's (``scatter_pass``), the
raise before a feed in that of the feed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.analysis.scatter.surrogate import DRIVE, GRIP, PINCH, PUSH
from pinchline.case.demand import DEMAND_QUANTITIES, NO_DEMAND, Demand, worst_of
from pinchline.solvers.ratings import exceeded, grip_slack

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.analysis.scatter.part import PartRecord
    from pinchline.analysis.scatter.surrogate import ProgramStretch
    from pinchline.case.demand import LimitKind

    Array = NDArray[np.float64]


FORCE_COLUMNS = {"grip": GRIP, "drive": DRIVE, "rear": PUSH, "pinch": PINCH}


class _Load(NamedTuple):
    """Largest demand of one stretch of the record.

    drive, pressure : where the grip is nearest to slipping (N/mm); ``largest``: of each
    quantity alone
    """

    drive: float
    pressure: float
    largest: Demand


def _load(record: PartRecord, stretch: ProgramStretch) -> _Load | None:
    steps = record.result.steps
    mine = np.isin(steps["move"], stretch.moves)
    if not np.any(mine):
        return None
    margin, drive = steps["grip_margin"][mine], np.abs(steps["drive_force"][mine])
    fed = steps["move"][mine] == stretch.feed
    nearest = int(np.argmin(np.where(fed, margin, np.inf)))
    friction = record.case.machine.nip.friction
    grip = float(margin[nearest] + drive[nearest])
    largest = Demand(*(float(np.max(steps[name][mine])) for name in Demand._fields))
    pressure = grip / friction if friction > 0.0 else 0.0
    return _Load(float(drive[nearest]), pressure, largest)


def _scaled(demand: Demand, ratios: dict[str, float]) -> Demand:
    """Demand whose quantities go with the force that each follows."""
    pairs = zip(demand, DEMAND_QUANTITIES, strict=True)
    return Demand(*(value * ratios[quantity.follows] for value, quantity in pairs))


class JobLimits(NamedTuple):
    """What each of many jobs demands of the machine, and which limit ends it, if any.

    demands : the worst of every quantity over the job
    """

    demands: tuple[Demand, ...]
    limits: tuple[LimitKind | None, ...]


def job_limits(
    record: PartRecord,
    stretches: tuple[ProgramStretch, ...],
    ratios: Array,
    friction: Array,
) -> JobLimits:
    """Compute what many jobs demand, and which of them a limit ends.

    Parameters
    ----------
    record : of the job as it stands
    stretches : of the job
    ratios : of every pass to the case's, ``(jobs, stations, READ)``
    friction : of the nip in each job
    """
    case = record.case
    slack = grip_slack(case, record.result.inputs["moment_first_yield"])
    demands: list[Demand | None] = [None] * friction.size
    limits: list[LimitKind | None] = [None] * friction.size
    for stretch in stretches:
        load = _load(record, stretch)
        if load is None:
            continue
        own = ratios[:, list(stretch.stations)]
        scale = {
            force: np.max(own[:, :, at], axis=1) for force, at in FORCE_COLUMNS.items()
        }
        held = friction[:, np.newaxis] * load.pressure * own[:, :, GRIP]
        margins = np.min(held - load.drive * own[:, :, DRIVE], axis=1)
        for job in range(friction.size):
            now = {force: float(ratio[job]) for force, ratio in scale.items()}
            margin = float(margins[job])
            demand = _scaled(load.largest, now)._replace(grip_margin=margin)
            found = exceeded(case, demand, load.drive * now["drive"], slack)
            if found and limits[job] is None:
                limits[job] = found[0].kind
            before = demands[job]
            demands[job] = demand if before is None else worst_of(before, demand)
    return JobLimits(tuple(d or NO_DEMAND for d in demands), tuple(limits))
