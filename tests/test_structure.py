"""The layout is the architecture: folders that can be overlooked, no rings, one name
for one class. The direction of imports is in pyproject, for ``lint-imports``."""

import ast
from collections import defaultdict
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import pinchline

PACKAGE = Path(pinchline.__file__).parent
MOST_MODULES = 15  # in one folder: more cannot be overlooked
LONGEST_FILE = 500  # lines
SOURCES = {
    ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts): path
    for path in sorted(PACKAGE.rglob("*.py"))
    if path.name != "__init__.py"
}
TREES = {name: ast.parse(path.read_text("utf-8")) for name, path in SOURCES.items()}


def is_for_types(node: ast.AST) -> bool:
    """Whether a block is read by the type checker alone."""
    return isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"


def imported(tree: ast.Module) -> set[str]:
    """Modules of the package that a module imports to run, at its top or later."""
    found: set[str] = set()
    blocks = [node for node in tree.body if not is_for_types(node)]
    for node in (inside for block in blocks for inside in ast.walk(block)):
        if isinstance(node, ast.ImportFrom) and node.module:
            inside = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= (inside | {node.module}) & TREES.keys()
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names} & TREES.keys()
    return found


def is_compiled(tree: ast.Module) -> bool:
    """Whether a module holds a kernel."""
    return any(
        isinstance(node, ast.FunctionDef)
        and any(ast.unparse(mark) == "kernel" for mark in node.decorator_list)
        for node in ast.walk(tree)
    )


COMPILED = {name for name, tree in TREES.items() if is_compiled(tree)}


def test_no_folder_holds_more_modules_than_can_be_overlooked():
    folders = defaultdict(list)
    for name in TREES:
        folders[name.rpartition(".")[0]].append(name)
    assert {k: len(v) for k, v in folders.items() if len(v) > MOST_MODULES} == {}


def test_no_file_is_longer_than_it_can_be_read():
    lengths = {k: len(p.read_text("utf-8").splitlines()) for k, p in SOURCES.items()}
    assert {k: n for k, n in lengths.items() if n > LONGEST_FILE} == {}


def test_a_class_has_a_name_of_its_own():
    homes = defaultdict(set)
    for name, tree in TREES.items():
        for node in tree.body:
            if isinstance(node, ast.ClassDef):
                homes[node.name].add(name)
    assert {k: v for k, v in homes.items() if len(v) > 1} == {}


def test_imports_form_no_ring():
    try:
        order = list(
            TopologicalSorter({n: imported(t) for n, t in TREES.items()}).static_order()
        )
    except CycleError as error:
        pytest.fail(f"ring of imports: {' <- '.join(error.args[1])}")
    assert set(order) == TREES.keys()


def test_nothing_is_imported_by_a_string_but_by_the_front_door_and_the_dossier():
    """The front door loads what is asked for; the dossier, its topics; the cluster and
    Parquet are extras."""
    by_string = {
        name
        for name, tree in TREES.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and ast.unparse(node.func) in ("import_module", "importlib.import_module")
    }
    assert by_string == {
        "pinchline.parallel",
        "pinchline.results.tables",
        "pinchline.verify.dossier",
    }


@pytest.mark.parametrize("name", sorted(COMPILED))
def test_a_compiled_module_knows_numpy_numba_and_other_laws(name):
    outside = {
        module.partition(".")[0]
        for node in ast.walk(TREES[name])
        if isinstance(node, ast.ImportFrom | ast.Import)
        for module in (
            [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else [alias.name for alias in node.names]
        )
    }
    known = {"__future__", "math", "numpy", "numba", "typing", "collections"}
    assert outside <= known | {"pinchline"}
    laws = {module for module in TREES if module.startswith("pinchline.physics.")}
    assert imported(TREES[name]) <= COMPILED | laws


def test_analyses_reports_and_commands_call_no_kernel():
    kernels = {
        name: {
            node.name
            for node in TREES[name].body
            if isinstance(node, ast.FunctionDef)
            and any(ast.unparse(mark) == "kernel" for mark in node.decorator_list)
        }
        for name in COMPILED
    }
    calls = {
        (name, alias.name)
        for name, tree in TREES.items()
        if name.split(".")[1] in ("analysis", "reports", "cli", "results", "case")
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
        if alias.name in kernels.get(node.module or "", set())
    }
    assert calls == set()
