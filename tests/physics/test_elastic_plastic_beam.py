"""A simply supported beam that yields under a central load."""

import numpy as np
import pytest
import rig

from pinchline.physics.contact import roll_forces
from pinchline.verify import beam

pytestmark = pytest.mark.verification

SPAN, T = beam.SPAN, beam.THICKNESS


@pytest.mark.parametrize("hardening", beam.LOADED)
def test_a_loaded_beam_sags_and_keeps_a_set(hardening):
    """Sag under load and after it, for loads up to twice that of first yield.

    Source: Prager & Hodge, Theory of Perfectly Plastic Solids (1951), for h = 0, from
    memory and verified by double integration; hardening derived (references.md 2.1).
    The set is that of the free strip: a determinate beam unloads to no moment.
    """
    for ratio, *published in beam.LOADED[hardening]:
        computed = beam.loaded_and_released(hardening, ratio)
        names = ("sag", "sag left")
        for name, value, truth in zip(names, computed, published, strict=True):
            rig.report(f"h = {hardening}, P/P_y = {ratio}, {name}", value, truth)
            # elements of a 600th of the span take the moment at their middle: the peak
            # is cut by 1/600, the sag near collapse by 1e-4 of first yield; twenty
            # times that sag is less linear, by as much of itself
            assert abs(value - truth) < beam.MESH_TOLERANCE * max(1.0, published[0])


@pytest.fixture(scope="module")
def collapse():
    elements = 1500
    return beam.pushed_to_collapse(elements), elements


def test_the_load_tends_to_one_and_a_half_times_first_yield(collapse):
    """Collapse at 1.5 P_y, which displacement control passes.

    Source: shape factor of a rectangle, Prager & Hodge (1951), from memory.
    """
    rows, elements = collapse
    sag, load, _ = rows.T
    assert np.all(np.diff(load) > -1.0e-6), "the load never falls"
    # the hinge forms half an element from the load: the load is 1/n too high
    most = 1.0 / (1.0 - 1.0 / elements)
    assert rig.report("collapse over P_y", load[-1] / most, 1.5) < 5.0e-4
    at = float(np.interp(20.0 / 9.0, sag, load))
    rig.report("P/P_y at the sag of collapse, 20/9", at, 1.5)
    # the curve meets its limit like a square root, so the mesh shows there first
    assert abs(at - 1.5) < 0.01


def test_a_third_of_the_span_yields(collapse):
    """Length of the plastic zone at collapse. Source: derived (references.md 2.1)."""
    rows, elements = collapse
    share = rows[-1, 2]
    rig.report("plastic zone over the span", share, 1.0 / 3.0)
    # whole elements, and a load that is 1/n too high on both sides
    assert abs(share - 1.0 / 3.0) < 3.0 / elements


def test_the_beam_law_is_what_the_rolls_feel_too():
    """Loaded by a roll between two rolls, then withdrawn: load, sag and set.

    Source: Prager & Hodge (1951), from memory (references.md 2.1): the package's own
    contact, iteration and unloading in place of dead loads.
    """
    n, radius = 800, 5.0
    law = beam.law_of(0.01, 1.0e-4)
    strip = rig.StripFixture(law, 1.1 * SPAN, n, T, rigidity=1.0e6)
    strip.chain.x[:] -= 0.5 * strip.length
    load, sag = beam.first_yield(law)
    stiff = 2.0e2 * load / sag / strip.beam.length
    rolls = np.zeros((3, 6))
    rolls[:, 0] = 0.0, -0.5 * SPAN, 0.5 * SPAN
    rolls[:, 1] = radius, -radius, -radius
    rolls[:, 2] = radius
    out = np.zeros((3, 8))

    def press(to):
        rolls[0, 4] = radius - to * sag - rolls[0, 1]
        strip.settle_between(rolls, stiff, n // 2, -1.0)
        roll_forces(strip.beam, strip.chain, 0, n, stiff, rolls, out)
        ends = 0.5 * (out[1, 3] / out[1, 4] + out[2, 3] / out[2, 4])
        return -out[0, 1] / load, (ends - strip.chain.y[n // 2]) / sag

    down = np.array([press(to) for to in np.linspace(0.1, 1.66, 40)])
    for ratio, published, _ in beam.LOADED[0.01][1:5]:
        value = float(np.interp(ratio, down[:, 0], down[:, 1]))
        # the patch under the roll, half a percent of the span, takes the peak off the
        # moment: 0.1 %
        rig.report(f"sag at P/P_y = {ratio}, between rolls", value, published)
        assert abs(value - published) < 3.0e-3
    top = down[-1]
    up = np.array([press(to) for to in np.linspace(1.5, 0.3, 5)])
    slopes = (top[1] - up[:, 1]) / (top[0] - up[:, 0])
    # elastic all the way back; the patch stiffens the beam as above
    assert rig.report("softest way back", float(np.max(slopes)), 1.0) < 3.0e-3
    assert rig.report("stiffest way back", float(np.min(slopes)), 1.0) < 3.0e-3
