"""The profiles that finished files carry, before the International Color Consortium's own tools and littleCMS's."""

import io
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import ImageCms

from finishing.colour.icc import write_profile
from finishing.colour.spaces import COLOUR_SPACES, SRGB, ColourSpace
from finishing.photographs.containers import scan
from finishing.photographs.encoding import WIDE
from finishing.photographs.writing import OutputSettings, encode

SPACES = [*COLOUR_SPACES.values(), WIDE]
#: Every level of an 8-bit grey ramp's ends, and every colour of a cube of 17 levels.
LEVELS = np.array([0, 1, 2, 3, 5, 8, 12, 20, 32, 48, 64, 96, 128, 160, 192, 224, 255])
CUBE = np.stack(np.meshgrid(LEVELS, LEVELS, LEVELS, indexing="ij"), -1).reshape(-1, 3) / 255


def ours(source: ColourSpace, target: ColourSpace, encoded: np.ndarray) -> np.ndarray:
    """In the target's encoded values, cut at its gamut, float64."""
    light = source.decode(encoded) @ (target.from_working @ source.to_working).T
    return np.asarray(target.encode(np.clip(light, 0, 1)), np.float64)


def within_a_code(space: ColourSpace, found: np.ndarray, wanted: np.ndarray) -> np.bool_:
    """Within a code of 8 bits, or, where a plain power starts steeply, two of the 1/65536 that a profile's numbers are
    rounded to."""
    light = np.abs(space.decode(found) - space.decode(wanted))
    return np.all((np.abs(found - wanted) <= 1 / 255) | (light <= 2 / 65536))


@pytest.mark.parametrize("space", SPACES, ids=lambda space: space.name)
def test_the_consortiums_validator_has_nothing_to_say(space: ColourSpace) -> None:
    iccdev = pytest.importorskip("iccdev", reason="the ICC's own library (PyPI: iccdev) is not installed")
    status, report = iccdev.validate_profile(write_profile(space))
    assert (status, report.strip()) == (iccdev.ValidationStatus.OK, "")
    broken = bytearray(write_profile(space))
    broken[12:16] = b"xxxx"  # no such class of profiles
    assert iccdev.validate_profile(bytes(broken))[0] != iccdev.ValidationStatus.OK


@pytest.mark.parametrize("kind", ["jpeg", "png", "tiff", "webp", "avif"])
def test_the_profile_in_a_file_is_the_one_that_was_validated(kind: str) -> None:
    codes = np.zeros((8, 8, 3), np.uint8)
    for space in COLOUR_SPACES.values():
        content = bytes(encode(codes, settings=OutputSettings(format=kind, space=space)))  # type: ignore[arg-type]
        assert scan(content, "one").icc == write_profile(space)


@pytest.mark.parametrize("space", SPACES, ids=lambda space: space.name)
def test_the_consortiums_colour_management_agrees(space: ColourSpace, tmp_path: Path) -> None:
    iccdev = pytest.importorskip("iccdev", reason="the ICC's own library (PyPI: iccdev) is not installed")
    paths = [tmp_path / "from.icc", tmp_path / "to.icc"]
    for path, one in zip(paths, (space, SRGB), strict=True):
        path.write_bytes(write_profile(one))
    with iccdev.IccCmm() as cmm:
        for path in paths:
            cmm.attach(str(path), intent=iccdev.RenderingIntent.RelativeColorimetric)
        cmm.begin()
        found = np.asarray(cmm.apply_ndarray(np.ascontiguousarray(CUBE, np.float32)), np.float64)
    assert within_a_code(SRGB, np.clip(found, 0, 1), ours(space, SRGB, CUBE))


def colorants(profile: bytes) -> np.ndarray:
    """The numbers in a profile, as littleCMS reads them: D50 XYZ of red, green and blue in columns."""
    found = ImageCms.ImageCmsProfile(io.BytesIO(profile)).profile
    return np.array([found.red_colorant[0], found.green_colorant[0], found.blue_colorant[0]]).T


@pytest.mark.parametrize("space", SPACES, ids=lambda space: space.name)
def test_little_cms_agrees(space: ColourSpace, tmp_path: Path) -> None:
    """By `transicc`, which works in floating point, unlike Pillow's binding: within a hundredth of a code by the
    numbers in the profiles, which the format rounds to 1/65536, and by the colour spaces' own as far as that goes."""
    if shutil.which("transicc") is None:
        pytest.skip("transicc (Debian: liblcms2-utils) is not installed")
    paths = [tmp_path / "from.icc", tmp_path / "to.icc"]
    for path, one in zip(paths, (SRGB, space), strict=True):
        path.write_bytes(write_profile(one))
    text = "\n".join(" ".join(f"{value * 255:.4f}" for value in colour) for colour in CUBE)
    done = subprocess.run(
        ["transicc", "-n", "-t1", "-i", str(paths[0]), "-o", str(paths[1])],
        input=text + "\n", capture_output=True, text=True, check=True,
    )  # fmt: skip
    found = np.array(re.findall(r"-?\d+\.\d+", done.stdout), np.float64).reshape(-1, 3) / 255
    assert len(found) == len(CUBE)
    source, target = (colorants(path.read_bytes()) for path in paths)
    by_numbers = space.encode(np.clip(SRGB.decode(CUBE) @ np.linalg.solve(target, source).T, 0, 1))
    assert np.abs(np.clip(found, 0, 1) - by_numbers).max() < 0.01 / 255
    assert within_a_code(space, np.clip(found, 0, 1), ours(SRGB, space, CUBE))
