"""What ``pinchline verify`` prints: every check holds, tests/README.md shows it."""

import math
import re
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pinchline import cli
from pinchline.errors import SolverError
from pinchline.verify import dossier
from pinchline.verify.check import Check, worst

pytestmark = pytest.mark.verification

README = Path(__file__).parents[1] / "README.md"
LIKE = Check(
    what="a length",
    source="a book",
    published=2.0,
    computed=2.0,
    unit="mm",
    tolerance=0.01,
    reason="two digits are printed",
)


@pytest.fixture(scope="module")
def found():
    return dossier.collect()


@pytest.mark.parametrize("topic", dossier.TOPICS)
def test_every_check_holds(found, topic):
    """Published against computed. Source: printed with every check."""
    for check in found[topic]:
        what, source, published, computed, difference, tolerance, verdict = (
            dossier.cells(check)
        )
        print(
            f"{what}: computed {computed}, published {published}, difference "
            f"{difference}, tolerance {tolerance} ({check.reason}); {source}: {verdict}"
        )
    assert [c.what for c in found[topic] if c.verdict == "FAILS"] == []
    assert all(c.source and c.reason for c in found[topic])


def test_only_known_differences_are_findings(found):
    """A finding is where the model is known to part from the world; few may."""
    topics = {t for t, checks in found.items() for c in checks if c.finding}
    assert topics == {"Roll on sheet", "Shape of the part", "Facts of the trade"}


def _values(cell):
    """Numbers of a cell, and half of the last digit of each."""
    for text in re.findall(r"-?\d+\.?\d*(?:e[-+]\d+)?", cell):
        mantissa, _, exponent = text.partition("e")
        decimals = len(mantissa.partition(".")[2])
        yield float(text), 0.5 * 10.0 ** (int(exponent or 0) - decimals)


def test_the_table_in_readme_is_true(found):
    """The page against a fresh table; run ``tests/insert_dossier.py`` where it differs.

    Values may part by two of their last digits, or by a fiftieth of what the check
    allows: another machine rounds, and ends its iterations, elsewhere.
    """
    text = README.read_text(encoding="utf-8")
    (written,) = re.findall(
        r"<!-- dossier -->\n(.*?)<!-- /dossier -->", text, re.DOTALL
    )
    fresh = dossier.as_markdown(found).splitlines()
    lines = written.strip().splitlines()
    assert len(lines) == len(fresh)
    for line, again in zip(lines, fresh, strict=True):
        old, new = (row.strip("| ").split(" | ") for row in (line, again))
        if len(old) != len(dossier.COLUMNS) or old == new:
            assert line == again
            continue
        for name, left, right in zip(dossier.COLUMNS, old, new, strict=True):
            if name not in ("computed", "difference"):
                assert left == right, again
                continue
            allowed = max((v for v, _ in _values(old[5])), default=0.0)
            if name == "computed" and old[5].endswith("%"):
                allowed *= 0.01 * abs(next(_values(right))[0])
            for (a, last), (b, _) in zip(_values(left), _values(right), strict=True):
                assert abs(a - b) <= 4.0 * last + 0.02 * allowed, again


def test_a_check_that_parts_too_far_fails():
    assert LIKE.verdict == "holds"
    assert replace(LIKE, computed=2.019).verdict == "holds"
    assert replace(LIKE, computed=2.021).verdict == "FAILS"
    assert replace(LIKE, computed=1.979).verdict == "FAILS"
    assert replace(LIKE, computed=2.005, relative=False).verdict == "holds"
    assert replace(LIKE, computed=2.015, relative=False).verdict == "FAILS"
    assert replace(LIKE, computed=math.nan).verdict == "FAILS"


def test_a_range_holds_within_its_ends():
    both = replace(LIKE, upper=3.0, tolerance=0.0)
    for computed, verdict in ((1.9, "FAILS"), (2.5, "holds"), (3.1, "FAILS")):
        assert replace(both, computed=computed).verdict == verdict
    most = replace(both, upper=math.inf)
    assert replace(most, computed=1.0e9).verdict == "holds"
    assert replace(most, computed=1.9).difference == pytest.approx(-0.05)


def test_a_finding_fails_where_it_outgrows_what_is_known():
    known = replace(LIKE, computed=2.015, finding="why")
    assert known.verdict == "finding"
    assert replace(known, computed=2.1).verdict == "FAILS"


def test_the_worst_row_stands_for_its_table():
    rows = [replace(LIKE, what=str(v), computed=v) for v in (2.001, 2.01, 1.995)]
    assert worst(rows, "lengths").what == "lengths, worst of 3: 2.01"
    broken = replace(LIKE, what="broken", computed=math.nan)
    assert worst([*rows, broken], "lengths").verdict == "FAILS"


@pytest.fixture
def one_check(monkeypatch):
    """Replace the dossier by one check of a kind."""

    def put(check):
        monkeypatch.setattr(dossier, "collect", lambda _=None: {"Lengths": [check]})

    return put


@pytest.mark.parametrize("words", [["verify"], ["verify", "--markdown"]])
def test_the_command_ends_with_4_where_a_check_fails(one_check, words):
    one_check(LIKE)
    shown = CliRunner().invoke(cli.app, words)
    assert shown.exit_code == 0
    assert "1 checks: 1 hold" in shown.stdout
    assert shown.stderr == ""
    one_check(replace(LIKE, computed=3.0))
    shown = CliRunner().invoke(cli.app, words)
    assert shown.exit_code == SolverError.exit_code == 4
    assert "FAILS" in shown.stdout
    assert "1 checks fail" in shown.stderr


def test_what_cannot_be_computed_fails(monkeypatch):
    """A solver that gives up is a failed check, not the end of the dossier."""
    from pinchline.verify import elastica

    def give_up(_alphas, _elements):
        message = "no equilibrium"
        raise SolverError(message)

    monkeypatch.setattr(elastica, "cantilevers", give_up)
    monkeypatch.setattr(dossier, "TOPICS", {"Large deflection": "elastica"})
    (check,) = dossier.collect()["Large deflection"]
    assert check.verdict == "FAILS"
    assert "no equilibrium" in check.reason
    assert "none" in dossier.as_text({"x": [check]})
