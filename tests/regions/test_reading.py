"""What may stand behind `where`, and what is said when it cannot be read."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from finishing.documents.tree import parse_tree
from finishing.errors import Problem, ProblemSet
from finishing.operation import Geometry
from finishing.regions.box import Box
from finishing.regions.catalogue import REGIONS
from finishing.regions.combined import AllOf, AnyOf, Not
from finishing.regions.ellipse import Ellipse
from finishing.regions.gradient import Gradient
from finishing.regions.hue import HueRange
from finishing.regions.mask import FrameMask, SubjectMask
from finishing.regions.mask_files import read_mask
from finishing.regions.near import Near
from finishing.regions.polygon import Polygon
from finishing.regions.radial import Radial
from finishing.regions.ranges import LightnessRange
from finishing.regions.reading import read_region
from finishing.regions.region import Region
from finishing.regions.skin import Skin

TRIANGLE = ((0.1, 0.1), (0.9, 0.1), (0.5, 0.9))


def read(text: str, file: str = "look.yaml") -> Region:
    tree = parse_tree(f"where: {text}", file)
    return read_region(tree, ("where",), tree.data["where"])


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("{ellipse: subject}", Ellipse(centre="subject")),
        ("{ellipse: [0.5, 0.4, 0.2, 0.3]}", Ellipse(centre=(0.5, 0.4), radii=(0.2, 0.3))),
        ("{ellipse: {radii: [0.1, 0.2], soft: 0}}", Ellipse(centre="subject", radii=(0.1, 0.2), soft=0)),
        ("{near: subject}", Near()),
        ("{near: [0.2, 0.3]}", Near(point=(0.2, 0.3))),
        ("{near: {radius: [0.2, 0.4]}}", Near(radius=(0.2, 0.4))),
        ("{box: [0.1, 0.2, 0.3, 0.4]}", Box(sides=(0.1, 0.2, 0.3, 0.4))),
        ("{polygon: [[0.1, 0.1], [0.9, 0.1], [0.5, 0.9]]}", Polygon(points=TRIANGLE)),
        ("{gradient: [0.5, 0, 0.5, 1]}", Gradient(full_at=(0.5, 0), gone_at=(0.5, 1))),
        ("{radial: [0.5, 0.5, 0.1, 0.8]}", Radial(centre=(0.5, 0.5), full_to=0.1, gone_at=0.8)),
        ("{hue: {keep: 75, width: 40, soft: 15}}", HueRange(keep=75, width=40, soft=15)),
        ("{hue: [20, '#c8a21b']}", HueRange(keep=[20, "#c8a21b"])),
        ("{lightness: [0.5, 1]}", LightnessRange(at_least=0.5)),
        ("skin", Skin()),
        ("{skin: yes}", Skin()),
        ("{skin: {soft: 0.5}}", Skin(soft=0.5)),
        ("{subject: }", SubjectMask()),
        ("{mask: coat}", FrameMask(which="coat").beside(Path())),
        ("{not: skin}", Not(region=Skin())),
        ("{not: {skin: yes, near: subject}}", Not(region=AllOf(regions=(Skin(), Near())))),
        ("{any_of: [skin, {near: subject}]}", AnyOf(regions=(Skin(), Near()))),
        ("{hue: 75, near: subject}", AllOf(regions=(HueRange(keep=75), Near()))),
    ],
)
def test_short_and_long_forms(text: str, expected: Region) -> None:
    assert read(text) == expected


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "{elipse: subject}",
            """look.yaml:1:9: unknown region "elipse"
    expected: one of all_of, any_of, box, chroma, ellipse, gradient, hue, lightness, mask, near, not, polygon, \
radial, skin, subject
    do this:  did you mean "ellipse"?""",
        ),
        (
            "{ellipse: [0.5, 0.4, 0.2]}",
            """look.yaml:1:18: "ellipse" cannot be read
    found:    [0.5, 0.4, 0.2]
    expected: subject, or [centre across, centre down, radius across, radius down] in fractions of width and height
    do this:  write ellipse: {centre: [0.5, 0.4], radii: [0.2, 0.3], soft: 0.2}, for example""",
        ),
        (
            "{ellipse: {soft: much}}",
            """look.yaml:1:25: "soft" cannot be read
    found:    much
    expected: a number in fractions of the short side from 0 to 2
    do this:  write soft: 0.05, for example""",
        ),
        (
            "{near: {radios: 0.3}}",
            """look.yaml:1:16: unknown key "radios"
    expected: one of point, radius, soft
    do this:  did you mean "radius"?""",
        ),
        (
            "{box: [0.6, 0.1, 0.4, 0.9]}",
            """look.yaml:1:14: "box" cannot be read
    found:    [0.6, 0.1, 0.4, 0.9]
    expected: [left, top, right, bottom] in fractions of the frame's width and height, 0 to 1, left smaller than \
right and top smaller than bottom
    do this:  write box: {sides: [0.2, 0.1, 0.8, 0.9], soft: 0.05}, for example""",
        ),
        (
            "{radial: {full_to: 0.5, gone_at: 0.4}}",
            """look.yaml:1:41: "gone_at" cannot be read
    found:    0.4
    expected: a radius larger than full_to
    do this:  make gone_at the larger one, or use not""",
        ),
        (
            "{gradient: {from: [0.5, 0], to: [0.5, 0.6]}}",
            """look.yaml:1:20: unknown key "from"
    expected: one of full_at, gone_at
    do this:  did you mean "full_at"?
look.yaml:1:36: unknown key "to"
    expected: one of full_at, gone_at
    do this:  did you mean "gone_at"?""",
        ),
        (
            "{gradient: {full_at: top}}",
            """look.yaml:1:19: "gone_at" is missing in "gradient"
    expected: a point [x, y] in fractions of the frame's width and height
    do this:  add gone_at: [0.5, 0.6]
look.yaml:1:29: "full_at" cannot be read
    found:    top
    expected: a point [x, y] in fractions of the frame's width and height
    do this:  write full_at: [0.5, 0.2], for example""",
        ),
        (
            "{lightness: {at_least: 0.5, at_most: 0.4}}",
            """look.yaml:1:45: "at_most" cannot be read
    found:    0.4
    expected: a number not below at_least
    do this:  swap the two""",
        ),
        (
            "{hue: {width: 40}}",
            """look.yaml:1:14: "keep" is missing in "hue"
    expected: a hue: an angle from 0 to 360 degrees (OkLCh), or a colour such as "#c8a21b", or a list of up to 8 of them
    do this:  add keep: 75""",
        ),
        (
            "{polygon: [[0, 0], [0.5, 0.5], [1, 1]]}",
            """look.yaml:1:18: "polygon" cannot be read
    found:    a list
    expected: 3 to 200 points [x, y] in fractions of the frame's width and height, not all on one line
    do this:  write polygon: {points: [[0.3, 0.2], [0.7, 0.25], [0.8, 0.9], [0.25, 0.8]], soft: 0.05}, for example""",
        ),
        (
            "{skin: no}",
            """look.yaml:1:15: "skin" cannot be read
    found:    no
    expected: yes, or a mapping of its parameters
    do this:  write skin: {soft: 1}, for example""",
        ),
        (
            "hue",
            """look.yaml:1:8: "hue" cannot be read
    found:    nothing
    expected: a hue: an angle from 0 to 360 degrees (OkLCh), a colour such as "#c8a21b", or a list of them
    do this:  write hue: {keep: 75, width: 40, soft: 15}, for example""",
        ),
        (
            "{any_of: skin}",
            """look.yaml:1:17: "any_of" cannot be read
    found:    skin
    expected: a list of regions
    do this:  write any_of: [{ellipse: [0.3, 0.4, 0.1, 0.2]}, {hue: {keep: 75, width: 40}}], for example""",
        ),
        (
            "{ellipse: [750, 500, 200, 300]}",
            """look.yaml:1:18: "ellipse" cannot be read
    found:    [750, 500, 200, 300]
    expected: subject, or [centre across, centre down, radius across, radius down] in fractions of width and height
    do this:  750 looks like pixels: divide each number by the side of the frame that it is a fraction of""",
        ),
        (
            "{box: [20, 10, 60, 90]}",
            """look.yaml:1:14: "box" is written as percentages; here they are fractions
    found:    [20, 10, 60, 90]
    expected: [left, top, right, bottom] in fractions of the frame's width and height, 0 to 1, left smaller than \
right and top smaller than bottom
    do this:  write box: [0.2, 0.1, 0.6, 0.9]""",
        ),
        (
            "{ellipse: [0.5; 0.4; 0.2; 0.3]}",
            """look.yaml:1:18: "ellipse" is written with a semicolon in place of the comma
    found:    [0.5; 0.4; 0.2; 0.3]
    expected: subject, or [centre across, centre down, radius across, radius down] in fractions of width and height
    do this:  write ellipse: [0.5, 0.4, 0.2, 0.3]""",
        ),
        (
            "[]",
            """look.yaml:1:8: this does not say where
    found:    nothing
    expected: a region, or several: {ellipse: subject}
    do this:  write where: {near: subject}, for example""",
        ),
        (
            "[0.2, 0.1, 0.8, 0.9]",
            """look.yaml:1:8: this does not say where
    found:    [0.2, 0.1, 0.8, 0.9]
    expected: a region, or several: {ellipse: subject}
    do this:  write where: {near: subject}, for example""",
        ),
        (
            "[skin, {near: subject}]",
            """look.yaml:1:8: this list of regions does not say how they go together
    found:    a list
    expected: any_of or all_of before a list
    do this:  write where: {any_of: [skin, {near: subject}]} for what lies in one or another of them, or where: \
{all_of: [skin, {near: subject}]} for what lies in every one""",
        ),
        (
            "{not: [skin, subject]}",
            """look.yaml:1:14: this list of regions does not say how they go together
    found:    [skin, subject]
    expected: any_of or all_of before a list
    do this:  write not: {any_of: [skin, subject]} for what lies in one or another of them, or not: \
{all_of: [skin, subject]} for what lies in every one""",
        ),
        (
            "not skin",
            """look.yaml:1:8: "not skin" is written with a colon, in braces
    expected: a region, or {not: …} with a region in it
    do this:  write {not: skin}""",
        ),
        (
            "{all_of: [everything but Skin, {near: subject}]}",
            """look.yaml:1:18: "everything but Skin" is written with a colon, in braces
    expected: a region, or {not: …} with a region in it
    do this:  write {not: skin}""",
        ),
        (
            "{not skin}",
            """look.yaml:1:9: "not skin" is written with a colon
    expected: a region, or {not: …} with a region in it
    do this:  write not: skin""",
        ),
        (
            "not near",
            """look.yaml:1:8: "not near" is written with a colon, in braces
    expected: a region, or {not: …} with a region in it
    do this:  write {not: {near: {point: subject, radius: [0.25, 0.4], soft: 0.2}}}, for example""",
        ),
        (
            "{ellipse: subject, soft: 0.3}",
            """look.yaml:1:27: "soft" belongs in the braces of "ellipse"
    do this:  write {ellipse: {centre: subject, soft: 0.3}}""",
        ),
        (
            "{near: subject, ellipse: subject, radii: [0.1, 0.2]}",
            """look.yaml:1:42: "radii" belongs in the braces of "ellipse"
    do this:  write ellipse: {centre: subject, radii: [0.1, 0.2]}""",
        ),
        (
            "[skin]",
            """look.yaml:1:8: this does not say where
    found:    [skin]
    expected: a region, or several: {ellipse: subject}
    do this:  take the brackets around the region away""",
        ),
        (
            "{skin: yes, soft: 0.5}",
            """look.yaml:1:20: "soft" belongs in the braces of "skin"
    do this:  write {skin: {soft: 0.5}}""",
        ),
        (
            "{ellipse: [0.5, 0.4, 0.2, 0.3], soft: $edge}",
            """look.yaml:1:40: "soft" belongs in the braces of "ellipse"
    do this:  write {ellipse: {centre: [0.5, 0.4], radii: [0.2, 0.3], soft: $edge}}""",
        ),
        (
            "{ellipse: subject, near: subject, soft: 0.1}",
            """look.yaml:1:42: "soft" belongs in the braces of one of the regions beside it
    do this:  write ellipse: {centre: subject, soft: 0.1}, for example""",
        ),
        (
            "{mask: ../coat.png}",
            """look.yaml:1:15: this path leaves the folder of the file that names it
    found:    ../coat.png
    do this:  copy the mask into that folder and name it there""",
        ),
        (
            "{mask: nowhere.png}",
            """look.yaml:1:15: there is no such mask file
    found:    nowhere.png
    do this:  check the path""",
        ),
    ],
)
def test_faults_are_told_with_their_place(text: str, message: str) -> None:
    with pytest.raises((Problem, ProblemSet)) as caught:
        read(text)
    assert str(caught.value) == message


def test_a_parameter_beside_a_region_with_settings_is_told_without_their_values() -> None:
    tree = parse_tree("where: {box: [0.1, $top, 0.9, 0.8], soft: 0.1}", "look.yaml")
    with pytest.raises(ProblemSet) as caught:
        read_region(tree, ("where",), {"box": ["0.1", "0.2", "0.9", "0.8"], "soft": "0.1"})
    assert [problem.remedy for problem in caught.value.problems] == ["write box: {…, soft: 0.1}"]


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(ProblemSet) as caught:
        read("{ellipse: 5, all_of: [{hue: none}, skim, {not: {box: [1]}}]}")
    assert [str(problem.where) for problem in caught.value.problems] == [
        "look.yaml:1:18", "look.yaml:1:36", "look.yaml:1:43", "look.yaml:1:61"
    ]  # fmt: skip


@pytest.mark.parametrize(
    "text", ["{near: subject}", "{ellipse: subject}", "{radial: {centre: subject, full_to: 0, gone_at: 1}}"]
)
def test_a_frame_without_a_subject_point(text: str) -> None:
    region = read(text)
    for ask in (region.prepare, region.rows, region.columns, lambda g: region.reference(np.empty((4, 4, 3)), g)):
        with pytest.raises(Problem) as caught:
            ask(Geometry(4, 4))
        assert (
            str(caught.value.at("A-0003"))
            == """A-0003: this frame has no subject point
    expected: the point that the region lies around
    do this:  name it in session.yaml under per_frame, FRAME: {subject: [0.5, 0.4]}, or write the point itself in \
place of subject"""
        )


def test_a_frame_without_the_mask() -> None:
    region = read("{mask: coat}")
    with pytest.raises(Problem) as caught:
        region.prepare(
            Geometry(4, 4, masks={"hat": np.ones((2, 2), np.float32), "subject": np.ones((2, 2), np.float32)})
        )
    assert (
        str(caught.value)
        == """this frame has no mask called "coat"
    found:    masks called hat, subject
    expected: a mask of that name
    do this:  name its file in session.yaml under per_frame, FRAME: {masks: {coat: masks/FRAME-coat.png}}"""
    )
    with pytest.raises(Problem, match="if Coat was meant, write coat in its place"):
        region.prepare(Geometry(4, 4, masks={"Coat": np.ones((2, 2), np.float32)}))
    with pytest.raises(Problem, match='no mask called "subject"\n    found:    no masks'):
        read("subject").rows(Geometry(4, 4))


def test_mask_paths_count_from_the_folder_of_the_file(tmp_path: Path) -> None:
    (tmp_path / "masks").mkdir()
    cv2.imwrite(str(tmp_path / "masks" / "frame.png"), np.array([[0, 255]], np.uint8))
    region = read("{mask: masks/frame.png}", str(tmp_path / "look.yaml"))
    weights = np.empty((1, 2), np.float32)
    region.prepare(Geometry(2, 1))(weights, None, 0)
    assert weights.tolist() == [[0, 1]]
    assert region.model_dump() == {"which": "masks/frame.png"}


def test_mask_files_that_are_not_grey_are_refused(tmp_path: Path) -> None:
    grey = np.arange(64, dtype=np.uint8).reshape(8, 8)
    as_colour, colour = np.dstack([grey] * 3), np.dstack([grey, grey, grey.T])
    opaque, clear = np.dstack([as_colour, np.full_like(grey, 255)]), np.dstack([as_colour, grey])
    for name, picture in {"grey": grey, "as_colour": as_colour, "opaque": opaque}.items():
        cv2.imwrite(str(tmp_path / f"{name}.png"), picture)
        np.testing.assert_array_equal(read_mask(tmp_path / f"{name}.png"), grey.astype(np.float32) / np.float32(255))
    for name, picture in {"colour": colour, "clear": clear}.items():
        cv2.imwrite(str(tmp_path / f"{name}.png"), picture)
        with pytest.raises(Problem, match="picture in colour, or has transparent parts"):
            read_mask(tmp_path / f"{name}.png")
    cv2.imwrite(str(tmp_path / "mask.jpg"), grey)
    (tmp_path / "text.png").write_text("not a picture")
    (tmp_path / "cut.png").write_bytes((tmp_path / "grey.png").read_bytes()[:40])
    (tmp_path / "empty.png").touch()
    for name in ("mask.jpg", "text.png", "cut.png", "empty.png"):
        with pytest.raises(Problem, match="this mask cannot be read"):
            read_mask(tmp_path / name)
    with pytest.raises(Problem, match="there is no such mask file"):
        read_mask(tmp_path / "none.png")


def test_every_region_can_be_named() -> None:
    assert set(REGIONS) == {
        "ellipse", "near", "box", "polygon", "gradient", "radial", "hue", "lightness", "chroma", "skin", "subject",
        "mask", "all_of", "any_of", "not",
    }  # fmt: skip
