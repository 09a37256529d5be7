"""A forward or a reverse pass of the demo's sheet through the stepped solver."""

import numpy as np
from steady_span import TO_REAR

from pinchline.case.case import Case, ModelOptions, parse_case
from pinchline.results.schema import Result
from pinchline.solvers.stepped.program import run_case

SHIPPED = ModelOptions().foundation  # of E'/t


def a_pass(
    way: int,
    lift: float,
    *,
    contact: float = SHIPPED,
    element: float = 0.25,
    clearance: float = 0.05,
) -> Case:
    length, at, by = (330, 240, 190) if way == TO_REAR else (120, 10, 40)
    toward = "rear" if way == TO_REAR else "operator"
    return parse_case(
        f'[sheet]\nmaterial = "5052-H32"\ndirection = "LT"\nthickness = "1.0 mm"\n'
        f'length = "{length} mm"\nwidth = "400 mm"\n[machine]\nuse = "bench-60"\n'
        f'[machine.nip]\nclearance = "{clearance} mm"\n'
        f'[model]\nsection = "closed-form"\ncontact = {contact}\n'
        f'element = "{element} mm"\n'
        f'[[move]]\nkind = "place"\nat = "{at} mm"\n'
        f'[[move]]\nkind = "lift"\nto = "{lift} mm"\n'
        f'[[move]]\nkind = "feed"\ntoward = "{toward}"\nby = "{by} mm"\n',
        path="pass.toml",
    )


def stepped(case: Case, way: int) -> tuple[float, Result]:
    """Residual radius on the plateau (mm), and the whole result."""
    result = run_case(case)
    s = result.sheet["s"]
    zone = (s > 55.0) & (s < 75.0) if way == TO_REAR else (s > 22.0) & (s < 40.0)
    return float(1.0 / np.mean(result.sheet["curvature_residual"][zone])), result
