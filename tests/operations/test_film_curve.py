import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import brentq

from finishing.colour.spaces import SRGB
from finishing.colour.transfer import srgb_decode
from finishing.engine.ends import CodedSink, CodedSource, LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.film_curve import FilmCurve
from finishing.recipes.recipe import Step

curves = st.builds(
    FilmCurve,
    gamma=st.floats(0.3, 1.5),
    toe=st.floats(0.1, 4),
    shoulder=st.floats(0.1, 4),
    shadows=st.floats(2, 12),
    highlights=st.floats(1, 12),
    fog=st.floats(0, 1),
    paper=st.floats(0.8, 3),
)


def finish(operation: FilmCurve, linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Linear light (height, width, 3) through the engine."""
    height, width = linear.shape[:2]
    sink = LinearSink(height, width)
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height))
    return np.moveaxis(sink.planes, 0, -1)


def rise_from_the_speed_point(film: FilmCurve) -> float:
    """ISO 6: how much density rises over 1.30 in log₁₀ exposure from the point 0.10 above base and fog."""
    point = brentq(lambda h: film.density(10**h) - film.fog - 0.10, -9, 0)
    return float(film.density(10 ** (point + 1.30)) - film.density(10**point))


def test_mean_gradient_of_normal_contrast() -> None:
    # ISO 6: 0.80 over 1.30, a mean gradient of 0.615; a toe short against the speed point leaves the straight line
    film = FilmCurve(gamma=0.80 / 1.30, toe=0.1, shoulder=0.1, highlights=8)
    assert rise_from_the_speed_point(film) == pytest.approx(0.80, abs=0.002)
    assert rise_from_the_speed_point(film) / 1.30 == pytest.approx(0.615, abs=0.001)


def test_a_soft_toe_asks_for_a_steeper_line_for_the_same_contrast() -> None:
    steeper = [
        brentq(
            lambda gamma, t=toe: rise_from_the_speed_point(FilmCurve(gamma=gamma, toe=t, highlights=8)) - 0.80, 0.5, 1.5
        )
        for toe in (0.1, 0.3, 0.5)
    ]
    assert steeper[0] == pytest.approx(0.615, abs=0.003)
    assert steeper[0] < steeper[1] < steeper[2]


def test_one_stop_on_the_straight_line_is_gamma_times_its_logarithm() -> None:
    film = FilmCurve(gamma=0.7, toe=0.1, shoulder=0.1)
    # derived here: a stop is 0.30103 in log₁₀ exposure
    assert film.density(0.2) - film.density(0.1) == pytest.approx(0.7 * 0.30103, abs=1e-5)


def test_normal_film_on_normal_paper_leaves_the_middle_tones() -> None:
    film = FilmCurve(gamma=0.80 / 1.30, toe=0.1, shoulder=0.1, shadows=9, highlights=5)
    tones = np.geomspace(0.002, 2, 30)
    assert film.printed(tones) == pytest.approx(tones, rel=1e-4)


@given(curves, st.floats(0.02, 0.6))
def test_middle_grey_stays_where_it_is_told(film: FilmCurve, place: float) -> None:
    assert film.printed(0.18) == pytest.approx(0.18, rel=1e-12)
    assert film.model_copy(update={"grey_prints_as": place}).printed(0.18) == pytest.approx(place, rel=1e-12)


@given(curves)
def test_more_light_is_never_darker_and_density_stays_within_its_limits(film: FilmCurve) -> None:
    exposures = np.concatenate([[0], np.geomspace(1e-9, 65504, 400)])
    densities = film.density(exposures)
    assert (np.diff(densities) >= -1e-12).all()
    light = film.printed(exposures)
    assert (np.diff(light) >= -1e-12 * (1 + light[1:])).all()
    # the straight line's whole length is the most that a film can hold, but for what a soft shoulder rounds off
    length = film.shadows + film.highlights
    soft = film.shoulder * math.log2(1 + 2 ** (-length / film.shoulder))
    assert densities.max() <= film.gamma * math.log10(2) * (length + soft) + 1e-9


@pytest.mark.parametrize("fog", [0.05, 0.2, 0.6])
def test_fog_is_the_density_without_exposure(fog: float) -> None:
    film = FilmCurve(fog=fog)
    assert film.density(0.0) == pytest.approx(fog, abs=1e-9)
    assert film.printed(0.0) > FilmCurve().printed(0.0)


def test_highlights_level_off_where_the_film_ends() -> None:
    film = FilmCurve(highlights=3, shoulder=0.2, gamma=0.615, shadows=8, toe=0.2)
    # derived here: the line ends 3 stops over 0.18, slope 0.615 · 1.625
    assert film.printed(6e4) == pytest.approx(0.18 * 2 ** (3 * 0.615 * 1.625), rel=1e-3)


def test_no_light_and_less_than_none_print_alike() -> None:
    film = FilmCurve(fog=0.1)
    assert np.ptp(film.printed([-0.5, -1e-9, 0.0])) == 0


def test_default_holds_black_and_white_on_a_photograph(photographs: dict[str, NDArray[np.uint8]]) -> None:
    codes = photographs["portrait"]
    tables = np.stack([srgb_decode(np.arange(256) / 255).astype(np.float32)] * 3)
    out = np.empty_like(codes)
    execute([Step(FilmCurve())], CodedSource(codes, tables, None), CodedSink(out, SRGB), Geometry(*codes.shape[1::-1]))
    curve = SRGB.encode(FilmCurve().printed(srgb_decode(np.arange(256) / 255))) * 255
    assert curve[0] < 4
    assert 248 < curve[255] <= 255.5
    # codes that went through the folded table are those of the law
    assert np.abs(out - np.clip(curve, 0, 255)[codes]).max() <= 0.51


@pytest.mark.parametrize(
    "film",
    [
        FilmCurve(),
        FilmCurve(gamma=1.5, paper=3, toe=0.1, shoulder=0.1, shadows=3, highlights=2),
        FilmCurve(toe=4, shoulder=4, shadows=4, fog=0.3),
        FilmCurve(strength=0.4, grey_prints_as=0.25),
    ],
)
def test_engine_equals_the_reference(film: FilmCurve) -> None:
    random = np.random.default_rng(5)
    linear = np.concatenate([random.uniform(-0.5, 8, (3, 701, 3)), random.random((3, 701, 3)) ** 6]).astype(np.float32)
    linear[0, :5, 0] = 65504, 0, -65504, 1e-30, 1
    expected = carry_out([Step(film)], linear, Geometry(701, 6))
    assert finish(film, linear) == pytest.approx(expected, rel=6e-5, abs=1e-6)
