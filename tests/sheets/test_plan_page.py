"""The plan as one page: HTML that holds everything itself, PDF on one page."""

import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest

from finishing.batch.paper.plan_paper import plan_page, write_plan_page
from finishing.errors import Problem
from finishing.sessions.plan_table import CAUTIONS
from finishing.sessions.worked_out import WorkedPlan, work_out
from finishing.sheets.model import Paper
from finishing.sheets.plan_page import Evening, clock_text, hours_between, html_page, lanes, place_on_scale
from finishing.sheets.plan_pdf import draw_plan, folded
from finishing.sheets.typeface import measure
from tests.sessions.plan_text import parse_plan

SETUP = """\
  - id: {id}
    title: "Hands & <quinces>, close, number {id}"
    from: "{start}"
    to: "{end}"
    exposure: {{aperture: f/5.6, shutter: 1/250, iso: 200}}
    ambient: -2
    strobes:
      - {{name: key, modifier: "medium softbox", position: camera left, power: 1/8, reads: f/5.6}}
      - {{name: fill, modifier: medium softbox, position: beside the camera, power: 1/32, reads: f/2.8}}
"""


def worked(count: int = 3) -> WorkedPlan:
    starts = [18 * 60 + 20 + 15 * i for i in range(count)]
    setups = "".join(
        SETUP.format(id=f"S{i}", start=clock_text(start), end=clock_text(start + 12)) for i, start in enumerate(starts)
    )
    place = '{name: "Orchard <b>&</b>", latitude: 47.4, longitude: 8.6, date: 2026-09-19, utc_offset: "+02:00"}'
    return work_out(parse_plan(f"place: {place}\nsync: 1/200\nsetups:\n{setups}"))


class Words(HTMLParser):
    """Collects the words of a page, its tags, and whether every tag is closed."""

    VOID = frozenset({"meta", "circle", "line", "polyline", "rect"})

    def __init__(self, text: str) -> None:
        super().__init__()
        self.words, self.tags, self.open = [], [], []  # type: ignore[var-annotated]
        self.attributes: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [name for name, _ in attrs]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_the_html_holds_everything_itself() -> None:
    text = html_page(plan_page(worked()))
    page = Words(text)
    assert page.open == []
    assert not {"script", "link", "img", "iframe"} & set(page.tags)
    assert not {"src", "href", "onload", "onclick"} & set(page.attributes)
    assert not re.search(r"https?://|url\(|@import", text)
    words = " ".join(page.words)
    for part in (
        "Orchard <b>&</b>",
        "Hands & <quinces>, close, number S2",
        "Sunset 19:29, end of civil twilight 20:00",
        "18:20 to 18:32",
        "Daylight falls",
        "To hold the ambient at −2, open the shutter",
        "The shutter is faster than the sync time",
        *CAUTIONS,
    ):
        assert part in words
    assert "<quinces>" not in text


def test_the_same_plan_is_the_same_bytes(tmp_path: Path) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    for name in ("one.html", "one.pdf"):
        first = write_plan_page(worked(), tmp_path / name).read_bytes()
        assert write_plan_page(worked(), tmp_path / f"again-{name}").read_bytes() == first


@pytest.mark.parametrize(("count", "paper"), [(1, Paper(210, 297)), (3, Paper(215.9, 279.4)), (4, Paper(210, 297))])
def test_the_pdf_is_one_page_with_everything_on_it(tmp_path: Path, count: int, paper: Paper) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    pdftotext = shutil.which("pdftotext")
    if pdftotext is None:
        pytest.skip("the PDF tools are not installed")
    path = draw_plan(plan_page(worked(count)), tmp_path / "plan.pdf", paper)
    told = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
    assert re.search(r"Pages:\s+1\n", told)
    boxes = subprocess.run([pdftotext, "-bbox", path, "-"], capture_output=True, text=True, check=True).stdout
    places = [
        tuple(map(float, found)) for found in re.findall(r'xMin="(.+?)" yMin="(.+?)" xMax="(.+?)" yMax="(.+?)"', boxes)
    ]
    assert len(places) > 100
    width, height = paper.width_mm / 25.4 * 72, paper.height_mm / 25.4 * 72
    assert all(20 < x1 < x2 < width - 20 and 20 < y1 < y2 < height - 20 for x1, y1, x2, y2 in places)
    words = re.sub(
        r"\s+", " ", subprocess.run([pdftotext, "-raw", path, "-"], capture_output=True, text=True, check=True).stdout
    )
    for part in ("Orchard <b>&</b>", f"number S{count - 1}", "f/5.6 1/250 ISO 200", "+0.3", CAUTIONS[0]):
        assert part in words


def test_many_setups_go_on_to_further_pages(tmp_path: Path) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    path = draw_plan(plan_page(worked(18)), tmp_path / "plan.pdf", Paper(210, 297))
    assert path.read_bytes().count(b"/Type /Page\n") > 1


def test_other_endings_and_closed_folders_are_refused(tmp_path: Path) -> None:
    with pytest.raises(Problem, match=r"\.html or \.pdf"):
        write_plan_page(worked(), tmp_path / "plan.docx")
    with pytest.raises(Problem):
        write_plan_page(worked(), tmp_path / "no" / "plan.html")


def test_a_plan_without_place_or_strobes_has_a_page_too() -> None:
    plan = work_out(parse_plan("setups: [{id: S, exposure: {aperture: 8, shutter: 1/60, iso: 100}}]"))
    page = plan_page(plan)
    assert page.title == "Shoot plan"
    assert page.evening is None
    assert "f/8" in html_page(page)


def test_places_on_the_axes() -> None:
    assert [place_on_scale(stops) for stops in (-9, -4, -1, 2, 7)] == [0, 0, 0.5, 1, 1]
    assert hours_between(1110, 1200) == [1110, 1125, 1140, 1155, 1170, 1185, 1200]
    assert hours_between(1101, 1439) == [1140, 1200, 1260, 1320, 1380]
    spans = (("A", 0.0, 10.0), ("B", 5.0, 15.0), ("C", 10.0, 20.0), ("D", 15.0, 16.0))
    evening = Evening(0, 30, ((0, 0), (30, -1)), spans, ())
    assert [(label, lane) for label, _, _, lane in lanes(evening)] == [("A", 0), ("B", 1), ("C", 0), ("D", 1)]


def test_folding() -> None:
    text = "a plan of several words that needs more than one line"
    lines = folded(text, 30, 9, False)
    assert " ".join(lines) == text
    assert all(measure(line, 9) <= 30 for line in lines)
    assert folded("", 30, 9, False) == []
