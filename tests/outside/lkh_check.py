#!/usr/bin/env python3
"""Compares the cut order with LKH (Helsgaun), by way of the PyPI package elkai.

Random points become tiny squares of one SVG drawing; `bladewright write` orders and writes them.
The travel is measured on the HPGL itself (PU moves), LKH's on the same points. The check fails when
the order is more than 1 % longer than LKH's; both times are printed.

    pip install elkai
    python3 tests/outside/lkh_check.py target/release/bladewright [points] [more write options...]
"""

import math
import random
import re
import subprocess
import sys
import tempfile
import time

MARGIN = 1.01


def drawing(points):
    squares = "".join(
        f'<path d="M{x:.3f} {y:.3f}h.2v.2h-.2z" fill="black"/>' for x, y in points
    )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="300mm" '
        f'viewBox="0 0 300 300">{squares}</svg>'
    )


def plunges(hpgl):
    """Where each cut begins: the last pen-up place before a pen-down move, plotter units."""
    at, down, found = (0.0, 0.0), False, []
    for word, numbers in re.findall(r"(PU|PD|PA)([-0-9.,\s]*)", hpgl):
        values = [float(v) for v in re.findall(r"-?[0-9.]+", numbers)]
        places = list(zip(values[::2], values[1::2]))
        if word == "PU":
            down = False
        if word == "PD":
            if not down:
                found.append(at)
            down = True
        if places:
            at = places[-1]
    return found


def length(places):
    return sum(math.dist(a, b) for a, b in zip(places, places[1:] + places[:1]))


def lkh(places):
    import elkai

    cities = elkai.Coordinates2D({str(i): p for i, p in enumerate(places)})
    begun = time.process_time()
    tour = [places[int(name)] for name in cities.solve_tsp(runs=1)][:-1]
    return length(tour), time.process_time() - begun


def main():
    program = sys.argv[1]
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    random.seed(1996)
    points = [(random.uniform(1, 299), random.uniform(1, 299)) for _ in range(count)]
    with tempfile.NamedTemporaryFile("w", suffix=".svg", delete=False) as file:
        file.write(drawing(points))
    begun = time.perf_counter()
    run = subprocess.run(
        [program, "write", file.name, "-o", "-", *sys.argv[3:]], capture_output=True, check=False
    )
    own_seconds = time.perf_counter() - begun
    if run.returncode != 0:
        sys.exit(f"bladewright failed: {run.stderr.decode(errors='replace')}")
    starts = plunges(run.stdout.decode("latin-1"))
    if len(starts) < 0.9 * count:
        sys.exit(f"only {len(starts)} cuts of {count} points were read from the HPGL")
    # The same start points for both, the park position among them: only the order differs.
    starts = [(0.0, 0.0), *starts]
    own = length(starts)
    theirs, their_seconds = lkh(starts)
    gap = 100 * (own / theirs - 1)
    print(f"{count} points: {gap:+.2f} % against LKH; whole run {own_seconds:.2f} s, LKH {their_seconds:.2f} s")
    if own > MARGIN * theirs:
        sys.exit("the order is more than 1 % longer than LKH's")


if __name__ == "__main__":
    main()
