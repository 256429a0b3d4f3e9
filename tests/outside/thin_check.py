#!/usr/bin/env python3
"""Compares the widths of necks that `bladewright write` tells with those that shapely finds.

Random pieces are two blobs joined by a bent strip that is thinnest somewhere. How thin it is follows
from erosion alone (shapely, buffers by a negative distance): the piece falls in two once it is eroded
by half the neck's width. The check fails when a width differs by more than 0.03 mm (outlines may be
simplified by half a plotter unit, 0.0125 mm, on either side), when a neck below 0.9 mm is not told, or
when one above 1 mm is.

    pip install shapely
    python3 tests/outside/thin_check.py target/release/bladewright [pieces]
"""

import json
import math
import random
import re
import subprocess
import sys
import tempfile

from shapely.geometry import Point, Polygon
from shapely.ops import unary_union

TOLERANCE_MM = 0.03


def piece(dice):
    """A piece with a neck, about 40 x 40 mm."""
    turn, bend = dice.uniform(0, math.tau), dice.uniform(-0.08, 0.08)
    least, where = dice.uniform(0.05, 0.65), dice.uniform(0.3, 0.7)
    spread = dice.uniform(0.01, 0.08)
    x, y, heading, discs = 25.0, 25.0, turn, []
    steps = 400
    x, y = x - 12 * math.cos(turn), y - 12 * math.sin(turn)
    for i in range(steps + 1):
        t = i / steps
        discs.append((x, y, least + spread * 100 * (t - where) ** 2))
        x, y = x + 24 / steps * math.cos(heading), y + 24 / steps * math.sin(heading)
        heading += bend * 24 / steps
    hulls = [
        unary_union([Point(a, b).buffer(r, 64), Point(c, d).buffer(s, 64)]).convex_hull
        for (a, b, r), (c, d, s) in zip(discs, discs[1:])
    ]
    blobs = [Point(px, py).buffer(dice.uniform(4, 6), 64) for px, py, _ in (discs[0], discs[-1])]
    whole = unary_union(hulls + blobs)
    return Polygon(whole.exterior)


def neck_mm(shape):
    """Twice the least erosion that parts the piece."""
    low, high = 0.0, 3.9
    for _ in range(30):
        middle = (low + high) / 2
        if shape.buffer(-middle, 64).geom_type == "Polygon":
            low = middle
        else:
            high = middle
    return 2 * low


def told_mm(program, shape, folder):
    path = " ".join(f"{x:.4f} {y:.4f}" for x, y in shape.exterior.coords[:-1])
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="50mm" viewBox="0 0 50 50">'
        f'<path d="M{path}z"/></svg>'
    )
    with open(f"{folder}/piece.svg", "w") as file:
        file.write(svg)
    command = [program, "write", f"{folder}/piece.svg", "-o", f"{folder}/piece.hpgl", "--json"]
    out = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    thin = [f for f in json.loads(out)["findings"] if f["code"] == "piece-thin"]
    return [float(w) for f in thin for w in re.findall(r"([0-9.]+) mm wide", f["hint"])]


def main():
    program, count = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 60
    dice, worst, told, failed = random.Random(1), 0.0, 0, 0
    with tempfile.TemporaryDirectory() as folder:
        for number in range(count):
            shape = piece(dice)
            wanted, found = neck_mm(shape), told_mm(program, shape, folder)
            if wanted >= 0.9 and not found:
                continue
            if len(found) != 1 or wanted > 1.0:
                failed += 1
                print(f"piece {number}: {wanted:.3f} mm by erosion, told {found}")
                continue
            told += 1
            worst = max(worst, abs(found[0] - wanted))
    print(f"{told} necks told, {count - told - failed} wide enough; widths differ by {worst:.3f} mm")
    sys.exit(failed > 0 or worst > TOLERANCE_MM or told < count // 4)


if __name__ == "__main__":
    main()
