"""The command line: commands, exit codes, streams, and files that stay whole."""

import os
import subprocess
import sys
import types
from pathlib import Path

import pytest
from typer.testing import CliRunner

import pinchline
from pinchline import cli
from pinchline.errors import InputError, SolverError
from pinchline.results.reader import read_result
from pinchline.results.writer import write_result

SOURCES = str(Path(pinchline.__file__).parents[1])


@pytest.fixture
def command(tmp_path, monkeypatch):
    """Run the command in an empty folder."""
    monkeypatch.chdir(tmp_path)

    def go(*words):
        return CliRunner().invoke(cli.app, [str(word) for word in words])

    return go


@pytest.fixture
def solver(monkeypatch):
    """Replace the solver by a function of the case."""

    def replace(function):
        module = types.ModuleType("pinchline.solvers.stepped.program")
        module.run_case = lambda case, progress=None: function(case)
        monkeypatch.setitem(sys.modules, module.__name__, module)

    return replace


def python(*words, cwd=None):
    return subprocess.run(
        [sys.executable, *words],
        capture_output=True,
        text=True,
        cwd=cwd,
        env=os.environ | {"PYTHONPATH": SOURCES},
        check=False,
    )


def test_help_lists_the_commands(command):
    shown = command("--help")
    assert shown.exit_code == 0
    for name in ("run", "plot", "cards", "--version"):
        assert name in shown.stdout
    for name in ("run", "plot", "cards"):
        assert command(name, "-h").exit_code == 0


def test_help_loads_nothing_heavy():
    heavy = [
        "numba",
        "scipy",
        "matplotlib",
        "h5py",
        "pint",
        "numpy",
        "pydantic",
        "xarray",
    ]
    code = (
        "import sys\nsys.argv = ['pinchline', '--help']\n"
        "from pinchline.__main__ import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code\n"
        f"found = [name for name in {heavy} if name in sys.modules]\n"
        "assert not found, found\n"
    )
    done = python("-c", code)
    assert done.returncode == 0, done.stderr


def test_version(command):
    assert command("--version").stdout == f"pinchline {pinchline.__version__}\n"


def test_module_is_a_command():
    assert "pinchline" in python("-m", "pinchline", "--version").stdout


@pytest.mark.parametrize(
    "words", [["roll"], ["run"], ["run", "a", "b"], ["run", "a", "--tons"], ["plot"]]
)
def test_wrong_usage_exits_2(command, words):
    shown = command(*words)
    assert shown.exit_code == 2
    assert shown.stdout == ""
    assert "Error" in shown.stderr


def test_wrong_picture_format_exits_2(command):
    assert command("plot", "run.h5", "--format", "jpg").exit_code == 2


def test_cards_lists_what_is_on_file(command):
    shown = command("cards")
    assert shown.exit_code == 0
    for name in ("materials", "5052-H32", "machines", "bench-60", "strut-fairing"):
        assert name in shown.stdout


def test_cards_prints_numbers_with_sources(command):
    lines = command("cards", "5052-H32").stdout.splitlines()
    row = next(line for line in lines if line.startswith("youngs_modulus"))
    assert "10.1e3 ksi" in row
    assert "MIL-HDBK-5J" in row
    row = next(line for line in lines if line.startswith("typical.elongation"))
    assert "from memory" in row
    assert "upper_radius" in command("cards", "bench-60").stdout
    assert "[[move]]" in command("cards", "strut-fairing").stdout


def test_cards_knows_near_names(command):
    shown = command("cards", "5052-h23")
    assert shown.exit_code == 2
    assert "did you mean 5052-H32" in shown.stderr
    assert shown.stdout == ""


def test_a_run_writes_file_and_table(command, solver, result):
    solver(lambda _: result)
    shown = command("run", "strut-fairing", "--pictures", "pics")
    assert shown.exit_code == 0, shown.stderr
    assert read_result("strut-fairing.h5").title == result.title
    assert "turned angle" in shown.stdout
    assert "strut-fairing.h5" not in shown.stdout
    assert len(list(Path("pics").glob("*.png"))) == 5


def test_units_can_be_chosen(command, solver, result):
    solver(lambda _: result)
    rows = {}
    for unit in ("--inch", "--mm"):
        shown = command("run", "strut-fairing", unit)
        rows[unit] = next(x for x in shown.stdout.splitlines() if "opening" in x)
    assert rows["--inch"].rstrip().endswith("mm")
    assert rows["--mm"].rstrip().endswith("in")


def test_with_inches_stops_and_refusals_come_in_inches_first(
    command, solver, stopped_result
):
    """Whatever `run` prints: the table, the stop on standard error, a refusal."""
    solver(lambda _: stopped_result)
    shown = command("run", "strut-fairing", "--inch")
    assert shown.exit_code == 3
    assert "lbf (188 N) by hand" in shown.stderr
    assert "lbf (188 N) by hand" in shown.stdout
    text = pinchline.load_case("strut-fairing").text
    Path("wide.toml").write_text(text.replace('"400 mm"', '"800 mm"'))
    shown = command("run", "wide.toml", "--inch")
    assert shown.exit_code == 2
    assert "in (640 mm)" in shown.stderr


def test_pictures_of_a_result_can_be_in_inches(command, result):
    write_result(result, "part.h5")
    assert command("plot", "part.h5", "--format", "svg", "--inch").exit_code == 0
    assert command("plot", "part.h5", "--format", "svg", "-o", "mm").exit_code == 0
    for folder, inch in (("part-pictures", True), ("mm", False)):
        text = Path(folder, "curvature.svg").read_text()
        assert ("s along the sheet, in" in text) == inch


def test_a_stop_exits_3_with_the_file_written(command, solver, stopped_result):
    solver(lambda _: stopped_result)
    shown = command("run", "strut-fairing", "-o", "part.h5")
    assert shown.exit_code == 3
    assert "effort exceeded" in shown.stderr
    assert "Traceback" not in shown.stderr
    assert read_result("part.h5").stopped


def failing(result):
    def run(_):
        message = "no equilibrium in move 3 (feed), step 12, node 88"
        raise SolverError(message, diagnosis={"move": 3}, result=result)

    return run


def test_a_solver_failure_exits_4_with_the_last_good_state(command, solver, result):
    solver(failing(result))
    shown = command("run", "strut-fairing", "-o", "part.h5")
    assert shown.exit_code == 4
    assert "no equilibrium in move 3 (feed), step 12, node 88" in shown.stderr
    assert "last good step is in part.h5" in shown.stderr
    assert shown.stdout == ""
    assert read_result("part.h5").title == result.title


def test_a_solver_failure_without_state_exits_4(command, solver):
    solver(failing(None))
    shown = command("run", "strut-fairing")
    assert shown.exit_code == 4
    assert "no result was written" in shown.stderr
    assert list(Path().iterdir()) == []


def test_wrong_input_exits_2(command, solver):
    def refuse(_):
        message = "is too thick"
        raise InputError(message, file="a.toml", key="sheet.thickness", value="9 mm")

    solver(refuse)
    shown = command("run", "strut-fairing")
    assert shown.exit_code == 2
    assert (
        shown.stderr == 'pinchline: a.toml: sheet.thickness = "9 mm": is too thick.\n'
    )
    assert command("run", "strut-faring").exit_code == 2
    assert command("run", "missing.toml").exit_code == 2


def test_the_output_is_checked_before_the_run(command, solver, tmp_path):
    def never(_):
        pytest.fail("the run began")

    solver(never)
    Path("case.toml").write_text(pinchline.load_case("strut-fairing").text)
    Path("kept.h5").mkdir()
    targets = ("missing/part.h5", "kept.h5", "case.toml", "case.toml/part.h5")
    for target in (*targets, "part.txt", "part", "part.csv"):
        shown = command("run", "case.toml", "-o", target)
        assert shown.exit_code == 2
        assert target in shown.stderr
        assert "Allowed" in shown.stderr
    shown = command("run", "case.toml", "--pictures", "case.toml")
    assert shown.exit_code == 2
    assert sorted(p.name for p in tmp_path.iterdir()) == ["case.toml", "kept.h5"]
    assert "strut" in Path("case.toml").read_text().lower()


def test_a_failure_leaves_an_older_result(command, solver, result):
    write_result(result, "part.h5")
    before = Path("part.h5").read_bytes()
    solver(failing(None))
    assert command("run", "strut-fairing", "-o", "part.h5").exit_code == 4
    assert Path("part.h5").read_bytes() == before
    assert [p.name for p in Path().iterdir()] == ["part.h5"]


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_write_protected_file_is_kept(command, solver, result):
    write_result(result, "part.h5")
    Path("part.h5").chmod(0o444)
    solver(lambda _: result)
    assert command("run", "strut-fairing", "-o", "part.h5").exit_code == 2


def test_an_interrupt_exits_130(command, solver):
    def interrupt(_):
        raise KeyboardInterrupt

    solver(interrupt)
    shown = command("run", "strut-fairing")
    assert shown.exit_code == 130
    assert (
        shown.stderr.strip() == "pinchline: interrupted; no half-written file is left"
    )
    assert list(Path().iterdir()) == []


@pytest.mark.parametrize("fmt", ["png", "svg"])
def test_plot_prints_what_it_wrote(command, result, fmt):
    write_result(result, "part.h5")
    shown = command("plot", "part.h5", "--format", fmt)
    paths = shown.stdout.split()
    assert shown.exit_code == 0
    assert len(paths) == 5
    assert all(Path(p).is_file() and p.endswith(fmt) for p in paths)
    assert paths[0].startswith("part-pictures")


def test_plot_refuses_other_files(command):
    Path("part.h5").write_text("no")
    for name in ("part.h5", "missing.h5"):
        shown = command("plot", name)
        assert shown.exit_code == 2
        assert name in shown.stderr
        assert "Traceback" not in shown.stderr


def test_the_package_exports_lazily():
    code = (
        "import sys, pinchline\n"
        "assert 'numpy' not in sys.modules\n"
        "pinchline.load_case('strut-fairing')\n"
        "assert {'run', 'read_result', 'write_result'} <= set(dir(pinchline))\n"
        "assert callable(pinchline.read_result)\n"
    )
    done = python("-c", code)
    assert done.returncode == 0, done.stderr
    with pytest.raises(AttributeError, match="unroll"):
        _ = pinchline.unroll
