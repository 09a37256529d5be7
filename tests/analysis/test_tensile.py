"""A tensile test from a CSV: what is read, what is refused, and how."""

from pathlib import Path

import pytest

from pinchline.case.measured.tensile_test import read_tensile
from pinchline.errors import InputError

HEAD = "engineering strain [%], engineering stress [MPa]"
# an elastic, ideally plastic metal: 70 GPa, 140 MPa
ROWS = [(0.02 * i, min(14.0 * i, 140.0)) for i in range(40)]


def written(folder: Path, head: str = HEAD, rows: object = None) -> Path:
    path = folder / "pull.csv"
    told = ROWS if rows is None else rows
    lines = [",".join(map(str, row)) for row in told]  # type: ignore[attr-defined]
    path.write_text("\n".join(["# an invented test", head, *lines]) + "\n")
    return path


def test_percent_and_ksi_are_read_as_what_they_are(tmp_path: Path) -> None:
    path = written(tmp_path, "true strain [%]; true stress [ksi]".replace(";", ","))
    test = read_tensile(path)
    assert test.measure == "true"
    assert test.strain[10] == pytest.approx(0.002, rel=1e-12)
    # 1 ksi is 6.894757 MPa (NIST SP 811)
    assert test.stress[10] == pytest.approx(140.0 * 6.894757, rel=1e-7)


def test_the_option_says_what_the_header_does_not(tmp_path: Path) -> None:
    path = written(
        tmp_path, "strain [1], stress [MPa]", [(0.01 * e, s) for e, s in ROWS]
    )
    assert read_tensile(path, "true").measure == "true"


BAD = {
    "no unit of stress": ("engineering strain [%], stress", None, "no unit", "[MPa]"),
    "no unit of strain": ("true strain, stress [MPa]", None, "no unit", "strain [%]"),
    "a length for strain": (
        "true strain [mm], stress [MPa]",
        None,
        "not a unit",
        "[%]",
    ),
    "a force for stress": (
        "true strain [%], stress [N]",
        None,
        "N is the unit of a force",
        "[MPa]",
    ),
    "no stress": ("true strain [%], load [N]", None, "no column of stress", "stress"),
    "neither kind": (
        "strain [%], stress [MPa]",
        None,
        "engineering or true",
        "--measure",
    ),
    "both kinds": (
        "true strain [%], engineering stress [MPa]",
        None,
        "both engineering and true",
        "--measure",
    ),
    "strain falls": (HEAD, [*ROWS, (0.5, 60.0)], "strain falls", "without unloading"),
    "strain stands": (HEAD, [(0.01, s) for _, s in ROWS], "does not rise", "rises"),
    "few points": (HEAD, ROWS[:5], "5 points", "8 points or more"),
    "words": (HEAD, [*ROWS, ("broke", 1.0)], "not a number", "unit stands in"),
    "decimal comma": (
        HEAD.replace(", ", ";"),
        [("0,1;7",)] * 9,
        "comma; write a point",
        "a number",
    ),
    "an empty cell": (HEAD, [*ROWS, (1.0, "")], "empty", "a number"),
    "a percentage as 1": (
        "true strain [1], true stress [MPa]",
        [(100.0 * e, s) for e, s in ROWS],
        "percent",
        "strain [%]",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file_is_named_with_its_place_and_what_is_allowed(
    name: str, tmp_path: Path
) -> None:
    head, rows, told, allowed = BAD[name]
    path = written(tmp_path, head, rows)
    with pytest.raises(InputError) as error:
        read_tensile(path)
    text = str(error.value)
    assert str(path) in text
    assert told in text
    assert allowed in text.split("Allowed:")[1]
