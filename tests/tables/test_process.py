"""Files of the Common LUT Format, written and read, against OpenColorIO as a second reader."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.colour import transfer
from finishing.tables.nodes import ExponentNode, MatrixNode, Node, Process, RangeNode, Table1D, Table3D
from finishing.tables.reading import carry_out, read_process
from finishing.tables.writing import write_process

RANDOM = np.random.default_rng(17)
NODES: dict[str, Node] = {
    "matrix": MatrixNode(np.array([[0.9, 0.2, -0.1], [0.05, 1.1, -0.15], [0.0, 0.3, 0.7]])),
    "matrix with offset": MatrixNode(np.column_stack([np.eye(3) * 0.5, [0.1, 0.2, 0.3]])),
    "decode": ExponentNode(decodes=True),
    "encode": ExponentNode(decodes=False),
    "range": RangeNode(),
    "narrow range": RangeNode(0.1, 0.8),
    "curve": Table1D(np.sort(RANDOM.random((50, 3)), axis=0)),
    "table of two": Table3D(RANDOM.random((2, 2, 2, 3))),
    "table": Table3D(RANDOM.random((9, 9, 9, 3))),
}


def process(*nodes: Node, descriptions: tuple[str, ...] = ()) -> Process:
    return Process("11111111-2222-3333-4444-555555555555", 'A <look> & "more"', descriptions, "in", "out", nodes)


def colours(low: float = -0.3, high: float = 1.4) -> np.ndarray:
    corners = np.stack(np.meshgrid([0.0, 0.5, 1.0], [0.0, 0.5, 1.0], [0.0, 0.5, 1.0]), -1).reshape(-1, 3)
    return np.concatenate([np.random.default_rng(5).uniform(low, high, (4000, 3)), corners])


def by_open_color_io(path: Path, values: np.ndarray) -> np.ndarray:
    ocio = pytest.importorskip("PyOpenColorIO", reason="OpenColorIO is not installed")
    ocio.SetLoggingLevel(ocio.LOGGING_LEVEL_NONE)
    config = ocio.Config.CreateRaw()
    made = config.getProcessor(ocio.FileTransform(str(path), interpolation=ocio.INTERP_TETRAHEDRAL))
    result = np.ascontiguousarray(values, np.float32)
    made.getOptimizedCPUProcessor(ocio.OPTIMIZATION_NONE).applyRGB(result)
    return result


@pytest.mark.parametrize("name", NODES)
def test_a_node_means_the_same_to_another_reader(tmp_path: Path, name: str) -> None:
    path = tmp_path / "one.clf"
    path.write_text(write_process(process(NODES[name], descriptions=("Ünïcode, < and &",))))
    values = colours()
    ours = read_process(path.read_text())(values)
    # OpenColorIO works in float32 and approximates powers
    assert np.abs(ours - by_open_color_io(path, values)).max() < 2e-5


def test_a_chain_means_the_same_to_another_reader(tmp_path: Path) -> None:
    path = tmp_path / "chain.clf"
    chain = [NODES[name] for name in ("range", "decode", "matrix", "encode", "curve", "table")]
    path.write_text(write_process(process(*chain)))
    values = colours()
    assert np.abs(read_process(path.read_text())(values) - by_open_color_io(path, values)).max() < 2e-4


def test_what_is_written_is_read() -> None:
    written = process(*NODES.values(), descriptions=("One", "Two & three"))
    read = read_process(write_process(written))
    assert (read.source, read.target, read.descriptions) == ("in", "out", ("One", "Two & three"))
    values = colours()
    for before, after in zip(NODES.values(), read.nodes, strict=True):
        assert type(after) is type(before)
        assert np.abs(carry_out(after, values) - carry_out(before, values)).max() < 1e-7


def test_the_exponents_are_srgb_to_its_rounded_constants() -> None:
    """IEC 61966-2-1 rounds the constants that make value and slope run on: 0.04045 and 12.92."""
    values = np.linspace(-1.5, 1.5, 20001)[:, None] * np.ones(3)
    decoded = carry_out(ExponentNode(decodes=True), values)
    assert np.abs(decoded - transfer.srgb_decode(values)).max() < 1e-5
    assert np.abs(carry_out(ExponentNode(decodes=False), decoded) - values).max() < 1e-12


@given(st.lists(st.floats(-1, 2), min_size=12, max_size=12))
def test_tetrahedra_give_back_what_is_linear(coefficients: list[float]) -> None:
    """Any affine function of the colour comes through a table exactly, at any place."""
    affine = np.array(coefficients).reshape(3, 4)
    places = np.linspace(0, 1, 4)
    grid = np.stack(np.meshgrid(places, places, places, indexing="ij"), -1)
    table = Table3D(grid @ affine[:, :3].T + affine[:, 3])
    values = np.random.default_rng(9).random((300, 3))
    assert np.abs(carry_out(table, values) - (values @ affine[:, :3].T + affine[:, 3])).max() < 1e-12


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("<Matrix", "<Log", "no XML"),
        ("</ProcessList>", "", "no XML"),
        (' dim="3 3"', "", "dim is missing"),
        ('dim="3 3"', 'dim="three"', "three"),
        ('dim="3 3"', 'dim="4 3"', "matrix of"),
        ("Array", "Numbers", "Array is missing"),
        ('inBitDepth="32f"', 'inBitDepth="10i"', "floating point"),
        ('dim="3 3"', 'dim="1 9"', "matrix"),
        ('<?xml version="1.0" encoding="UTF-8"?>', '<?xml version="1.0"?><!DOCTYPE a>', "document type"),
    ],
)
def test_other_files_are_refused(old: str, new: str, told: str) -> None:
    text = write_process(process(NODES["matrix"]))
    assert old in text
    with pytest.raises(ValueError, match=told):
        read_process(text.replace(old, new))


@pytest.mark.parametrize(
    ("node", "old", "new", "told"),
    [
        ("decode", "ExponentParams", "Params", "ExponentParams is missing"),
        ("decode", " exponent=", " power=", "exponent is missing"),
        ("range", "minInValue", "leastInValue", "minInValue is missing"),
        ("curve", 'dim="50 3"', 'dim="50"', "dim"),
        ("curve", 'dim="50 3"', 'dim="3"', "dim"),
        ("table of two", 'dim="2 2 2 3"', 'dim="1 1 8 3"', "dim"),
    ],
)
def test_what_lacks_in_a_node_is_told(node: str, old: str, new: str, told: str) -> None:
    text = write_process(process(NODES[node]))
    assert old in text
    with pytest.raises(ValueError, match=told):
        read_process(text.replace(old, new))


@given(st.text())
def test_any_text_can_be_a_title(text: str) -> None:
    """XML 1.0, section 2.2, has no place for most control characters, surrogates, U+FFFE and U+FFFF."""
    titled = Process("11111111-2222-3333-4444-555555555555", text, (text,), text, "out", (NODES["range"],),
                     (("LeftOut", text),))  # fmt: skip
    read = read_process(write_process(titled))
    kept = [sign for sign in text if sign in "\t\n\r" or not (sign < " " or "\ud800" <= sign <= "\udfff")]
    wanted = "".join(kept).replace("\ufffe", "").replace("\uffff", "")
    assert read.descriptions[0] == read.source == wanted.replace("\r\n", "\n").replace("\r", "\n")


def test_signs_that_xml_has_no_place_for_are_left_out() -> None:
    text = write_process(process(NODES["range"], descriptions=("Dusk\x00\x07 and\ufffe \ud800dawn\tagain",)))
    assert read_process(text).descriptions == ("Dusk and dawn\tagain",)
