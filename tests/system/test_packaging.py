"""The wheel carries what the checkout has, and the README tells the truth."""

import re
import zipfile
from pathlib import Path

import pytest

from pinchline.case.case import parse_case
from pinchline.solvers.stepped.program import run_case

REPO = Path(__file__).parents[2]
README = (REPO / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_the_wheel_carries_every_card_and_case(tmp_path: Path) -> None:
    from hatchling.builders.wheel import WheelBuilder

    wheel = next(WheelBuilder(str(REPO)).build(directory=str(tmp_path)))
    inside = set(zipfile.ZipFile(wheel).namelist())
    for kind in ("materials", "cases"):
        for file in (REPO / kind).rglob("*.toml"):
            assert f"pinchline/{file.relative_to(REPO).as_posix()}" in inside
    for kind in ("html", "css", "js"):
        assert f"pinchline/reports/run/page/page.{kind}" in inside
    assert "pinchline/py.typed" in inside
    assert not [name for name in inside if name.startswith("tests/")]


def test_readme_opens_with_the_job_and_has_the_two_commands() -> None:
    first = README.split("\n\n")[1]
    assert "rear roll" in first
    assert "aluminium" in first
    demo, test = blocks("sh")
    assert "pinchline run strut-fairing" in demo
    assert "python -m pytest" in test


def test_the_case_in_readme_runs() -> None:
    result = run_case(parse_case(blocks("toml")[0], path="README.md"))
    assert not result.stopped
    assert 20.0 < result.summary["radius_fit"] < 1000.0


def test_the_pictures_in_readme_are_there() -> None:
    for picture in re.findall(r"\]\((\S+\.(?:png|gif))\)", README):
        assert (REPO / picture).is_file(), picture
