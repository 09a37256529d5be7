"""The energy account: what the machine puts in is stored, spent, or missing.

Work of drive, rear slide and clamp = elastic energy of the sheet + plastic work +
energy of the contact foundation, of the supports and of height. The clamp's is that of
closing the nip on the sheet, less what is let go when the sheet is taken out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pinchline.process.state import State


@dataclass
class Account:
    """Running account of a job; energies per mm of width, N mm per mm.

    ``scale`` is the least work that an error is measured against: what bends the span
    between nip and rear roll elastically to first yield, ``M_y^2 L / (6 EI)``.
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
    """Elastic energy of the span between nip and rear roll at first yield."""
    span = state.case.machine.rear.distance
    return state.beam.first_yield**2 * span / (6.0 * state.beam.bending)
