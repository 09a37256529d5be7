"""The theory page names what exists, and its constants are those of the code."""

import importlib
import re
from fractions import Fraction
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from pinchline.case.case import ModelOptions
from pinchline.results.schema import RESULT_DATASETS

REPO = Path(__file__).parents[1]
PAGE = (REPO / "sim" / "THEORY.md").read_text(encoding="utf-8")
TEXT = re.sub(r"```.*?```", "", PAGE, flags=re.DOTALL)
NUMBER = r"-?\d+(?:\.\d+)?(?:e-?\d+)?(?:/\d+)?"
NAMES = sorted(set(re.findall(r"`([^`]+)`", TEXT)))
CONSTANTS = re.findall(rf"`([^`]+)` = ({NUMBER})", TEXT)


def found(name: str) -> Any:
    """Thing of the package behind ``folder/module.attribute``.

    Raises LookupError where it is not there.
    """
    place, *attributes = name.split(".")
    try:
        thing: Any = importlib.import_module("pinchline." + place.replace("/", "."))
    except ModuleNotFoundError as error:
        raise LookupError(name) from error
    for attribute in attributes:
        fields = getattr(thing, "__annotations__", {})
        if hasattr(thing, attribute):
            thing = getattr(thing, attribute)
        elif not isinstance(thing, ModuleType) and attribute in fields:
            thing = fields[attribute]
        else:
            raise LookupError(name)
    return thing


def is_a_test(name: str) -> bool:
    """Whether ``test_file.py`` or ``test_file.py::test_name`` is there, once."""
    file, _, test = name.partition("::")
    files = list((REPO / "tests").rglob(file))
    if len(files) != 1:
        return False
    source = files[0].read_text(encoding="utf-8")
    return not test or re.search(rf"^def {test}\(", source, re.MULTILINE) is not None


def exists(name: str) -> bool:
    """Whether a name of the page is there: test, case key, dataset, benchmark, code."""
    if name.startswith("test_"):
        return is_a_test(name)
    if name.startswith("[model] "):
        return name.removeprefix("[model] ") in ModelOptions.model_fields
    if name.startswith("benchmarks/"):
        return (REPO / name).is_file()
    if name.startswith("/"):
        group, _, dataset = name[1:].partition(" ")
        return any((f.group, f.name) == (group, dataset) for f in RESULT_DATASETS)
    try:
        found(name)
    except LookupError:
        return False
    return "/" in name


@pytest.mark.parametrize("name", NAMES)
def test_what_the_theory_names_exists(name: str) -> None:
    assert exists(name)


@pytest.mark.parametrize(
    "name", ["physics/beam.bend", "test_beam.py", "beam", "/x y", "benchmarks/x.py"]
)
def test_what_does_not_exist_is_missed(name: str) -> None:
    assert not exists(name)


@pytest.mark.parametrize(("name", "value"), CONSTANTS)
def test_constants_in_the_theory_are_those_of_the_code(name: str, value: str) -> None:
    # both are the nearest float to what is printed, but for one rounding in 5/6
    assert found(name) == pytest.approx(float(Fraction(value)), rel=1.0e-15)


def test_equations_that_are_cited_are_there_once() -> None:
    numbered = re.findall(r"\\tag\{([^}]+)\}", PAGE)
    assert len(numbered) == len(set(numbered))
    assert set(re.findall(r"\((\d+\.\d+)\)", PAGE)) <= set(numbered)


def test_no_name_slips_past_the_patterns() -> None:
    """Some of every kind; else a change of style would empty the tests above."""
    assert len(NAMES) > 150
    assert len(CONSTANTS) > 20
