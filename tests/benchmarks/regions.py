"""What limiting a step to a region costs: the time of the limited step over that of the same step without limits.

    python tests/benchmarks/regions.py [--rounds 5] [--operation saturation] [--then "saturation: {amount: 0.9}"]

Prints a table: for every operation of the catalogue, as its example has it, the time on a 12-megapixel frame from codes
to codes, and the ratios for four geometric regions, first of that time alone, then with decoding and encoding the JPEG
on either side, as a frame is finished. A step that is alone in its look may cost next to nothing (curves go from codes
to codes by a table); with --then another step follows, limited or not, as in a look. Times are the shortest of all
rounds, of one thread's processor time; in each round the unlimited and the limited steps take turns.
"""

import argparse
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parent))
from core_chain import codec_alone, draw

REGIONS = {
    "ellipse, a fifth": "{ellipse: [0.5, 0.4, 0.2, 0.3]}",
    "ellipse, all": "{ellipse: [0.5, 0.5, 0.5, 0.5]}",
    "box": "{box: [0.1, 0.1, 0.9, 0.9]}",
    "gradient": "{gradient: {full_at: [0.5, 0.0], gone_at: [0.5, 1.0]}}",
}


def shortest(works: Sequence[Callable[[], object]], rounds: int) -> list[float]:
    """The shortest time of each."""
    times: list[list[float]] = [[] for _ in works]
    for _ in range(rounds + 1):  # in the first, kernels are compiled
        for work, taken in zip(works, times, strict=True):
            started = time.thread_time()
            work()
            taken.append(time.thread_time() - started)
    return [min(taken[1:]) for taken in times]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--operation", help="only this one")
    parser.add_argument("--then", help="a step that follows, without limits")
    options = parser.parse_args()

    import cv2
    import numpy as np

    from finishing.batch.work.looks import read_look
    from finishing.colour.spaces import SRGB
    from finishing.colour.transfer import srgb_decode
    from finishing.engine.ends import CodedSink, CodedSource
    from finishing.engine.execution import execute
    from finishing.operation import Geometry
    from finishing.operations.catalogue import OPERATIONS

    cv2.setNumThreads(1)
    table = np.tile(srgb_decode(np.arange(256) / 255).astype(np.float32), (3, 1))
    with TemporaryDirectory() as name:
        folder = Path(name)
        path = draw(folder, 1)[0]
        codes = np.ascontiguousarray(cv2.imread(str(path))[:2000, :, ::-1])
        cv2.imwrite(str(folder / "half.jpg"), codes[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])
        (codec,) = shortest([lambda: codec_alone(folder / "half.jpg", "4:4:4")], options.rounds)
        out, geometry = np.empty_like(codes), Geometry(codes.shape[1], codes.shape[0], (0.5, 0.5))

        then = f"  - {options.then}\n" if options.then else ""

        def finishing(step: str) -> Callable[[], object]:
            recipe = folder / "one_step.yaml"
            recipe.write_text(f"look: One step\nsteps:\n  - {step}\n{then}")
            steps = read_look(str(recipe)).steps
            source, sink = CodedSource(codes, table, None), CodedSink(out, SRGB)
            return lambda: execute(steps, source, sink, geometry)

        print(f"decoding and encoding alone {codec * 1000:.0f} ms; regions: {', '.join(REGIONS)}")
        for name, operation in OPERATIONS.items():
            if options.operation not in (None, name):
                continue
            steps = [operation.example, *(f"{operation.example[:-1]}, where: {one}}}" for one in REGIONS.values())]
            whole, *limited = shortest([finishing(step) for step in steps], options.rounds)
            alone = "  ".join(f"{time / whole:.2f}" for time in limited)
            finished = "  ".join(f"{(time + codec) / (whole + codec):.2f}" for time in limited)
            print(f"{name:18} {whole * 1000:4.0f} ms   alone {alone}   finished {finished}")


if __name__ == "__main__":
    main()
