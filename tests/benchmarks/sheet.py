"""A contact sheet's time over scaled decoding alone: 24 frames of 24 megapixels in 4 looks, in one run.

    python tests/benchmarks/sheet.py [--frames 24] [--jobs 2] [--rounds 5] [--quality 98] [--looks core]

Prints JSON. Scaled decoding alone reads each file and has the JPEG decoder give it at 1/8, on as many threads. Both are
timed in turn; ratios are of the shortest times of all rounds, once of the time that passed and once of the time that
the processor spent on it, which other programs do not blur as much. The looks are four from the library, or, as `core`,
the core chain four times with other values. Opening the session (headers, recipes) is timed apart from making the
sheet, and counted in. The frames are those of `core_chain.py`, stored again at a quality nearer to a camera's
(`megabytes_a_frame` says how large they are); kernels are compiled before the first round.
"""

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from core_chain import CORE, draw

LOOKS = "faded_print,white_edge,one_colour_kept,silver_print"


def decode_at_an_eighth(path: Path) -> int:
    import simplejpeg

    codes = simplejpeg.decode_jpeg(path.read_bytes(), colorspace="RGB", min_width=750, min_height=500, min_factor=1)
    assert codes.shape == (500, 750, 3)
    return codes.size


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds that passed, and seconds of the processor."""
    started, spent = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - started, time.process_time() - spent


def core_looks(folder: Path) -> list[str]:
    """The core chain with four hues kept."""
    folder.mkdir(exist_ok=True)
    for hue in (30, 72, 142, 255):
        (folder / f"core_{hue}.yaml").write_text(CORE.replace("keep: 72", f"keep: {hue}"))
    return [f"core_{hue}" for hue in (30, 72, 142, 255)]


def stored_again(paths: list[Path], quality: int) -> None:
    """The same frames at another quality."""
    import simplejpeg

    for path in paths:
        codes = simplejpeg.decode_jpeg(path.read_bytes(), colorspace="RGB")
        path.write_bytes(simplejpeg.encode_jpeg(codes, quality=quality, colorspace="RGB", colorsubsampling="422"))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--frames", type=int, default=24)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--looks", default=LOOKS)
    parser.add_argument("--quality", type=int, default=98, help="of the frames")
    parser.add_argument("--keep", type=Path, help="a folder that keeps the drawn frames for the next time")
    options = parser.parse_args()

    import cv2

    from finishing.batch.paper.contact_sheet import make_sheet
    from finishing.batch.work.assignment import SessionWork, assign

    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as name:
        folder = options.keep or Path(name)
        (folder / "frames").mkdir(parents=True, exist_ok=True)
        paths = sorted((folder / "frames").glob("*.jpg"))
        if len(paths) != options.frames:
            paths = draw(folder / "frames", options.frames)
            stored_again(paths, options.quality)
        looks = options.looks.split(",")
        if looks == ["core"]:
            looks = core_looks(folder / "recipes")
        listed = "".join(f"  - {{look: {look}, frames: all}}\n" for look in looks)
        (folder / "session.yaml").write_text(f"session: Benchmark\nframes: [frames/*.jpg]\nlooks:\n{listed}")

        def opened() -> SessionWork:
            return assign(folder / "session.yaml", jobs=options.jobs)

        def decoded() -> None:
            with ThreadPoolExecutor(options.jobs) as pool:
                list(pool.map(decode_at_an_eighth, paths))

        def made(ending: str) -> Callable[[], object]:
            return lambda: make_sheet(work, folder / f"sheet.{ending}", jobs=options.jobs)

        work = opened()
        for ending in ("png", "pdf"):
            made(ending)()
        times: dict[str, list[tuple[float, float]]] = {"decode": [], "open": [], "png": [], "pdf": []}
        for _ in range(options.rounds):
            times["decode"].append(timed(decoded))
            times["open"].append(timed(opened))
            for ending in ("png", "pdf"):
                times[ending].append(timed(made(ending)))
        passed, spent = (
            {kind: min(one[which] for one in values) for kind, values in times.items()} for which in (0, 1)
        )
        megabytes = sum(path.stat().st_size for path in paths) / len(paths) / 1e6
        sizes = {path.name: path.stat().st_size for path in sorted(folder.glob("sheet*.p*"))}
    print(
        json.dumps(
            {
                "frames": options.frames,
                "megapixels": 24,
                "looks": looks,
                "jobs": options.jobs,
                "megabytes_a_frame": round(megabytes, 1),
                "seconds": {kind: [round(one, 3) for one, _ in values] for kind, values in times.items()},
                **{
                    f"{kind}_over_decoding": {
                        name: round((least["open"] + least[kind]) / least["decode"], 3)
                        for name, least in (("passed", passed), ("processor", spent))
                    }
                    for kind in ("pdf", "png")
                },
                "bytes": sizes,
            },
            indent=2,
        )
    )


if __name__ == "__main__":
    main()
