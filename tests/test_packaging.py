"""The wheel carries what the checkout has, and README and the manual are true."""

import re
import shlex
import zipfile
from pathlib import Path

import pytest
from typer.main import get_command

from pinchline import cli
from pinchline.case.case import Case, load_case, parse_case
from pinchline.case.measured.strips import read_strips
from pinchline.case.study.study import load_study
from pinchline.solvers.stepped.program import run_case

REPO = Path(__file__).parents[1]
README = REPO / "README.md"
MANUAL = REPO / "cases" / "README.md"
PAGES = [
    README,
    *(REPO / folder / "README.md" for folder in ("cases", "materials", "tests")),
    REPO / "benchmarks" / "README.md",
    REPO / "DEVELOPERS.md",
    REPO / "sim" / "CHANGELOG.md",
    REPO / "sim" / "THEORY.md",
]
MOST_LINES = 300  # of README: read in a quarter of an hour


def blocks(language: str, page: Path = README) -> list[str]:
    text = page.read_text(encoding="utf-8")
    return re.findall(rf"```{language}\n(.*?)```", text, re.DOTALL)


def example(table: str = "") -> Case:
    """Case of README, with a table of another block added."""
    return parse_case(f"{blocks('toml')[0]}\n{table}", path="README.md")


def anchors(page: Path) -> set[str]:
    """Names that links into a page may use: its headings in lower case, hyphenated."""
    text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    heads = re.findall(r"^#+ (.*)$", text, re.MULTILINE)
    return {re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-") for head in heads}


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
    text = README.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MOST_LINES
    first = text.split("\n\n")[1]
    assert "rear roll" in first
    assert "aluminium" in first
    demo, test = blocks("sh")
    assert "pinchline run strut-fairing" in demo
    assert "python -m pytest" in test


def test_the_case_in_readme_runs() -> None:
    result = run_case(example())
    assert not result.stopped
    assert 20.0 < result.summary["radius_fit"] < 1000.0


def test_the_targets_shown_are_that_of_the_shipped_case() -> None:
    shipped = load_case("strut-nose").target
    assert shipped is not None
    for table in (blocks("toml")[1], blocks("toml", MANUAL)[0]):
        shown = example(table).target
        assert shown is not None
        assert (shown.radius, shown.angle) == (shipped.radius, shipped.angle)
        assert (shown.opening, shown.closing) == (shipped.opening, shipped.closing)


def test_the_tables_and_files_in_the_manual_are_read(tmp_path: Path) -> None:
    _, scatter, study = blocks("toml", MANUAL)
    assert example(scatter).scatter != example().scatter
    file = tmp_path / "my-study.toml"
    file.write_text(study, encoding="utf-8")
    assert [entry.name for entry in load_study(file).axes] == ["lift", "material"]
    (strips,) = (text for text in blocks("text", MANUAL) if text.startswith("strip,"))
    file = tmp_path / "my-strips.csv"
    file.write_text(strips, encoding="utf-8")
    assert len(read_strips(file)) == 3


def test_the_python_in_the_manual_runs() -> None:
    closing, case = blocks("python", MANUAL)
    (readme,) = blocks("python")
    for text, name in ((closing, "closing"), (case, "thicker"), (readme, "result")):
        names: dict[str, object] = {}
        exec(text, names)
        assert name in names


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(REPO)))
def test_the_commands_on_a_page_have_the_options_shown(page: Path) -> None:
    commands = get_command(cli.app).commands
    text = page.read_text(encoding="utf-8")
    for line in re.findall(r"(?:^|`)pinchline ([a-z].*?)(?:`|$)", text, re.MULTILINE):
        name, *words = shlex.split(line)
        known = {o for p in commands[name].params for o in (*p.opts, *p.secondary_opts)}
        assert {word for word in words if word.startswith("-")} <= known, line


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(REPO)))
def test_the_links_and_pictures_of_a_page_are_there(page: Path) -> None:
    text = re.sub(r"(\$+)[^$]*\1", "", page.read_text(encoding="utf-8"))  # formulas
    links = re.findall(r"\]\(([^)\s]+)\)", text)
    for link in links:
        if link.startswith("https://"):
            continue
        name, _, anchor = link.partition("#")
        file = page.parent / name if name else page
        assert file.exists(), link
        assert not anchor or anchor in anchors(file), link
    pictures = [link for link in links if link.endswith((".png", ".gif"))]
    assert all((page.parent / picture).is_file() for picture in pictures)
    assert page not in (README, MANUAL) or len(pictures) > 5
