"""The page of a run in headless Chromium, against the HDF5 file that it came from."""

import re
from dataclasses import replace

import h5py
import numpy as np
import pytest

from pinchline import units
from pinchline.reports.run import playback, report
from pinchline.reports.style import theme
from pinchline.results.writer import write_result

HOSTILE = '</script><img src=x onerror=alert(1)>{{7*7}} & "nose" \'\u2028'


class Shown:
    """A page in the browser, and what it must not do."""

    def __init__(self, browser, path, **how):
        self.wrong = []
        self.context = browser.new_context(**how)
        self.page = self.context.new_page()
        self.page.on("console", lambda said: self.wrong.append(said.text))
        self.page.on("pageerror", lambda error: self.wrong.append(str(error)))
        self.page.on("dialog", lambda said: self.wrong.append(said.message))
        self.page.on("request", self._asked)
        self.own = path.as_uri()
        self.page.goto(self.own)

    def _asked(self, request):
        if request.url != self.own:
            self.wrong.append(request.url)

    def player(self, index=0):
        return self.page.locator(".player").nth(index)

    def at(self, name, index=0):
        return int(self.player(index).get_attribute(f"data-{name}"))

    def slide(self, kind, value, index=0):
        self.page.locator(f".{kind}").nth(index).evaluate(
            "(e, v) => {e.value = v; e.dispatchEvent(new Event('input'))}", value
        )

    def wait(self, selector):
        self.page.locator(selector).wait_for(timeout=5000)

    def number(self, selector, name):
        return float(self.page.locator(selector).first.get_attribute(name))

    def place(self, selector):
        """Point in the machine, mm, of what is drawn in the side view."""
        return self.page.evaluate(
            """selector => {
            const at = (e) => {const b = e.getBoundingClientRect();
              return [b.x + b.width / 2, b.y + b.height / 2, b.width]};
            const roll = at(document.querySelector('.side .roll'));
            const it = at(document.querySelector(selector));
            return [it[0] - roll[0], roll[1] - it[1], roll[2]]}""",
            selector,
        )


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """Write each page once, without figures unless asked; titles tell them apart."""
    folder, made = tmp_path_factory.mktemp("pages"), {}

    def page(results, *, drawn):
        key = (drawn, *(result.title for result in results))
        if key not in made:
            path = folder / f"page{len(made)}.html"
            with pytest.MonkeyPatch.context() as patch:
                if not drawn:
                    patch.setattr(theme, "inline_svg", lambda *_: "<svg></svg>")
                made[key] = report.write_report(results, path)
        return made[key]

    return page


@pytest.fixture
def shown(browser, pages):
    """Show the page of results in the browser; nothing may go wrong there."""
    opened = []

    def show(*results, drawn=False, **how):
        opened.append(Shown(browser, pages(results, drawn=drawn), **how))
        return opened[-1]

    yield show
    for one in opened:
        one.context.close()
        assert one.wrong == []


def test_playing_advances_pauses_and_ends(shown, result):
    page = shown(result)
    last = result.frames["move"].size - 1
    play = page.page.locator("[data-do=play]")
    play.click()
    assert play.inner_text() == "Pause"
    page.wait(".player:not([data-frame='0']):not([data-frame='1'])")
    play.click()
    stood = page.at("frame")
    page.page.wait_for_timeout(400)
    assert page.at("frame") == stood
    page.slide("scrub", last - 1)
    play.click()
    page.wait("[data-do=play]:text('Play')")
    assert page.at("frame") == last


def test_scrubbing_shows_the_step_of_the_file(shown, result, tmp_path):
    """Numbers and shapes on the page against the HDF5, at frames all along the job."""
    file = tmp_path / "part.h5"
    write_result(result, file)
    page = shown(result)
    with h5py.File(file) as held:
        frames, steps = held["frames"], held["steps"]
        count = frames["step"].size
        for frame in range(0, count, 5):
            page.slide("scrub", frame)
            step = page.at("step")
            assert step == frames["step"][frame]
            assert f"(step {step})" in page.page.locator(".where").inner_text()
            for name in ("lift", "force_upper", "force_rear", "drive_force"):
                kind = "length" if name == "lift" else "line_force"
                cell = page.page.locator(f"[data-name={name}] td").first
                expected = float(steps[name][step])
                assert cell.inner_text() == units.format(expected + 0.0, kind)
            check_shape(page, frames, frame, held["inputs/upper_radius"][()])


def check_shape(page, frames, frame, radius):
    """Place on the sheet and rear roll against the file, from the upper roll."""
    node = frames["x"].shape[1] // 3
    page.slide("place", float(np.linspace(0.0, 260.0, 521)[node]))
    upper = [frames[f"roll_{axis}"][frame, 0] for axis in "xy"]
    for selector, point in {
        ".side .ring": [frames[axis][frame, node] for axis in "xy"],
        ".side g:nth-of-type(3) .roll": [
            frames[f"roll_{axis}"][frame, 2] for axis in "xy"
        ],
    }.items():
        x, y, diameter = page.place(selector)
        scale = 2.0 * radius / diameter
        # the page shows every second node (0.5 mm apart) at less than 0.1 mm a pixel
        assert x * scale == pytest.approx(point[0] - upper[0], abs=0.6)
        assert y * scale == pytest.approx(point[1] - upper[1], abs=0.6)


def test_one_cursor_links_side_view_curvature_and_moment(shown, result):
    page = shown(result)
    for s in (30.0, 130.0, 225.0):
        page.slide("place", s)
        for plot in ("curvature", "moment"):
            inside = f"[data-plot={plot}] svg"
            wide = page.page.evaluate(
                f"document.querySelector('{inside}').viewBox.baseVal.width"
            )
            left, right = 46.0, wide - 10.0  # margins for the numbers of the axis
            first, last = result.sheet["s"][[0, -1]]
            expected = left + (s - first) / (last - first) * (right - left)
            found = page.number(f"[data-plot={plot}] .at", "x1")
            assert found == pytest.approx(expected, abs=0.1)
    plot = page.page.locator("[data-plot=curvature] svg")
    box = plot.bounding_box()
    plot.hover(position={"x": 0.7 * box["width"], "y": 0.5 * box["height"]})
    moved = float(page.player().get_attribute("data-s"))
    assert 150.0 < moved < 210.0
    assert page.page.locator(".there dd").first.inner_text().startswith(f"{moved:.2f}")


def test_the_keyboard_drives_the_playback(shown, result):
    page = shown(result)
    move = result.frames["move"]
    page.player().focus()
    press = page.page.keyboard.press
    press("ArrowRight")
    press("ArrowRight")
    press("ArrowLeft")
    assert page.at("frame") == 1
    press("PageDown")
    assert move[page.at("frame")] == move[1] + 1
    press("End")
    assert page.at("frame") == move.size - 1
    press("Home")
    press("Space")
    page.wait(".player:not([data-frame='0'])")
    press("Space")
    for control in ("play", "back", "on"):
        page.page.keyboard.press("Tab")
        assert page.page.evaluate("document.activeElement.dataset.do") == control


def test_an_event_shows_its_step(shown, result):
    page = shown(result)
    page.page.locator(".go").nth(1).click()
    steps = result.frames["step"]
    nearest = int(steps[np.argmin(np.abs(steps - result.events[1].step))])
    assert page.at("step") == nearest


def test_jobs_play_together_move_by_move(shown, result):
    page = shown(result, replace(result, title="another"))
    page.slide("scrub", 9)
    assert page.at("frame", 1) == 9
    page.page.locator("#together").uncheck()
    page.slide("scrub", 12)
    assert (page.at("frame", 0), page.at("frame", 1)) == (12, 9)


def test_a_hostile_case_runs_nothing_in_the_browser(shown, result):
    hostile = replace(
        result,
        title=HOSTILE,
        case_text=HOSTILE,
        labels=result.labels | {"moves": HOSTILE},
    )
    page = shown(hostile, drawn=True)
    assert "<img src=x onerror=alert(1)>{{7*7}}" in page.page.locator("h1").inner_text()
    assert page.page.locator("img").count() == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_follows_the_setting_of_the_reader(shown, result, scheme):
    page = shown(result, color_scheme=scheme)
    paper, ink = theme.PAGE_COLORS["paper"], theme.PAGE_COLORS["ink"]
    side = ("light", "dark").index(scheme)
    for what, colour in (("backgroundColor", paper), ("color", ink)):
        got = page.page.evaluate(
            f"getComputedStyle(document.querySelector('.sheet')).{what}"
        )
        expected = [int(colour[side][i : i + 2], 16) for i in (1, 3, 5)]
        assert [int(part) for part in re.findall(r"\d+", got)] == expected


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_nothing_sticks_out_at_phone_tablet_and_desk_width(shown, result, width):
    page = shown(result, result, drawn=True, viewport={"width": width, "height": 800})
    assert page.page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_page_prints_in_light_colours_without_controls(shown, result):
    page = shown(result, color_scheme="dark")
    page.page.emulate_media(media="print", color_scheme="dark")
    assert (
        page.page.evaluate(
            "getComputedStyle(document.documentElement).getPropertyValue('--paper')"
        )
        == theme.PAGE_COLORS["paper"][0]
    )
    assert not page.page.locator("[data-do=play]").is_visible()
    assert page.page.locator(".side svg").is_visible()


def test_bend_is_told_by_line_weight_as_well_as_by_colour(shown, result):
    page = shown(result)
    weights = page.page.evaluate(
        "[...document.querySelectorAll('.bend')]"
        ".map(e => parseFloat(e.style.strokeWidth))"
    )
    assert len(weights) == playback.BEND_CLASSES
    # a step of a pixel or more can be told apart
    assert np.all(np.diff(weights) >= 1.0)
