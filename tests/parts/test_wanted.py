"""The wanted part: outline, faces, nose, and curvature through drawn points."""

import math

import numpy as np
import pytest

from pinchline.case.outline.points import Curvatures
from pinchline.case.target import Nose, Target
from pinchline.errors import InputError
from pinchline.parts.measure import fit_circle
from pinchline.parts.smoothing import fit_curvature
from pinchline.parts.wanted import wanted_part

NOSE = Nose(
    radius_operator=50.0,
    radius_rear=100.0,
    angle_operator=1.2,
    angle_rear=0.8,
    blend=30.0,
)


def test_the_faces_of_an_arc_lie_half_a_thickness_to_either_side():
    part = wanted_part(Target(radius=80.0, angle=2.0), 2.0)
    for side, radius in (("inside", 79.0), ("middle", 80.0), ("outside", 81.0)):
        assert fit_circle(*part.face(side)).radius == pytest.approx(radius, rel=1.0e-6)


def test_a_blend_keeps_length_and_turn_and_joins_the_radii():
    part = wanted_part(Target(nose=NOSE, flat_operator=10.0, flat_rear=20.0), 1.0)
    bare = wanted_part(Target(nose=NOSE.model_copy(update={"blend": 0.0})), 1.0)
    assert part.turned == pytest.approx(2.0)
    assert part.length == pytest.approx(bare.length + 30.0)
    joint = 10.0 + 50.0 * 1.2
    places = np.array([joint - 15.1, joint, joint + 15.1])
    found = part.mean_curvature(places, 0.05)
    assert found == pytest.approx([1 / 50.0, 0.015, 1 / 100.0])
    assert part.flats == pytest.approx((10.0, 20.0))


def test_symmetry_is_measured():
    even = wanted_part(
        Target(radius=80.0, angle=2.0, flat_operator=9.0, flat_rear=9.0), 1.0
    )
    assert even.asymmetry < 1.0e-9
    assert wanted_part(Target(nose=NOSE), 1.0).asymmetry > 0.3


def test_elements_turn_by_what_the_part_turns():
    part = wanted_part(Target(nose=NOSE, flat_operator=10.0), 1.0)
    bends = part.in_elements(333)
    assert float(np.sum(bends)) * part.length / 333 == pytest.approx(part.turned)


def test_the_straightedge_reaches_past_a_flat_by_the_root_of_twice_gap_and_radius():
    part = wanted_part(Target(radius=80.0, angle=2.0, flat_operator=20.0), 1.0)
    reach = 20.0 + 80.0 * math.acos(1.0 - 0.1 / 80.0)
    assert part.straightedge(0.1)[0] == pytest.approx(reach, abs=2.0e-3)


@pytest.mark.parametrize(("side", "radius"), [("inside", 3.5), ("outside", 4.5)])
def test_a_profile_tighter_than_four_thicknesses_in_the_middle_is_refused(side, radius):
    """Sheet of 1 mm: the middle of a drawn face lies half a millimetre off it."""

    def built(drawn):
        drawing = Curvatures(s=(0.0, 10.0), curvature=(1.0 / drawn, 1.0 / drawn))
        target = Target(profile="tight.csv", drawing=drawing, side=side)
        return wanted_part(target, 1.0)

    with pytest.raises(InputError, match="curls too tightly"):
        built(radius - 0.1)
    assert built(radius + 0.1).length > 8.0
    with pytest.raises(InputError, match="curls too tightly"):
        built(0.4)  # on the outside no middle is left at all


def scattered_arc(count, scatter):
    turn = np.linspace(0.0, 2.4, count)
    noise = scatter * np.random.default_rng(7).normal(size=(2, count))
    return 80.0 * np.sin(turn) + noise[0], 80.0 * (1.0 - np.cos(turn)) + noise[1]


@pytest.mark.parametrize("scatter", [0.0, 0.001, 0.01, 0.05])
def test_points_of_a_circle_give_its_curvature_up_to_the_ends(scatter):
    """80 mm, 60 points, 3 mm apart.

    Second differences would scatter by 6 scatter / h^2 over 1/80, which is 50 % at
    0.01 mm. A line of even curvature through n points knows it to about
    sqrt(720 / n) R scatter / L^2; three times that is allowed. Measured: 0.06 % at
    0.05 mm.
    """
    fit = fit_curvature(*scattered_arc(60, scatter))
    error = float(np.max(np.abs(80.0 * fit.curvature - 1.0)))
    allowed = 3.0 * math.sqrt(720.0 / 60.0) * 80.0 * scatter / 192.0**2 + 1.0e-6
    print(f"scatter {scatter} mm: worst error of curvature {error:.1e}")
    assert error < allowed
    assert fit.scatter == pytest.approx(scatter, rel=0.4, abs=1.0e-5)


def test_points_on_a_straight_flat_and_an_arc_keep_both():
    """A jump is smeared over a few points and no more: 2 mm apart, 8 mm each way."""
    part = wanted_part(Target(radius=80.0, angle=1.5, flat_operator=40.0), 1.0)
    _, shape = part.outline(2.0)
    fit = fit_curvature(shape.x, shape.y)
    far = np.abs(fit.s - 40.0) > 8.0
    wanted = np.where(fit.s > 40.0, 1.0 / 80.0, 0.0)
    worst = float(np.max(np.abs(fit.curvature - wanted)[far])) * 80.0
    print(f"away from the jump within {worst:.1e} of the arc's curvature")
    assert worst < 0.05
