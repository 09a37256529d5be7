"""What the tests of this folder share: the package's own rig, and a printed report."""

from pinchline.verify.section_fixtures import (
    SectionFixture,
    beam_layers,
    beam_profile,
    closed_form,
    layered,
    metal,
)
from pinchline.verify.strip_fixture import THETA, StripFixture, X, Y, bent_and_released

__all__ = [
    "THETA",
    "SectionFixture",
    "StripFixture",
    "X",
    "Y",
    "beam_layers",
    "beam_profile",
    "bent_and_released",
    "closed_form",
    "layered",
    "metal",
    "report",
]


def report(what, computed, published):
    """Print both values; return the difference, relative where that has a meaning."""
    difference = computed - published
    if abs(published) > 1.0e-12:
        difference /= abs(published)
    print(
        f"{what}: computed {computed:.7g}, published {published:.7g}, "
        f"difference {difference:.2e}"
    )
    return abs(difference)
