"""Any valid case ends in a result or a named event: no NaN, no hang, no traceback."""

import time

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pinchline.case.case import parse_case
from pinchline.errors import InputError, SolverError
from pinchline.solvers.stepped.program import run_case

MATERIALS = ("1100-O", "5052-H32", "6061-T6", "2024-T3", "2024-T3-clad", "7075-T6")
MACHINES = ("bench-50", "bench-60", "bench-76")
KINDS = (
    "permanent set begins",
    "wrap begins",
    "edge leaves the rear roll",
    "sheet lifts off the rear roll",
    "tail leaves the grip",
    "no grip",
    "does not lie in the nip",
    "nothing to feed",
    "jam",
    "end of screw travel",
    "grip exceeded",
    "effort exceeded",
    "curl meets the machine",
    "curl meets itself",
    "between narrow and wide",
    "thick sheet",
    "screw force exceeded",
    "screw torque exceeded",
    "pinch force exceeded",
)
NIPS = (
    'clearance = "0 mm"',
    'clearance = "0.2 mm"',
    'clamp = "0 N/mm"\nstiffness = "60 N/mm/mm"\nplay = "0.1 mm"',
    'clamp = "4 N/mm"\nstiffness = "30 N/mm/mm"',
    'clamp = "2 N/mm"\nplay = "0.05 mm"\n[machine.rolls.shaft]\nspan = "420 mm"',
)


@st.composite
def moves(draw: st.DrawFn, length: float) -> str:
    at = draw(st.floats(0.1, 0.9)) * length
    text = f'[[move]]\nkind = "place"\nat = "{at:.3f} mm"\n'
    for kind in draw(st.lists(st.sampled_from(["lift", "feed", "lower"]), max_size=4)):
        if kind == "lift":
            text += f'[[move]]\nkind = "lift"\nto = "{draw(st.floats(0, 50)):.3f} mm"\n'
        elif kind == "lower":
            text += '[[move]]\nkind = "lower"\n'
        else:
            toward = draw(st.sampled_from(["rear", "operator"]))
            by = draw(st.floats(0.5, 60.0))
            text += (
                f'[[move]]\nkind = "feed"\ntoward = "{toward}"\nby = "{by:.3f} mm"\n'
            )
            if draw(st.booleans()):
                text += f'lift_to = "{draw(st.floats(0, 40)):.3f} mm"\n'
    return text


@st.composite
def cases(draw: st.DrawFn) -> str:
    length = draw(st.floats(60.0, 250.0))
    thickness = draw(st.sampled_from([0.5, 0.8, 1.0, 1.6, 2.0]))
    material = draw(st.sampled_from(MATERIALS))
    layered = material.endswith("clad") or draw(st.booleans())
    bent = draw(st.sampled_from(["", 'radius = "300 mm"\n', 'radius = "-400 mm"\n']))
    return (
        f'[sheet]\nmaterial = "{material}"\ndirection = "LT"\n'
        f'thickness = "{thickness} mm"\nlength = "{length:.3f} mm"\n'
        f'width = "300 mm"\n{bent}'
        f'[machine]\nuse = "{draw(st.sampled_from(MACHINES))}"\n'
        f"[machine.nip]\n{draw(st.sampled_from(NIPS))}\n"
        f'[model]\nelement = "{0.5 * thickness} mm"\n'
        f'section = "{"layered" if layered else "closed-form"}"\n'
        f"hardening = {draw(st.sampled_from([0.0, 0.4, 1.0]))}\n"
        f"{draw(moves(length))}"
    )


@settings(
    max_examples=40,
    deadline=None,
    derandomize=True,  # the same cases in every CI run
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
@given(text=cases())
def test_any_valid_case_ends_in_a_result_or_a_named_event(text: str) -> None:
    try:
        case = parse_case(text, path="random.toml")
    except InputError:
        return  # some draws ask for what a machine or card refuses; that is named too
    start = time.monotonic()
    try:
        result = run_case(case)
    except SolverError as error:
        result, message = error.result, str(error)
    else:
        message = "no equilibrium was needed"
    assert "no equilibrium" in message
    assert time.monotonic() - start < 60.0
    for name in ("curvature_residual", "curvature_loaded_peak", "x", "y"):
        assert np.all(np.isfinite(result.sheet[name])), name
    for event in result.events:
        assert event.kind in KINDS
        assert event.message
