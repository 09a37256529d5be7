"""The page of a run: what it says, and that it needs nothing but itself."""

import json
import math
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from pinchline import cli
from pinchline.errors import InputError
from pinchline.reports.run import playback, report
from pinchline.reports.style import theme
from pinchline.reports.style.table import event_words, table_sections
from pinchline.results.writer import write_result

HOSTILE = '</script><img src=x onerror=alert(1)>{{7*7}} & "nose" \'\u2028'
LARGEST = 3_000_000  # bytes, asked of the demo's page


class Reader(HTMLParser):
    """Text, tags and attributes of a page."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.text, self.inside = [], [], None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.inside = tag
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        self.inside = None

    def handle_data(self, data):
        if self.inside not in ("script", "style"):
            self.text.append(data)


@pytest.fixture
def undrawn(monkeypatch):
    """Leave out the figures, which take most of the time."""
    monkeypatch.setattr(theme, "inline_svg", lambda *_: "<svg></svg>")


def words_of(text):
    return " ".join(" ".join(Reader(text).text).split())


def data_of(text):
    found = re.search(r'<script type="application/json" id="jobs">(.*?)</script>', text)
    return json.loads(found[1])


@pytest.mark.usefixtures("undrawn")
def test_the_page_says_what_the_table_says(result):
    words = words_of(report.page_html([result]))
    for heading, rows in table_sections(result):
        assert heading in words
        for row in rows:
            for text in (row.words.strip(), *row.values):
                assert text in words
    for event in result.events:
        assert event_words(event) in words
    for said in ("5052-H32", "release", "scrap strip", "fingers", "Young's modulus"):
        assert said in words


def test_the_page_needs_nothing_but_itself(result):
    text = report.page_html([result])
    tags = Reader(text).tags
    policy = next(a["content"] for _, a in tags if "http-equiv" in a)
    assert "default-src 'none'" in policy
    assert "unsafe-eval" not in policy
    for _, attributes in tags:
        for name in ("src", "href", "xlink:href", "action", "data"):
            assert (attributes.get(name) or "#").startswith("#")
    addresses = set(re.findall(r"https?://[^\s\"'<)]+", text))
    assert addresses <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert not re.search(r"@import|url\((?!#)", text)
    assert len(text.encode()) < LARGEST


def test_the_same_result_gives_the_same_page(result):
    assert report.page_html([result]) == report.page_html([replace(result)])


def test_a_hostile_title_stays_text(result):
    hostile = replace(
        result,
        title=HOSTILE,
        case_text=HOSTILE,
        labels=result.labels | {"moves": HOSTILE},
    )
    text = report.page_html([hostile], [HOSTILE])
    assert "<img" not in text
    assert data_of(text)[0]["title"] == HOSTILE
    assert HOSTILE.split("\u2028")[0] in words_of(text)
    scripts = [tag for tag, _ in Reader(text).tags if tag == "script"]
    assert len(scripts) == 2  # the data and the page's own


@pytest.mark.parametrize("which", ["flat_result", "stopped_result"])
def test_a_job_without_bend_or_with_a_stop_has_a_page(which, request):
    result = request.getfixturevalue(which)
    text = report.page_html([result])
    assert ("The job was stopped." in text) == result.stopped
    assert "NaN" not in json.dumps(data_of(text))


def test_a_job_that_made_no_step_has_a_page(flat_result):
    steps = {name: column[:0] for name, column in flat_result.steps.items()}
    frames = {name: column[:0] for name, column in flat_result.frames.items()}
    text = report.page_html([replace(flat_result, steps=steps, frames=frames)])
    assert "nothing to play" in words_of(text)


@pytest.mark.usefixtures("undrawn")
def test_many_frames_are_thinned_and_the_page_says_so(result):
    """A file of 20 000 frames: the ends of the moves stay, the page stays small."""
    count = 20_000
    frames = {
        name: np.broadcast_to(column[-1], (count, *column.shape[1:]))
        for name, column in result.frames.items()
    }
    frames["move"] = np.repeat(np.arange(1, 9), count // 8)
    text = report.page_html([replace(result, frames=frames)])
    assert f"The file holds {count} frames" in words_of(text)
    assert len(text.encode()) < LARGEST
    rows = playback.choose_rows(frames["move"], playback.MOST_FRAMES)
    assert rows.size <= playback.MOST_FRAMES
    assert {0, 2499, 2500, 17_499, 19_999} <= set(rows.tolist())
    assert np.max(np.diff(rows)) <= 2 * count / playback.MOST_FRAMES


def test_thinned_curves_keep_their_peaks():
    x = np.linspace(0.0, 60.0, 50_000)
    curves = [np.sin(x), np.where(np.arange(x.size) == 31_234, 9.0, np.cos(x))]
    curves[1][77] = math.nan
    rows = playback.thinned_rows(curves, 400)
    assert rows.size <= 402  # both ends beside the peaks
    for curve in curves:
        assert np.nanmax(curve[rows]) == np.nanmax(curve)
        assert np.nanmin(curve[rows]) == np.nanmin(curve)


def test_the_classes_of_bend_are_round_radii():
    edges = playback.bend_edges(np.full((3, 4), -0.02))
    radii = [1.0 / edge for edge in edges]
    assert radii == pytest.approx([300.0, 150.0, 100.0, 75.0, 60.0])
    assert len(theme.BEND_COLORS) == len(edges) + 1 == playback.BEND_CLASSES
    assert list(edges) == sorted(edges)


def test_curvature_of_a_frame_is_that_of_its_arc(result):
    s = result.sheet["s_node"]
    arc = {"x": 50.0 * np.sin(s / 50.0), "y": 50.0 * (1.0 - np.cos(s / 50.0))}
    frames = result.frames | {
        axis: np.tile(arc[axis].astype("f4"), (result.frames["move"].size, 1))
        for axis in "xy"
    }
    shown = playback.playback(replace(result, frames=frames))
    # file shapes are single precision: 8e-6 mm at 100 mm, over chords of 0.65 mm
    assert shown.curvature == pytest.approx(0.02, abs=1.0e-4)


@pytest.mark.usefixtures("undrawn")
def test_several_jobs_are_compared_with_the_first(result):
    summary = result.summary | {"opening": result.summary["opening"] + 10.0}
    inputs = result.inputs | {"thickness": 1.2}
    labels = result.labels | {"material": "2024-T3"}
    other = replace(result, summary=summary, inputs=inputs, labels=labels)
    words = words_of(report.page_html([result, other], ["a.h5", "b.h5"]))
    share = 10.0 / result.summary["opening"]
    for said in ("a.h5", "b.h5", f"+10.00 mm ({share:+.1%})", "+0.20 mm (+20.0%)"):
        assert said in words
    assert words.count("the same") > 10
    assert "5052-H32 sheet 2024-T3" in words


@pytest.fixture
def command(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def go(*words):
        return CliRunner().invoke(cli.app, [str(word) for word in words])

    return go


@pytest.mark.usefixtures("undrawn")
def test_the_command_prints_what_it_wrote(command, result):
    write_result(result, "part.h5")
    shown = command("report", "part.h5")
    assert (shown.exit_code, shown.stdout) == (0, "part.html\n")
    assert result.title in Path("part.html").read_text("utf-8")
    shown = command("report", "part.h5", "part.h5", "-o", "two.html")
    assert (shown.exit_code, shown.stdout) == (0, "two.html\n")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["missing.h5"], "missing.h5"),
        (["part.h5", "-o", "part.h5"], "ends in .html"),
        (["part.h5", "-o", "no/such/page.html"], "cannot be written"),
        (["part.h5"] * 7, "1 to 6 results"),
        (["case.toml"], "not HDF5"),
    ],
)
def test_what_cannot_be_done_is_refused(command, result, words, said):
    write_result(result, "part.h5")
    Path("case.toml").write_text("title = 'no'")
    before = sorted((p.name, p.read_bytes()) for p in Path().iterdir())
    shown = command("report", *words)
    assert shown.exit_code == 2
    assert said in shown.stderr
    assert "Traceback" not in shown.stderr
    assert shown.stdout == ""
    assert sorted((p.name, p.read_bytes()) for p in Path().iterdir()) == before


def test_a_page_of_nothing_is_refused(tmp_path):
    with pytest.raises(InputError, match="1 to 6"):
        report.write_report([], tmp_path / "page.html")


def test_a_title_in_any_letters_is_drawn_without_a_word_of_warning(result):
    assert "\u7ffc \U0001f6e9" in report.page_html(
        [replace(result, title="\u7ffc \U0001f6e9")]
    )


def test_a_result_shows_itself_in_a_notebook(result, stopped_result):
    shown = result._repr_html_()
    for said in ("<svg", "opening between the edges", "mm", "in</td>", "5052-H32"):
        assert said in shown
    assert "var(--" not in shown  # a notebook does not know our colours by name
    assert "188 N by hand" in stopped_result._repr_html_()
    assert "<img" not in replace(result, title=HOSTILE)._repr_html_()
