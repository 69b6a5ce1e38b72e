"""Strobe and ambient of a 24-megapixel pair: time over decode and encode of the two, and peak memory, in one run.

    python tests/benchmarks/light.py [--rounds 3] [--threads 2] [--turned]

Prints JSON. The pair is drawn (textures under two lights, with noise) into a temporary folder, as JPEGs of quality 95.
Decode and encode of the two are timed beside decode, separation and blend (to linear 16-bit codes), in turn; the ratio
is of the medians. Peak memory is that of a process of its own which does what `finishing light` does, files and all.
"""

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path


def draw(folder: Path, *, turned: bool) -> list[Path]:
    """Two frames of 6000 × 4000 pixels, shutters two stops apart; turned: the second one by a little."""
    import cv2
    import numpy as np

    from finishing.colour.spaces import SRGB
    from finishing.photographs.exif import Exif, rational, short, write_exif
    from finishing.photographs.writing import OutputSettings, write_photograph

    random = np.random.default_rng(1)

    def smooth(size: int, low: float, high: float) -> "np.ndarray":
        small = random.uniform(low, high, (4000 // size + 2, 6000 // size + 2, 3)).astype(np.float32)
        return cv2.resize(small, (6000, 4000), interpolation=cv2.INTER_CUBIC)

    surface = smooth(9, 0.1, 0.6) * smooth(150, 0.6, 1.2)
    y, x = np.mgrid[0:4000, 0:6000].astype(np.float32)
    near = np.exp(-(((x - 2600) / 1100) ** 2 + ((y - 2300) / 1500) ** 2))[..., None]
    ambient, strobe = surface * 0.12 * smooth(700, 0.7, 1.3), surface * near * (surface > 0.2)
    paths = []
    for index, (factor, under) in enumerate(((1, 125), (4, 30))):
        light = np.clip(factor * ambient + strobe, 0, 1)
        light += np.sqrt(light / 60_000) * random.standard_normal(light.shape, np.float32)
        if turned and index:
            matrix = cv2.getRotationMatrix2D((3000, 2000), 0.3, 1)
            matrix[:, 2] += 5, -3
            light = cv2.warpAffine(light, matrix, (6000, 4000), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
        codes = np.round(SRGB.encode(np.clip(light, 0, 1)) * 255).astype(np.uint8)
        photo = {0x829A: rational(1, under), 0x829D: rational(8, 1), 0x8827: short(100)}
        settings = OutputSettings(format="jpeg", space=SRGB, quality=95)
        paths.append(folder / f"frame-{index}.jpg")
        write_photograph(paths[-1], codes, settings=settings, exif=write_exif(Exif("<", {}, photo)))
    return paths


def codec(paths: list[Path], threads: int) -> float:
    import simplejpeg

    def both(path: Path) -> int:
        codes = simplejpeg.decode_jpeg(path.read_bytes(), colorspace="RGB")
        return len(simplejpeg.encode_jpeg(codes, quality=95, colorspace="RGB", colorsubsampling="444"))

    started = time.perf_counter()
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(both, paths))
    return time.perf_counter() - started


def light(paths: list[Path], threads: int) -> float:
    from finishing.batch.lighting.lighting_frames import lit_frame, taken_frames
    from finishing.colour.spaces import LUMINANCE
    from finishing.light.blending import Blend, BlendSource, Light
    from finishing.light.separation import separate

    started = time.perf_counter()
    with ThreadPoolExecutor(threads) as pool:
        frames = [frame for frame, _ in pool.map(lit_frame, taken_frames(paths, (), (), None))]
    separation = separate(frames, LUMINANCE, threads=threads)
    BlendSource(separation, Blend(Light(1.0), Light(-0.3))).codes(threads)
    return time.perf_counter() - started


def command(paths: list[Path], threads: int) -> None:
    from finishing.batch.lighting.light_files import LightRequest, light_frames
    from finishing.light.blending import Blend, Light

    request = LightRequest(paths, paths[0].parent / "out", blend=Blend(Light(1.0), Light(-0.3)), again=True)
    started = time.perf_counter()
    light_frames(request, threads=threads)
    seconds = time.perf_counter() - started
    # of this process alone: getrusage would give that of the one which started it, where that was larger
    status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
    print(json.dumps([seconds, int(status["VmHWM"].split()[0]) / 1024]))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--threads", type=int, default=min(2, os.cpu_count() or 1))
    parser.add_argument("--turned", action="store_true", help="The second frame lies a little off the first.")
    parser.add_argument("--whole", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()

    import cv2

    cv2.setNumThreads(options.threads)
    if options.whole:
        command(sorted(options.whole.glob("*.jpg")), options.threads)
        return
    with tempfile.TemporaryDirectory() as name:
        paths = draw(Path(name), turned=options.turned)
        light(paths, options.threads)  # the kernels are compiled now
        alone, whole = [], []
        for _ in range(options.rounds):
            alone.append(codec(paths, options.threads))
            whole.append(light(paths, options.threads))
        arguments = [sys.executable, __file__, "--whole", name, "--threads", str(options.threads)]
        told = subprocess.run(arguments, capture_output=True, text=True, check=True).stdout
        seconds, peak = json.loads(told.splitlines()[-1])
    print(
        json.dumps(
            {
                "megapixels": 24,
                "turned": options.turned,
                "threads": options.threads,
                "codec_seconds": [round(t, 3) for t in alone],
                "decode_separate_blend_seconds": [round(t, 3) for t in whole],
                "over_codec": round(statistics.median(whole) / statistics.median(alone), 2),
                "whole_command_seconds": round(seconds, 2),
                "peak_memory_mb": round(peak),
            },
            indent=2,
        )
    )


if __name__ == "__main__":
    main()
