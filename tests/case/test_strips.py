"""The file of measured strips: what is read, and what is refused with its place."""

from pathlib import Path

import pytest

from pinchline.case.measured.strips import ScrapStrip, read_strips
from pinchline.errors import InputError

HEAD = "strip, lift [mm], toward, side, chord [mm], rise [mm], rise error [mm]"
ROW = "A, 16, operator, inside, 50, 3.1, 0.05"


def written(folder: Path, *lines: str) -> Path:
    path = folder / "strips.csv"
    path.write_text("\n".join(("# invented", *lines)) + "\n")
    return path


def strips(folder: Path, *lines: str) -> tuple[ScrapStrip, ...]:
    return read_strips(written(folder, *lines))


def test_rows_of_one_strip_are_its_readings(tmp_path: Path) -> None:
    (a, b) = strips(
        tmp_path,
        HEAD + ", thickness [um], thickness error [um]",
        f"{ROW},,",
        "A,,,,,,,990,10",
        "B, 26, rear, outside, 50, 2.5, 0.05,,",
    )
    assert [r.kind for r in a.readings] == ["rise", "thickness"]
    assert a.readings[1].value == pytest.approx(0.99, rel=1e-12)
    assert (a.way, b.way) == ("operator", "rear")
    assert b.readings[0].side == "outside"
    assert a.setting_error is None


def test_inches_are_read_as_inches(tmp_path: Path) -> None:
    (a,) = strips(tmp_path, HEAD.replace("mm", "in"), ROW)
    assert a.setting == pytest.approx(16 * 25.4, rel=1e-12)
    assert a.readings[0].beside == pytest.approx(50 * 25.4, rel=1e-12)


# header, rows, what is told, what is allowed
BAD = {
    "missing unit": (HEAD.replace("rise [mm]", "rise"), ROW, "no unit", "rise [mm]"),
    "unit of a force": (
        HEAD.replace("rise [mm]", "rise [N]"),
        ROW,
        "N is the unit of a force",
        "rise [mm]",
    ),
    "unknown column": (
        HEAD.replace("toward", "towards"),
        ROW,
        "did you mean toward",
        "strip, toward",
    ),
    "no setting": (
        HEAD.replace("lift [mm]", "note"),
        ROW,
        "how the rear roll stood",
        "lift [mm], turns or gap",
    ),
    "no reading": ("strip, lift [mm], toward", "A, 16, rear", "no column of", "rise"),
    "no error column": (
        HEAD.replace(", rise error [mm]", ""),
        ROW[:-6],
        "no column rise error",
        "one standard deviation",
    ),
    "no chord": (
        HEAD.replace("chord [mm]", "note"),
        ROW,
        "no column chord beside rise",
        "chord [mm]",
    ),
    "rise above half the chord": (
        HEAD,
        ROW.replace("3.1", "26"),
        "larger than half the chord",
        "up to half of the chord",
    ),
    "rise above the chord": (
        HEAD,
        ROW.replace("3.1", "62"),
        "larger than the chord",
        "up to half of the chord",
    ),
    "no side": (HEAD, ROW.replace("inside", ""), "on which side", "inside, middle"),
    "unknown side": (HEAD, ROW.replace("inside", "inner"), "not known", "inside"),
    "unknown way": (HEAD, ROW.replace("operator", "back"), "not known", "rear"),
    "no way": (HEAD, ROW.replace("operator", ""), "which way", "rear or operator"),
    "no error": (HEAD, ROW[:-4], "has no error", "one standard deviation"),
    "error of zero": (HEAD, ROW.replace("0.05", "0"), "out of range", "above 0"),
    "negative rise": (HEAD, ROW.replace("3.1", "-3.1"), "out of range", "from 0"),
    "words": (HEAD, ROW.replace("3.1", "about 3"), "not a number", "unit stands in"),
    "no name": (HEAD, ROW.replace("A,", ","), "which strip", "every row"),
    "two settings": (
        HEAD + ", turns",
        f"{ROW}, 10",
        "says twice",
        "one of lift, turns and gap",
    ),
    "rolled twice": (
        HEAD,
        f"{ROW}\n{ROW.replace('16', '18')}",
        "rolled otherwise",
        "another name",
    ),
    "flat in hand": (
        "strip, lift [mm], toward, flat [mm], flat error [mm]",
        "A, 16, rear, 38, 0.5",
        "is what was left in hand",
        "fed toward the operator",
    ),
    "no rows": (HEAD, "", "0 rows", "1 to"),
    "too many cells": (HEAD, f"{ROW}, 7", "8 cells, the header 7", "left empty"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file_is_named_with_its_place_and_what_is_allowed(
    name: str, tmp_path: Path
) -> None:
    head, rows, told, allowed = BAD[name]
    path = written(tmp_path, head, rows)
    with pytest.raises(InputError) as error:
        read_strips(path)
    text = str(error.value)
    assert str(path) in text
    assert told in text
    assert allowed in text.split("Allowed:")[1]


def test_an_opening_longer_than_its_sheet_is_refused(tmp_path: Path) -> None:
    head = (
        "strip, lift [mm], toward, side, marks [mm], opening [mm], opening error [mm]"
    )
    with pytest.raises(InputError, match="larger than the sheet between the marks"):
        strips(tmp_path, head, "A, 16, rear, middle, 100, 110, 0.5")
