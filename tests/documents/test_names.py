"""Names and values as people of the trade write them: what is suggested is what they meant."""

from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field

from finishing.documents.fields import (
    Aspect,
    Clock,
    Colour,
    Date,
    Distance,
    Duration,
    Flag,
    Hue,
    Point,
    Power,
    Shutter,
    Stops,
    Text,
    UtcOffset,
    choice,
    number,
    whole_number,
)
from finishing.documents.names import nearest
from finishing.documents.reading import Model, parse_document
from finishing.errors import ProblemSet
from finishing.sessions.deliverables import Deliverable
from finishing.sessions.plan import ShootPlan
from finishing.sessions.session import SessionFile


class Values(Model):
    sharpen: Annotated[str, choice("none", "screen", "print")] = "none"
    location: Annotated[str, choice("keep", "remove")] = "keep"
    format: Annotated[str, choice("jpeg", "tiff", "png", "webp")] = "jpeg"
    skip: Flag = False
    power: Power = 1.0
    long_edge: Annotated[int, whole_number(16, 65000, "pixels", example="2048")] = 2048
    quality: Annotated[int, whole_number(1, 100, example="90")] = 90
    kelvin: Annotated[float, number(2000, 25000, "kelvin")] = 6500.0
    amount: Annotated[float, number(0, 4)] = 1.0
    stops: Annotated[float, number(-10, 10, "stops")] = 0.0
    ambient: Stops = 0.0
    shutter: Shutter = 0.01
    distance: Distance = 1.0
    date: Date | None = None
    starts: Clock = 0.0
    utc_offset: UtcOffset = 0.0
    ahead_by: Duration = 0.0
    toward: Colour = (0.0, 0.0, 0.0)
    keep: Hue = 0.0
    subject: Point | None = None
    aspect: Aspect = 1.0


def remedy(text: str, model: type[Model] = Values) -> str | None:
    """What is told to do of a text with one slip."""
    with pytest.raises(ProblemSet) as caught:
        parse_document(text, "x", model)
    (problem,) = caught.value.problems
    return problem.remedy


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("sharpen: yes", "write sharpen: screen or sharpen: print"),
        ("sharpen: no", "did you mean sharpen: none?"),
        ("sharpen: web", "did you mean sharpen: screen?"),
        ("sharpen: Screen", "did you mean sharpen: screen?"),
        ("location: no", "did you mean location: remove?"),
        ("location: yes", "did you mean location: keep?"),
        ("format: JPG", "did you mean format: jpeg?"),
        ("format: .tif", "did you mean format: tiff?"),
        ("skip: never", "did you mean skip: no?"),
        ("skip: perhaps", "write skip: yes or skip: no"),
        # full power is 1/1: common practice, no source
        ("power: full", "write power: 1/1"),
        ("power: Full power", "write power: 1/1"),
        ("power: half", "write power: 1/2"),
        ("power: 1/4 power", "write power: 1/4"),
        ("power: 50 %", "write power: 0.5"),
        ("power: 1:8", "write power: 1/8"),
        ("power: 1/1 (full)", "write power: 1/1"),
        ("long_edge: 2048px", "write long_edge: 2048"),
        ("long_edge: 2'048", "write long_edge: 2048"),
        ("long_edge: 2,048", "write long_edge: 2048"),
        ("long_edge: 300 dpi", "write long_edge: 2048, for example"),  # no length in pixels
        ("quality: 90 %", "write quality: 90"),
        ("quality: 12/12", "write quality: 90, for example"),
        ("kelvin: 5600 K", "write kelvin: 5600"),
        ("amount: 80 %", "write amount: 0.8"),
        ("stops: +1/3", "write stops: 0.33"),
        ("stops: -1 1/2", "write stops: -1.5"),
        ("ambient: minus 2", "write ambient: -2"),
        ("shutter: 1/125 second", "write shutter: 1/125"),
        ("distance: 2 metres", "write distance: 2"),
        ("distance: 6 feet", "write distance: 6 ft"),
        ("distance: 150 centimeters", "write distance: 150 cm"),
        ("date: 19.9.2026", "write date: 2026-09-19"),
        ("date: 9/19/2026", "write date: 2026-09-19"),
        ("date: 9/10/2026", "write date: 2026-09-19, for example"),  # could be either
        ("starts: 7:10 pm", 'write starts: "19:10"'),
        ("starts: 19.10", 'write starts: "19:10"'),
        ("starts: 19h10", 'write starts: "19:10"'),
        ("utc_offset: +2", 'write utc_offset: "+02:00"'),
        ("utc_offset: UTC-5", 'write utc_offset: "-05:00"'),
        ("ahead_by: 1 min 30 s", 'write ahead_by: "00:01:30"'),
        ("toward: red", 'write toward: "#ff0000"'),  # CSS Color Module Level 4, named colours
        ("keep: orange", 'write keep: "#ffa500"'),
        ("keep: grey", "write keep: 75, for example"),  # a grey has no hue
        ("keep: c8a21b", 'write keep: "#c8a21b"'),
        ("subject: [45%, 50%]", "write subject: [0.45, 0.5]"),
        ("subject: [45, 50]", "write subject: [0.45, 0.5]"),
        ("subject: 0.45 0.5", "write subject: [0.45, 0.5]"),
        ("aspect: square", "write aspect: 1:1"),
    ],
)  # fmt: skip
def test_what_a_value_was_meant_as(text: str, told: str) -> None:
    assert remedy(text) == told


@pytest.mark.parametrize(
    ("model", "text", "told"),
    [
        (Deliverable, "ppi: 300", 'did you mean "pixels_per_inch"?'),
        (Deliverable, "dpi: 300", 'did you mean "pixels_per_inch"?'),
        (Deliverable, "resolution: 300", 'did you mean "pixels_per_inch"?'),
        (Deliverable, "long side: 2048", 'did you mean "long_edge"?'),
        (Deliverable, "Long-Edge: 2048", 'did you mean "long_edge"?'),
        (Deliverable, "color_space: srgb", 'did you mean "profile"?'),
        (Deliverable, "profile: sRGB", "did you mean profile: srgb?"),
        (Deliverable, "profile: Display P3", "did you mean profile: display_p3?"),
        (Deliverable, "intent: relative colorimetric", "did you mean intent: relative?"),
        (Deliverable, "compression: zip", "did you mean compression: deflate?"),
        (Deliverable, "bits: 16 bit", "write bits: 16"),
        (Deliverable, "at_most: 2 megabytes", "write at_most: 2 MB"),
        (Deliverable, 'print_size: 8x10 inches', "write print_size: 8x10 inch"),
        (Deliverable, "print_size: 30,5 cm", "write print_size: 30.5 cm"),
        (Deliverable, "{print_size: 30,5 cm}", "write {print_size: 30.5 cm}"),
        (Deliverable, "box: 1920x1080", "write box: [1920, 1080]"),
        (Deliverable, "mark: PROOF", "write mark: {text: PROOF}"),
        (ShootPlan, "place: {latitude: 47.4 N}\nsetups: [{id: A}]", "write latitude: 47.4"),
        (ShootPlan, "place: {longitude: 71.1° W}\nsetups: [{id: A}]", "write longitude: -71.1"),
        (SessionFile, "session: x\nframes: a\nblends: {C: {sources: [A, B], light: {strobe: no}}}",
         "write strobe: off"),
        (ShootPlan, "sync: 200\nsetups: [{id: A}]", "write sync: 1/200"),
        (ShootPlan, "set-ups: [{id: A}]", 'did you mean "setups"?'),
        (ShootPlan, "setups: [{setup: A}]", 'did you mean "id"?'),
        (ShootPlan, "setups: [{id: A, name: x}]", 'did you mean "title"?'),
        (ShootPlan, "setups: [{id: A, flashes: []}]", 'did you mean "strobes"?'),
        (ShootPlan, "setups: [{id: A, aperture: f/8}]", '"aperture" belongs below "exposure": indent it there'),
        (ShootPlan, "latitude: 47\nsetups: [{id: A}]", '"latitude" belongs below "place": indent it there'),
        (ShootPlan, "place: {sync: 1/200}\nsetups: [{id: A}]", '"sync" belongs further left, in line with "place"'),
        (ShootPlan, "setups: [{id: A, exposure: {aperture: 8, speed: 1/125, iso: 100}}]", 'did you mean "shutter"?'),
        (ShootPlan, "setups: [{id: A, exposure: f/8 1/125}]",
         "write exposure: {aperture: f/8, shutter: 1/125, iso: 100}"),
        (SessionFile, "name: x\nframes: a", 'did you mean "session"?'),
        (SessionFile, "session: x\nphotos: a", 'did you mean "frames"?'),
        (SessionFile, "session: x\nframes: a\ncopyright: me", '"copyright" belongs below "rights": indent it there'),
        (SessionFile, "session: x\nframes: a\nrights: A. Example", "write rights: {creator: A. Example}"),
        (SessionFile, "session: x\nframes: a\nclock: {ahead_by: 9}", 'did you mean "camera_clock"?'),
        (SessionFile, "session: x\nframes: a\ncamera_clock: 9",
         'write camera_clock: {ahead_by: "00:01:30"}, for example'),
        (SessionFile, "session: x\nframes: a\nlooks: [faded_print]", "write {look: faded_print}"),
        (SessionFile, "session: x\nframes: a\nlooks: faded_print", "write looks: [{look: faded_print}]"),
        (SessionFile, "session: x\nframes: a\nlooks: [{look: a, settings: {b: 1}}]", 'did you mean "with"?'),
        (SessionFile, "session: x\nframes: a\nlooks: [{look: a, with: hue=3}]", "write with: {hue: 3}"),
        (SessionFile, "session: x\nframes: a\nlooks: [{look: a, frames: {rating: 4 stars}}]",
         "write frames: {rating_at_least: 4}"),
        (SessionFile, "session: x\nframes: a\nper_frame: {A: {rotate: 3}}", 'did you mean "straighten"?'),
        (SessionFile, "session: x\nframes: a\nper_frame: {A: {crop: 4:5}}", "write crop: {aspect: 4:5}"),
        (SessionFile, "session: x\nframes: a\nper_frame: {A: skip}", "write A: {skip: yes}"),
        (SessionFile, "session: x\nframes: a\nmatch: {white_balance: 5600 K}", "write white_balance: {kelvin: 5600}"),
        (SessionFile, "session: x\nframes: a\nmatch: {exposure: A-0003}", "write exposure: {to: A-0003}"),
        (SessionFile, "session: x\nframes: a\nmatch: {exposure: yes}", "write exposure: {to: A-0003}"),
        (SessionFile, "session: x\nframes: a\nmatch: {white_balance: {grey_card: LP431}}",
         "write grey_card: {frame: LP431, box: [0.4, 0.4, 0.6, 0.6]}"),
        (SessionFile, "session: x\nframes: a\nper_frame: {A: {rating: ★★★★☆}}", "write rating: 4"),
        (SessionFile, "session: x\nframes: a\nper_frame: {A: {rating: '***'}}", "write rating: 3"),
        (SessionFile, "session: x\nframes: a\nper_frame:\n  A: {rating: *****}", "write A: {rating: 5}"),
        (SessionFile, "session: x\nframes: a\nper_frame:\n  A:\n    rating: **  # so-so", "write rating: 2  # so-so"),
        (ShootPlan, "setups: [{id: A, strobes: {name: key, reads: f/8}}]",
         "put a dash before its first key: - name: key, and the other keys in line with that one"),
    ],
)  # fmt: skip
def test_what_a_key_was_meant_as(model: type[Model], text: str, told: str) -> None:
    assert remedy(text, model) == told


@pytest.mark.parametrize(
    ("name", "known", "near"),
    [
        ("Faded Print", ["faded_print", "fade"], "faded_print"),
        ("curves", ["tone_curve", "toning"], "tone_curve"),
        ("black and white", ["monochrome", "bleach_bypass"], "monochrome"),
        ("vignette", ["edge_vignette", "veil"], "edge_vignette"),
        ("plan", ["plan.yaml", "session.yaml"], "plan.yaml"),
        ("name", ["frames", "looks"], None),  # frames has its letters, and is something else
        ("rotate", ["note", "skip"], None),
        ("A-0009", ["A-0001", "Z-0009"], "A-0001"),  # what begins alike is nearer
        ("LP43l", ["LP439", "LP431"], "LP431"),  # an l and a 1, an O and a 0 are one to the eye
        ("B-OOO7", ["B-0001", "B-0007", "B-7"], "B-0007"),
    ],
)
def test_the_nearest_name(name: str, known: list[str], near: str | None) -> None:
    assert nearest(name, known) == near


@given(st.text(max_size=12), st.lists(st.text(min_size=1, max_size=12), max_size=5))
def test_what_is_suggested_is_known(name: str, known: list[str]) -> None:
    assert nearest(name, known) in {None, *known}


class Sizes(Model):
    long_edge: Annotated[int, whole_number(16, 65000, "pixels"), Field()] = 2048
    note: Text | None = None


@pytest.mark.parametrize("text", ["{long_edge: 2,048}", "{long_edge: 2,048, note: x}"])
def test_a_comma_between_thousands_is_not_told_to_be_a_decimal_one(text: str) -> None:
    assert remedy(text, Sizes) == "write long_edge: 2048"
