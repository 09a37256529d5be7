"""The set-up sheet is one page on which every word can be read and is right."""

import io
import itertools
import math
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pypdf
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from pinchline.analysis.closing import ManualClosing
from pinchline.analysis.planning.plan import Effect, Plan, settings_of
from pinchline.case.case import load_case
from pinchline.case.moves import Feed, Lift, Lower, Place, Release, Turn
from pinchline.errors import InputError
from pinchline.parts.assess import RADIUS_QUANTITIES, Deviation, PartQuantity
from pinchline.reports.plan.measurements import measurements, rise
from pinchline.reports.plan.setup_blocks import _plus_minus
from pinchline.reports.plan.setup_sheet import setup_sheet, write_setup_sheet
from pinchline.reports.plan.steps import operator_steps
from pinchline.reports.style.paper import A4, LETTER, MM_PER_INCH, print_style
from pinchline.reports.style.table import SAFETY_CAUTIONS

NAN = math.nan
UNITS = [("metric", A4), ("inch", LETTER)]


def run_of(first, pieces, lift):
    """A run toward the operator: laid in, raised, fed in pieces that move the roll."""
    moves = [Place(at=first), Lift(to=lift)]
    moves += [
        Feed(toward="operator", by=17.0, lift_to=lift + 1.5 * (-1) ** i)
        for i in range(pieces)
    ]
    return [*moves, Lower()]


# as many pieces as a search ever gives: six, then three with the sheet turned
LONG = [*run_of(3.0, 6, 16.0), Turn(), *run_of(257.0, 3, 18.0), Release()]
SHORT = (
    Place(at=3.0),
    Lift(to=16.0),
    Feed(toward="operator", by=200.0),
    Lower(),
    Release(),
)


def made_plan(result, moves=SHORT, *, reached=True, closing=True):
    """A plan round a made-up result; its numbers are invented."""
    case = load_case("strut-fairing").model_copy(update={"moves": tuple(moves)})
    lifts = [i for i, move in enumerate(moves, 1) if move.kind == "lift"]
    return Plan(
        case=case,
        result=result,
        way="turn end for end" if len(lifts) > 1 else "one pass",
        settings=settings_of(case),
        deviations=(
            Deviation(
                RADIUS_QUANTITIES[0],
                "radius, operator's half",
                "length",
                80.0,
                79.9,
                0.8,
            ),
            Deviation(
                RADIUS_QUANTITIES[1], "radius, rear half", "length", 80.0, 95.1, 0.8
            ),
            Deviation(PartQuantity.OPENING, "opening", "length", 150.0, 153.7, NAN),
        ),
        effects=tuple(Effect(i, 16.0, -16.0, -21.4, -5.5) for i in lifts),
        closing=made_closing() if closing else None,
        reached=reached,
        limit="" if reached else "wrap",
        nearest="" if reached else "radius 95.10 mm",
        changes=() if reached else ("an upper roll of 24.00 mm radius or less",),
        notes=("crank toward you only, for the other way bends far less",),
    )


def made_closing():
    some = np.array([153.7, 150.0, 103.2])
    return ManualClosing(
        opening_before=153.7,
        opening_wanted=150.0,
        opening_pressed=103.2,
        force=0.62,
        force_held=0.068,
        elastic=True,
        first_yield_opening=108.3,
        reached=True,
        opening=some,
        forces=some,
        left=some,
        part_after=(some, some),
        energy_error=0.0,
    )


def texts(fig):
    """Every text of a figure and its box, mm from the lower left corner."""
    canvas = FigureCanvasAgg(fig)
    with print_style():
        drawn = [t for t in fig.findobj(mpl.text.Text) if t.get_text().strip()]
        boxes = [t.get_window_extent(canvas.get_renderer()).extents for t in drawn]
    scale = MM_PER_INCH / fig.dpi
    return [(t, scale * np.array(box)) for t, box in zip(drawn, boxes, strict=True)]


def words_of(fig):
    return "\n".join(text.get_text() for text, _ in texts(fig))


@pytest.mark.parametrize(("system", "paper"), UNITS)
@pytest.mark.parametrize("moves", [SHORT, LONG])
@pytest.mark.parametrize("reached", [True, False])
def test_no_words_overlap_or_leave_the_paper(result, system, paper, moves, reached):
    plan = made_plan(result, moves, reached=reached)
    found = texts(setup_sheet(plan, [result] * 2, system=system, paper=paper))
    for text, (left, low, right, high) in found:
        where = text.get_text()
        assert left >= paper.margin - 1.0, where
        assert right <= paper.width - paper.margin + 1.0, where
        assert low >= paper.margin - 1.0, where
        assert high <= paper.height - paper.margin + 1.0, where
    # boxes hold the room of letters that go deep or high: a little may be shared
    slack = 0.3
    for (one, a), (other, b) in itertools.combinations(found, 2):
        wide = min(a[2], b[2]) - max(a[0], b[0])
        high = min(a[3], b[3]) - max(a[1], b[1])
        assert wide < slack or high < slack, (one.get_text(), other.get_text())


@pytest.mark.parametrize(("system", "paper"), UNITS)
def test_all_words_of_a_common_job_are_ten_points_or_more(result, system, paper):
    plan = made_plan(result)
    for text, _ in texts(setup_sheet(plan, [result] * 2, system=system, paper=paper)):
        assert text.get_fontsize() >= 10.0, text.get_text()


@pytest.mark.parametrize(("system", "paper"), UNITS)
def test_the_moves_of_the_longest_job_stay_readable(result, system, paper):
    """What is read at arm's length: ten points, common practice, no source."""
    plan = made_plan(result, LONG)
    found = texts(setup_sheet(plan, [result] * 2, system=system, paper=paper))
    moves = ("Crank toward you to", "Mark", "Lower")
    rows = [text for text, _ in found if text.get_text().startswith(moves)]
    assert len(rows) == 13
    assert min(text.get_fontsize() for text in rows) >= 10.0
    assert min(text.get_fontsize() for text, _ in found) >= 8.0


def test_files_are_one_page_of_the_paper_and_a_picture(result, tmp_path):
    plan = made_plan(result, LONG)
    pdf, png = write_setup_sheet(plan, (), tmp_path, "job", paper=A4)
    assert (pdf.name, png.name) == ("job-setup.pdf", "job-setup.png")
    (page,) = pypdf.PdfReader(io.BytesIO(pdf.read_bytes())).pages
    size = [float(v) / 72.0 * MM_PER_INCH for v in (page.mediabox[2:])]
    assert size == pytest.approx([210.0, 297.0], abs=0.05)
    assert png.read_bytes().startswith(b"\x89PNG")


def test_a_job_of_too_many_moves_is_refused_not_cut_off(result):
    moves = [*run_of(3.0, 60, 16.0), Release()]
    with pytest.raises(InputError, match="one page"):
        setup_sheet(made_plan(result, moves))


def test_gap_is_the_clear_distance_of_the_two_rolls(result):
    """Two circles: distance of the centres less both radii, from the machine's card."""
    plan = made_plan(result)
    machine, t = plan.case.machine, plan.case.sheet.thickness
    angle = machine.rear.slide_angle
    x = machine.rear.distance - 16.0 * math.cos(angle)
    y = -(30.0 + t / 2.0) + 16.0 * math.sin(angle)
    gap = math.hypot(x, y - (30.0 + t / 2.0)) - 60.0
    assert f"gap {gap:.2f} mm" in words_of(setup_sheet(plan))
    assert f"gap {gap / 25.4:.3f} in" in words_of(setup_sheet(plan, system="inch"))


def test_what_to_change_follows_the_derivative(result):
    """1 mm over -16 mm/mm is 0.0625 mm; at 1.5 mm a turn 0.04 turns."""
    words = words_of(setup_sheet(made_plan(result))).splitlines()
    at = words.index("Step 1")
    assert words[at + 1 : at + 3] == ["+0.06", "+0.04"]
    # and the radii with it: -21.4 and -5.5 mm per mm of lift
    assert words[at + 3 : at + 5] == ["-1.3", "-0.3"]


def test_no_correction_is_told_where_lift_does_nothing(result):
    weak = (Effect(2, 16.0, -0.4, 0.0, 0.0),)
    words = words_of(setup_sheet(replace(made_plan(result), effects=weak)))
    assert "More lift hardly changes this part." in words


def test_every_move_is_in_one_row_and_marks_are_where_it_stops(result):
    plan = made_plan(result, LONG)
    steps = operator_steps(plan.settings)
    held = [number for row in steps.rows for number in row.moves]
    assert held == list(range(1, len(LONG) + 1))
    fed = sum(row.fed for row in steps.rows if not math.isnan(row.fed))
    assert fed == pytest.approx(9 * 17.0)
    for row in steps.rows:
        if row.mark:
            assert steps.marks[row.mark] == pytest.approx(row.at, abs=0.05)
    assert len(set(steps.marks.values())) == len(steps.marks)
    # first run from 3 mm in six pieces, second backward from 257 mm in three
    wanted = [3.0 + 17.0 * i for i in range(7)] + [257.0 - 17.0 * i for i in range(4)]
    assert sorted(steps.marks.values()) == pytest.approx(sorted(wanted))


def test_a_part_that_is_not_reached_says_so_first(result):
    words = words_of(setup_sheet(made_plan(result, reached=False)))
    assert "THE WANTED PART IS NOT REACHED" in words
    flat = " ".join(words.split())
    assert "What binds: wrap" in flat
    assert "rear half 95.10 mm for 80.00 mm" in flat
    assert "an upper roll of 24.00 mm radius or less" in flat
    assert "NOT REACHED" not in words_of(setup_sheet(made_plan(result)))


def test_closing_and_cautions_are_on_the_page(result):
    flat = " ".join(words_of(setup_sheet(made_plan(result))).split())
    assert " ".join(SAFETY_CAUTIONS.split()) in flat
    # 0.62 N/mm over 400 mm
    assert "to 103.2 mm, with 0.62 N/mm (248.0 N in all)" in flat
    none = words_of(setup_sheet(made_plan(result, closing=False)))
    assert "Closing by hand" not in none


def round_part(result, radius, angle):
    count = 520
    length = radius * angle
    s = (np.arange(count) + 0.5) * length / count
    sheet = result.sheet | {"s": s, "curvature_residual": np.full(count, 1.0 / radius)}
    inputs = result.inputs | {"element": length / count, "length": length}
    chord = 2.0 * radius * math.sin(0.5 * angle)
    sheet |= {"x": np.array([0.0, chord]), "y": np.zeros(2)}
    summary = result.summary | {"opening": chord}
    return replace(result, sheet=sheet, inputs=inputs, summary=summary)


def test_measurements_of_an_arc_are_those_of_its_inside_circle(result):
    """Closed form, r = R - t/2: opening 2 r sin(a/2), rise r - sqrt(r2 - c2/4)."""
    part = round_part(result, 80.0, 2.5)
    r = 80.0 - 0.5
    assert rise(part, 100.0, 60.0) == pytest.approx(
        r - math.sqrt(r * r - 900.0), abs=0.01
    )
    plan = replace(made_plan(result), result=part)
    opening, depth, *_ = measurements(plan, (), "metric")
    assert opening.expected == pytest.approx(2.0 * r * math.sin(1.25), abs=0.01)
    assert depth.expected == pytest.approx(r * (1.0 - math.cos(1.25)), abs=0.01)


def test_a_chord_longer_than_the_part_has_no_rise(result):
    assert math.isnan(rise(round_part(result, 80.0, 0.5), 20.0, 60.0))


def test_a_band_holds_nine_strips_in_ten(result):
    """Radii spread evenly over 4 mm: nine openings in ten in 0.9 of their range."""
    plan = replace(made_plan(result), result=round_part(result, 80.0, 2.5))
    parts = [round_part(result, r, 2.5) for r in np.linspace(78.0, 82.0, 201)]
    opening = measurements(plan, parts, "metric")[0]
    assert opening.band == pytest.approx(0.9 * 2.0 * 2.0 * math.sin(1.25), rel=1e-3)


def test_without_parts_no_band_is_told(result):
    plan = replace(made_plan(result), result=round_part(result, 80.0, 2.5))
    assert all(math.isnan(m.band) for m in measurements(plan, (), "metric"))


def test_the_sheet_says_what_its_bands_stand_for(result):
    parts = [replace(result, summary=dict(result.summary)) for _ in range(3)]
    text = words_of(setup_sheet(made_plan(result), parts))
    assert "nine strips in ten" in text
    assert "yield strength" in text
    assert "nine strips in ten" not in words_of(setup_sheet(made_plan(result)))


def test_a_band_below_the_last_digit_is_not_told_as_none() -> None:
    assert _plus_minus("0.00") == "< 0.01"
    assert _plus_minus("0.60") == "\u00b1 0.60"
    assert _plus_minus("") == "-"
