"""Energy account of a job: work put in, energy stored, work dissipated and error.

Work of drive, rear slide and clamp = elastic energy of the sheet + plastic work +
energy of the contact foundation, of the supports and of height. The clamp's is that of
closing the nip on the sheet, less what is let go when the sheet is taken out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pinchline.physics.contact import trapezoid_work_error
from pinchline.physics.rolls import AXIS_Y
from pinchline.physics.support import GIVE, GIVE_X, GIVE_Y, mean_work

if TYPE_CHECKING:
    from pinchline.solvers.stepped.state import State


@dataclass
class Account:
    """Running account of a job; energies per mm of width, N mm per mm.

    ``scale`` is the least work that an error is measured against (``work_scale``).
    """

    scale: float
    turnover: float = 0.0
    _last: float = 0.0

    def error(self, state: State) -> float:
        """Return the closing error over the work turned over so far."""
        given = state.energy_given
        self.turnover += abs(given - self._last)
        self._last = given
        return state.energy_missing / max(self.turnover, self.scale)


def work_scale(state: State) -> float:
    """Work that bends as much sheet as spans nip to rear roll to first yield and back.

    ``M_y^2 L / EI``, half of it going in and half coming out. A job that turns over
    less leaves no set anywhere; its errors are measured against this, since against its
    own work, which may be nothing, any rounding is large.
    """
    span = state.case.machine.rear.distance
    return state.beam.first_yield**2 * span / state.beam.bending


def overcounted_work(
    state: State, here: State, held: float, nodes: tuple[int, int]
) -> float:
    """Work (N mm/mm) that the mean of a step's end forces counts too much.

    Where points come to a roll or leave it, and where a support's force has a corner,
    that mean is not the mean along the step. ``here`` is the step's beginning, true
    between ``nodes``; ``held`` the energy of the supports there (N mm/mm).
    """
    away = state.supports[:, GIVE_X : GIVE_Y + 1]
    before = state.rolls.copy()
    gives = here.supports[:, GIVE]
    before[:, : AXIS_Y + 1] = here.axes + gives[:, np.newaxis] * away
    contacts = trapezoid_work_error(
        state.beam,
        here.chain,
        state.chain,
        max(state.first, nodes[0]),
        min(state.last, nodes[1]),
        state.sheet.foundation,
        before,
        state.rolls,
    )
    supports = mean_work(state.supports, gives) - (state.energy_support - held)
    return float(contacts + supports)
