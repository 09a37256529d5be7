"""Exports read back by others' libraries: what they say is what the run said."""

import csv
import math
import shutil
from dataclasses import replace
from pathlib import Path

import ezdxf
import h5py
import meshio
import numpy as np
import pytest
from ezdxf import path as outlines
from PIL import Image
from typer.testing import CliRunner

from pinchline import cli
from pinchline.errors import InputError
from pinchline.parts.measure import free_outline
from pinchline.reports.export import animation
from pinchline.reports.export.arcs import fit_arcs, offset_arcs
from pinchline.reports.export.drawing import DXF_LAYERS, part_arcs
from pinchline.reports.export.export import DRAWING_TOLERANCE_MM, export
from pinchline.reports.run import playback
from pinchline.results.schema import RESULT_GROUPS, ROLLS, Result, fields_of
from pinchline.results.writer import write_result

READ_BACK = 0.01  # mm, asked of a drawing


@pytest.fixture
def file(result: Result, tmp_path, monkeypatch) -> Path:
    monkeypatch.chdir(tmp_path)
    write_result(result, "part.h5")
    return Path("part.h5")


def run(*words: object):
    return CliRunner().invoke(cli.app, ["export", *(str(word) for word in words)])


def rows_of(path: Path) -> tuple[list[str], list[list[str]]]:
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.reader(line for line in stream if not line.startswith("#")))
    return rows[0], rows[1:]


@pytest.mark.parametrize("group", RESULT_GROUPS)
def test_every_dataset_of_a_group_is_in_its_csv(file, group):
    shown = run(file, "-o", "out.csv", "--group", group)
    assert shown.exit_code == 0, shown.stderr
    found = {}
    for name in shown.stdout.split():
        head, rows = rows_of(Path(name))
        columns = dict(zip(head, zip(*rows, strict=True), strict=True))
        if "name [1]" in columns:
            pairs = zip(columns["name [1]"], columns["value [as told]"], strict=True)
            found |= {name: [value] for name, value in pairs}
        else:
            found |= {key.split(" [")[0]: cells for key, cells in columns.items()}
    with h5py.File(file) as held:
        for field in fields_of(group):
            stored = held[group][field.name]
            if field.dtype == "text":
                assert list(found[field.name]) == list(stored.asstr()[...])
            else:
                read = np.array(found[field.name], dtype="f8")
                # single precision in the file, all its digits in the table
                np.testing.assert_array_equal(read, np.ravel(stored[...]).astype("f8"))


def test_units_stand_in_the_head_of_a_table(file):
    run(file, "-o", "steps.csv", "--group", "steps")
    head, rows = rows_of(Path("steps.csv"))
    assert head[:4] == ["step [1]", "move [1]", "lift [mm]", "nip [mm]"]
    assert "force_upper [N/mm]" in head
    assert rows[0][0] == "0"


def polylines(document, within=1e-3) -> dict[str, np.ndarray]:
    """Points of each layer's line, as another program would draw it."""
    return {
        line.dxf.layer: np.array(
            [
                (point.x, point.y)
                for point in outlines.make_path(line).flattening(within)
            ]
        )
        for line in document.modelspace().query("LWPOLYLINE")
    }


def farthest(points: np.ndarray, line: np.ndarray) -> float:
    """Largest distance of the points from a line of straight pieces, mm."""
    along = np.diff(line, axis=0)
    moves = np.any(along != 0.0, axis=1)
    start, along = line[:-1][moves], along[moves]
    worst = 0.0
    for point in points:
        share = np.einsum("ij,ij->i", point - start, along)
        share = np.clip(share / np.einsum("ij,ij->i", along, along), 0.0, 1.0)
        nearest = start + share[:, None] * along
        worst = max(worst, float(np.min(np.hypot(*(point - nearest).T))))
    return worst


@pytest.mark.parametrize(
    ("flag", "unit", "size"), [("--mm", 4, 1.0), ("--inch", 1, 25.4)]
)
def test_the_drawing_reads_back_to_a_hundredth(file, result, flag, unit, size):
    """Outer, inner and mid-line against the residual curvature, integrated exactly."""
    assert run(file, "-o", "part.dxf", flag).exit_code == 0
    document = ezdxf.readfile("part.dxf")
    assert document.header["$INSUNITS"] == unit
    lines = polylines(document, 1e-3 / size)
    assert set(lines) == set(DXF_LAYERS)
    part = free_outline(result.sheet["curvature_residual"], result.inputs["element"])
    for layer, (share, _, _) in DXF_LAYERS.items():
        away = share * result.inputs["thickness"]
        true = np.column_stack(
            [part.x - away * np.sin(part.theta), part.y + away * np.cos(part.theta)]
        )
        drawn = size * lines[layer]
        # 1 um of flattening, and sheet between nodes that the drawing follows as well
        assert farthest(true[::3], drawn) <= DRAWING_TOLERANCE_MM + 2.0e-3 < READ_BACK
        assert farthest(drawn[::7], true) <= READ_BACK
    assert document.audit().errors == []


def test_the_inner_line_is_shorter_and_the_ends_are_closed(file, result):
    run(file, "-o", "part.dxf")
    document = ezdxf.readfile("part.dxf")
    lengths = {
        layer: float(np.sum(np.hypot(*np.diff(points, axis=0).T)))
        for layer, points in polylines(document).items()
    }
    turned = float(
        np.sum(result.sheet["curvature_residual"]) * result.inputs["element"]
    )
    half = 0.5 * result.inputs["thickness"] * turned
    assert lengths["MIDLINE"] == pytest.approx(result.inputs["length"], abs=0.01)
    assert lengths["INNER"] == pytest.approx(lengths["MIDLINE"] - half, abs=0.01)
    assert lengths["OUTER"] == pytest.approx(lengths["MIDLINE"] + half, abs=0.01)
    for line in document.modelspace().query("LINE"):
        across = line.dxf.start.distance(line.dxf.end)
        assert across == pytest.approx(result.inputs["thickness"], abs=1e-9)


def test_flats_are_lines_and_the_bend_is_a_few_smooth_arcs(result):
    pieces = part_arcs(result, DRAWING_TOLERANCE_MM)["MIDLINE"]
    assert pieces[0].turn == pieces[-1].turn == 0.0
    # 520 elements: a fit that followed each would be no fit
    assert len(pieces) < 60
    angles = np.cumsum([piece.turn for piece in pieces])
    for before, after, angle in zip(pieces[:-1], pieces[1:], angles, strict=False):
        assert before.end == after.start
        half = 0.5 * after.turn
        chord = math.atan2(after.end[1] - after.start[1], after.end[0] - after.start[0])
        # an arc leaves along its chord less half its turn: no corner anywhere
        apart = math.remainder(chord - half - angle, 2.0 * math.pi)
        assert abs(apart) < 1e-6


@pytest.mark.parametrize("tolerance", [0.1, 0.01, 0.001])
def test_arcs_keep_within_the_tolerance_and_grow_fewer(result, tolerance):
    part = free_outline(result.sheet["curvature_residual"], result.inputs["element"])
    pieces = fit_arcs(part.x, part.y, part.theta, tolerance)
    points = np.column_stack([part.x, part.y])
    arcs = np.array([drawn for piece in pieces for drawn in along(piece)])
    # 3e-6: rise of an arc of 60 mm radius over 0.04 mm, the pieces it is cut into
    assert farthest(points[::5], arcs) <= tolerance + 1e-5
    finer = fit_arcs(part.x, part.y, part.theta, 0.1 * tolerance)
    assert len(finer) > len(pieces)


def along(piece, count=400):
    """Points along a piece, from its chord and its turn."""
    (ax, ay), (bx, by) = piece.start, piece.end
    if piece.turn == 0.0:
        return [piece.start, piece.end]
    chord, way = math.hypot(bx - ax, by - ay), math.atan2(by - ay, bx - ax)
    radius = 0.5 * chord / math.sin(0.5 * piece.turn)
    first = way - 0.5 * piece.turn
    angles = first + piece.turn * np.linspace(0.0, 1.0, count)
    x = ax + radius * (np.sin(angles) - math.sin(first))
    y = ay - radius * (np.cos(angles) - math.cos(first))
    return list(zip(x, y, strict=True))


def test_a_full_circle_and_a_flat_sheet_can_be_drawn():
    """An arc of 300 degrees is two arcs or more of one radius; a flat is one line."""
    theta = np.linspace(0.0, math.radians(300.0), 400)
    pieces = fit_arcs(40.0 * np.sin(theta), 40.0 * (1 - np.cos(theta)), theta, 1e-4)
    for piece in pieces:
        chord = math.dist(piece.start, piece.end)
        assert 0.5 * chord / math.sin(0.5 * piece.turn) == pytest.approx(40.0, rel=1e-3)
    assert len(pieces) <= 8
    inside = offset_arcs(pieces, 0.0, 0.5)
    assert math.dist(inside[0].start, inside[0].end) < math.dist(
        pieces[0].start, pieces[0].end
    )
    s = np.linspace(0.0, 100.0, 50)
    (line,) = fit_arcs(s, 0.0 * s, 0.0 * s, 1e-3)
    assert (line.start, line.end, line.turn) == ((0.0, 0.0), (100.0, 0.0), 0.0)


def test_shapes_read_back_as_the_frames(file, result):
    shown = run(file, "-o", "play.pvd")
    assert (shown.exit_code, shown.stdout) == (0, "play.pvd\n")
    names = sorted(Path("play-frames").iterdir())
    assert len(names) == result.frames["step"].size
    text = Path("play.pvd").read_text()
    for index in (0, len(names) // 2, len(names) - 1):
        assert f'timestep="{result.frames["step"][index]}"' in text
        assert f'file="{names[index].as_posix()}"' in text
        check_mesh(meshio.read(names[index]), result, index)


def check_mesh(mesh, result, index):
    picked = playback.playback(result).nodes
    count = picked.size
    faces = mesh.points[:count], mesh.points[count : 2 * count]
    middle = 0.5 * (faces[0] + faces[1])
    for axis, name in enumerate("xy"):
        expected = result.frames[name][index][picked]
        # faces stand off along the mean of neighbouring chords: exact in the middle
        np.testing.assert_allclose(middle[:, axis], expected, atol=1e-9)
    across = np.hypot(*(faces[1] - faces[0])[:, :2].T)
    np.testing.assert_allclose(across, result.inputs["thickness"], atol=1e-9)
    part = mesh.cell_data_dict["part"]
    assert np.all(part["quad"] == 0)
    for roll, name in enumerate(ROLLS):
        corners = mesh.cells_dict["triangle"][part["triangle"] == roll + 1]
        centre, rim = mesh.points[corners[0, 0]], mesh.points[corners[:, 1]]
        reach = np.hypot(*(rim - centre)[:, :2].T)
        np.testing.assert_allclose(reach, result.inputs[f"{name}_radius"], atol=1e-9)
        assert centre[0] == pytest.approx(result.frames["roll_x"][index, roll])
    residual = mesh.cell_data_dict["curvature_residual"]["quad"]
    assert residual.max() == pytest.approx(
        result.sheet["curvature_residual"].max(), rel=0.02
    )


def test_shapes_replace_older_ones_but_nothing_else(file):
    assert run(file, "-o", "play.pvd").exit_code == 0
    Path("play-frames/frame-9999.vtu").write_text("of an older run")
    assert run(file, "-o", "play.pvd").exit_code == 0
    assert not Path("play-frames/frame-9999.vtu").exists()
    Path("play-frames/notes.txt").write_text("mine")
    shown = run(file, "-o", "play.pvd")
    assert shown.exit_code == 2
    assert "holds other things" in shown.stderr
    assert Path("play-frames/notes.txt").read_text() == "mine"


@pytest.fixture
def few(monkeypatch):
    """Draw few frames, as each takes a tenth of a second."""
    monkeypatch.setattr(animation, "MOST_FRAMES", 8)
    monkeypatch.setattr("pinchline.reports.export.export.PICTURES", 8)


@pytest.mark.usefixtures("few")
def test_the_moving_picture_moves(file):
    shown = run(file, "-o", "play.gif")
    assert (shown.exit_code, shown.stdout) == (0, "play.gif\n")
    assert "has at most 8 of them" in shown.stderr
    with Image.open("play.gif") as picture:
        assert 4 <= picture.n_frames <= 8
        first = np.asarray(picture.convert("L"), dtype=int)
        picture.seek(picture.n_frames - 1)
        assert (
            np.mean(np.abs(np.asarray(picture.convert("L"), dtype=int) - first)) > 0.5
        )


def test_a_film_without_ffmpeg_is_refused(file, monkeypatch):
    monkeypatch.setattr(
        "matplotlib.animation.FFMpegWriter.isAvailable", classmethod(lambda _: False)
    )
    shown = run(file, "-o", "play.mp4")
    assert shown.exit_code == 2
    assert "ffmpeg" in shown.stderr
    assert not Path("play.mp4").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["part.h5", "-o", "part.step"], ".csv, .dxf, .pvd, .gif, .mp4"),
        (["part.h5", "-o", "part.h5"], "no export of that kind"),
        (["part.h5", "-o", "a.csv", "--group", "rolls"], "inputs, sheet, steps"),
        (["part.h5", "-o", "a.dxf", "--tolerance", "0.01"], "no unit"),
        (["part.h5", "-o", "a.dxf", "--tolerance", "5 mm"], "out of range"),
        (["part.h5", "-o", "a.csv", "-o", "no/b.dxf"], "cannot be written"),
        (["missing.h5", "-o", "a.csv"], "missing.h5"),
        (["part.h5", "-o", "sub.csv/a.pvd"], "cannot be written"),
    ],
)
def test_what_cannot_be_exported_is_refused_and_nothing_is_lost(file, words, said):
    before = file.read_bytes()
    shown = run(*words)
    assert shown.exit_code == 2
    assert said in shown.stderr
    assert "Traceback" not in shown.stderr
    assert [p.name for p in Path().iterdir()] == ["part.h5"]
    assert file.read_bytes() == before


@pytest.mark.parametrize("name", ["a.pvd", "a.gif"])
def test_a_result_without_frames_cannot_move(flat_result, tmp_path, name):
    frames = {key: column[:0] for key, column in flat_result.frames.items()}
    with pytest.raises(InputError, match="holds no frame"):
        export(replace(flat_result, frames=frames), tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_a_flat_part_can_be_drawn(flat_result, tmp_path):
    (path,) = export(flat_result, tmp_path / "flat.dxf")
    lines = polylines(ezdxf.readfile(path))
    assert {len(points) for points in lines.values()} == {2}


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="no ffmpeg here")
@pytest.mark.usefixtures("few")
def test_the_film_is_an_mp4(file):
    shown = run(file, "-o", "play.mp4")
    assert shown.exit_code == 0, shown.stderr
    # ISO base media file format: a box named ftyp comes first
    assert Path("play.mp4").read_bytes()[4:8] == b"ftyp"
