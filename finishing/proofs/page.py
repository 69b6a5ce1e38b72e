"""The proof page as one HTML file: template, style and script in one, with a policy that lets nothing else in.

Every text that comes from outside (names, titles, notes) is escaped, and set apart so that its direction of writing
does not spill over (`bdi`). The policy is Content Security Policy Level 3 (W3C): style and script are allowed by their
SHA-256, pictures from beside the page, nothing else.
"""

import base64
import hashlib
import json
from collections.abc import Mapping
from html import escape
from importlib import resources
from string import Template

from finishing.proofs.answers import ANSWER_VERSION, NOTE_LIMIT
from finishing.proofs.model import ProofFrame, ProofPage, ProofPicture
from finishing.proofs.texts import DIRECTION, LANGUAGE, TEXTS

SCRIPTS = ("keeping.js", "grid.js", "viewer.js", "answer.js")
#: Stands in the head of every page, and tells a page of ours from another that lies in the way.
MARK = '<meta name="generator" content="finishing proof">'


def proof_html(
    page: ProofPage, texts: Mapping[str, str] = TEXTS, *, language: str = LANGUAGE, direction: str = DIRECTION
) -> str:
    """The page as text. texts: all of TEXTS's keys, in another language perhaps. The same page gives the same text."""
    style, script = _part("style.css"), _script()
    words = {key: escape(text) for key, text in texts.items()}
    parts = {
        "language": escape(language),
        "direction": escape(direction),
        "policy": _policy(style, script),
        "mark": MARK,
        "title": escape(page.title),
        "send": _send(page, texts),
        "subtitle": f'<p class="subtitle"><bdi>{escape(page.subtitle)}</bdi></p>' if page.subtitle else "",
        "rights": f"<footer><p><bdi>{escape(page.rights)}</bdi></p></footer>" if page.rights else "",
        "look_choices": "".join(
            f'<option value="{index}">{escape(title)}</option>' for index, title in enumerate(page.looks.values())
        ),
        "look_control": "" if len(page.looks) > 1 else " hidden",
        "shape": _shape(page),
        "groups": "\n".join(_groups(page, texts)),
        "total": escape(texts["progress"].format(count=0, total=len(list(page.frames)))),
        "data": _data(page, texts),
        "style": style,
        "script": script,
        "note_limit": str(NOTE_LIMIT),
    }
    return Template(_part("page.html")).substitute({f"text_{key}": text for key, text in words.items()} | parts)


def _script() -> str:
    """The script's parts in one, closed off from everything else in the page."""
    return '"use strict";\n(() => {\n' + "\n".join(_part(name) for name in SCRIPTS) + "})();\n"


def _part(name: str) -> str:
    return resources.files("finishing.proofs").joinpath(name).read_text("utf-8").replace("\r\n", "\n")


def _policy(style: str, script: str) -> str:
    def allowed(text: str) -> str:
        return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"

    # Browsers do not agree on whether 'self' means the folder of a page that was opened from a disk: file: says so.
    return (
        f"default-src 'none'; img-src 'self' file: data:; style-src {allowed(style)}; script-src {allowed(script)}; "
        "base-uri 'none'; form-action 'none'"
    )


def _shape(page: ProofPage) -> str:
    """What the mounts of the small pictures are shaped for: square ones give both kinds of frames the same room."""
    wide = {frame.original.width >= frame.original.height for frame in page.frames}
    return "mixed" if len(wide) != 1 else "wide" if wide == {True} else "tall"


def _groups(page: ProofPage, texts: Mapping[str, str]) -> list[str]:
    parts, number = [], 0
    for index, group in enumerate(page.groups):
        frames = []
        for frame in group.frames:
            frames.append(_frame(number, frame, page, texts))
            number += 1
        heading = group.heading or (texts["no_setup"] if len(page.groups) > 1 else "")
        label = f' aria-labelledby="group-{index}"' if heading else ""
        most = max((len(frame.looks) for frame in group.frames), default=1)
        opening = f'<section class="group"{label}>{_heading(index, heading)}'
        parts.append(f'{opening}<ol class="frames" data-looks="{most}">')
        parts += frames
        parts.append("</ol></section>")
    return parts


def _heading(index: int, heading: str) -> str:
    return f'<header><h2 id="group-{index}"><bdi>{escape(heading)}</bdi></h2></header>' if heading else ""


def _send(page: ProofPage, texts: Mapping[str, str]) -> str:
    if not page.contact:
        return escape(texts["send_how"])
    before, _, after = texts["send_how_to"].partition("{contact}")
    return f"{escape(before)}<bdi>{escape(page.contact)}</bdi>{escape(after)}"


def _frame(number: int, frame: ProofFrame, page: ProofPage, texts: Mapping[str, str]) -> str:
    order = list(page.looks)
    cells = []
    for name, picture in frame.looks.items():
        title = page.looks[name]
        alt = escape(texts["picture"].format(frame=frame.name, look=title))
        label = escape(texts["choose_this"].format(frame=frame.name, look=title))
        cells.append(
            f'<div class="cell" data-look="{order.index(name)}">'
            f'<button type="button" class="mount">{_small(picture, alt)}</button>'
            f'<button type="button" class="choose" aria-pressed="false" aria-label="{label}">'
            f'<span class="tick" aria-hidden="true"></span><bdi>{escape(title)}</bdi></button></div>'
        )
    return (
        f'<li class="frame" data-frame="{number}"><h3><bdi>{escape(frame.name)}</bdi></h3>'
        f'<div class="looks">{"".join(cells)}</div><p class="note" dir="auto" hidden></p>'
        f'<button type="button" class="write" aria-label="'
        f'{escape(texts["write_note_on"].format(frame=frame.name))}">{escape(texts["write_note"])}</button></li>'
    )


def _small(picture: ProofPicture, alt: str) -> str:
    return (
        f'<img src="{escape(picture.small)}" width="{picture.small_width}" height="{picture.small_height}" '
        f'loading="lazy" decoding="async" draggable="false" alt="{alt}">'
    )


def _data(page: ProofPage, texts: Mapping[str, str]) -> str:
    """What the script needs, as JSON that no text in it can end: < and > do not stand in it."""
    value = {
        "id": page.id,
        "title": page.title,
        "contact": page.contact,
        "version": ANSWER_VERSION,
        "noteLimit": NOTE_LIMIT,
        "texts": dict(texts),
        "looks": [{"name": name, "title": title} for name, title in page.looks.items()],
        "frames": [
            {
                "name": frame.name,
                "looks": {name: _picture(picture) for name, picture in frame.looks.items()},
                "original": _picture(frame.original),
            }
            for frame in page.frames
        ],
    }
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"))
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def _picture(picture: ProofPicture) -> list[str | int]:
    return [picture.file, picture.width, picture.height, picture.small]
