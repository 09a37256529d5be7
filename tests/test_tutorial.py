"""The tutorial runs from case to plan, and its plan is what was wanted."""

import re
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

import pinchline

REPO = Path(__file__).parents[1]
NOTEBOOK = REPO / "cases" / "tutorial" / "from-case-to-plan.ipynb"


@pytest.mark.filterwarnings("default")  # of the notebook's own machinery
def test_the_tutorial_runs_from_case_to_plan(tmp_path, monkeypatch):
    sources = str(Path(pinchline.__file__).parents[1])
    monkeypatch.setenv("PYTHONPATH", sources)
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path))
    book = nbformat.read(NOTEBOOK, as_version=4)
    NotebookClient(
        book, timeout=300, resources={"metadata": {"path": tmp_path}}
    ).execute()
    outputs = [out for cell in book.cells for out in cell.get("outputs", [])]
    assert not [out for out in outputs if out.get("name") == "stderr"]
    shown = [
        out["data"]["text/html"]
        for out in outputs
        if "text/html" in out.get("data", {})
    ]
    assert len(shown) == 2
    assert all("<svg" in text and "5052-H32" in text for text in shown)
    printed = "".join(out["text"] for out in outputs if out.get("name") == "stdout")
    radii = re.findall(r"half (\S+) mm, wanted (\S+) mm", printed)
    assert len(radii) == 2
    for found, wanted in radii:
        # the target's own tolerance
        assert float(found) == pytest.approx(float(wanted), rel=0.01)
    assert list(tmp_path.rglob("plan.html"))
    assert list(tmp_path.rglob("part.dxf"))


def test_the_tutorial_is_kept_without_outputs():
    book = nbformat.read(NOTEBOOK, as_version=4)
    code = [cell for cell in book.cells if cell.cell_type == "code"]
    assert code
    assert all(not cell.outputs and cell.execution_count is None for cell in code)
