"""A look as a Common LUT Format file: what goes in, how exact it is, and what another program makes of it."""

from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from finishing.batch.opening.picture import finish_picture
from finishing.batch.pictures.exporting import Exported, export, measured
from finishing.batch.pictures.table_chain import exact_chain, left_out, matrix_of
from finishing.batch.work.looks import read_look
from finishing.colour import transfer
from finishing.colour.difference import ciede2000, linear_to_lab
from finishing.engine.ends import LinearSource
from finishing.errors import Problem
from finishing.operation import Geometry
from finishing.recipes.recipe import Recipe
from finishing.tables.nodes import ExponentNode, MatrixNode, Table1D, Table3D
from finishing.tables.reading import read_process

#: Looks whose every step follows from the colour alone, and the nodes that must come of them.
LOOKS = {
    "darker": ("- exposure: {stops: -0.7}", [ExponentNode, MatrixNode, ExponentNode]),
    "faded": ("- tone_curve: {points: [[0, 0.08], [0.5, 0.5], [1, 0.95]]}", [Table1D]),
    "one channel": ("- tone_curve: {points: [[0, 0.05], [1, 0.9]], channels: blue}", [Table1D]),
    "print": ("- exposure: {stops: 0.3}\n  - film_curve: {gamma: 0.7}\n  - tone_curve: {points: [[0, 0.05], [2, 1]]}",
              [Table1D]),
    "grey": ("- monochrome: {filter: none}", [ExponentNode, MatrixNode, ExponentNode]),
    "grey, faded": ("- monochrome: {filter: none}\n  - tone_curve: {points: [[0, 0.08], [0.6, 0.5], [1, 0.95]]}",
                    [ExponentNode, MatrixNode, ExponentNode, Table1D]),
    "lighter": ("- exposure: {stops: 1}", [ExponentNode, MatrixNode, ExponentNode, MatrixNode, Table3D]),
    "warm": ("- white_balance: {kelvin: 5500}", [ExponentNode, MatrixNode, ExponentNode, MatrixNode, Table3D]),
    "pale": ("- saturation: {amount: 0.6}", [Table3D]),
    "toned": ("- tone_curve: {points: [[0, 0.08], [0.5, 0.5], [1, 0.95]]}\n  - split_tone: {shadow_chroma: 0.02}",
              [Table1D, Table3D]),
    "one hue": ("- hue_isolation: {keep: 60, width: 60, softness: 40}", [Table3D]),
    "skin": ("- exposure: {stops: -0.5, where: {not: {any_of: [skin, {lightness: [0.7, 1]}]}}}", [Table3D]),
}  # fmt: skip


def look(tmp_path: Path, steps: str) -> Recipe:
    path = tmp_path / "tried.yaml"
    path.write_text(f"look: Tried\nsteps:\n  {steps}\n")
    return read_look(str(path))


def exported(tmp_path: Path, steps: str) -> Exported:
    return export(look(tmp_path, steps), tmp_path / "tried.clf")


def colours(count: int = 20_000) -> np.ndarray:
    """Other colours than those that the error was measured with."""
    return np.random.default_rng(404).random((count, 3))


def lab(encoded: np.ndarray) -> np.ndarray:
    return linear_to_lab(transfer.srgb_decode(np.clip(encoded, 0, 1)))


@pytest.mark.parametrize("name", LOOKS)
def test_another_program_gives_the_look_within_the_stated_error(tmp_path: Path, name: str) -> None:
    steps, wanted = LOOKS[name]
    tried = look(tmp_path, steps)
    told = export(tried, tmp_path / "tried.clf", size=33)
    # exact steps stay exact, and only the rest is a table; what comes in and goes out is cut at 0 and 1
    assert [type(node) for node in read_process(told.path.read_text()).nodes[1:-1]] == wanted
    assert told.error.mean < 0.15
    assert told.error.largest < 0.02 or Table3D in wanted
    assert not told.left_out
    ocio = pytest.importorskip("PyOpenColorIO", reason="OpenColorIO is not installed")
    values = colours()
    found = values.astype(np.float32)
    ocio.Config.CreateRaw().getProcessor(ocio.FileTransform(str(told.path))).getDefaultCPUProcessor().applyRGB(found)
    difference = ciede2000(lab(found), lab(exact_chain(tried.steps, values)))
    # OpenColorIO's arithmetic is float32 with approximated powers
    assert difference.mean() <= told.error.mean * 1.1 + 0.004
    assert np.percentile(difference, 95) <= told.error.most_of_95_percent * 1.1 + 0.01
    assert difference.max() <= told.error.largest * 1.02 + 0.03


def test_the_exact_chain_is_what_a_finished_file_gets(tmp_path: Path) -> None:
    """Against the engine, 8-bit codes of a deliverable in sRGB, gamut and all."""
    tried = look(
        tmp_path, "- exposure: {stops: 0.6}\n  - saturation: {amount: 1.4}\n  - hue_shift: {hue: 40, degrees: 30}"
    )
    values = colours(6000)
    light = np.ascontiguousarray(transfer.srgb_decode(values).T[:, None], np.float32)
    codes = finish_picture(tried.steps, LinearSource(light), Geometry(6000, 1))[0].astype(int)
    exact = np.round(exact_chain(tried.steps, values) * 255).astype(int)
    assert np.abs(codes - exact).max() <= 1
    assert (codes != exact).mean() < 0.01


def test_the_error_is_measured_on_what_is_written(tmp_path: Path) -> None:
    tried = look(tmp_path, LOOKS["pale"][0])
    told = export(tried, tmp_path / "one.clf", size=17)
    finer = export(tried, tmp_path / "two.clf", size=65)
    assert told.error.mean > 4 * finer.error.mean
    text = (tmp_path / "one.clf").read_text()
    assert measured(text, lambda some: exact_chain(tried.steps, some)) == told.error
    values = colours()
    found = ciede2000(lab(read_process(text)(values)), lab(exact_chain(tried.steps, values)))
    assert found.mean() == pytest.approx(told.error.mean, rel=0.05)
    shifted = measured(text, lambda some: exact_chain(tried.steps, some) * 0.98)
    assert shifted.mean > 0.2


def test_the_file_says_what_it_is(tmp_path: Path) -> None:
    told = exported(tmp_path, "- exposure: {stops: -0.3}\n  - grain: {strength: 0.05}")
    text = told.path.read_text()
    root = ElementTree.fromstring(text.encode())
    space = "{http://www.smpte-ra.org/ns/2136-1/2024}"  # of SMPTE ST 2136-1:2024
    assert root.tag == f"{space}ProcessList"
    assert root.get("name") == "Tried"
    for end in ("InputDescriptor", "OutputDescriptor"):
        described = root.findtext(f"{space}{end}", "")
        assert all(word in described for word in ("sRGB", "Rec. 709", "display-referred"))
    own = "{https://example.org/ns/finishing/1.0/}"
    info = root.find(f"{space}Info")
    assert info is not None
    assert info.findtext(f"{own}RecipeHash") == told.look.hash
    assert float(info.findtext(f"{own}ErrorLargest", "")) == pytest.approx(told.error.largest, rel=1e-4)
    assert info.findtext(f"{own}LeftOut") == "step 2, grain: depends on the place in the frame"
    described = " ".join(each.text or "" for each in root.findall(f"{space}Description"))
    assert "grain" in described
    assert str(told.error) in described
    assert "gamut" in described
    again = tmp_path / "again.clf"
    export(look(tmp_path, "- exposure: {stops: -0.3}\n  - grain: {strength: 0.05}"), again)
    assert again.read_bytes() == told.path.read_bytes()


LEFT_OUT = {
    "edge_vignette: {toward: white, strength: 0.5}": "depends on the place",
    "grain: {strength: 0.1}": "depends on the place",
    "border: {width: 0.05}": "depends on the place",
    "glow: {strength: 0.2}": "looks at the whole frame",
    "sharpening: {amount: 0.5}": "looks at the pixels around",
    "exposure: {stops: 1, where: {ellipse: [0.5, 0.5, 0.2, 0.2]}}": "is limited to a part of the frame",
    "exposure: {stops: 1, where: {mask: coat}}": "is limited to a part of the frame",
    "exposure: {stops: 1, where: {all_of: [skin, {near: frame}]}}": "is limited to a part of the frame",
    "exposure: {stops: 1, where: {not: {gradient: {full_at: [0, 0], gone_at: [0, 1]}}}}": "limited to a part",
}


@pytest.mark.parametrize("step", LEFT_OUT)
def test_what_depends_on_places_is_left_out_and_told(tmp_path: Path, step: str) -> None:
    (only,) = look(tmp_path, f"- {step}").steps
    assert LEFT_OUT[step] in str(left_out(only))
    with pytest.raises(Problem, match="nothing of this look can go into a table") as told:
        exported(tmp_path, f"- {step}")
    assert LEFT_OUT[step] in str(told.value)
    with_more = exported(tmp_path, f"- {step}\n  - exposure: {{stops: -0.5}}")
    without = read_process(with_more.path.read_text())(colours())
    alone = look(tmp_path, "- exposure: {stops: -0.5}")
    assert np.abs(without - exact_chain(alone.steps, colours())).max() < 1e-4
    assert with_more.left_out[0].startswith("step 1, ")


def test_matrices_are_found_by_trying(tmp_path: Path) -> None:
    def of(step: str) -> np.ndarray | None:
        return matrix_of(look(tmp_path, f"- {step}").steps[0])

    assert of("exposure: {stops: 1}") == pytest.approx(np.eye(3) * 2)
    found = of("white_balance: {kelvin: 5000}")
    assert found is not None
    assert np.abs(found - np.diag(np.diag(found))).max() > 1e-3
    for step in ("film_curve: {gamma: 0.7}", "saturation: {amount: 0.5}", "exposure: {stops: 1, where: skin}"):
        assert of(step) is None


def test_files_that_are_there_stay(tmp_path: Path) -> None:
    path = tmp_path / "tried.clf"
    path.write_text("mine")
    tried = look(tmp_path, LOOKS["darker"][0])
    with pytest.raises(Problem, match="the file exists already"):
        export(tried, path)
    assert path.read_text() == "mine"
    export(tried, path, again=True)
    assert read_process(path.read_text()).nodes


@pytest.mark.parametrize("name", ["tried.yaml", "D-0001.jpg", "D-0001", "tried.clf.yaml"])
def test_only_tables_are_written_over(tmp_path: Path, name: str) -> None:
    tried = look(tmp_path, LOOKS["darker"][0])
    path = tmp_path / name
    path.touch()
    before = path.read_bytes()
    with pytest.raises(Problem, match="a file of this ending is no table") as told:
        export(tried, path, again=True)
    assert ".clf" in str(told.value.remedy)
    assert path.read_bytes() == before


def test_the_recipe_that_is_read_is_not_written_over(tmp_path: Path) -> None:
    written = look(tmp_path, LOOKS["darker"][0])
    recipe = written.path.rename(tmp_path / "tried.clf")
    before = recipe.read_bytes()
    (tmp_path / "aside").symlink_to(tmp_path)
    for path in (recipe, tmp_path / "aside" / "tried.clf"):
        with pytest.raises(Problem, match="the recipe itself") as told:
            export(replace(written, path=recipe), path, again=True)
        assert "--out" in str(told.value.remedy)
    assert recipe.read_bytes() == before


def test_capitals_of_an_ending_do_not_matter(tmp_path: Path) -> None:
    assert export(look(tmp_path, LOOKS["darker"][0]), tmp_path / "TRIED.CLF").path.is_file()


def test_settings_count(tmp_path: Path) -> None:
    one = export(read_look("faded_print"), tmp_path / "one.clf", size=9)
    other = export(read_look("faded_print", overrides={"fade": "0.02"}), tmp_path / "two.clf", size=9)
    dark = np.zeros((1, 3))
    lifted, deep = (read_process(each.path.read_text())(dark)[0, 0] for each in (one, other))
    assert lifted > deep + 0.03
