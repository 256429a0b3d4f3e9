#!/usr/bin/env python3
"""Cuts written jobs with a blade that knows no closed form, and holds the cut against the drawing.

Random polygons, slivers, circles and rings are written as SVG, cut by `bladewright write` for several
blade offsets, and the bytes are cut here: the axis goes along them, and the blade's heading b follows
its equation of motion b' = sin(phi - b)/d (S. LaValle, Planning Algorithms, 2006, eq. 13.19, for the
trailer of a car) by the Runge-Kutta method of fourth order in small steps. The wanted lines are known
from how the drawing was made, without the program. Checked are the distance of the tip from them, the
distance of them from what was cut, and that the first cut turns a blade that points anywhere.

The check fails when either exceeds one plotter unit (0.025 mm) and what outlines may be simplified by
(half a unit), or when the program's own figure differs from the one found here by more than the latter.

    pip install shapely
    python3 tests/outside/tip_check.py target/release/bladewright [drawings]
"""

import json
import math
import random
import subprocess
import sys
import tempfile

import numpy
import shapely
from shapely.geometry import LineString, MultiLineString, Polygon

OFFSETS_MM = (0.1, 0.25, 0.5, 1.0)
UNIT_MM = 0.025
SIMPLIFIED_MM = UNIT_MM / 2
MOST_MM = UNIT_MM + SIMPLIFIED_MM
# A spike thinner than the tolerance is not cut: of this corner that is a hundredth of a millimetre.
TOLERANCE_MM = 0.001
SHARPEST = 0.1
CELL_MM = 24.0


def shapes(dice):
    """Four by three pieces, each within its cell: rings of vertices, y down as in SVG."""
    for i in range(12):
        cx, cy = CELL_MM * (i % 4 + 0.5), CELL_MM * (i // 4 + 0.5)
        kind = dice.randrange(4)
        if kind == 0:
            yield polygon(dice, cx, cy)
        elif kind == 1:
            turn, thin = dice.uniform(0, math.tau), dice.uniform(0.2, 0.8)
            yield Polygon([polar(cx, cy, turn + t, 10) for t in (0, thin, math.pi)])
        elif kind == 2:
            yield Polygon(circle(cx, cy, dice.uniform(0.6, 10)))
        else:
            outer = dice.uniform(4, 10)
            square = [polar(cx, cy, math.pi * k / 2 + outer, outer) for k in range(4)]
            yield Polygon(square, [circle(cx, cy, dice.uniform(0.5, 0.6 * outer))])


def polygon(dice, cx, cy):
    """A random polygon without corners sharper than the sharpest that is cut to its end."""
    while True:
        turns = sorted(dice.uniform(0, math.tau) for _ in range(dice.randrange(5, 14)))
        ring = [polar(cx, cy, turn, dice.uniform(2, 10)) for turn in turns]
        corners = zip(ring[-1:] + ring[:-1], ring, ring[1:] + ring[:1])
        if Polygon(ring).is_valid and min(angle(*c) for c in corners) > SHARPEST:
            return Polygon(ring)


def angle(before, at, after):
    turn = math.atan2(after[1] - at[1], after[0] - at[0])
    turn -= math.atan2(before[1] - at[1], before[0] - at[0])
    return abs(math.remainder(turn, math.tau))


def polar(cx, cy, turn, radius):
    return (cx + radius * math.cos(turn), cy + radius * math.sin(turn))


def circle(cx, cy, radius):
    """A polygon that leaves the circle by less than a micrometre."""
    return [polar(cx, cy, math.tau * k / 720, radius) for k in range(720)]


def svg(pieces):
    paths = []
    for piece in pieces:
        rings = [piece.exterior, *piece.interiors]
        data = "".join(
            "M" + " ".join(f"{x:.6f},{y:.6f}" for x, y in ring.coords[:-1]) + "z" for ring in rings
        )
        paths.append(f'<path fill-rule="evenodd" d="{data}"/>')
    width, height = 4 * CELL_MM, 3 * CELL_MM
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">{"".join(paths)}</svg>'
    )


def strokes(job):
    """The axis' ways with the tool down, mm."""
    at, down, all_strokes = (0.0, 0.0), False, []
    for instruction in job.split(";"):
        name, numbers = instruction[:2], instruction[2:]
        if name not in ("PU", "PD", "PA"):
            continue
        if name == "PD" and not down:
            all_strokes.append([at])
        down = {"PU": False, "PD": True}.get(name, down)
        values = [float(n) * UNIT_MM for n in numbers.split(",") if n]
        for at in zip(values[::2], values[1::2]):
            if down:
                all_strokes[-1].append(at)
    return all_strokes


def cut(axis, offset, heading):
    """The tip's way along an axis, and the heading after it."""
    tips = []
    x, y = axis[0]
    tips.append((x - offset * math.cos(heading), y - offset * math.sin(heading)))
    for to_x, to_y in axis[1:]:
        length = math.hypot(to_x - x, to_y - y)
        travel = math.atan2(to_y - y, to_x - x)
        steps = max(1, math.ceil(length / min(offset / 30, 0.02)))
        step = length / steps / offset
        for k in range(1, steps + 1):
            a = math.sin(travel - heading)
            b = math.sin(travel - heading - step / 2 * a)
            c = math.sin(travel - heading - step / 2 * b)
            d = math.sin(travel - heading - step * c)
            heading += step / 6 * (a + 2 * b + 2 * c + d)
            here_x, here_y = x + (to_x - x) * k / steps, y + (to_y - y) * k / steps
            tips.append((here_x - offset * math.cos(heading), here_y - offset * math.sin(heading)))
        x, y = to_x, to_y
    return tips, heading


def furthest(lines, other):
    """The largest distance of points along `lines` from `other`."""
    points = numpy.concatenate(
        [shapely.get_coordinates(shapely.segmentize(line, 0.05)) for line in lines.geoms]
    )
    edges = [
        LineString(pair)
        for line in other.geoms
        for coordinates in [shapely.get_coordinates(line)]
        for pair in zip(coordinates, coordinates[1:])
    ]
    tree = shapely.STRtree(edges)
    _, distances = tree.query_nearest(
        shapely.points(points), return_distance=True, all_matches=False
    )
    return float(distances.max())


def main():
    program = sys.argv[1]
    drawings = int(sys.argv[2]) if len(sys.argv) > 2 else 12
    worst, jobs, apart = 0.0, 0, 0.0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(drawings):
            dice = random.Random(seed)
            pieces = list(shapes(dice))
            offset = OFFSETS_MM[seed % len(OFFSETS_MM)]
            drawing = f"{folder}/{seed}.svg"
            with open(drawing, "w", encoding="utf-8") as file:
                file.write(svg(pieces))
            report = json.loads(
                subprocess.run(
                    [program, "write", drawing, "-o", f"{folder}/job.hpgl", "--json", "--machine",
                     "plain-hpgl", "--blade-offset", f"{offset}mm",
                     "--tolerance", f"{TOLERANCE_MM}mm"],
                    check=True, capture_output=True, text=True,
                ).stdout
            )
            with open(f"{folder}/job.hpgl", encoding="ascii") as file:
                orient, *cuts = strokes(file.read())
            # Placed by the page, which is exact: the work's own box, from which --at would count,
            # is that of the simplified outlines.
            wanted = MultiLineString([
                [(x, 3 * CELL_MM - y) for x, y in ring.coords]
                for piece in pieces
                for ring in (piece.exterior, *piece.interiors)
            ])
            _, heading = cut(orient, offset, dice.uniform(-math.pi, math.pi))
            tips = []
            for axis in cuts:
                tip, heading = cut(axis, offset, heading)
                tips.append(tip)
            tips = MultiLineString(tips)
            stray, uncut = furthest(tips, wanted), furthest(wanted, tips)
            own = report["tip_error_mm"]
            print(f"drawing {seed}, offset {offset}: stray {stray:.4f}, uncut {uncut:.4f}, told {own}")
            worst, jobs = max(worst, stray, uncut), jobs + 1
            apart = max(apart, abs(max(stray, uncut) - own))
    print(
        f"{jobs} jobs cut by integrating the blade's motion: at most {worst:.4f} mm off, "
        f"{apart:.4f} mm from what was told"
    )
    sys.exit(worst > MOST_MM or apart > SIMPLIFIED_MM)


if __name__ == "__main__":
    main()
