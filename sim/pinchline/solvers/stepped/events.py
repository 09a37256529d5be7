"""Events of a job: warnings and notices, and stops that end a move."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.case.demand import LimitKind
from pinchline.physics.rolls import (
    AXIS_X,
    AXIS_Y,
    CONTACT_END,
    CONTACT_START,
    PRESSURE,
    REACH,
)
from pinchline.solvers.ratings import excesses
from pinchline.solvers.rolls import REAR, UPPER, wrap_curvature
from pinchline.solvers.stepped.equilibrium.window import upper_patch
from pinchline.solvers.stepped.leading_edge import left_over, rides_up_to

if TYPE_CHECKING:
    from pinchline.case.demand import Demand
    from pinchline.solvers.stepped.state import Noticed, State

WRAP_FEED = 8.0  # thicknesses of feed that tell a pass from a crease going by
WRAP_SHARE = 0.99  # of the curvature of the upper roll, over at least a thickness
EDGE_REACH = 2.0  # thicknesses from the edge within which a contact is the edge's
LOOK_AT_CURL = 2.0  # mm of feed between looks at the free arms
THICK = 0.05  # of the upper roll's radius: continua were run at 0.033 and 0.08
SELF_SPACING = 4.0  # mm between the points of the check for a closed curl


class Finding(NamedTuple):
    """An event as found: kind, whether it stops the move, words, a number."""

    kind: str
    stops: bool
    message: str
    value: float


def warnings(state: State) -> list[Finding]:
    """Find what the model leaves out, or is unsure of, before any move."""
    found: list[Finding] = []
    regime, skew = state.regime, state.case.machine.rear.skew
    if regime.between:
        message = (
            f"between a narrow strip and a wide sheet: w^2/(R t) = {regime.searle:.1f} "
            f"at R = {regime.radius:.0f} mm; {100.0 * regime.held:.0f} % of the width "
            'counts as held flat. Run it with model.regime "narrow" and "wide" for the '
            "bounds"
        )
        kind = "between narrow and wide"
        found.append(Finding(kind, stops=False, message=message, value=regime.searle))
    thick = state.case.sheet.thickness / state.case.machine.rolls.upper_radius
    if thick > THICK and not state.case.model.bulging:
        message = (
            f"thick sheet: {thick:.2g} of the upper roll's radius. Radii have come out "
            "up to 4 % off a continuum's here; model.bulging = true came within 1 %"
        )
        found.append(Finding("thick sheet", stops=False, message=message, value=thick))
    if skew != 0.0 and state.track is None:
        message = (
            f"the skew of the rear roll, {skew:g} mm, counts only across the width "
            "(`pinchline across`): this job is that of the middle between the bearings"
        )
        if state.case.machine.rolls.shaft is None:
            message = (
                f"the skew of the rear roll, {skew:g} mm, does not count: without a "
                "table [rolls.shaft] nobody knows where its ends stand"
            )
        kind = "skew does not count"
        found.append(Finding(kind, stops=False, message=message, value=skew))
    return found


def notices(state: State, *, feeding: bool) -> tuple[list[Finding], Noticed]:
    """Find what begins or ends with this step, and what is noticed with it.

    Each beginning is told once a job: the caller keeps what was noticed in the state.
    """
    found: list[Finding] = []
    noticed = state.noticed
    if "yield" not in noticed.reported and state.energy_plastic > 0.0:
        noticed = noticed.reporting("yield")
        found.append(
            Finding(
                "permanent set begins",
                stops=False,
                message=f"permanent set begins at {state.lift:.2f} mm lift",
                value=state.lift,
            )
        )
    wraps, noticed = _wrap(state, noticed, feeding=feeding)
    found += wraps
    if state.forces[REAR, PRESSURE] > 0.0:
        noticed = noticed._replace(rear_touch=float(state.forces[REAR, CONTACT_END]))
    elif feeding and math.isfinite(noticed.rear_touch):
        found.append(_off_the_rear_roll(state))
        noticed = noticed._replace(rear_touch=math.nan)
    return found, noticed


def _wrap(
    state: State, noticed: Noticed, *, feeding: bool
) -> tuple[list[Finding], Noticed]:
    """Tell when the sheet lies on the upper roll: at rest, and for a stretch of feed.

    At rest it is the crease alone that has come to the roll's curvature; a pass wraps
    only where sheet that is fed through keeps coming to it.
    """
    thickness = state.case.sheet.thickness
    bound = wrap_curvature(state.case.machine, thickness)
    touch = state.forces[UPPER, CONTACT_START : CONTACT_END + 1] / state.beam.length
    wrapped = upper_patch(state) >= thickness
    if wrapped:
        patch = state.chain.curvature[int(touch[0]) : int(touch[1]) + 1]
        wrapped = bool(np.max(patch) >= WRAP_SHARE * bound)
    key = "wrap in a pass" if feeding else "wrap at rest"
    if not wrapped:
        return [], noticed._replace(wrapped_from=math.nan)
    if not feeding:
        noticed = noticed._replace(wrapped_from=math.nan)
        where = "under the nip where it is at rest; the rest of the sheet is bent less"
    else:
        if math.isnan(noticed.wrapped_from):
            noticed = noticed._replace(wrapped_from=state.fed)
        if abs(state.fed - noticed.wrapped_from) < WRAP_FEED * thickness:
            return [], noticed
        where = "as it is fed, and more lift no longer tightens it"
    if key in noticed.reported:
        return [], noticed
    message = (
        f"wrap begins at {state.lift:.2f} mm lift: the sheet lies on the upper roll "
        f"{where}"
    )
    finding = Finding("wrap begins", stops=False, message=message, value=state.lift)
    return [finding], noticed.reporting(key)


def _off_the_rear_roll(state: State) -> Finding:
    """Tell whether the edge has run off the rear roll or the sheet has lifted off."""
    length = state.elements * state.beam.length
    left = left_over(state)
    if length - state.noticed.rear_touch <= EDGE_REACH * state.case.sheet.thickness:
        message = (
            f"the edge leaves the rear roll with {left:.1f} mm of sheet beyond the "
            "nip: the bending ends, the feed does not"
        )
        return Finding(
            "edge leaves the rear roll", stops=False, message=message, value=left
        )
    message = (
        f"the sheet lifts off the rear roll at {state.lift:.2f} mm lift: what is bent "
        "already passes without touching it"
    )
    return Finding(
        "sheet lifts off the rear roll", stops=False, message=message, value=state.lift
    )


def stops(state: State, demand: Demand) -> list[Finding]:
    """Find what ends the move after a step with this demand."""
    return [
        Finding(excess.kind, stops=True, message=excess.message, value=excess.value)
        for excess in excesses(state, demand)
    ]


def edge_runs_against(state: State, lift: float) -> Finding | None:
    """Tell when the leading edge, about to meet the rear roll, would not ride up it."""
    rides = rides_up_to(state, lift)
    if rides is None:
        return None
    message = (
        f"the edge runs against the rear roll: at {lift:.2f} mm lift it meets the roll "
        f"square on, {left_over(state):.1f} mm beyond the nip, and stands; up to "
        f"{rides:.1f} mm lift it would ride up the roll"
    )
    kind = LimitKind.EDGE_RUNS_AGAINST_ROLL
    return Finding(kind, stops=True, message=message, value=rides)


def curl_meets(state: State) -> Finding | None:
    """Whether a free arm has come round to a roll, or to the sheet itself.

    Expects the arms laid out. The operator's arm goes no faster than the feed, so short
    of the rear roll by what is fed between two looks is near enough.
    """
    c = state.chain
    roll, rear = state.rolls[UPPER], state.rolls[REAR]
    machine = LimitKind.CURL_MEETS_MACHINE
    far = 2.0 * roll[REACH] / state.beam.length
    element, _ = state.driven()
    near, beyond = max(0, int(element - far)), int(element + far)
    away = np.hypot(c.x[:near] - rear[AXIS_X], c.y[:near] - rear[AXIS_Y])
    if away.size and float(np.min(away)) < rear[REACH] + LOOK_AT_CURL:
        message = "the curl has come round to the rear roll"
        return Finding(machine, stops=True, message=message, value=math.nan)
    arms = np.r_[0:near, beyond : state.elements + 1]
    apart = np.hypot(c.x[arms] - roll[AXIS_X], c.y[arms] - roll[AXIS_Y])
    if arms.size and float(np.min(apart)) < roll[REACH]:
        message = "the curl has come round to the upper roll"
        return Finding(machine, stops=True, message=message, value=math.nan)
    stride = max(1, int(SELF_SPACING / state.beam.length))
    px, py = c.x[::stride], c.y[::stride]
    spacing = stride * state.beam.length
    gaps = np.hypot(px[:, None] - px[None, :], py[:, None] - py[None, :])
    index = np.arange(px.size)
    apart_along = np.abs(index[:, None] - index[None, :]) * spacing
    close = gaps < 0.5 * spacing + 2.0 * state.beam.half
    if bool(np.any(close & (apart_along > 6.0 * spacing + 4.0 * state.beam.half))):
        message = "the curl has closed on itself"
        kind = LimitKind.CURL_MEETS_ITSELF
        return Finding(kind, stops=True, message=message, value=math.nan)
    return None
