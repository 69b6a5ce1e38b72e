"""Steps that look around themselves and over the whole frame, in strips of every height."""

from typing import Any, ClassVar

import numpy as np
import pytest
import scipy.ndimage
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour.spaces import SRGB
from finishing.colour.transfer import srgb_decode
from finishing.engine import execution, streaming
from finishing.engine.ends import CodedSink, CodedSource, LinearSink, LinearSource
from finishing.engine.plan import Table, halo_of, plan, radius_of
from finishing.engine.reference import carry_out
from finishing.engine.streaming import Store
from finishing.gaussian import mirrored
from finishing.operation import AroundKernel, Domain, Geometry, Kernel, Operation, Pixels, Planes, Reach
from finishing.operations.exposure import Exposure
from finishing.operations.glow import Glow
from finishing.operations.halation import Halation
from finishing.operations.saturation import Saturation
from finishing.operations.sharpening import Sharpening
from finishing.overview import Overview
from finishing.recipes.recipe import Step
from finishing.regions.box import Box
from finishing.strips import copy_rows

HEIGHT, WIDTH = 47, 61
GEOMETRY = Geometry(WIDTH, HEIGHT)
ALL_HEIGHTS = [*range(1, 14), 20, 31, 46, HEIGHT]


def picture(seed: int = 1) -> NDArray[np.float32]:
    planes = np.random.default_rng(seed).uniform(0, 1, (3, HEIGHT, WIDTH)).astype(np.float32)
    planes[:, 10:14, 20:30] = 6
    return planes


def finish(operations: list[Operation] | list[Step], planes: NDArray[np.float32], **how: int) -> NDArray[np.float32]:
    steps = [item if isinstance(item, Step) else Step(item) for item in operations]
    height, width = planes.shape[1:]
    sink = LinearSink(height, width)
    execution.execute(steps, LinearSource(planes), sink, Geometry(width, height), **how)
    return sink.planes


def all_mirrored(positions: NDArray[np.int64], size: int) -> NDArray[np.int64]:
    return np.array([mirrored(int(position), size) for position in positions])


class FromAfar(Operation):
    """For tests: each pixel becomes the mean of those `far` rows above and below; it declares `declared` rows."""

    name: ClassVar[str] = "from_afar"
    reach: ClassVar[Reach] = Reach.NEIGHBOURHOOD

    far: int
    declared: int

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    def changes_nothing(self) -> bool:
        return False

    def radius(self, geometry: Geometry) -> int:
        return self.declared

    def prepare(self, geometry: Geometry) -> AroundKernel:
        def run(memory: NDArray[np.float32], table: NDArray[np.int64], out: Planes, out_top: int) -> None:
            top, bottom = int(table[0, 0]), int(table[-1, 0] + table[-1, 1])
            planes = np.empty((3, bottom - top, geometry.width), np.float32)
            copy_rows(memory, table, planes, top)
            rows = out_top + np.arange(out.shape[1])
            above, below = (
                np.clip(all_mirrored(rows + way, geometry.height) - top, 0, planes.shape[1] - 1)
                for way in (-self.far, self.far)
            )
            out[:] = (planes[:, above] + planes[:, below]) / 2

        return run

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        rows = np.arange(geometry.height)
        above, below = (all_mirrored(rows + way, geometry.height) for way in (-self.far, self.far))
        return (pixels[above] + pixels[below]) / 2


class Witness(Operation):
    """For tests: changes nothing and keeps the overview it is given."""

    name: ClassVar[str] = "witness"
    reach: ClassVar[Reach] = Reach.FRAME
    seen: ClassVar[list[Overview]] = []

    by: int = 1
    squares: bool = False

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    def changes_nothing(self) -> bool:
        return False

    def reduction(self, geometry: Geometry) -> int:
        return self.by

    def gather(self, geometry: Geometry) -> Kernel | None:
        def square(planes: Planes, top: int) -> None:
            planes *= planes

        return square if self.squares else None

    def prepare(self, geometry: Geometry) -> Kernel:
        assert geometry.overview is not None
        self.seen.append(geometry.overview)
        return lambda planes, top: None

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        return pixels


def overview_of(operations: list[Operation], planes: NDArray[np.float32], **how: int) -> Overview:
    Witness.seen.clear()
    finish(operations, planes, **how)
    (overview,) = Witness.seen
    return overview


@pytest.mark.parametrize("far", [1, 4, 11, 30])
def test_a_halo_of_the_declared_radius_is_enough_and_one_row_less_is_not(far: int) -> None:
    planes = picture()
    expected = FromAfar(far=far, declared=far).reference(np.moveaxis(planes, 0, -1), GEOMETRY)
    for rows in ALL_HEIGHTS:
        result = finish([FromAfar(far=far, declared=far)], planes, strip_rows=rows)
        assert np.array_equal(np.moveaxis(result, 0, -1), expected)
    short = finish([FromAfar(far=far, declared=far - 1)], planes, strip_rows=9)
    assert not np.array_equal(np.moveaxis(short, 0, -1), expected)


@pytest.mark.parametrize("radius_pixels", [0.4, 1.2, 2.0, 3.3])
def test_sharpening_s_own_radius_is_enough_and_one_row_less_is_not(
    radius_pixels: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    planes = picture()
    step: list[Operation] = [Sharpening(radius_pixels=radius_pixels, threshold=0)]
    whole = finish(step, planes, strip_rows=HEIGHT)
    for rows in ALL_HEIGHTS:
        for threads in (1, 2):
            assert np.array_equal(finish(step, planes, strip_rows=rows, threads=threads), whole)
    monkeypatch.setattr(execution, "radius_of", lambda item, geometry: max(radius_of(item, geometry) - 1, 0))
    assert not np.array_equal(finish(step, planes, strip_rows=8), whole)


def test_radii_of_steps_one_after_the_other_add_up() -> None:
    planes = picture()
    steps: list[Operation] = [
        FromAfar(far=3, declared=3),
        Saturation(amount=1.4),
        Sharpening(radius_pixels=1.2, threshold=0),
        FromAfar(far=2, declared=2),
    ]
    work = plan([Step(step) for step in steps], accepted=(Domain.LINEAR,), table=Table.NOTHING)
    assert halo_of(work.items, GEOMETRY) == 3 + 5 + 2
    whole = finish(steps, planes, strip_rows=HEIGHT)
    for rows in ALL_HEIGHTS:
        assert np.array_equal(finish(steps, planes, strip_rows=rows, threads=2), whole)
    expected = carry_out([Step(step) for step in steps], np.moveaxis(planes, 0, -1), GEOMETRY)
    assert np.abs(np.moveaxis(whole, 0, -1) - expected).max() < 1e-4


def test_every_row_is_worked_on_once_however_far_later_steps_look() -> None:
    seen: list[int] = []

    class Counted(Witness):
        reach = Reach.PIXEL

        def prepare(self, geometry: Geometry) -> Kernel:
            def run(planes: Planes, top: int) -> None:
                seen.extend(range(top, top + planes.shape[1]))

            return run

    steps: list[Operation] = [Counted(), FromAfar(far=7, declared=7), FromAfar(far=11, declared=11)]
    for rows in (1, 4, 9, HEIGHT):
        seen.clear()
        finish(steps, picture(), strip_rows=rows)
        assert seen == list(range(HEIGHT))


def test_the_picture_that_is_read_may_be_written_over() -> None:
    codes = np.random.default_rng(2).integers(0, 256, (HEIGHT, WIDTH, 3), dtype=np.uint8)
    table = np.tile(srgb_decode(np.arange(256) / 255).astype(np.float32), (3, 1))
    steps = [Step(FromAfar(far=7, declared=7)), Step(Glow(spread=0.1)), Step(Sharpening(threshold=0))]
    expected = np.empty_like(codes)
    execution.execute(steps, CodedSource(codes, table, None), CodedSink(expected, SRGB), GEOMETRY)
    for rows in (1, 5, 20):
        for threads in (1, 2, 5):
            same = codes.copy()
            source, sink = CodedSource(same, table, None), CodedSink(same, SRGB)
            execution.execute(steps, source, sink, GEOMETRY, strip_rows=rows, threads=threads)
            assert np.array_equal(same, expected)


def test_a_step_limited_to_a_region_looks_beyond_the_region_and_beyond_the_strip() -> None:
    planes = picture()
    steps = [
        Step(Sharpening(radius_pixels=2, threshold=0), where=Box(sides=(0.2, 0.3, 0.8, 0.7), soft=0.05)),
        Step(FromAfar(far=4, declared=4), where=Box(sides=(0.0, 0.1, 1.0, 0.6), soft=0.1)),
    ]
    whole = finish(steps, planes, strip_rows=HEIGHT)
    for rows in ALL_HEIGHTS:
        assert np.array_equal(finish(steps, planes, strip_rows=rows, threads=2), whole)
    expected = carry_out(steps, np.moveaxis(planes, 0, -1), GEOMETRY)
    assert np.abs(np.moveaxis(whole, 0, -1) - expected).max() < 1e-4
    assert np.abs(whole[:, 40:] - planes[:, 40:]).max() < 1e-5  # through OkLab and back, up to 6


@given(st.integers(1, 12), st.integers(1, 12), st.floats(0.3, 4), st.integers(1, 5))
def test_frames_smaller_than_the_radius(height: int, width: int, radius_pixels: float, rows: int) -> None:
    planes = np.random.default_rng(4).random((3, height, width)).astype(np.float32)
    step: list[Operation] = [Sharpening(radius_pixels=radius_pixels, threshold=0)]
    result = finish(step, planes, strip_rows=rows)
    assert np.array_equal(result, finish(step, planes, strip_rows=height))
    expected = carry_out([Step(step[0])], np.moveaxis(planes, 0, -1), Geometry(width, height))
    assert np.abs(np.moveaxis(result, 0, -1) - expected).max() < 1e-4


@given(st.lists(st.integers(1, 23), min_size=1, max_size=5), st.integers(1, 70), st.integers(1, 40), st.integers(1, 4))
def test_any_windows_one_behind_the_other(radii: list[int], height: int, rows: int, threads: int) -> None:
    planes = np.random.default_rng(height).random((3, height, 3)).astype(np.float32)
    steps: list[Operation] = [FromAfar(far=far, declared=far) for far in radii]
    given_back: list[list[int]] = []

    class Counted(Store):
        def __init__(self, strips: int, rows: int, width: int) -> None:
            super().__init__(strips, rows, width)
            given_back.append(self._free)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(streaming, "Store", Counted)
        result = finish(steps, planes, strip_rows=rows, threads=threads)
    assert np.array_equal(result, finish(steps, planes, strip_rows=height))
    assert given_back
    assert all(len(free) == len(set(free)) for free in given_back)  # no strip is given back twice


@given(st.integers(-100, 100), st.integers(1, 20))
def test_mirrored_positions_are_those_of_numpy(position: int, size: int) -> None:
    expected = np.pad(np.arange(size), 100, "symmetric")[position + 100] if position < size + 100 else None
    assert expected is None or mirrored(position, size) == expected


@pytest.mark.parametrize("frame_step", [Glow(spread=0.3, above=0.3), Glow(spread=0.2, above=0), Halation(spread=0.1)])
def test_steps_over_the_frame_give_the_same_bits_in_all_strips(frame_step: Operation) -> None:
    planes = picture()
    steps = [Saturation(amount=0.7), Sharpening(threshold=0), frame_step, FromAfar(far=2, declared=2), frame_step]
    whole = finish(steps, planes, strip_rows=HEIGHT)
    for rows in ALL_HEIGHTS:
        for threads in (1, 2, 3):
            assert np.array_equal(finish(steps, planes, strip_rows=rows, threads=threads), whole)


def test_a_step_over_the_frame_sees_it_as_it_is_when_its_turn_comes() -> None:
    planes = picture()
    before = overview_of([Exposure(stops=1), Witness(), Exposure(stops=3)], planes, strip_rows=5, threads=2)
    assert np.array_equal(before.planes, planes * 2)
    afar = FromAfar(far=4, declared=4)
    expected = np.moveaxis(afar.reference(np.moveaxis(planes, 0, -1), GEOMETRY), -1, 0)
    assert np.array_equal(overview_of([afar, Witness()], planes, strip_rows=3).planes, expected)


def test_what_a_step_gathers_is_gathered_before_the_frame_is_reduced() -> None:
    planes = picture()[:, :44, :60].copy()
    squares = overview_of([Witness(by=4, squares=True)], planes, strip_rows=7).planes
    blocks = planes.astype(np.float64).reshape(3, 11, 4, 15, 4)
    assert squares == pytest.approx((blocks**2).mean(axis=(2, 4)), rel=1e-5)
    assert not np.allclose(squares, blocks.mean(axis=(2, 4)) ** 2, rtol=0.01)


def test_gathering_leaves_the_picture_alone() -> None:
    planes = picture()
    assert np.array_equal(finish([Witness(by=3, squares=True)], planes, strip_rows=6), planes)


def test_each_step_over_the_frame_costs_one_sweep() -> None:
    steps: list[Any] = [Exposure(stops=1), Glow(), Sharpening(), Halation(), Glow(strength=0)]
    assert plan([Step(step) for step in steps], accepted=(Domain.LINEAR,), table=Table.NOTHING).sweeps == 3


def test_the_frame_s_edge_is_mirrored_as_scipy_does() -> None:
    planes = picture()
    grey = np.repeat(planes[:1], 3, axis=0)
    result = finish([Sharpening(radius_pixels=2, amount=1, threshold=0)], grey, strip_rows=4)
    lightness = np.cbrt(grey[0].astype(np.float64))
    expected = 2 * lightness - scipy.ndimage.gaussian_filter(lightness, 2, mode="reflect")
    assert np.abs(np.cbrt(result[0]) - expected).max() < 1e-5
