"""The core chain's time over decode and encode alone, on different 24-megapixel JPEGs, with two workers, in one run.

    python tests/benchmarks/core_chain.py [--frames 20] [--jobs 2] [--look core] [--subsampling 4:4:4]

Prints JSON. The two are timed in turn, several rounds; ratios are of the shortest times, once of the time that passed
and once of the time that the processor spent on it, which other programs do not blur as much. Peak memory is that of a
process of its own which only finishes frames. The frames are photographs of the sample session, enlarged, turned and
with noise of their own, written to a temporary folder.
"""

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

CORE = """\
look: Core chain
steps:
  - exposure: {stops: 0.3}
  - tone_curve: {points: [[0, 0.06], [0.25, 0.22], [0.75, 0.80], [1, 0.97]]}
  - hue_isolation: {keep: 72, width: 40, softness: 20, rest: 0.0}
  - edge_vignette: {toward: white, strength: 0.8, starts_at: 0.55, reaches: 1.0}
"""


#: Ten steps in all three domains, one that looks around itself and one over the whole frame.
TEN = """\
look: Ten steps
steps:
  - exposure: {stops: 0.2}
  - tone_curve: {points: [[0, 0.04], [0.25, 0.22], [0.75, 0.80], [1, 0.98]]}
  - white_balance: {kelvin: 6000}
  - saturation: {amount: 0.9}
  - hue_emphasis: {hue: 72, chroma: 1.1}
  - split_tone: {shadow_hue: 250, shadow_chroma: 0.01, highlight_hue: 85, highlight_chroma: 0.01}
  - glow: {strength: 0.2}
  - sharpening: {amount: 0.6}
  - edge_vignette: {toward: black, strength: 0.3}
  - grain: {strength: 0.05}
"""
#: The same with sharpening, coarse and fine, in place of the glow.
TWICE = TEN.replace("glow: {strength: 0.2}", "sharpening: {radius_pixels: 3, amount: 0.3, threshold: 0.02}")
CHAINS = {"core": CORE, "ten": TEN, "twice": TWICE}


def draw(folder: Path, count: int) -> list[Path]:
    """Frames of 6000 × 4000 pixels, all different."""
    import cv2
    import numpy as np
    import simplejpeg

    originals = sorted((Path(__file__).parents[2] / "sample_images_synthetic" / "frames").glob("*.jpg"))
    paths = []
    for index in range(count):
        picture = cv2.imread(str(originals[index % len(originals)]))[..., ::-1]
        if picture.shape[0] > picture.shape[1]:
            picture = picture.swapaxes(0, 1)
        if index >= len(originals):
            picture = picture[:, ::-1]
        large = cv2.resize(np.ascontiguousarray(picture), (6000, 4000), interpolation=cv2.INTER_CUBIC)
        noise = np.random.default_rng(index).integers(-6, 7, (1000, 6000, 3), dtype=np.int16)
        for top in range(0, 4000, 1000):
            large[top : top + 1000] = np.clip(large[top : top + 1000] + noise, 0, 255)
        paths.append(folder / f"{index:02}.jpg")
        paths[-1].write_bytes(simplejpeg.encode_jpeg(large, quality=90, colorspace="RGB", colorsubsampling="420"))
    return paths


def codec_alone(path: Path, subsampling: str) -> int:
    import simplejpeg

    codes = simplejpeg.decode_jpeg(path.read_bytes(), colorspace="RGB")
    encoded = simplejpeg.encode_jpeg(codes, quality=90, colorspace="RGB", colorsubsampling=subsampling.replace(":", ""))
    return len(encoded)


def finish(path: Path, look: object, subsampling: str) -> int:
    """As `finishing run` does it, apart from the ledger: read, carry out, encode with profile and records."""
    from finishing.batch.delivery.delivering import deliver
    from finishing.batch.delivery.records import loose_record
    from finishing.batch.opening.picture import source_of
    from finishing.operation import Geometry
    from finishing.photographs.reading import read_photograph
    from finishing.photographs.records import output_metadata
    from finishing.sessions.deliverables import Deliverable

    photograph = read_photograph(path)
    height, width = photograph.codes.shape[:2]
    deliverable = Deliverable(format="jpeg", quality=90, subsampling=subsampling)
    record = loose_record(look, photograph.metadata, path.name, "0" * 64, width, height, deliverable)
    exif, xmp = output_metadata(record)
    source, geometry = source_of(photograph), Geometry(width, height)
    return len(deliver(look.steps, source, geometry, deliverable, exif=exif, xmp=xmp, into=photograph.codes))


def look_of(name: str, folder: Path) -> object:
    from finishing.batch.work.looks import read_look

    if name not in CHAINS:
        return read_look(name)
    (folder / f"{name}.yaml").write_text(CHAINS[name])
    return read_look(str(folder / f"{name}.yaml"))


def timed(work: object, paths: list[Path], jobs: int) -> tuple[float, float]:
    """Seconds that passed, and seconds of the processor."""
    started, spent = time.perf_counter(), time.process_time()
    with ThreadPoolExecutor(jobs) as pool:
        list(pool.map(work, paths))
    return time.perf_counter() - started, time.process_time() - spent


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--frames", type=int, default=20)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--look", default="core", help="core, ten, twice, or the name of a look")
    parser.add_argument("--subsampling", choices=["4:4:4", "4:2:0"], default="4:4:4")
    parser.add_argument("--memory-of", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()

    import cv2

    cv2.setNumThreads(1)
    if options.memory_of:
        look = look_of(options.look, options.memory_of)
        timed(
            lambda path: finish(path, look, options.subsampling), sorted(options.memory_of.glob("*.jpg")), options.jobs
        )
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        paths = draw(folder, options.frames)
        look = look_of(options.look, folder)
        finish(paths[0], look, options.subsampling)  # the kernels are compiled now
        alone, chain = [], []
        for _ in range(options.rounds):
            alone.append(timed(lambda path: codec_alone(path, options.subsampling), paths, options.jobs))
            chain.append(timed(lambda path: finish(path, look, options.subsampling), paths, options.jobs))
        command = [sys.executable, __file__, "--memory-of", name, "--look", options.look]
        command += ["--jobs", str(options.jobs), "--subsampling", options.subsampling]
        peak = float(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    codec, whole = ([min(part) for part in zip(*rounds, strict=True)] for rounds in (alone, chain))
    print(
        json.dumps(
            {
                "look": options.look,
                "frames": options.frames,
                "megapixels": 24,
                "jobs": options.jobs,
                "subsampling": options.subsampling,
                "codec_seconds": [round(passed, 3) for passed, _ in alone],
                "chain_seconds": [round(passed, 3) for passed, _ in chain],
                "chain_over_codec": round(whole[0] / codec[0], 3),
                "of_the_processor": round(whole[1] / codec[1], 3),
                "frames_a_minute": round(60 * options.frames / whole[0]),
                "peak_memory_mb": round(peak),
            },
            indent=2,
        )
    )


if __name__ == "__main__":
    main()
