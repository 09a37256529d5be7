"""Record of the accepted steps of a job, with the whole shape at some of them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline.case.demand import NO_DEMAND
from pinchline.physics.rolls import AXIS_X, AXIS_Y
from pinchline.physics.support import GIVE
from pinchline.results.schema import ROLLS, Event
from pinchline.solvers.ratings import demand_of
from pinchline.solvers.stepped.energy import Account, work_scale
from pinchline.solvers.stepped.equilibrium.window import upper_patch

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.demand import Demand
    from pinchline.solvers.stepped.events import Finding
    from pinchline.solvers.stepped.state import State

FRAME_FEED = 4.0  # mm of feed between frames
FRAME_LIFT = 1.0  # mm of lift between frames
_GIVES = tuple(f"give_{name}" for name in ROLLS)
_BY_ROLL = tuple((f"force_{name}", f"{name}_x", f"{name}_y") for name in ROLLS)
WHOLE = ("move", "iterations", "step")


class Recorder:
    """Rows of steps, frames and events of one job."""

    def __init__(self, state: State) -> None:
        self.rows: list[dict[str, float]] = []
        self.frames: list[dict[str, float]] = []
        self.shapes: list[tuple[NDArray[np.float64], ...]] = []
        self.events: list[Event] = []
        self.account = Account(work_scale(state))
        self.penetration = 0.0
        self._spent = state.iterations
        self._framed = (-1, math.nan, math.nan)

    def step(self, state: State, move: int) -> Demand:
        """Write down an accepted step; now and then its shape. Return its demand."""
        demand = demand_of(state) if state.gripped else NO_DEMAND
        gives = state.supports[:, GIVE].tolist()
        row = {
            "move": move,
            "lift": state.lift,
            "nip": state.nip_s,
            "fed": state.fed,
            "drive_force": state.drive_force,
            "nip_opening": state.nip_opening,
            **dict(zip(_GIVES, gives, strict=True)),
            **demand._asdict(),
            "curvature_max": state.curvature_max if state.gripped else math.nan,
            "patch_upper": upper_patch(state),
            "work_drive": state.work_drive,
            "work_rear": state.work_rear,
            "work_clamp": state.work_clamp,
            "energy_elastic": state.energy_elastic,
            "energy_plastic": state.energy_plastic,
            "energy_contact": state.energy_contact,
            "energy_support": state.energy_support,
            "energy_height": state.energy_height,
            "energy_error": self.account.error(state),
            "residual": state.residual,
            "iterations": state.iterations - self._spent,
        }
        self._spent = state.iterations
        for names, (fx, fy, mx, my, total, depth, *_) in zip(
            _BY_ROLL, state.forces.tolist(), strict=True
        ):
            row[names[0]] = math.hypot(fx, fy)
            row[names[1]] = mx / total if total > 0.0 else math.nan
            row[names[2]] = my / total if total > 0.0 else math.nan
            self.penetration = max(self.penetration, depth)
        self.rows.append(row)
        framed, lift, fed = self._framed
        if (
            framed != move
            or abs(state.lift - lift) >= FRAME_LIFT
            or abs(state.fed - fed) >= FRAME_FEED
        ):
            self.frame(state, move)
        return demand

    def frame(self, state: State, move: int) -> None:
        """Write down the whole shape in the machine."""
        self._framed = (move, state.lift, state.fed)
        if self.frames and self.frames[-1]["step"] == len(self.rows) - 1:
            return
        state.lay_arms()
        x, y = state.chain.x.copy(), state.chain.y.copy()
        if state.turned:
            x, y = x[::-1], y[::-1]
        self.shapes.append(
            (x, y, state.rolls[:, AXIS_X].copy(), state.rolls[:, AXIS_Y].copy())
        )
        self.frames.append(
            {
                "step": len(self.rows) - 1,
                "lift": state.lift,
                "nip": state.nip_s,
                "move": move,
            }
        )

    def event(self, state: State, move: int, finding: Finding) -> None:
        """Write down an event."""
        self.events.append(
            Event(
                move=move,
                kind=str(finding.kind),
                level="stop" if finding.stops else "notice",
                message=finding.message,
                step=max(0, len(self.rows) - 1),
                s=state.nip_s if state.gripped else math.nan,
                value=finding.value,
            )
        )

    def step_table(self) -> dict[str, NDArray[np.generic]]:
        """Columns of the steps."""
        return _columns(self.rows)

    def frame_table(self) -> dict[str, NDArray[np.generic]]:
        """Columns of the frames, with their shapes."""
        table = _columns(self.frames)
        for index, name in enumerate(("x", "y", "roll_x", "roll_y")):
            if self.shapes:
                table[name] = np.array([shape[index] for shape in self.shapes])
        return table


def _columns(rows: list[dict[str, float]]) -> dict[str, NDArray[np.generic]]:
    if not rows:
        return {}
    return {
        name: np.array(
            [row[name] for row in rows], dtype=np.int32 if name in WHOLE else np.float64
        )
        for name in rows[0]
    }
