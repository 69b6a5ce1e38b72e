"""Draws the pictures that the README shows, from the sample session as it is finished today.

    python tests/sample/draw_shown.py

Finishes the session in a temporary folder and writes `sample_images_synthetic/shown/`: three looks side by side, and a
page of its contact sheet.
"""

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

SAMPLE = Path(__file__).parents[2] / "sample_images_synthetic"
LOOKS = (("one_colour_kept", "A-0004"), ("white_edge", "A-0005"), ("faded_print", "B-0009"))
HEIGHT, GAP, PAGE_WIDTH = 430, 15, 1000


def side_by_side(pictures: list[Image.Image]) -> Image.Image:
    scaled = [
        one.resize((round(one.width * HEIGHT / one.height), HEIGHT), Image.Resampling.LANCZOS) for one in pictures
    ]
    width = sum(one.width for one in scaled) + GAP * (len(scaled) - 1)
    row, at = Image.new("RGB", (width, HEIGHT), "white"), 0
    for one in scaled:
        row.paste(one, (at, 0))
        at += one.width + GAP
    return row


def main() -> None:
    command = [sys.executable, "-m", "finishing"]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "sample"
        shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("finished", "shown", "sheet*"))
        subprocess.run([*command, "run", str(folder)], check=True)
        subprocess.run([*command, "sheet", str(folder), "--out", str(folder / "sheet.png")], check=True)
        made = [Image.open(folder / "finished" / "web" / look / f"{frame}.jpg") for look, frame in LOOKS]
        side_by_side([picture.convert("RGB") for picture in made]).save(SAMPLE / "shown" / "looks.jpg", quality=88)
        page = Image.open(folder / "sheet-1.png").convert("RGB")
        height = round(page.height * PAGE_WIDTH / page.width)
        page.resize((PAGE_WIDTH, height), Image.Resampling.LANCZOS).save(SAMPLE / "shown" / "sheet.jpg", quality=85)


if __name__ == "__main__":
    main()
