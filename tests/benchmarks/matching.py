"""How long it takes to match and report a session's frames: `python tests/benchmarks/matching.py [FRAMES]`.

Writes so many frames (2000 unless said) with a camera's record into a temporary folder, under one plan of four
set-ups by time, and runs `finishing plan` on it as a user does, as text, as JSON, and once more warm. Prints seconds
and where they go.
"""

import shutil
import subprocess
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

PLAN_HEAD = """\
place: {name: Example orchard, latitude: 47.4, longitude: 8.6, date: 2026-09-19, utc_offset: "+02:00"}
sync: 1/200
setups:
"""
SETUP = """\
  - id: {name}
    from: "{start}"
    to: "{end}"
    exposure: {{aperture: f/8, shutter: 1/125, iso: 100}}
    ambient: -2
    strobes: [{{name: key, reads: f/8}}]
"""
SESSION = "session: Benchmark\nframes: [frames/*.jpg]\nplan: plan.yaml\ncamera_clock: {ahead_by: 90}\n"


def write_session(folder: Path, count: int) -> int:
    """Frames at even times over three hours; each a small JPEG with EXIF, grown to 2 MB. Gives the bytes written."""
    from PIL import Image

    (folder / "frames").mkdir(parents=True)
    starts = [datetime(2026, 9, 19, 16, 30) + timedelta(minutes=45 * i) for i in range(5)]
    setups = [
        SETUP.format(name=name, start=f"{start:%H:%M}", end=f"{end:%H:%M}")
        for name, start, end in zip("ABCD", starts, starts[1:], strict=False)
    ]
    (folder / "plan.yaml").write_text(PLAN_HEAD + "".join(setups))
    (folder / "session.yaml").write_text(SESSION)
    image = Image.effect_noise((1200, 800), 90).convert("RGB")
    for index in range(count):
        exif = Image.Exif()
        photo = exif.get_ifd(0x8769)
        photo[0x829A], photo[0x829D], photo[0x8827] = 1 / (125 if index % 3 else 60), 8.0, 100
        taken = starts[0] + timedelta(seconds=90 + index * 10800 / count)
        photo[0x9003], photo[0x9011], exif[0x0110] = f"{taken:%Y:%m:%d %H:%M:%S}", "+02:00", "Example Camera"
        path = folder / "frames" / f"F-{index:05d}.jpg"
        if index == 0:
            image.save(path, quality=97, exif=exif)
            pixels = path.read_bytes()
            start = pixels.index(b"\xff\xdb")
        segment = exif.tobytes()
        head = b"\xff\xd8\xff\xe1" + (len(segment) + 2).to_bytes(2, "big") + segment
        path.write_bytes(head + pixels[start:])
    return sum(path.stat().st_size for path in (folder / "frames").iterdir())


def timed(*words: str) -> tuple[float, str]:
    """Wall seconds of a command in a process of its own, and what it printed."""
    code = "from finishing.cli.main import main; main()"
    started = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=True)
    return time.perf_counter() - started, done.stdout


def main() -> None:
    """Measure and print."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    folder = Path(tempfile.mkdtemp())
    try:
        size = write_session(folder, count)
        print(f"{count} frames, {size / 1e6:.0f} MB")
        start, _ = timed("--version")
        print(f"{'the command alone':24}{start:6.2f} s")
        for name, options in (
            ("plan", ()),
            ("plan --json", ("--json",)),
            ("plan --out plan.html", ("--out", str(folder / "plan.html"))),
        ):
            seconds, printed = timed("plan", str(folder), *options)
            print(f"{name:24}{seconds:6.2f} s")
            if name == "plan":
                print("\n".join(line for line in printed.splitlines() if "frames" in line))
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
