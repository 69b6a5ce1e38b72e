"""A client's answer brought into session.yaml, and the picked frames finished."""

import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from finishing.batch.client.picking import bring_in
from finishing.batch.client.proofing import id_of
from finishing.batch.client.session_editing import with_frames_changed
from finishing.batch.delivery.run import run
from finishing.batch.work.assignment import assign
from finishing.cli.main import main
from finishing.errors import Problem, ProblemSet


def write_answer(session: Path, *picks: dict[str, Any], changes: dict[str, Any] | None = None) -> Path:
    told = {"id": id_of(assign(session)), "title": "Orchard test"}
    answer = {"finishing_answer": 1, "session": told, "picks": list(picks)} | (changes or {})
    path = session / "answer.json"
    path.write_text(json.dumps(answer))
    return path


def pick(frame: str, *looks: str, note: str = "") -> dict[str, Any]:
    return {"frame": frame, "looks": list(looks), "note": note}


def per_frame(session: Path) -> dict[str, Any]:
    return yaml.safe_load((session / "session.yaml").read_text("utf-8"))["per_frame"]


def test_looks_notes_and_ratings_come_in_and_the_rest_stays(session: Path) -> None:
    before = (session / "session.yaml").read_text()
    answer = write_answer(
        session,
        pick("A-0002", "one_colour_kept", "faded_print", note='"quotes": and\n# lines'),
        pick("Z-0009", "faded_print"),
        pick("C-0004", note="rather not this one"),
    )
    report = bring_in(session, answer)
    assert report.chosen == 2
    assert per_frame(session) == {
        "A-0002": {
            "subject": [0.45, 0.5],
            "rating": 5,
            "picked": ["faded_print", "one_colour_kept"],  # in the session's order
            "note": '"quotes": and\n# lines',
        },
        "Z-0009": {"rating": 5, "picked": ["faded_print"]},
        "C-0004": {"note": "rather not this one"},
    }
    after = (session / "session.yaml").read_text()
    assert after[: after.index("per_frame:")] == before[: before.index("per_frame:")]
    assert after[after.index("deliverables:") :] == before[before.index("deliverables:") :]
    assert (session / "session.yaml.before-picks").read_text() == before


def test_comments_order_and_line_ends_stay(session: Path) -> None:
    text = (session / "session.yaml").read_text()
    entries = """\
per_frame:   # what holds for one frame

  # the frame for the cover
  A-0002: {subject: [0.45, 0.50], rating: 4}   # kept for print
  'C-0004':
    rating: -1  # blinked
    skip: no    # perhaps

# what is delivered
"""
    head, _, rest = text.partition("per_frame:")
    text = "# our session\n" + head + entries + rest[rest.index("deliverables:") :].rstrip("\n")
    (session / "session.yaml").write_bytes(text.replace("\n", "\r\n").encode())
    bring_in(session, write_answer(session, pick("C-0004", "faded_print"), pick("A-0001", "faded_print")))
    after = (session / "session.yaml").read_bytes().decode()
    assert after.count("\r\n") == after.count("\n")
    after = after.replace("\r\n", "\n")
    # a comment keeps its column
    expected = text.replace("rating: -1  # blinked", "rating: 5   # blinked").replace(
        "    skip: no    # perhaps\n",
        "    skip: no    # perhaps\n    picked: [faded_print]\n  A-0001: {rating: 5, picked: [faded_print]}\n",
    )
    assert after == expected


@pytest.mark.parametrize(
    "part",
    ["", "per_frame: {}\n", "per_frame: {A-0002: {rating: 4}}\n", "per_frame:\n  A-0002: {}\n"],
    ids=["absent", "empty", "in braces", "nothing said"],
)
def test_every_way_to_write_it(session: Path, part: str) -> None:
    text = (session / "session.yaml").read_text()
    start, end = text.index("per_frame:"), text.index("deliverables:")
    (session / "session.yaml").write_text((text[:start] + part + text[end:]).rstrip("\n"))
    bring_in(session, write_answer(session, pick("A-0002", "faded_print")))
    assert per_frame(session)["A-0002"] == {"rating": 5, "picked": ["faded_print"]}
    assert assign(session, frames=["picked"]).frames[0].frame.name == "A-0002"


def test_the_whole_session_in_braces(session: Path) -> None:
    data = yaml.safe_load((session / "session.yaml").read_text())
    (session / "session.yaml").write_text(json.dumps(data))
    bring_in(session, write_answer(session, pick("A-0002", "faded_print")))
    assert per_frame(session)["A-0002"]["picked"] == ["faded_print"]


def test_a_shared_entry_is_not_changed_for_both(session: Path) -> None:
    text = (session / "session.yaml").read_text()
    shared = "  A-0001: &both {rating: 2}\n  C-0004: *both\n"
    text = text.replace("per_frame:\n", "per_frame:\n" + shared)
    (session / "session.yaml").write_text(text)
    with pytest.raises(Problem, match="without changing other things"):
        bring_in(session, write_answer(session, pick("A-0001", "faded_print")))
    assert (session / "session.yaml").read_text() == text


def test_a_second_answer_stands_for_the_whole_choice(session: Path) -> None:
    bring_in(session, write_answer(session, pick("A-0001", "faded_print", note="lovely"), pick("C-0004", note="no")))
    report = bring_in(session, write_answer(session, pick("A-0002", "faded_print")))
    assert report.dropped == ("A-0001", "C-0004")
    assert per_frame(session) == {
        "A-0002": {"subject": [0.45, 0.5], "rating": 5, "picked": ["faded_print"]},
        "A-0001": {"rating": 5},
    }
    again = bring_in(session, session / "answer.json")
    assert again.backup is None


def test_two_clients_answers_are_joined(session: Path) -> None:
    bring_in(session, write_answer(session, pick("A-0001", "one_colour_kept", note="warm"), pick("C-0004", note="no")))
    bring_in(session, write_answer(session, pick("A-0001", "faded_print", note="soft")), add=True)
    said = per_frame(session)
    assert said["A-0001"] == {"rating": 5, "picked": ["faded_print", "one_colour_kept"], "note": "warm\nsoft"}
    assert said["C-0004"] == {"note": "no"}


def test_ratings_as_the_photographer_sets(session: Path) -> None:
    answer = write_answer(session, pick("A-0001", "faded_print"), pick("A-0002", "faded_print"))
    bring_in(session, answer, rating=3)
    assert (per_frame(session)["A-0001"]["rating"], per_frame(session)["A-0002"]["rating"]) == (3, 4)
    (session / "session.yaml").write_bytes((session / "session.yaml.before-picks").read_bytes())
    bring_in(session, answer, rating=None)
    assert "rating" not in per_frame(session)["A-0001"]


def test_run_finishes_just_what_was_picked(session: Path, tmp_path: Path) -> None:
    bring_in(session, write_answer(session, pick("A-0001", "one_colour_kept"), pick("Z-0009", "faded_print")))
    report = run(assign(session, frames=["picked"], deliverables=["web"]), tmp_path / "out", jobs=2)
    assert sorted(report.made) == ["web/faded_print/Z-0009.jpg", "web/one_colour_kept/A-0001.jpg"]


def test_picked_beside_names_and_looks(session: Path) -> None:
    bring_in(session, write_answer(session, pick("A-0001", "one_colour_kept")))

    def made(**how: list[str]) -> dict[str, list[str]]:
        return {work.frame.name: [look.name for look in work.looks] for work in assign(session, **how).frames}

    both = ["faded_print", "one_colour_kept"]
    assert made(frames=["picked", "C"]) == {"A-0001": ["one_colour_kept"], "C-0004": both}
    assert made(frames=["A-0001"]) == {"A-0001": both}
    assert made(frames=["picked"], looks=["faded_print"]) == {"A-0001": []}


def test_nothing_picked_and_unknown_looks_are_told(session: Path) -> None:
    with pytest.raises(Problem, match="no frame of the session is picked"):
        assign(session, frames=["picked"])
    text = (session / "session.yaml").read_text()
    (session / "session.yaml").write_text(text.replace("rating: 4}", "rating: 4, picked: [faded_prnt]}"))
    assign(session)
    with pytest.raises(ProblemSet, match=r'session.yaml:10:.*"faded_prnt" is picked for a frame that does not have it'):
        assign(session, frames=["picked"])


REFUSED = {
    "another session": ({"session": {"id": "0" * 16, "title": "Harbour"}}, "belongs to another session"),
    "unknown frame": ({"picks": [pick("A-9999", "faded_print")]}, "frame that the session does not have"),
    "unknown look": ({"picks": [pick("A-0001", "../../etc")]}, "a look that"),
    "look of another frame": ({"picks": [pick("Z-0009", "one_colour_kept")]}, "a look that"),
    "unknown key": ({"picks": [pick("A-0001", "faded_print") | {"rating": 5}]}, "a key that no answer has"),
    "another form": ({"finishing_answer": 2}, "does not know"),
    "endless note": ({"picks": [pick("A-0001", note="x" * 1001)]}, "too long"),
    "frame twice": ({"picks": [pick("A-0001", note="a"), pick("A-0001", note="b")]}, "names a frame twice"),
    "key of python": ({"picks": [pick("__class__", "faded_print")]}, "frame that the session does not have"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_wrong_answer_leaves_the_session_untouched(session: Path, case: str) -> None:
    changes, told = REFUSED[case]
    answer = write_answer(session, pick("A-0001", "faded_print"), changes=changes)
    before = {path: path.read_bytes() for path in session.iterdir() if path.is_file()}
    result = CliRunner().invoke(main, ["picks", str(session), str(answer)])
    assert result.exit_code == 2
    assert told in result.stderr
    assert "do this:" in result.stderr
    assert {path: path.read_bytes() for path in session.iterdir() if path.is_file()} == before


def test_what_is_told_on_the_terminal_is_harmless(session: Path) -> None:
    answer = write_answer(session, pick("\x1b[2Jgone\u202e", "faded_print"))
    result = CliRunner().invoke(main, ["picks", str(session), str(answer)])
    assert "\x1b" not in result.output
    assert "\u202e" not in result.output
    assert r"\u001b[2Jgone\u202e" in result.output


def test_the_commands_tell_what_to_do_next(session: Path, tmp_path: Path) -> None:
    made = CliRunner().invoke(main, ["proof", str(session), "--out", str(tmp_path / "p"), "--jobs", "2", "--json"])
    assert made.exit_code == 0
    assert json.loads(made.stdout)["frames"] == 4
    answer = write_answer(session, pick("A-0001", "faded_print", note="thank you"))
    result = CliRunner().invoke(main, ["picks", str(session), str(answer)])
    assert result.exit_code == 0
    assert "A-0001: faded_print\n    thank you\n1 frame picked in " in result.stdout
    assert result.stdout.endswith(f"now: finishing run {session} --frames picked\n")
    assert CliRunner().invoke(main, ["check", str(session / "session.yaml")]).exit_code == 0


NAMES = st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\u2028\u2029\ufeff"), min_size=1)
NOTES = st.text(st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"], include_characters="\n"), min_size=1)


@given(NAMES, NOTES, st.lists(NAMES, min_size=1, max_size=3))
def test_any_name_and_note_is_read_back(frame: str, note: str, looks: list[str]) -> None:
    text = "# ours\nsession: x\nper_frame:\n  A: {rating: 1} # stays\nlooks: []\n"
    changed = with_frames_changed(text, "session.yaml", {frame: {"picked": looks, "note": note, "rating": 3}})
    data = yaml.load(changed, Loader=yaml.BaseLoader)
    assert data["per_frame"][frame] == {
        **({"rating": "1"} if frame == "A" else {}),
        "picked": looks,
        "note": note,
        "rating": "3",
    }
    assert changed.startswith("# ours\nsession: x\nper_frame:\n  A: {rating: ")
    assert "} # stays\n" in changed
    assert changed.endswith("\nlooks: []\n")
