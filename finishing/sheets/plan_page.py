"""The shoot plan as one page: what stands on it, as plain texts and places, and the page as one HTML file.

The HTML holds everything itself (no scripts, no fonts, nothing from elsewhere), reads in one column on a phone, light
or dark as the phone is set, and prints in two columns. `finishing.sheets.plan_pdf` draws the same page as PDF.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape

#: The span of the dot plot, in stops against the exposure; levels beyond stand at its ends.
SCALE = (-4.0, 2.0)


@dataclass(frozen=True)
class Level:
    """One light on the dot plot. kind: head, strobes, ambient or together; stops: None where not known."""

    kind: str
    name: str
    detail: str
    reads: str
    stops: float | None
    told: str


@dataclass(frozen=True)
class Rung:
    """A shutter with what it is for: an ambient level or a time of day; note: in a few words; now: the planned one."""

    label: str
    shutter: str
    note: str = ""
    now: bool = False


@dataclass(frozen=True)
class Section:
    """One set-up. settings: aperture, shutter, ISO; facts: short lines; warnings: what is doubtful and what to do."""

    id: str
    title: str
    time: str
    settings: tuple[str, ...]
    settings_note: str
    levels: tuple[Level, ...]
    ladder: tuple[Rung, ...]
    clock: tuple[Rung, ...]
    clock_title: str
    facts: tuple[str, ...]
    warnings: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Evening:
    """The light over the time of the shoot. start, end: minutes after midnight; curve: minute and stops against the
    first; spans: set-ups with their times; marks: sunset and the like."""

    start: float
    end: float
    curve: tuple[tuple[float, float], ...]
    spans: tuple[tuple[str, float, float], ...]
    marks: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class PlanPage:
    """The whole page. facts: one line below the title; notes: headings with lines (frames left over, clocks)."""

    title: str
    facts: tuple[str, ...]
    evening: Evening | None
    sections: tuple[Section, ...]
    notes: tuple[tuple[str, tuple[str, ...]], ...]
    cautions: tuple[str, ...]


def clock_text(minute: float) -> str:
    """18:50 of minutes after midnight."""
    whole = round(minute) % 1440
    return f"{whole // 60:02d}:{whole % 60:02d}"


def hours_between(start: float, end: float) -> list[float]:
    """Round times for an axis: quarters, halves or whole hours, at most seven."""
    step = next(s for s in (5, 10, 15, 30, 60, 120, 240, 480) if (end - start) / s <= 7)
    first = -(-start // step) * step
    return [first + i * step for i in range(int((end - first) // step) + 1)]


def place_on_scale(stops: float) -> float:
    """Where a level stands on the dot plot, 0 to 1."""
    low, high = SCALE
    return (min(max(stops, low), high) - low) / (high - low)


def lanes(evening: Evening) -> list[tuple[str, float, float, int]]:
    """The set-ups' spans, each with the number of a row in which it does not lie over another."""
    ends: list[float] = []
    placed = []
    for label, start, end in sorted(evening.spans, key=lambda span: span[1:]):
        lane = next((i for i, until in enumerate(ends) if until <= start), len(ends))
        ends[lane:] = [end, *ends[lane + 1 :]]
        placed.append((label, start, end, lane))
    return placed


_STYLE = """
:root{--paper:#fbfaf6;--ink:#25231f;--quiet:#6f6a60;--line:#ddd8cc;--wash:#f1eee5;--ambient:#b0621f;--strobe:#2c5f80;
--alert:#9a2f24}
@media screen and (prefers-color-scheme:dark){:root{--paper:#171614;--ink:#ece7db;--quiet:#a29b8d;--line:#3a372f;
--wash:#22201c;--ambient:#e39a55;--strobe:#7fb4d6;--alert:#f08a7c}}
*{box-sizing:border-box}
body{margin:0;background:var(--paper);color:var(--ink);font:1rem/1.42 system-ui,sans-serif;
font-variant-numeric:tabular-nums;-webkit-text-size-adjust:100%}
main{max-width:44rem;margin:0 auto;padding:1.4rem 1rem 2rem}
h1{font-size:1.6rem;line-height:1.15;margin:0;font-weight:650;letter-spacing:-.01em}
h2{font-size:1.08rem;line-height:1.25;margin:0;font-weight:650}
h2 b{display:inline-block;min-width:1.6em;color:var(--quiet);font-weight:650}
h3{font-size:.82rem;margin:.9rem 0 .2rem;color:var(--quiet);font-weight:500}
p,ul{margin:.25rem 0}
.facts{color:var(--quiet);margin:.35rem 0 0}
.facts span:not(:last-child)::after{content:" · "}
section{border-top:1px solid var(--line);padding:1.1rem 0 .9rem;margin-top:1.1rem}
.time{color:var(--quiet);float:right;margin-left:.8rem}
.settings{font-size:1.42rem;font-weight:650;line-height:1.2;margin:.45rem 0 .5rem;letter-spacing:-.01em}
.settings span{margin-right:.6em;white-space:nowrap}
.settings small{font-size:.85rem;font-weight:400;color:var(--quiet);letter-spacing:0;white-space:nowrap}
table{border-collapse:collapse;width:100%}
td{padding:.2rem 0 .1rem;vertical-align:middle}
td.reads{white-space:nowrap;padding:0 .7rem;text-align:right}
td.told{white-space:nowrap;text-align:right;width:3.1em;padding-left:.6rem}
td.plot{width:46%}
tr.detail td{color:var(--quiet);font-size:.8rem;line-height:1.3;padding:0 0 .25rem}
tr.ambient .name{color:var(--ambient)}tr.head .name,tr.strobes .name{color:var(--strobe)}
svg{display:block;width:100%;height:auto;overflow:visible}
.rungs{display:flex;flex-wrap:wrap;gap:.4rem;padding:0;margin:0;list-style:none}
.rungs li{background:var(--wash);border-radius:.35rem;padding:.28rem .6rem;min-width:4.6rem}
.rungs li.now{outline:1.5px solid var(--ambient)}
.rungs span{display:block;font-size:.8rem;color:var(--quiet)}
.rungs b{font-weight:650}
.rungs small{display:block;font-size:.75rem;color:var(--quiet)}
.lines{margin-top:.7rem}
.lines p{font-size:.92rem}
figure{margin:1rem 0 0;max-width:32rem}
.alert{border-left:3px solid var(--alert);padding-left:.7rem;margin:.6rem 0}
.alert b{font-weight:600;color:var(--alert)}
.alert p{font-size:.92rem;margin:.1rem 0}
footer{border-top:1px solid var(--line);margin-top:1.1rem;padding-top:.8rem;font-size:.88rem;color:var(--quiet)}
footer ul{padding-left:1.1rem}
@page{margin:11mm}
@media print{html{font-size:7.7pt}body{background:none}main{max-width:none;padding:0}
.setups{columns:2;column-gap:9mm}section{break-inside:avoid;margin:0;padding:.7rem 0}
.rungs li{background:none;border:.5pt solid var(--line)}footer{break-inside:avoid;margin-top:.4rem}
footer ul{columns:2;column-gap:9mm}figure{max-width:110mm}}
"""


def html_page(page: PlanPage) -> str:
    """The page as HTML 5; every text is escaped."""
    body = "\n".join(_body(page))
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(page.title)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n{body}\n</main>\n"
        "</body>\n</html>\n"
    )


def _body(page: PlanPage) -> Iterator[str]:
    yield f"<h1>{escape(page.title)}</h1>"
    yield '<p class="facts">' + "".join(f"<span>{escape(fact)}</span>" for fact in page.facts) + "</p>"
    if page.evening is not None:
        yield f"<figure>{_evening(page.evening)}</figure>"
    yield '<div class="setups">'
    for section in page.sections:
        yield from _section(section)
    yield "</div>"
    yield "<footer>"
    for heading, lines in page.notes:
        yield f"<h3>{escape(heading)}</h3>"
        yield _list(lines)
    yield "<h3>Take care</h3>"
    yield _list(page.cautions)
    yield "</footer>"


def _list(lines: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ul>"


def _section(section: Section) -> Iterator[str]:
    yield "<section>"
    if section.time:
        yield f'<span class="time">{escape(section.time)}</span>'
    yield f"<h2><b>{escape(section.id)}</b> {escape(section.title)}</h2>"
    settings = "".join(f"<span>{escape(one)}</span>" for one in section.settings)
    yield f'<p class="settings">{settings}<small>{escape(section.settings_note)}</small></p>'
    if section.levels:
        yield "<table>"
        for level in section.levels:
            yield _level(level)
        yield f'<tr><td></td><td></td><td class="plot">{_axis()}</td><td></td></tr></table>'
    if section.ladder:
        yield "<h3>Shutter for the ambient at</h3>"
        yield _rungs(section.ladder)
    if section.clock:
        yield f"<h3>{escape(section.clock_title)}</h3>"
        yield _rungs(section.clock)
    if section.facts:
        yield '<div class="lines">' + "".join(f"<p>{escape(fact)}</p>" for fact in section.facts) + "</div>"
    for what, remedy in section.warnings:
        yield f'<div class="alert"><p><b>{escape(what)}</b></p><p>{escape(remedy)}</p></div>'
    yield "</section>"


def _level(level: Level) -> str:
    detail = f'<tr class="detail"><td colspan="4">{escape(level.detail)}</td></tr>' if level.detail else ""
    return (
        f'<tr class="{level.kind}"><td><span class="name">{escape(level.name)}</span></td>'
        f'<td class="reads">{escape(level.reads)}</td><td class="plot">{_dot(level)}</td>'
        f'<td class="told">{escape(level.told)}</td></tr>{detail}'
    )


def _rungs(rungs: Sequence[Rung]) -> str:
    items = []
    for rung in rungs:
        note = f"<small>{escape(rung.note)}</small>" if rung.note else ""
        now = ' class="now"' if rung.now else ""
        items.append(f"<li{now}><span>{escape(rung.label)}</span><b>{escape(rung.shutter)}</b>{note}</li>")
    return f'<ul class="rungs">{"".join(items)}</ul>'


_COLOURS = {
    "head": "var(--strobe)", "strobes": "var(--strobe)", "ambient": "var(--ambient)", "together": "var(--ink)",
}  # fmt: skip


def _dot(level: Level) -> str:
    """A line over the whole scale, the exposure's own level marked, and a dot: hollow for a single head."""
    zero = 6 + 188 * place_on_scale(0)
    parts = [
        '<svg viewBox="0 0 200 16" role="img" aria-label="' + escape(level.told) + '">',
        '<line x1="6" y1="8" x2="194" y2="8" stroke="var(--line)"/>',
        f'<line x1="{zero:.1f}" y1="1" x2="{zero:.1f}" y2="15" stroke="var(--quiet)"/>',
    ]
    if level.stops is not None:
        x = 6 + 188 * place_on_scale(level.stops)
        colour = _COLOURS[level.kind]
        fill = "var(--paper)" if level.kind == "head" else colour
        parts.append(f'<circle cx="{x:.1f}" cy="8" r="5.5" fill="{fill}" stroke="{colour}" stroke-width="2.2"/>')
    return "".join([*parts, "</svg>"])


def _axis() -> str:
    parts = ['<svg viewBox="0 0 200 14" aria-hidden="true">']
    low, high = SCALE
    for stops in range(int(low), int(high) + 1):
        x = 6 + 188 * place_on_scale(stops)
        text = f"{'+' if stops > 0 else '−' if stops < 0 else ''}{abs(stops)}"
        parts.append(f'<text x="{x:.1f}" y="10" font-size="11" text-anchor="middle" fill="var(--quiet)">{text}</text>')
    return "".join([*parts, "</svg>"])


def _evening(evening: Evening) -> str:
    """Daylight falling over the clock, with the set-ups' times under it."""
    width, top = 400.0, 14.0 + 14 * len(evening.marks)
    bottom = top + 66
    least = min(stops for _, stops in evening.curve)
    most = max(stops for _, stops in evening.curve)

    def x(minute: float) -> float:
        return 8 + (width - 16) * (minute - evening.start) / (evening.end - evening.start)

    def y(stops: float) -> float:
        return top + (bottom - top) * (most - stops) / max(most - least, 1e-9)

    placed = lanes(evening)
    height = bottom + 30 + 17 * (1 + max((lane for *_, lane in placed), default=0))
    curve = " ".join(f"{x(minute):.1f},{y(stops):.1f}" for minute, stops in evening.curve)
    parts = [f'<svg viewBox="0 0 {width:g} {height:g}" role="img" aria-label="Daylight over the time of the shoot">']
    for minute in hours_between(evening.start, evening.end):
        parts.append(
            f'<line x1="{x(minute):.1f}" y1="{top}" x2="{x(minute):.1f}" y2="{bottom}" stroke="var(--line)"/>'
            f'<text x="{x(minute):.1f}" y="{bottom + 15:g}" font-size="11.5" text-anchor="middle" '
            f'fill="var(--quiet)">{clock_text(minute)}</text>'
        )
    for index, (label, minute) in enumerate(evening.marks):  # each label a row of its own: they may stand close
        side, at = ("end" if x(minute) > width / 2 else "start"), 12 + 14 * index
        parts.append(
            f'<line x1="{x(minute):.1f}" y1="{at + 4}" x2="{x(minute):.1f}" y2="{bottom}" stroke="var(--ambient)" '
            'stroke-dasharray="3 3"/>'
            f'<text x="{x(minute):.1f}" y="{at}" font-size="11.5" text-anchor="{side}" '
            f'fill="var(--ambient)">{escape(label)}</text>'
        )
    parts.append(f'<polyline points="{curve}" fill="none" stroke="var(--ambient)" stroke-width="2.5"/>')
    parts.append(
        f'<text x="12" y="{bottom - 6:g}" font-size="11.5" fill="var(--quiet)">daylight, {_stops(least - most)} stops '
        "from left to right</text>"
    )
    for label, start, end, lane in placed:
        row = bottom + 24 + 17 * lane
        wide = max(x(end) - x(start), 3)
        parts.append(
            f'<rect x="{x(start):.1f}" y="{row:g}" width="{wide:.1f}" height="14" rx="2" fill="var(--strobe)" '
            'fill-opacity="0.18"/>'
            f'<text x="{x(start) + 4:.1f}" y="{row + 11:g}" font-size="11.5" fill="var(--ink)">{escape(label)}</text>'
        )
    return "".join([*parts, "</svg>"])


def _stops(stops: float) -> str:
    return f"{'−' if stops < 0 else '+'}{abs(stops):.1f}"
