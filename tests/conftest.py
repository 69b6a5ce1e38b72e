"""Shared by all tests: pictures that packages of the test extra carry, and how hypothesis is set."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, settings
from numpy.typing import NDArray

settings.register_profile("finishing", deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=50)
settings.load_profile("finishing")


@pytest.fixture(scope="session")
def photographs() -> dict[str, NDArray[np.uint8]]:
    """Real photographs, 8-bit RGB, read from installed packages: portraits, still life, scenes."""
    import matplotlib
    import skimage
    import sklearn
    from PIL import Image

    paths = {
        "astronaut": Path(skimage.__file__).parent / "data" / "astronaut.png",
        "coffee": Path(skimage.__file__).parent / "data" / "coffee.png",
        "portrait": Path(matplotlib.__file__).parent / "mpl-data" / "sample_data" / "grace_hopper.jpg",
        "temple": Path(sklearn.__file__).parent / "datasets" / "images" / "china.jpg",
        "flower": Path(sklearn.__file__).parent / "datasets" / "images" / "flower.jpg",
    }
    found = {name: path for name, path in paths.items() if path.is_file()}
    assert {"astronaut", "portrait"} <= set(found)
    return {name: np.asarray(Image.open(path).convert("RGB")) for name, path in found.items()}
