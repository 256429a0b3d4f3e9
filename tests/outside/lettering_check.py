#!/usr/bin/env python3
"""Compares the heights of letters that `bladewright check` tells with those of their outlines.

For every installed font of the DejaVu families, fontTools draws the H and the x and measures the tops of
their outlines; size and transforms of the text then give the height on the sheet. The check fails when
a height differs by more than 0.05 mm and a hundredth (it is told to a tenth of a millimetre, and flat tops
may lie a few units beside what the font's tables say).

    pip install fonttools
    python3 tests/outside/lettering_check.py target/release/bladewright
"""

import json
import pathlib
import re
import subprocess
import sys
import tempfile

from fontTools.pens.boundsPen import BoundsPen
from fontTools.ttLib import TTFont

FONTS = pathlib.Path("/usr/share/fonts/truetype/dejavu")
# Transform, how far it stretches what stands upright on a line of text.
TRANSFORMS = [("", 1.0), ("scale(2 .5)", 0.5), ("rotate(25)", 1.0), ("skewX(30)", 1.0)]
SIZES_MM = [3.0, 4.7, 8.0]


def top(font, character):
    """The top of a character's outline as a share of the em."""
    glyphs = font.getGlyphSet()
    pen = BoundsPen(glyphs)
    glyphs[font.getBestCmap()[ord(character)]].draw(pen)
    return pen.bounds[3] / font["head"].unitsPerEm


def told(program, folder, text):
    """Heights of small letters and capitals that the program tells of a text, mm."""
    page = '<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="90mm" viewBox="0 0 90 90">'
    drawing = folder / "text.svg"
    drawing.write_text(f"{page}{text}</svg>")
    command = [program, "check", str(drawing), "--json", "--machine", "plain-hpgl", "--material", "magnetic"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if not done.stdout:
        sys.exit(f"{text}: {done.stderr}")
    report = json.loads(done.stdout)
    low = [f["text"] for f in report["findings"] if f["code"] == "letters-low"]
    found = re.search(r"small letters ([\d.]+) mm and capitals ([\d.]+) mm high", low[0])
    return [float(number) for number in found.groups()]


def main():
    program = sys.argv[1]
    count, worst = 0, 0.0
    with tempfile.TemporaryDirectory() as folder:
        for path in sorted(FONTS.glob("*.ttf")):
            font = TTFont(path)
            name = font["name"]
            if name.getDebugName(2) not in ("Book", "Regular", "Roman"):
                continue
            wanted = [top(font, "x"), top(font, "H")]
            for transform, stretch in TRANSFORMS:
                for size in SIZES_MM:
                    text = (
                        f'<text x="9" y="9" font-family="{name.getDebugName(1)}" font-size="{size}" '
                        f'transform="{transform}">Hx</text>'
                    )
                    heights = told(program, pathlib.Path(folder), text)
                    for height, share in zip(heights, wanted):
                        real = share * size * stretch
                        off = abs(height - real)
                        worst, count = max(worst, off), count + 1
                        if off > 0.05 + 0.01 * real:
                            sys.exit(f"{path.name} {transform} {size}: told {height}, outline {real:.3f}")
    if count == 0:
        print(f"skipped, no fonts in {FONTS}")
        return
    print(f"{count} heights agree with the outlines, {worst:.3f} mm apart at most")


main()
