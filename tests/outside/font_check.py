#!/usr/bin/env python3
"""Compares the demo font with its list of strokes, by libraries that share nothing with ours.

fontTools reads `demo/fonts/tern-lane.ttf`: checksums, bounds, character map, names, widths, directions of
contours. shapely (GEOS) draws the strokes of `demo/fonts/tern-lane.txt` with a round pen; the check fails
where an outline lies further than 2 of 4000 units of an em from what the pen paints.

    pip install fonttools shapely
    python3 tests/outside/font_check.py
"""

import pathlib
import sys

from fontTools.pens.areaPen import AreaPen
from fontTools.pens.boundsPen import BoundsPen, ControlBoundsPen
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.svgLib.path import parse_path
from fontTools.ttLib import TTFont
from shapely import LineString, Polygon, unary_union
from shapely.affinity import affine_transform, scale

FONTS = pathlib.Path(__file__).parents[2] / "demo" / "fonts"
# As tests/demo_font.rs: units of the list and of the font, the pen, small letters.
UNIT, PEN, FOOT, SMALL = 240, 1.7, 10, 0.74
FURTHEST = 2.0


def polylines(pen, steps=200):
    """Curves of a recorded pen as polylines, closed ones with their first point again."""
    lines = []
    for what, args in pen.value:
        if what == "moveTo":
            lines.append(list(args))
            continue
        if what in ("closePath", "endPath"):
            if what == "closePath" and lines[-1][0] != lines[-1][-1]:
                lines[-1].append(lines[-1][0])
            continue
        start, ends = lines[-1][-1], [args]
        if what == "qCurveTo":
            # Between two control points lies a point of the outline, half way.
            middle = [((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for a, b in zip(args[:-2], args[1:-1])]
            ends = list(zip(args[:-1], middle + [args[-1]]))
        for curve in ends:
            points = [start, *curve]
            count = 1 if len(points) == 2 else steps
            for i in range(1, count + 1):
                lines[-1].append(bezier(points, i / count))
            start = curve[-1]
    return lines


def bezier(points, t):
    while len(points) > 1:
        points = [(a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t) for a, b in zip(points, points[1:])]
    return points[0]


def strokes():
    """Each character with its width in the font and what the pen paints."""
    for line in (FONTS / "tern-lane.txt").read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            name, left, right, *path = line.split(" ", 3)
            character = " " if name == "space" else name
            room = [float(left), float(right)]
            yield character, *painted(room, path, 1.0)
            if "A" <= character <= "Z":
                room = [PEN / 2 + (r - PEN / 2) * (1 + SMALL) / 2 for r in room]
                yield character.lower(), *painted(room, path, SMALL)


def painted(room, path, size):
    if not path:
        return sum(room) * UNIT, Polygon()
    pen = DecomposingRecordingPen({})
    parse_path(path[0], pen)
    lines = [LineString(points) for points in polylines(pen)]
    lines = [scale(line, size, size, origin=(0, FOOT)) for line in lines]
    left = min(line.bounds[0] for line in lines)
    right = max(line.bounds[2] for line in lines)
    ink = unary_union([line.buffer(PEN / 2, quad_segs=64) for line in lines])
    place = [UNIT, 0, 0, -UNIT, (room[0] - left) * UNIT, (FOOT + PEN / 2) * UNIT]
    return (sum(room) + right - left) * UNIT, affine_transform(ink, place)


def outline(font, name):
    """The filled area of a glyph, its contours told apart by their direction alone."""
    glyphs = font.getGlyphSet()
    pen = DecomposingRecordingPen(glyphs)
    glyphs[name].draw(pen)
    rings = [Polygon(line) for line in polylines(pen, 32)]
    for ring in rings:
        if not ring.is_valid:
            sys.exit(f"{name}: a contour crosses itself")
    solid = [ring for ring in rings if not ring.exterior.is_ccw]
    holes = [ring for ring in rings if ring.exterior.is_ccw]
    area = AreaPen()
    glyphs[name].draw(area)
    whole = unary_union(solid).difference(unary_union(holes))
    # Holes lie inside, contours overlap nowhere: the signed areas add up to the whole.
    if abs(abs(area.value) - whole.area) > 1e-4 * max(whole.area, 1):
        sys.exit(f"{name}: contours overlap or turn the wrong way")
    return whole


def apart(a, b):
    """The distance between two outlines at the place where they are furthest apart."""
    return 0.0 if a.is_empty and b.is_empty else a.boundary.hausdorff_distance(b.boundary)


def check_tables(font):
    """What the tables tell of the glyphs, counted anew."""
    if font["cmap"].tables[0].format != 4:
        sys.exit("the character map is not of format 4")
    glyphs, glyf = font.getGlyphSet(), font["glyf"]
    boxes = {}
    for name in font.getGlyphOrder():
        pen = ControlBoundsPen(glyphs)
        glyphs[name].draw(pen)
        glyph = glyf[name]
        if pen.bounds is None:
            continue
        boxes[name] = pen.bounds
        told = (glyph.xMin, glyph.yMin, glyph.xMax, glyph.yMax)
        exact = BoundsPen(glyphs)
        glyphs[name].draw(exact)
        beside = max(abs(a - b) for a, b in zip(told, exact.bounds))
        if told != pen.bounds or beside > 1 or font["hmtx"][name][1] != glyph.xMin:
            sys.exit(f"{name}: bounds {told}, outline {exact.bounds}")
    head, hhea, maxp, os2 = (font[tag] for tag in ("head", "hhea", "maxp", "OS/2"))
    widths = {name: font["hmtx"][name][0] for name in font.getGlyphOrder()}
    characters = font.getBestCmap()
    rows = list(zip(*boxes.values()))
    points = [len(glyf[name].getCoordinates(glyf)[0]) for name in boxes]
    for told, counted in [
        ((head.xMin, head.yMin, head.xMax, head.yMax), (min(rows[0]), min(rows[1]), max(rows[2]), max(rows[3]))),
        (hhea.advanceWidthMax, max(widths.values())),
        (hhea.minLeftSideBearing, min(rows[0])),
        (hhea.minRightSideBearing, min(widths[name] - box[2] for name, box in boxes.items())),
        (hhea.xMaxExtent, max(rows[2])),
        (maxp.maxPoints, max(points)),
        (maxp.maxContours, max(glyf[name].numberOfContours for name in boxes)),
        (os2.usFirstCharIndex, min(characters)),
        (os2.usLastCharIndex, max(characters)),
        (os2.sCapHeight, boxes[characters[ord("H")]][3]),
        (font["name"].getDebugName(1), "Tern Lane"),
    ]:
        if told != counted:
            sys.exit(f"the font tells {told}, its outlines {counted}")


def main():
    # checkChecksums=2: a wrong checksum is an error.
    font = TTFont(FONTS / "tern-lane.ttf", checkChecksums=2, lazy=False)
    for tag in font.reader.keys():
        font.reader[tag]
    check_tables(font)
    characters = font.getBestCmap()
    wanted = {character: (width, ink) for character, width, ink in strokes()}
    if {chr(code) for code in characters} != set(wanted):
        sys.exit("the font's characters are not those of the list")
    worst = 0.0
    for character, (width, ink) in wanted.items():
        name = characters[ord(character)]
        off = apart(outline(font, name), ink)
        worst = max(worst, off)
        if off > FURTHEST or abs(font["hmtx"][name][0] - width) > 1:
            sys.exit(f"{character}: outline {off:.2f} units off, {font['hmtx'][name][0]} wide, {width:.1f} wanted")
    print(f"{len(wanted)} letters, outlines within {worst:.2f} of 4000 units of the painted strokes")


main()
