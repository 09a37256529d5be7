"""The stepped solver against the steady span with the same contact law.

Derived in ``soft_span``; no limit is taken, nothing of the package is changed. Run as a
script it prints the trend over stiffness and element (about two minutes).
"""

import math
import time

import numpy as np
import pytest
from passes import SHIPPED, a_pass, stepped
from scipy.optimize import fsolve
from soft_span import soft_contact
from steady_span import TO_OPERATOR, TO_REAR, point_contact, span_of

pytestmark = pytest.mark.verification


@pytest.mark.parametrize("lift", [14.0, 20.0, 26.0])
def test_a_forward_pass_agrees_at_the_shipped_resolution(lift: float) -> None:
    """Weak to strong bend; measured 0.01, 0.02 and 0.004 % of radius.

    Half a percent was asked for; forces and power swing with the stops of the feed.
    """
    case = a_pass(TO_REAR, lift)
    (span,) = soft_contact(case, TO_REAR, lift, [SHIPPED])
    radius, result = stepped(case, TO_REAR)
    row = np.flatnonzero(result.steps["move"] == 3)[-20]
    forces = [result.steps[f"force_{r}"][row] for r in ("lower", "upper", "rear")]
    print(
        f"forward, {lift} mm: stepped {radius:.3f}, span {span.radius:.3f} mm, "
        f"{radius / span.radius - 1.0:+.3%}"
    )
    assert radius == pytest.approx(span.radius, rel=0.001)
    asked = [span.force_lower, span.force_upper, span.force_rear]
    assert forces == pytest.approx(asked, rel=0.003)
    power = result.steps["drive_force"][row]
    assert power == pytest.approx(span.power, rel=0.01)
    assert span.power == pytest.approx(span.spent, rel=1.0e-4)


def test_a_reverse_pass_agrees_at_every_stiffness() -> None:
    """12 mm, elements of t/8; measured 0.02, 0.05 and 0.04 % of radius."""
    way, lift, contacts = TO_OPERATOR, 12.0, [0.25, SHIPPED, 4.0]
    spans = soft_contact(a_pass(way, lift), way, lift, contacts)
    for contact, span in zip(contacts, spans, strict=True):
        radius, _ = stepped(a_pass(way, lift, contact=contact, element=0.125), way)
        print(
            f"reverse, {lift} mm, contact {contact} E'/t: stepped {radius:.3f}, "
            f"span {span.radius:.3f} mm, {radius / span.radius - 1.0:+.3%}"
        )
        assert radius == pytest.approx(span.radius, rel=0.002)
        assert -span.power == pytest.approx(span.spent, rel=1.0e-4)


def test_a_reverse_pass_agrees_at_every_element() -> None:
    """12 mm, shipped contact, elements of t/2 to t/16; measured 0.13 % at most.

    Where an element's moment is its mean (`contact`: the plain arc) it is 0.84 %.
    """
    way, lift = TO_OPERATOR, 12.0
    (span,) = soft_contact(a_pass(way, lift), way, lift, [SHIPPED])
    for element, most in ((0.5, 0.01), (0.25, 0.003), (0.125, 0.002), (0.0625, 0.002)):
        radius, _ = stepped(a_pass(way, lift, element=element), way)
        gap = radius / span.radius - 1.0
        print(f"reverse, {lift} mm, element {element} mm: {gap:+.3%}")
        assert abs(gap) < most


def test_stiff_contacts_without_shear_tend_to_points() -> None:
    """The two spans, shooting and collocation, meet; 12 mm, toward the operator."""
    way, lift = TO_OPERATOR, 12.0
    case = a_pass(way, lift)
    point = point_contact(case, way, lift).radius
    passes = soft_contact(case, way, lift, [0.25, 4.0, 64.0], shear=False)
    gaps = [span.radius / point - 1.0 for span in passes]
    print("soft span over point span:", ", ".join(f"{gap:+.2%}" for gap in gaps))
    assert gaps[0] > 2.0 * gaps[1] > 4.0 * gaps[2] > 0.0
    assert gaps[2] < 0.015


def test_a_small_elastic_lift_by_hand() -> None:
    """Overhanging beam: arm a, overhang b, contacts that travel with the tilt.

    Lower contact at ``-Rl tilt``, upper at ``Ru tilt``, rear at ``x - Rr tilt``; the
    moment rises linearly over the arm to ``F b`` and falls linearly over the overhang.
    """
    lift = 1.0
    case = a_pass(TO_REAR, lift, clearance=0.002)
    span = span_of(case, lift)
    upper, lower, rear = span.upper[2], span.lower[2], span.rear[2]

    def parts(unknowns: np.ndarray) -> tuple[float, ...]:
        tilt, force = unknowns
        top, b = tilt, 60.0
        for _ in range(50):
            a = lower * tilt + upper * top
            top = tilt + force * b * a / (2.0 * span.bending)
            end = top + force * b**2 / (2.0 * span.bending)
            b = span.rear[0] - rear * end - upper * top
        return tilt, force, a, b, top, end

    def misses(unknowns: np.ndarray) -> list[float]:
        tilt, force, a, b, top, end = parts(unknowns)
        nip = span.clearance + 0.5 * (lower * tilt**2 + upper * top**2)
        rise = a * tilt + force * b * a**2 / (6.0 * span.bending)
        start = 0.5 * (span.clearance + upper * top**2)
        over = span.rear[1] + rear - 0.5 * rear * end**2 - start
        bend = b * top + force * b**3 / (3.0 * span.bending)
        return [1.0e3 * (rise - nip), bend - over]

    tilt = math.sqrt(2.0 * span.clearance / (upper + lower))
    first = 3.0 * span.bending * (lift - 60.0 * tilt) / 60.0**3
    _, force, a, b, *_ = parts(fsolve(misses, [tilt, first], xtol=1.0e-12))
    steady = point_contact(case, TO_REAR, lift, start=lift)
    print(f"by hand {force:.6f}, {force * b:.5f}; span {steady.force_rear:.6f}")
    assert steady.force_rear == pytest.approx(force, rel=2.0e-3)
    assert steady.moment == pytest.approx(force * b, rel=2.0e-3)
    assert steady.force_lower == pytest.approx(force * b / a, rel=2.0e-3)


def trend_table() -> None:
    """Print residual radii of both methods over stiffness and element."""
    contacts, elements = [0.25, 1.0, 4.0, 16.0], (0.25, 0.125, 0.0625)
    forward, reverse = (14, 20, 26), (11, 12, 14, 16)
    passes = [(TO_REAR, h) for h in forward] + [(TO_OPERATOR, h) for h in reverse]
    for way, lift in passes:
        began = time.perf_counter()
        case = a_pass(way, lift)
        point = point_contact(case, way, lift).radius
        rigid = soft_contact(case, way, lift, contacts, shear=False)
        spans = soft_contact(case, way, lift, contacts)
        took = time.perf_counter() - began
        print(f"{way:+d}, {lift} mm: point span {point:.3f} mm ({took:.1f} s)")
        for contact, stiff, span in zip(contacts, rigid, spans, strict=True):
            row = [f"  contact {contact:5}: no shear {stiff.radius / point - 1:+.2%}"]
            row.append(f"shear {span.radius / point - 1:+.2%} of point")
            row.append(f"span {span.radius:.3f}, stepped")
            for element in elements:
                again = a_pass(way, lift, contact=contact, element=element)
                radius, _ = stepped(again, way)
                row.append(f"{radius:.3f} ({radius / span.radius - 1:+.2%})")
            print(" ".join(row), flush=True)


if __name__ == "__main__":
    trend_table()
