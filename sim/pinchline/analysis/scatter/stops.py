"""Which of many jobs a limit of the machine ends.

The record of the job as it stands has forces and grip of every step; those of another
sheet are in the ratio in which its passes stand to the case's (``scatter_pass``), the
raise before a feed in that of the feed.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.analysis.scatter.surrogate import DRIVE, GRIP, PINCH, PUSH
from pinchline.solvers.effort import Effort, exceeded, grip_slack

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.analysis.scatter.part import Record
    from pinchline.analysis.scatter.surrogate import Stretch

    Array = NDArray[np.float64]


class _Load(NamedTuple):
    """What one stretch of the record asks for, at its largest.

    drive, pressure : where the grip is nearest to slipping (N/mm); the rest of the
    whole machine, as ``Effort`` has them
    """

    drive: float
    pressure: float
    largest: Effort


def _load(record: Record, stretch: Stretch) -> _Load | None:
    steps = record.result.steps
    mine = np.isin(steps["move"], stretch.moves)
    if not np.any(mine):
        return None
    margin, drive = steps["grip_margin"][mine], np.abs(steps["drive_force"][mine])
    fed = steps["move"][mine] == stretch.feed
    nearest = int(np.argmin(np.where(fed, margin, np.inf)))
    friction = record.case.machine.nip.friction
    grip = float(margin[nearest] + drive[nearest])
    largest = Effort(*(float(np.max(steps[name][mine])) for name in Effort._fields))
    pressure = grip / friction if friction > 0.0 else 0.0
    return _Load(float(drive[nearest]), pressure, largest)


def stops_of(
    record: Record, stretches: tuple[Stretch, ...], ratios: Array, friction: Array
) -> tuple[NDArray[np.bool_], list[tuple[str, float]]]:
    """Tell which jobs are made, and the share of all that each limit ends.

    Parameters
    ----------
    record : of the job as it stands
    stretches : of the job
    ratios : of every pass to the case's, ``(jobs, stations, READ)``
    friction : of the nip in each job
    """
    case = record.case
    slack = grip_slack(case, record.result.inputs["moment_first_yield"])
    made = np.ones(friction.size, dtype=bool)
    kinds: Counter[str] = Counter()
    for stretch in stretches:
        load = _load(record, stretch)
        if load is None:
            continue
        own = ratios[:, list(stretch.stations)]
        driven, pushed, pinched = (
            np.max(own[:, :, which], axis=1) for which in (DRIVE, PUSH, PINCH)
        )
        held = friction[:, np.newaxis] * load.pressure * own[:, :, GRIP]
        margins = np.min(held - load.drive * own[:, :, DRIVE], axis=1)
        for job in range(friction.size):
            largest = load.largest
            asked = Effort(
                grip_margin=float(margins[job]),
                crank_torque=largest.crank_torque * driven[job],
                hand_force=largest.hand_force * driven[job],
                screw_force=largest.screw_force * pushed[job],
                screw_torque=largest.screw_torque * pushed[job],
                pinch_force=largest.pinch_force * pinched[job],
                roll_deflection=largest.roll_deflection * pinched[job],
            )
            drive = load.drive * float(driven[job])
            found = exceeded(case, asked, drive, slack)
            if found and made[job]:
                made[job] = False
                kinds[found[0].kind] += 1
    return made, [(kind, n / friction.size) for kind, n in kinds.most_common()]
