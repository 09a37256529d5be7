"""Sentences said in inches: what is a quantity, and what is not."""

import pytest

from pinchline.messages import alone, in_inches, inches_first, worded


@pytest.mark.parametrize(
    ("metric", "inch"),
    [
        ("at 25.4 mm lift", "at 1.000 in (25.4 mm) lift"),
        ("s = 12.70 mm;", "s = 0.5000 in (12.70 mm);"),
        ("zone s 127 to 254 mm", "zone s 5.000 to 10.000 in (127 to 254 mm)"),
        ("4 N/mm short", "22.8 lbf/in (4 N/mm) short"),
        ("-0.30 N/mm", "-1.71 lbf/in (-0.30 N/mm)"),
        ("209 N by hand", "46.99 lbf (209 N) by hand"),
        ("4.5 kN is", "1012 lbf (4.5 kN) is"),
        ("18 N m to be raised", "159 lbf in (18 N m) to be raised"),
        ("60 N/mm/mm", "8702 lbf/in/in (60 N/mm/mm)"),
        ("0.0328 1/mm", "0.8331 1/in (0.0328 1/mm)"),
        ("R = 79 mm", "R = 3.110 in (79 mm)"),
    ],
)
def test_a_quantity_is_said_in_inches_with_the_metric_beside_it(metric, inch):
    assert inches_first(metric) == inch


@pytest.mark.parametrize(
    "text",
    [
        'such as "0.8 mm" or "0.032 in"',  # an example, or what a file holds
        "w^2/(R t) = 5.7 at half of it",
        "move 3 ends, 12 rounds",
        "job2 mm.toml",
        "part 2.5 x the plateau",
    ],
)
def test_what_is_no_quantity_stays(text):
    assert inches_first(text) == text


def test_limits_that_differ_still_differ():
    """5.0004 N against 5 N, as the effort says them."""
    said = inches_first("would bear 5.0004 N, 5 N is allowed")
    assert said == "would bear 1.12413 lbf (5.0004 N), 1.12 lbf (5 N) is allowed"


def test_alone_there_is_no_metric():
    assert in_inches("feed, leave 18 mm") == "feed, leave 0.709 in"
    for say in (alone, worded):
        assert say("leave 18 mm", "metric") == "leave 18 mm"
        assert "0.709 in" in say("leave 18 mm", "inch")
