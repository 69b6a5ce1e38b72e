"""Broken recipes, sessions and plans: the error word for word, status 2, nothing written."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from finishing.batch.work.looks import library_names
from finishing.cli.main import main
from finishing.documents.names import MANY
from finishing.operations.catalogue import OPERATIONS
from tests.conftest import PLAN, write_frame
from tests.conftest import RECIPES as OWN_RECIPES

RECIPES = [
    (
        "look: X\nsteps:\n  - exposure: {stop: 0.3}\n",
        """\
x.yaml:3:16: unknown key "stop"
    expected: one of stops, where
    do this:  did you mean "stops"?
""",
    ),
    (
        "look: X\nsteps:\n  - exposre: {stops: 0.3}\n",
        """\
x.yaml:3:5: unknown operation "exposre"
    expected: <operations>
    do this:  did you mean "exposure"?
""",
    ),
    (
        "look: X\nsteps:\n  - exposure: {stops: bright}\n",
        """\
x.yaml:3:23: "stops" cannot be read
    found:    bright
    expected: a number of stops from -10 to 10
    do this:  write stops: 0.3, for example
""",
    ),
    (
        "look: X\nsteps:\n  - exposure: {stops: 12}\n",
        """\
x.yaml:3:23: "stops" cannot be read
    found:    12
    expected: a number of stops from -10 to 10
    do this:  12 is above 10: write stops: 0.3, for example
""",
    ),
    (
        "look: X\nsteps:\n  - exposure: {stops: 1}\n    saturation: {amount: 1}\n",
        """\
x.yaml:4:5: a dash is missing before this step
    found:    saturation: …
    expected: - operation: {parameter: value}
    do this:  write - saturation: …, the dash in line with the one of the step above
""",
    ),
    (
        "look: X\nsteps: {exposure: {stops: 1}}\n",
        """\
x.yaml:2:8: "steps" cannot be read
    found:    a mapping (key: value)
    expected: a list
    do this:  put a dash before each of its entries: - exposure: …
""",
    ),
    (
        "look: X\nsteps:\n  - edge_vignette: {strength: 0.5, toward: whit}\n",
        """\
x.yaml:3:44: "toward" cannot be read
    found:    whit
    expected: white, black, or a colour such as "#f3e6cf"
    do this:  did you mean toward: white?
""",
    ),
    (
        "look: X\nsteps:\n  - tone_curve: {points: [[0, 0], [0, 1]]}\n",
        """\
x.yaml:3:26: "points" cannot be read
    found:    [[0, 0], [0, 1]]
    expected: points [[from, to], …] with at least two of them, each `from` larger than the one before, values from -1 to 4 (0 is black, 1 is white)
    do this:  write points: [[0, 0.06], [0.5, 0.5], [1, 0.97]], for example
""",
    ),
    (
        "look: X\nsettings: {kept_hue: 70}\nsteps:\n  - hue_isolation: {keep: $kept_hu}\n",
        """\
x.yaml:4:27: unknown setting "kept_hu"
    expected: one of kept_hue
    do this:  did you mean "kept_hue"?
""",
    ),
    (
        "look: X\nextends: x\nsteps:\n  - exposure: {stops: 1}\n",
        """\
x.yaml:2:10: these recipes extend each other in a circle
    found:    x → x
    do this:  take one `extends` out
""",
    ),
    (
        "look: X\nextends: faded_prnt\n",
        """\
x.yaml:2:10: unknown look "faded_prnt"
    expected: <looks>
    do this:  did you mean "faded_print"?
""",
    ),
    (
        "look: X\nversion: 1.5\nsteps:\n  - exposure: {stops: 1}\n",
        """\
x.yaml:2:10: "version" cannot be read
    found:    1.5
    expected: a whole number from 1 to 1000000
    do this:  write version: 1, for example
""",
    ),
    (
        "look: X\nsteps:\n\t- exposure: {stops: 1}\n",
        """\
x.yaml:3:1: a tab stands where YAML wants spaces
    found:    - exposure: {stops: 1}
    do this:  type spaces instead; write "  - exposure: {stops: 1}"
""",
    ),
    (
        "steps:\n  - exposure: {stops: 1}\n",
        """\
x.yaml:1:1: "look" is missing
    expected: a text
    do this:  add look: a few words
""",
    ),
]
SESSIONS = [
    (
        "session: O\nframes: [frames/*.jpg]\nplan: plan.yaml\nlooks: [{look: faded_prnt}]\n",
        """\
shoot/session.yaml:4:16: unknown look "faded_prnt"
    expected: <looks>
    do this:  did you mean "faded_print"?
""",
    ),
    (
        "session: O\nframes: [frames/*.jpg]\nplan: plan.yaml\nlooks: [{look: faded_print}]\nper_frame:\n  A-0009: {rating: 3}\n",
        """\
shoot/session.yaml:6:3: no frame has the name "A-0009"
    found:    A-0009
    expected: a frame's name or a pattern of names (A-0001 … A-0002)
    do this:  did you mean "A-0001" or "A-0002"?
""",
    ),
    (
        "session: O\nframes: [frames/*.jpg]\nplan: plan.yaml\nlooks: [{look: faded_print}]\ndeliverabels: {}\n",
        """\
shoot/session.yaml:5:1: unknown key "deliverabels"
    expected: one of blends, camera_clock, deliverables, frames, looks, match, per_frame, plan, rights, session
    do this:  did you mean "deliverables"?
""",
    ),
    (
        "session: O\nframes: [../*.jpg]\nplan: plan.yaml\nlooks: [{look: faded_print}]\n",
        """\
shoot/session.yaml:2:10: this path leaves the folder of this file
    found:    ../*.jpg
    expected: a path below the folder of this file, such as frames/A-0001.jpg
    do this:  put the file into this folder and name it from here, without .. and without a leading /
""",
    ),
    (
        "session: O\nframes: [frames/*.tif]\nplan: plan.yaml\nlooks: [{look: faded_print}]\n",
        """\
shoot/session.yaml:2:10: no file has such a name
    found:    frames/*.tif
    expected: a pattern such as frames/*.jpg
    do this:  check the folder, the suffix and the capitals; in that folder there is A-0001.jpg, A-0002.jpg
""",
    ),
    (
        "session: O\nframes: [frames/*.jpg]\nplan: plan.yaml\nlooks: [{look: faded_print}]\ndeliverables: {web: {format: jpg}}\n",
        """\
shoot/session.yaml:5:30: "format" cannot be read
    found:    jpg
    expected: one of jpeg, png, tiff, webp, avif
    do this:  did you mean format: jpeg?
""",
    ),
    (
        "session: O\nframes: [frames/*.jpg]\nplan: plan.yaml\nlooks: [{look: faded_print}]\ndeliverables: {print: {format: jpeg, bits: 16}}\n",
        """\
shoot/session.yaml:5:44: a JPEG file has 8 bits a channel
    found:    16
    do this:  write format: tiff (or png) for 16 bits, or leave bits out
""",
    ),
    (
        "session: O\nframes: [frames/*.jpg]\nplan: plna.yaml\nlooks: [{look: faded_print}]\n",
        """\
shoot/session.yaml:3:7: there is no such file
    found:    plna.yaml
    do this:  did you mean "plan.yaml"?
""",
    ),
    (
        "session: O\nframes: [frames/*.jpg]\nplan: plan.yaml\nlooks: [{look: faded_print, frames: {rating_at_least: 9}}]\n",
        """\
shoot/session.yaml:4:37: "frames" cannot be read
    found:    {rating_at_least: 9}
    expected: all, a set-up's id, a frame's name, pattern or range, a list of these, or {rating_at_least: 1…5}
    do this:  write frames: all, for example
""",
    ),
    (
        "session: O\nframes: [frames/*.jpg]\nplan: plan.yaml\nlooks: [{look: one_colour_kept, with: {kept_hu: 3}}]\n",
        """\
shoot/session.yaml:4:40: unknown setting "kept_hu"
    expected: one of kept_hue
    do this:  did you mean "kept_hue"?
""",
    ),
    (
        "session: O\nframes: [frames/*.jpg]\nplan: plan.yaml\nlooks: [{look: one_colour_kept, with: {kept_hue: red}}]\n",
        """\
shoot/session.yaml:4:50: the setting "kept_hue" is written as a colour's name; here it is the colour's code
    found:    red
    expected: a hue: an angle from 0 to 360 degrees (OkLCh), or a colour such as "#c8a21b", or a list of up to 8 of them
    do this:  write kept_hue: "#ff0000"
""",
    ),
    (
        "",
        """\
shoot/session.yaml:1:1: the file is empty
    do this:  fill it in; `finishing sample DIR` writes a session to start from
""",
    ),
]
PLANS = [
    (
        ("shutter: 1/125", "shutter: 12:30"),
        """\
shoot/plan.yaml:7:40: "shutter" cannot be read
    found:    12:30
    expected: a shutter time such as 1/125, 0.4, 2" or 2 s
    do this:  write shutter: 1/125, for example
""",
    ),
    (
        ("- id: C", "- id: A"),
        """\
shoot/plan.yaml:12:9: a second set-up has the id "A"
    found:    A
    expected: ids that differ (the first is at line 4)
    do this:  give each set-up an id of its own
""",
    ),
    (
        ('to: "19:30"', 'to: "18:30"'),
        """\
shoot/plan.yaml:15:9: set-up "C" ends before it starts
    found:    18:30
    expected: a time after 19:00 on the same day
    do this:  swap the times; past midnight, name the frames instead (frames: A-*)
""",
    ),
    (
        ("aperture: f/8", "apertur: f/8"),
        """\
shoot/plan.yaml:7:16: unknown key "apertur"
    expected: one of aperture, iso, shutter
    do this:  did you mean "aperture"?
""",
    ),
    (
        ("ambient: 0", "ambient: dark"),
        """\
shoot/plan.yaml:17:14: "ambient" cannot be read
    found:    dark
    expected: a number of stops such as -2, 0 or +0.7
    do this:  write ambient: -2, for example
""",
    ),
    (
        ("power: 1/1", "power: 2/1"),
        """\
shoot/plan.yaml:10:77: "power" cannot be read
    found:    2/1
    expected: a power such as 1/1, 1/4 or 1/128, or a number above 0 and up to 1
    do this:  write power: 1/4, for example
""",
    ),
    (
        ("sync: 1/200", "sync: 1/200\nsync: 1/250"),
        """\
shoot/plan.yaml:3:1: the key "sync" stands here a second time
    found:    first at line 2
    do this:  keep one of the two
""",
    ),
]


def all_of(names: list[str], command: str) -> str:
    """How an error lists known names: all of them, or the command that does."""
    if len(names) > MANY:
        return f"one of the {len(names)} that `{command}` lists"
    return "one of " + ", ".join(sorted(names))


def told(expected: str) -> str:
    looks = library_names()
    return expected.replace("<looks>", all_of(looks, "finishing looks")).replace(
        "<operations>", all_of(list(OPERATIONS), "finishing operations")
    )


def refused(command: list[str], expected: str) -> None:
    before = sorted(Path().rglob("*"))
    result = CliRunner().invoke(main, command)
    assert result.stderr == told(expected)
    assert result.stdout == ""
    assert result.exit_code == 2
    assert sorted(Path().rglob("*")) == before


@pytest.fixture(autouse=True)
def _in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize(("text", "expected"), RECIPES)
def test_recipe(text: str, expected: str) -> None:
    Path("x.yaml").write_text(text)
    refused(["check", "x.yaml"], expected)


@pytest.mark.parametrize(("text", "expected"), SESSIONS)
def test_session(text: str, expected: str) -> None:
    write_frame(Path("shoot/frames/A-0001.jpg"), seconds=1 / 125)
    write_frame(Path("shoot/frames/A-0002.jpg"))
    Path("shoot/plan.yaml").write_text(PLAN)
    Path("shoot/session.yaml").write_text(text)
    Path("shoot/recipes").mkdir()
    for name, recipe in OWN_RECIPES.items():
        Path(f"shoot/recipes/{name}.yaml").write_text(recipe)
    refused(["run", "shoot"], expected)


@pytest.mark.parametrize(("change", "expected"), PLANS)
def test_plan(change: tuple[str, str], expected: str) -> None:
    Path("shoot").mkdir()
    assert change[0] in PLAN
    Path("shoot/plan.yaml").write_text(PLAN.replace(*change))
    refused(["plan", "shoot/plan.yaml"], expected)
