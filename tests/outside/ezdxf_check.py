#!/usr/bin/env python3
"""Reads HPGL jobs with a general CAD library and compares what it draws with what our reader draws.

    ezdxf_check.py --cuts target/release/examples/cuts JOB [JOB ...]

The library is ezdxf (MIT, PyPI; its HPGL/2 reader, made for plots of CAD programs). `cuts` is this
project's example program, which prints the cuts of a job. Both must draw the same lines, vertex for
vertex, within a thousandth of a plotter unit.

What has to be known of the library (version 1.4.5, tried out): it looks for an escape sequence that
enters HP-GL/2; it does not know IN, VS and FS, which draw nothing; it makes a record of each
instruction, so records that begin where the last one ended are joined (on both sides, since a lift
on the spot leaves no trace in it); dots leave none either.

Exit: 0 all equal, 1 something differs.
"""

import argparse
import pathlib
import subprocess
import sys

from ezdxf.addons.hpgl2 import tokenizer
from ezdxf.addons.hpgl2.backend import Backend
from ezdxf.addons.hpgl2.interpreter import Interpreter
from ezdxf.addons.hpgl2.plotter import Plotter

ENTER_HPGL2 = b"\x1b%1B"
HARMLESS = {"IN", "VS", "FS"}
TOLERANCE_UNITS = 1e-3


class Lines(Backend):
    """Keeps the lines as lists of points in plotter units."""

    def __init__(self):
        self.lines = []

    def draw_polyline(self, properties, points):
        self.lines.append([(p.x, p.y) for p in points])

    def draw_paths(self, properties, paths, filled):
        raise ValueError("a written job has no curves or polygons")


def joined(lines):
    """Lines of at least one edge, those that go on where the last one ended joined to it."""
    out = []
    for line in lines:
        if len(line) < 2:
            continue
        if out and same(out[-1][-1], line[0]):
            out[-1].extend(line[1:])
        else:
            out.append(list(line))
    return out


def same(p, q):
    return abs(p[0] - q[0]) <= TOLERANCE_UNITS and abs(p[1] - q[1]) <= TOLERANCE_UNITS


def by_library(job):
    backend = Lines()
    interpreter = Interpreter(Plotter(backend))
    interpreter.run(tokenizer.hpgl2_commands(ENTER_HPGL2 + job.read_bytes()))
    strange = interpreter.not_implemented_commands - HARMLESS
    if interpreter.errors or strange:
        raise ValueError(f"the library says: {interpreter.errors} {sorted(strange)}")
    return joined(backend.lines)


def by_us(cuts, job):
    done = subprocess.run([cuts, job], capture_output=True, text=True, check=True)
    if done.stderr:
        raise ValueError(f"our reader says: {done.stderr.strip()}")
    lines = [
        [tuple(float(x) for x in pair.split(",")) for pair in line.split()[1:]]
        for line in done.stdout.splitlines()
    ]
    return joined(lines)


def difference(ours, theirs):
    """None, or the first difference in words."""
    if len(ours) != len(theirs):
        return f"{len(ours)} lines by us, {len(theirs)} by the library"
    for number, (a, b) in enumerate(zip(ours, theirs)):
        if len(a) != len(b):
            return f"line {number} has {len(a)} vertices by us, {len(b)} by the library"
        for p, q in zip(a, b):
            if not same(p, q):
                return f"line {number}: {p} by us, {q} by the library"
    return None


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cuts", required=True, help="the built example program `cuts`")
    parser.add_argument("jobs", nargs="+", type=pathlib.Path)
    options = parser.parse_args()
    bad = 0
    for job in options.jobs:
        try:
            ours, theirs = by_us(options.cuts, job), by_library(job)
            wrong = difference(ours, theirs)
            if not ours:
                wrong = "nothing is drawn at all"
        except ValueError as error:
            wrong = str(error)
        bad += wrong is not None
        vertices = sum(map(len, ours)) if wrong is None else 0
        print(f"{job}: {wrong or f'{len(ours)} lines, {vertices} vertices, equal'}")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
