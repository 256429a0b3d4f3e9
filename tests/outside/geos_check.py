#!/usr/bin/env python3
"""Compares merged areas and outlined strokes with what GEOS makes of the same shapes.

    geos_check.py target/release/examples/regions

GEOS (LGPL, by way of shapely from PyPI) unites polygons. `regions` is this project's example program,
which merges shapes from stdin. Two parts:

- merge: the same polygons to both; the pieces and, above the area filter, the holes must be as many,
  and nothing thicker than the grid of 1 um allows may differ;
- strokes: the area that a stroke paints by SVG 2 (chapter Painting), built here as a union of plain
  pieces: a quadrilateral for each chord, a sector of a disc or a triangle for each turn, half discs
  and squares for caps. GEOS unites the pieces; its own line buffer is never used, since it takes the
  definition less strictly in tight turns.

A difference is what is left of the symmetric difference once it is shrunk by half its allowed
thickness.

Exit: 0 all equal, 1 something differs.
"""

import argparse
import math
import random
import subprocess
import sys

import shapely
from shapely import Polygon

# The grid moves a crossing by up to 0.71 um, and edges that run past it with it, some of them again:
# tried out, two sheets of 62 differ by 6 um somewhere, none by 8.
MERGE_MM = 0.008
# The outline may leave the curve by 2 um, the chords here by one, the grid moves by one; each counts
# more where the line turns tighter than half its width.
STROKE_MM = 0.02
# Seams between pieces of a stroke are narrower.
SEAM_MM = 1e-4
# Holes and pieces smaller than this are specks of rounding, mm2 (the program drops them below 1e-4).
SPECK_MM2 = 4e-4
# Holes narrower than the grid can hold: of their area and length, mm.
NARROW_MM = 0.01


def regions(program, lines):
    run = subprocess.run([program], input="\n".join(lines) + "\n", capture_output=True, text=True)
    if run.returncode:
        raise SystemExit(f"{program}: {run.stderr}")
    out = []
    for line in run.stdout.splitlines():
        rings = [[tuple(map(float, p.split(","))) for p in ring.split()] for ring in line.split("/")]
        out.append(Polygon(rings[0], rings[1:]))
    return out


def text(rings):
    return "/".join(" ".join(f"{x!r},{y!r}" for x, y in ring) for ring in rings)


def counts(polygons):
    """Pieces and holes worth counting."""

    def counts_too(ring):
        face = Polygon(ring)
        return face.area > SPECK_MM2 and face.area / max(face.length, 1e-9) > NARROW_MM

    pieces = [p for p in polygons if p.area > SPECK_MM2]
    return len(pieces), sum(counts_too(hole) for p in pieces for hole in p.interiors)


def differs(ours, theirs, thickness):
    """What differs by more than `thickness`, mm2."""
    apart = shapely.symmetric_difference(ours, theirs)
    return shapely.buffer(apart, -thickness / 2, quad_segs=2).area


def judge(name, ours, theirs, thickness, count=True):
    theirs_polygons = [g for g in shapely.get_parts(theirs) if g.geom_type == "Polygon"]
    united = shapely.union_all([p if p.is_valid else shapely.make_valid(p) for p in ours])
    left = differs(united, theirs, thickness)
    same = not count or counts(ours) == counts(theirs_polygons)
    good = left == 0 and same
    if not good:
        print(f"{name}: {left:.6f} mm2 differ, pieces and holes {counts(ours)} {counts(theirs_polygons)}")
    return good


# --- merge -------------------------------------------------------------------------------------


def blob(R, x, y, r):
    """A star-shaped polygon, so it never crosses itself."""
    n = R.randrange(3, 14)
    turn = R.uniform(0, 7)
    return [
        (round(x + q * math.cos(turn + math.tau * i / n), 3), round(y + q * math.sin(turn + math.tau * i / n), 3))
        for i in range(n)
        for q in [R.uniform(0.3, 1) * r]
    ]


def box(x, y, w, h):
    return [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]


def merge_sheets():
    R = random.Random(8)
    for i in range(24):
        side = R.uniform(20, 60)
        yield f"blobs {i}", [[blob(R, R.uniform(0, side), R.uniform(0, side), R.uniform(1, 9))] for _ in range(60)]
    for i in range(10):
        # On a grid: edges shared, corners that touch, copies upon each other.
        yield f"tiles {i}", [[box(R.randrange(12), R.randrange(12), R.randrange(1, 5), R.randrange(1, 5))] for _ in range(40)]
    bars = [[box(5 * i, 0, 1.2, 100)] for i in range(20)] + [[box(0, 5 * i, 100, 1.2)] for i in range(20)]
    yield "lattice", bars
    turned = [[[(round(x * 0.9848 - y * 0.1736, 3), round(x * 0.1736 + y * 0.9848, 3)) for x, y in ring] for ring in shape] for shape in bars]
    yield "turned lattice", turned
    for i in range(10):
        rings = [[blob(R, 30, 30, 30 - 3 * k), blob(R, 30, 30, 20 - 2 * k)] for k in range(5)]
        yield f"rings {i}", rings


def filled(rings, rule):
    """What GEOS takes rings to fill."""
    area = shapely.make_valid(Polygon(rings[0]))
    for ring in rings[1:]:
        more = shapely.make_valid(Polygon(ring))
        area = area.symmetric_difference(more) if rule == "evenodd" else area.union(more)
    return area


def check_merge(program):
    good, number = True, 0
    for name, shapes in merge_sheets():
        rule = "evenodd" if name.startswith("rings") else "nonzero"
        ours = regions(program, [f"fill {rule} {text(rings)}" for rings in shapes])
        theirs = shapely.union_all([filled(rings, rule) for rings in shapes])
        good &= judge(name, ours, theirs, MERGE_MM)
        number += 1
    print(f"merge: {number} sheets compared with GEOS {shapely.geos_version_string}")
    return good


# --- strokes -----------------------------------------------------------------------------------


def unit(p, q):
    length = math.dist(p, q)
    return ((q[0] - p[0]) / length, (q[1] - p[1]) / length)


def sector(c, r, a, b):
    """The part of a disc between the directions a and b, by the shorter way."""
    turn = (b - a + math.pi) % math.tau - math.pi
    # Chords outside as much as inside: half a micron at most.
    n = max(2, math.ceil(abs(turn) / (2 * math.acos(1 - min(0.0005 / r, 0.5)))))
    arc = [(c[0] + r * math.cos(a + turn * i / n), c[1] + r * math.sin(a + turn * i / n)) for i in range(n + 1)]
    return Polygon([c] + arc)


def turn_pieces(p, d, e, r, join, limit):
    """What a corner at p adds where the direction d becomes e."""
    cross, dot = d[0] * e[1] - d[1] * e[0], d[0] * e[0] + d[1] * e[1]
    turn = math.atan2(cross, dot)
    if abs(turn) < 1e-9:
        return []
    side = -1 if turn > 0 else 1
    a, b = math.atan2(d[0] * side, -d[1] * side), math.atan2(e[0] * side, -e[1] * side)
    if join == "round":
        if abs(turn) > math.pi - 1e-9:
            return [sector(p, r, a, a + math.pi / 2 * side), sector(p, r, a + math.pi / 2 * side, a + math.pi * side)]
        return [sector(p, r, a, b)]
    one, two = [(p[0] + r * math.cos(t), p[1] + r * math.sin(t)) for t in (a, b)]
    half = math.cos(turn / 2)
    if join == "miter" and half > 1e-9 and 1 / half <= limit:
        middle = math.atan2(math.sin(a) + math.sin(b), math.cos(a) + math.cos(b))
        tip = (p[0] + r / half * math.cos(middle), p[1] + r / half * math.sin(middle))
        return [Polygon([p, one, tip, two])]
    return [Polygon([p, one, two])]


def cap_pieces(p, d, r, cap):
    """What a cap at p adds beyond the end, d pointing out of the line."""
    n = (-d[1] * r, d[0] * r)
    if cap == "round":
        a = math.atan2(d[1], d[0])
        return [sector(p, r, a - math.pi / 2, a), sector(p, r, a, a + math.pi / 2)]
    if cap == "square":
        out = (d[0] * r, d[1] * r)
        return [Polygon([(p[0] + n[0], p[1] + n[1]), (p[0] + n[0] + out[0], p[1] + n[1] + out[1]),
                         (p[0] - n[0] + out[0], p[1] - n[1] + out[1]), (p[0] - n[0], p[1] - n[1])])]
    return []


def stroke_pieces(segments, closed, width, cap, join, limit):
    """`segments` are control points; along a segment the turn is round, as of any curve."""
    r, pieces, legs = width / 2, [], []
    for controls in segments:
        points = curve(controls)
        legs.append((unit(*controls[:2]), unit(*controls[-2:]), points))
        directions = [unit(p, q) for p, q in zip(points, points[1:])]
        # At its ends the curve has the direction of its controls, not of a chord.
        ways = [legs[-1][0]] + directions + [legs[-1][1]]
        for p, d, e in zip(points, ways, ways[1:]):
            pieces += turn_pieces(p, d, e, r, "round", limit)
    for p, q in [pair for _, _, points in legs for pair in zip(points, points[1:])]:
        d = unit(p, q)
        n = (-d[1] * r, d[0] * r)
        pieces.append(Polygon([(p[0] + n[0], p[1] + n[1]), (q[0] + n[0], q[1] + n[1]), (q[0] - n[0], q[1] - n[1]), (p[0] - n[0], p[1] - n[1])]))
    pairs = list(zip(legs, legs[1:])) + ([(legs[-1], legs[0])] if closed else [])
    for (_, d, points), (e, _, _) in pairs:
        pieces += turn_pieces(points[-1], d, e, r, join, limit)
    if not closed:
        (d, _, first), (_, e, last) = legs[0], legs[-1]
        pieces += cap_pieces(first[0], (-d[0], -d[1]), r, cap) + cap_pieces(last[-1], e, r, cap)
    valid = [piece if piece.is_valid else shapely.make_valid(piece) for piece in pieces]
    united = shapely.union_all(valid)
    # Closes the seams that floating point leaves between pieces.
    return shapely.buffer(shapely.buffer(united, SEAM_MM, join_style="mitre"), -SEAM_MM, join_style="mitre")


def curve(controls):
    """Points of a Bezier curve of any degree, nearer to each other where it turns."""
    if len(controls) == 2:
        return controls

    def at(t):
        row = controls
        while len(row) > 1:
            row = [(p[0] + (q[0] - p[0]) * t, p[1] + (q[1] - p[1]) * t) for p, q in zip(row, row[1:])]
        return row[0]

    def way(t):
        steps = [(q[0] - p[0], q[1] - p[1]) for p, q in zip(controls, controls[1:])]
        while len(steps) > 1:
            steps = [(p[0] + (q[0] - p[0]) * t, p[1] + (q[1] - p[1]) * t) for p, q in zip(steps, steps[1:])]
        return math.atan2(steps[0][1], steps[0][0])

    ts, todo = [0.0], [(i / 32, (i + 1) / 32) for i in reversed(range(32))]
    while todo:
        a, b = todo.pop()
        turn = abs((way(b) - way(a) + math.pi) % math.tau - math.pi)
        if (turn > 0.006 or math.dist(at(a), at(b)) > 0.2) and b - a > 1e-7:
            todo += [((a + b) / 2, b), (a, (a + b) / 2)]
        else:
            ts.append(b)
    return [at(t) for t in ts]


def strokes():
    R = random.Random(9)
    place = lambda: (round(R.uniform(0, 40), 2), round(R.uniform(0, 40), 2))
    for i in range(80):
        at = start = place()
        path, segments = f"M{at[0]} {at[1]}", []
        for _ in range(R.randrange(1, 6)):
            ends = [place() for _ in range(R.choice([1, 1, 2, 3]))]
            path += " LQC"[len(ends)] + " ".join(f"{x} {y}" for x, y in ends)
            segments.append([at] + ends)
            at = ends[-1]
        closed = len(segments) > 1 and R.random() < 0.4
        if closed:
            path += "Z"
            segments.append([at, start])
        style = (round(R.uniform(0.3, 7), 2), R.choice(["butt", "round", "square"]), R.choice(["miter", "round", "bevel"]), R.choice([1.5, 4, 10]))
        yield f"stroke {i} {path} {style}", path, segments, closed, style


def check_strokes(program):
    good, number = True, 0
    for name, path, segments, closed, (width, cap, join, limit) in strokes():
        ours = regions(program, [f"stroke {width} {cap} {join} {limit} {path}"])
        theirs = stroke_pieces(segments, closed, width, cap, join, limit)
        good &= judge(name, ours, theirs, STROKE_MM)
        number += 1
    print(f"strokes: {number} compared with unions of their pieces")
    return good


def notices():
    """The comparison sees a hair 0.03 mm wide, and a hole that is missing."""
    whole = Polygon(box(0, 0, 10, 10))
    holed = Polygon(box(0, 0, 10, 10), [box(4, 4, 0.05, 0.05)])
    hair = Polygon(box(0, 0, 10, 10.03))
    return not judge("expected:", [holed], whole, MERGE_MM) and not judge("expected:", [hair], whole, STROKE_MM)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("regions")
    program = parser.parse_args().regions
    good = notices()
    good &= check_merge(program)
    good &= check_strokes(program)
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main()
