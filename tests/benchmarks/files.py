"""The time from one 24-megapixel JPEG to a file, over decoding it alone, with one worker, in one run.

    python tests/benchmarks/files.py [--rounds 7] [--look plain]

Prints JSON: for a 16-bit TIFF without compression at full size, a 2048-pixel web JPEG (4:4:4 and 4:2:0), and a
full-size JPEG, with a look that changes nothing (plain) or another. Times are processor time of the one thread, so that
other work on the machine tells little; ratios are of the medians. Files are not written to the disk: only their bytes
are made.
"""

import argparse
import json
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))


def timed(work: Callable[[], object], rounds: int) -> float:
    work()  # kernels are compiled, pages are mapped
    times = []
    for _ in range(rounds):
        started = time.thread_time()
        work()
        times.append(time.thread_time() - started)
    return statistics.median(times)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--look", default="plain", help="plain, core, or the name of a look")
    options = parser.parse_args()

    import cv2
    import simplejpeg
    from core_chain import draw, look_of

    from finishing.batch.delivery.delivering import deliver
    from finishing.batch.delivery.output_size import output_size
    from finishing.batch.opening.picture import reduced, source_of
    from finishing.operation import Geometry
    from finishing.photographs.reading import read_photograph
    from finishing.sessions.deliverables import Deliverable

    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = draw(folder, 1)[0]
        steps = () if options.look == "plain" else look_of(options.look, folder).steps

        def make(deliverable: Deliverable) -> int:
            photograph = read_photograph(path)
            size = output_size(deliverable, photograph.width, photograph.height)
            source = reduced(source_of(photograph), *size)
            return len(deliver(steps, source, Geometry(*size), deliverable, into=photograph.codes))

        data = path.read_bytes()
        decode = timed(lambda: simplejpeg.decode_jpeg(data, "RGB"), options.rounds)
        kinds = {
            "tiff_16_bit": Deliverable(format="tiff", bits="16", compression="none"),
            "web_2048": Deliverable(format="jpeg", long_edge="2048", quality="90"),
            "web_2048_420": Deliverable(format="jpeg", long_edge="2048", quality="90", subsampling="4:2:0"),
            "jpeg_full": Deliverable(format="jpeg", quality="90"),
        }
        found = {kind: timed(lambda one=one: make(one), options.rounds) for kind, one in kinds.items()}
    told = {"look": options.look, "megapixels": 24, "decode_seconds": round(decode, 4)}
    told["over_decode"] = {kind: round(seconds / decode, 2) for kind, seconds in found.items()}
    print(json.dumps(told, indent=2))


if __name__ == "__main__":
    main()
