"""What an independent reader finds in the outputs of a run."""

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from finishing.batch.delivery.run import run
from finishing.batch.work.assignment import assign

pytestmark = pytest.mark.skipif(shutil.which("exiftool") is None, reason="exiftool is not installed")


@pytest.fixture
def finished(session: Path, tmp_path: Path) -> Path:
    run(assign(session), tmp_path / "out", jobs=2)
    return tmp_path / "out"


def tags(path: Path) -> dict[str, Any]:
    done = subprocess.run(["exiftool", "-j", "-G1", "-struct", str(path)], capture_output=True, check=True)
    return dict(json.loads(done.stdout)[0])


@pytest.mark.parametrize("kind", ["web/{}/{}.jpg", "full/{}/{}.png"])
def test_everything_can_be_read(finished: Path, kind: str) -> None:
    found = tags(finished / kind.format("one_colour_kept", "A-0002"))
    assert found["ICC_Profile:ProfileDescription"] == ("sRGB" if "jpg" in kind else "Display P3")
    assert found["ExifIFD:ExposureTime"] == "1/60"
    assert found["ExifIFD:FNumber"] == 8.0
    assert found["ExifIFD:ISO"] == 100
    assert found["IFD0:Copyright"] == "© 2026 A. Example"
    assert found["XMP-dc:Rights"] == "© 2026 A. Example"
    assert found["XMP-dc:Creator"] in ("A. Example", ["A. Example"])
    assert found["XMP-xmpRights:UsageTerms"] == "Client use only"
    assert found["XMP-xmp:Rating"] == 4
    assert found["XMP-finishing:Recipe"] == "one_colour_kept"
    assert str(found["XMP-finishing:RecipeVersion"]) == "1"
    assert len(found["XMP-finishing:RecipeHash"]) == 64
    assert found["XMP-finishing:Setup"] == "A"
    assert found["XMP-finishing:PlannedAperture"] == "f/8"
    assert found["XMP-finishing:AmbientStops"] == -2
    assert found["XMP-finishing:ExposureValue100"] == 13  # f/8 at 1/125 and ISO 100 in the exact series (APEX)
    assert found["XMP-finishing:PlanMinusCameraStops"] == -1  # the camera gave a stop more than planned
    assert [strobe["Name"] for strobe in found["XMP-finishing:Strobes"]] == ["key", "rim"]
    assert "set-up A: Standing by the ladder" in found["IFD0:ImageDescription"]


@pytest.mark.parametrize("kind", ["web/faded_print/{}.jpg", "full/faded_print/{}.png"])
def test_a_frame_without_exif_takes_the_plans_exposure(session: Path, tmp_path: Path, kind: str) -> None:
    (session / "frames" / "Z-0009.jpg").rename(session / "frames" / "A-0003.jpg")
    run(assign(session), tmp_path / "out", jobs=2)
    found = tags(tmp_path / "out" / kind.format("A-0003"))
    assert found["ExifIFD:ExposureTime"] == "1/125"
    assert found["ExifIFD:FNumber"] == 8.0
    assert found["ExifIFD:ISO"] == 100
    assert "Fired" in found["ExifIFD:Flash"]
    assert "XMP-finishing:PlanMinusCameraStops" not in found


def test_validation_is_silent(finished: Path) -> None:
    files = [str(p) for p in finished.rglob("*") if p.suffix in (".jpg", ".png")]
    assert len(files) == 14
    done = subprocess.run(
        ["exiftool", "-validate", "-warning", "-a", *files], capture_output=True, text=True, check=True
    )
    lines = [line for line in done.stdout.splitlines() if not line.startswith("====") and "files read" not in line]
    assert lines
    assert {line.split(":", 1)[1].strip() for line in lines} == {"OK"}
