"""The free part as a drawing file: arcs and lines that a saw, a laser or CAD reads."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from pinchline import __version__
from pinchline.parts.measure import free_outline
from pinchline.reports.export.arcs import fit_arcs, offset_arcs

if TYPE_CHECKING:
    from pinchline.reports.export.arcs import TangentArc
    from pinchline.results.schema import Result
    from pinchline.units import System

# layer: share of the thickness to the left of the mid-line, colour number, line
DXF_LAYERS: dict[str, tuple[float, int, str]] = {
    "INNER": (0.5, 7, "CONTINUOUS"),
    "OUTER": (-0.5, 7, "CONTINUOUS"),
    "MIDLINE": (0.0, 8, "CENTER"),
}
END_LAYER = "ENDS"
_MM_PER_UNIT = {"metric": 1.0, "inch": 25.4}


def part_arcs(result: Result, tolerance: float) -> dict[str, list[TangentArc]]:
    """Fit the free part: pieces of each layer, mm, the operator's edge at the origin.

    Inner is the side toward which the part curls when bent round the upper roll. Inner
    and outer are exactly beside the fitted mid-line, so each is as near as that is.
    """
    outline = free_outline(result.sheet["curvature_residual"], result.inputs["element"])
    fitted = fit_arcs(outline.x, outline.y, outline.theta, tolerance)
    thickness = result.inputs["thickness"]
    return {
        layer: offset_arcs(fitted, float(outline.theta[0]), share * thickness)
        for layer, (share, _, _) in DXF_LAYERS.items()
    }


def part_dxf(result: Result, tolerance: float, system: System = "metric") -> bytes:
    """Return a DXF of the free part, with its units set.

    Parameters
    ----------
    result : of a run
    tolerance : largest distance of the lines from the part, mm
    system : mm or inches
    """
    from ezdxf import units
    from ezdxf.filemanagement import new

    document = new("R2000", setup=["linetypes"])
    document.units = units.MM if system == "metric" else units.IN
    document.header["$MEASUREMENT"] = 1 if system == "metric" else 0
    document.header.custom_vars.append("made by", f"pinchline {__version__}")
    document.header.custom_vars.append("fitted within", f"{tolerance:g} mm")
    space, scale = document.modelspace(), 1.0 / _MM_PER_UNIT[system]
    fitted = part_arcs(result, tolerance)
    for layer, (_, colour, line) in DXF_LAYERS.items():
        document.layers.add(layer, color=colour, linetype=line)
        points = _points(fitted[layer], scale)
        space.add_lwpolyline(points, format="xyb", dxfattribs={"layer": layer})
    document.layers.add(END_LAYER, color=DXF_LAYERS["INNER"][1])
    inner, outer = fitted["INNER"], fitted["OUTER"]
    for near, far in ((inner[0].start, outer[0].start), (inner[-1].end, outer[-1].end)):
        start, end = ((scale * x, scale * y) for x, y in (near, far))
        space.add_line(start, end, dxfattribs={"layer": END_LAYER})
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode(document.output_encoding, "replace")


def _points(pieces: list[TangentArc], scale: float) -> list[tuple[Any, ...]]:
    """Vertices with the bulge of the piece that leaves each."""
    points = [(scale * p.start[0], scale * p.start[1], p.bulge) for p in pieces]
    last = pieces[-1].end
    return [*points, (scale * last[0], scale * last[1], 0.0)]
