"""Blends taken apart once and one at a time, and in previews, proofs and files of each light."""

import json
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image

from finishing.batch.client.proofing import make_proof
from finishing.batch.lighting import taking_apart
from finishing.batch.lighting.light_files import FILES, light_session
from finishing.batch.opening.opened import open_frame
from finishing.batch.work.assignment import assign
from finishing.errors import Problem, ProblemSet
from finishing.operation import Planes
from tests.batch.blending import finish, off_by, separations, sure
from tests.light.blend_session import HEIGHT, SESSION, WIDTH, lights, rewrite, write_blend_session


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_blend_session(tmp_path / "shoot")


def test_one_scene_at_a_time(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """However many workers open blends, no two are in memory at once."""
    inside, most = 0, 0
    guard = threading.Lock()
    real = taking_apart.separate

    def watched(*given: Any, **more: Any) -> Any:
        nonlocal inside, most
        with guard:
            inside += 1
            most = max(most, inside)
        try:
            return real(*given, **more)
        finally:
            with guard:
                inside -= 1

    monkeypatch.setattr(taking_apart, "separate", watched)
    (blend,) = assign(folder, frames=["C-blend"]).frames
    workers = [threading.Thread(target=open_frame, args=(blend, 200)) for _ in range(3)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert most == 1


def test_a_blend_is_taken_apart_once_for_all_looks(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = separations(monkeypatch)
    rewrite(
        folder,
        ("  - {look: plain", "  - {look: darker, frames: C}\n  - {look: plain"),
        ("deliverables:\n", "deliverables:\n  web: {format: jpeg, long_edge: 300}\n"),
    )
    assert len(finish(folder, frames=("C-blend",)).made) == 4
    assert seen == [1]


def test_a_preview_is_the_whole_picture_at_a_smaller_size(folder: Path) -> None:
    rewrite(folder, ("per_frame:\n", "per_frame:\n  C-blend: {subject: [0.5, 0.5], crop: {aspect: 1:1}}\n"))
    (blend,) = assign(folder, frames=["C-blend"]).frames

    def light(long_edge: int | None) -> Planes:
        opened = open_frame(blend, long_edge)
        planes = np.empty((3, opened.source.height, opened.source.width), np.float32)
        opened.source.read(planes, 0)
        assert opened.geometry.width == opened.source.width
        return planes

    whole, small = light(None), light(120)
    assert whole.shape == (3, 240, 240)
    assert small.shape == (3, 120, 120)
    means = whole.reshape(3, 120, 2, 120, 2).mean(axis=(2, 4))
    assert np.abs(small - means).max() < 1e-5
    assert light(5000).shape == whole.shape


def test_the_proof_shows_a_blend(folder: Path, tmp_path: Path) -> None:
    report = make_proof(assign(folder), tmp_path / "proof", jobs=2)
    assert not report.failed
    assert report.frames == 4
    assert "C-blend" in report.page.read_text()
    with Image.open(tmp_path / "proof/pictures/0004-look1.jpg") as image:
        assert image.size == (WIDTH, HEIGHT)


def test_files_of_every_blend(folder: Path, tmp_path: Path) -> None:
    rewrite(folder, ("blends:\n", "blends:\n  D-odd: {sources: [D-0001, C-0012]}\n"))
    plan = folder / "plan.yaml"
    plan.write_text(plan.read_text().replace("frames: D-*", "frames: X-*"))
    out = tmp_path / "light"
    told: list[str] = []
    report = light_session(folder, out, threads=2, progress=told.append)
    assert list(report.made) == ["C-blend"]
    assert "another aperture" in report.failed["D-odd"].what
    assert {path.name for path in (out / "C-blend").iterdir()} == set(FILES)
    assert not (out / "D-odd").exists()
    ambient, strobe = lights()
    blend = tifffile.imread(out / "C-blend/blend.tif") / 65535
    assert off_by(blend, 2**0.7 * ambient + 2**-0.3 * strobe, sure(ambient, strobe)) < 0.004
    facts = json.loads((out / "C-blend/report.json").read_text())
    assert facts["subject"]["given"] is True
    assert facts["blend"]["ambient"]["stops"] == 0.7
    with pytest.raises(ProblemSet, match="exists already"):
        light_session(folder, out)
    light_session(folder, out, again=True, threads=2)


def test_a_session_without_blends_has_no_light_to_write(folder: Path, tmp_path: Path) -> None:
    (folder / "session.yaml").write_text(SESSION[: SESSION.index("blends:")] + SESSION[SESSION.index("per_frame:") :])
    with pytest.raises(Problem, match="no blends"):
        light_session(folder, tmp_path / "light")
    assert not finish(folder).failed
