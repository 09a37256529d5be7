"""Spread of a plan's part under scatter of sheet, nip and settings.

The plan is taken at its word: what scatters does so about the sheet and the settings of
the plan (``scatter_inputs``, centred), for a scrap strip is rolled before the job.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pinchline.analysis.scatter.by_runs import run_response
from pinchline.analysis.scatter.evaluate import JobResponse, refuse_stopped
from pinchline.analysis.scatter.inputs import (
    inputs_of,
    laid_in_again,
    settings_in,
    varied_case,
)
from pinchline.analysis.scatter.part import curvature_of, record_of, result_of
from pinchline.analysis.scatter.sampling import columns_of, sample_of
from pinchline.analysis.scatter.surrogate import MOMENT, stations_of
from pinchline.errors import PinchlineError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.analysis.planning.plan import Plan
    from pinchline.analysis.scatter.inputs import ScatterInput
    from pinchline.results.schema import Result

    Array = NDArray[np.float64]

SPREAD_PARTS = 64
# fewer solutions, lifts (mm) together: a plan must not wait
SPREAD_SOLUTIONS, SHARED_LIFT_RANGE_MM = 16, 3.0
SPREAD_SEED = 1
# what is rolled where surfaces know nothing
STEPPED_INPUTS = ("thickness", "yield_strength")


def spread_parts(
    plan: Plan, *, parts: int = SPREAD_PARTS, workers: int | None = None
) -> tuple[Result, ...]:
    """Give parts of a plan's job as sheet, nip and settings scatter.

    Of a job that bends sheet twice the span solver knows nothing: there it is rolled
    again with more thickness and with more strength, and the curvature of every element
    goes linearly with both. Empty where the job stops or its passes cannot be followed.
    ``workers``: processes; None takes all cores.
    """
    case = plan.case
    inputs = inputs_of(case, centred=True)
    try:
        if laid_in_again(case):
            return _by_steps(plan, inputs, parts, workers)
        return _by_span(plan, inputs, parts, workers)
    except PinchlineError:
        return ()


def _filled(size: int, parts: int) -> Array:
    """Shares of the laws that fill them evenly, ``(parts, size)``."""
    from scipy.stats import qmc  # slow to import, and a plan need not wait for it

    shares: Array = qmc.Sobol(size, rng=np.random.default_rng(SPREAD_SEED)).random(
        parts
    )
    return shares


def _by_span(
    plan: Plan, inputs: tuple[ScatterInput, ...], parts: int, workers: int | None
) -> tuple[Result, ...]:
    case = plan.case
    spreader = JobResponse.of(
        case,
        inputs,
        result=plan.result,
        solutions=SPREAD_SOLUTIONS,
        near=SHARED_LIFT_RANGE_MM,
        workers=workers,
        seed=SPREAD_SEED,
    )
    size = columns_of(inputs, len(settings_in(case.moves)))[-1][-1] + 1
    sample = sample_of(case, inputs, _filled(size, parts))
    moments = spreader.ratios(sample)[:, :, MOMENT]
    record = spreader.record
    return tuple(
        result_of(record, curvature_of(record, varied_case(case, values), ratios))
        for values, ratios in zip(sample.values, moments, strict=True)
    )


def _by_steps(
    plan: Plan, inputs: tuple[ScatterInput, ...], parts: int, workers: int | None
) -> tuple[Result, ...]:
    case = plan.case
    refuse_stopped(plan.result)
    record = record_of(case, plan.result, *stations_of(case))
    known = tuple(one for one in inputs if one.key in STEPPED_INPUTS)
    if not known:
        return ()
    own = plan.result.sheet["curvature_residual"]
    response = run_response(record, known, middle=own, curved=(), workers=workers)
    shares = _filled(len(known), parts)
    x = np.column_stack([one.standard(shares[:, i]) for i, one in enumerate(known)])
    return tuple(result_of(record, k) for k in response.curvatures(x))
