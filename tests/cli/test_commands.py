"""Every command as a user calls it: data on standard output, errors on standard error, exit statuses."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from finishing.cli.main import main
from finishing.regions.catalogue import REGIONS


def finishing(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def test_help_names_every_command_and_loads_nothing_heavy() -> None:
    result = finishing("--help")
    assert result.exit_code == 0
    for name in main.commands:
        assert f"  {name}" in result.stdout
        page = finishing(name, "--help")
        assert page.exit_code == 0
        assert "--help" in page.stdout
    code = (
        "import sys; from finishing.cli.main import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "print(sorted({'numpy', 'cv2', 'numba', 'PIL', 'pydantic', 'rich', 'yaml'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_checking_a_recipe_loads_no_compiler() -> None:
    code = (
        "import sys; from finishing.cli.main import main\n"
        "try: main(['check', sys.argv[1]])\nexcept SystemExit: pass\n"
        "print(sorted({'numba', 'rich', 'simplejpeg', 'colour'} & set(sys.modules)))"
    )
    recipe = Path(__file__).parents[2] / "recipes" / "faded_print.yaml"
    done = subprocess.run([sys.executable, "-c", code, str(recipe)], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_run_finishes_then_says_there_is_nothing_to_do(session: Path) -> None:
    first = finishing("run", session)
    assert first.exit_code == 0, first.stderr
    assert first.stdout.splitlines()[-1].startswith("14 files made in ")
    assert "[4/4]" in first.stderr
    second = finishing("run", session)
    assert second.exit_code == 0
    assert second.stdout.splitlines()[-1] == f"nothing to do: 14 files in {session / 'finished'} are up to date"


def test_run_with_a_bad_frame_names_it_and_ends_with_1(session: Path) -> None:
    (session / "frames/A-0001.jpg").write_bytes(b"")
    result = finishing("run", session, "--out", session.parent / "out")
    assert result.exit_code == 1
    assert "A-0001" in result.stderr
    assert "do this:" in result.stderr
    assert result.stdout.strip().endswith("1 frame failed")
    assert len(list((session.parent / "out").rglob("*.jpg"))) == 5


def test_run_keeps_to_what_is_asked_for(session: Path) -> None:
    out = session.parent / "out"
    result = finishing(
        "run", session, "--out", out, "--look", "faded_print", "--frames", "A,C", "--deliverable", "web", "--json"
    )
    told = json.loads(result.stdout)
    assert told["made"] == [f"web/faded_print/{name}.jpg" for name in ("A-0001", "A-0002", "C-0004")]
    dry = finishing("run", session, "--out", out, "--dry-run")
    assert dry.stdout.splitlines()[-1].startswith("11 files would be made")
    for wrong in (["--look", "nothing"], ["--frames", "Q-*"], ["--deliverable", "poster"]):
        refused = finishing("run", session, *wrong)
        assert refused.exit_code == 2
        assert "do this:" in refused.stderr


def test_run_with_json_tells_errors_as_json(session: Path) -> None:
    (session / "session.yaml").write_text("session: x\nframes: [frames/*.jpg]\nloks: []\n")
    result = finishing("run", session, "--json")
    assert result.exit_code == 2
    (problem,) = json.loads(result.stdout)["problems"]
    assert (problem["line"], problem["column"], problem["remedy"]) == (3, 1, 'did you mean "looks"?')


def test_sheet(session: Path) -> None:
    result = finishing("sheet", session, "--paper", "letter", "--columns", "2")
    assert result.exit_code == 0, result.stderr
    assert all(Path(line).is_file() for line in result.stdout.splitlines())
    one = finishing("sheet", session, "--out", session / "one.png", "--looks", "faded_print", "--frames", "A-0001")
    assert one.stdout.strip() == str(session / "one.png")


def test_plan_of_a_session_and_of_a_plan(session: Path) -> None:
    text = finishing("plan", session)
    assert text.exit_code == 0
    assert "camera and plan disagree" in text.stdout
    told = json.loads(finishing("plan", session, "--json").stdout)
    by_id = {setup["id"]: setup for setup in told["setups"]}
    assert by_id["A"]["frames"] == ["A-0001", "A-0002"]
    assert by_id["C"]["frames"] == ["C-0004"]
    assert by_id["A"]["ev100"] == 13
    # ambient −2 at 1/125: a stop at a time to balance (the shutter sets the ambient: common practice, no source)
    assert by_id["A"]["shutter_for"] == {"-2": "1/125", "-1": "1/60", "0": "1/30"}
    alone = json.loads(finishing("plan", session / "plan.yaml", "--json").stdout)
    assert [setup["id"] for setup in alone["setups"]] == ["A", "C"]


def test_plan_as_one_page(session: Path, tmp_path: Path) -> None:
    result = finishing("plan", session, "--out", tmp_path / "plan.html")
    assert result.exit_code == 0, result.stderr
    assert result.stdout.strip() == str(tmp_path / "plan.html")
    page = (tmp_path / "plan.html").read_text(encoding="utf-8")
    assert "Standing by the ladder" in page
    assert "frames    2" not in page
    assert "2: A-0001 … A-0002" in page
    told = json.loads(finishing("plan", session, "--json").stdout)
    assert told["setups"][1]["sun"]["from"]["elevation"] > told["setups"][1]["sun"]["to"]["elevation"]
    assert told["matching"]["clocks"] == [{"camera": None, "ahead_by_seconds": 90, "same_instant": None}]
    refused = finishing("plan", session, "--out", tmp_path / "plan.txt")
    assert refused.exit_code == 2
    assert "end the name with .html" in refused.stderr


def test_plan_decodes_nothing_and_loads_no_pixel_library(session: Path) -> None:
    code = (
        "import sys; from finishing.cli.main import main\n"
        "try: main(['plan', sys.argv[1]])\nexcept SystemExit: pass\n"
        "print(sorted({'numba', 'cv2', 'numpy', 'PIL', 'simplejpeg', 'colour', 'rich'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code, str(session)], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_init_writes_files_that_check_and_run_take(session: Path) -> None:
    for name in ("session.yaml", "plan.yaml"):
        (session / name).unlink()
    result = finishing("init", session)
    assert result.exit_code == 0, result.stderr
    assert "set-up Z: its files tell no aperture, shutter, iso" in result.stderr
    assert result.stdout.splitlines()[-1].endswith(f"then: finishing check {session / 'session.yaml'}")
    assert finishing("check", session / "session.yaml", session / "plan.yaml").exit_code == 0
    assert finishing("run", session, "--dry-run").exit_code == 0
    again = finishing("init", session, "--json")
    assert again.exit_code == 2
    assert json.loads(again.stdout)["problems"][0]["remedy"]


def test_apply(session: Path, tmp_path: Path) -> None:
    image = session / "frames/A-0001.jpg"
    result = finishing("apply", "one_colour_kept", image, "--out", tmp_path / "out", "--with", "kept_hue=60", "--json")
    assert result.exit_code == 0, result.stderr
    assert json.loads(result.stdout)["written"][0]["output"] == str(tmp_path / "out" / "A-0001.jpg")
    again = finishing("apply", "one_colour_kept", image, "--out", tmp_path / "out")
    assert again.exit_code == 2
    assert "the output exists already" in again.stderr
    missing = finishing("apply", "faded_print", tmp_path / "no.jpg", "--out", tmp_path / "out")
    assert missing.exit_code == 1
    typo = finishing("apply", "one_colour_kept", image, "--with", "kept_hu=60")
    assert typo.exit_code == 2
    assert 'did you mean "kept_hue"?' in typo.stderr


def test_lists_for_scripts() -> None:
    operations = json.loads(finishing("operations", "--json").stdout)
    assert {"exposure", "tone_curve", "hue_isolation", "edge_vignette"} <= {one["name"] for one in operations}
    (stops,) = next(one for one in operations if one["name"] == "exposure")["parameters"]
    assert (stops["unit"], stops["lowest"], stops["highest"], stops["neutral"]) == ("stops", -10, 10, 0)
    looks = json.loads(finishing("looks", "--json").stdout)
    assert {"faded_print", "white_edge", "one_colour_kept"} <= {one["name"] for one in looks}


def test_reference_pages_name_every_parameter() -> None:
    for one in json.loads(finishing("operations", "--json").stdout):
        page = finishing("operations", one["name"]).stdout
        assert one["example"] in page
        for parameter in one["parameters"]:
            assert f"  {parameter['name']}: {parameter['about']}" in page
    wrong = finishing("operations", "exposre")
    assert wrong.exit_code == 2
    assert 'did you mean "exposure"?' in wrong.stderr


def test_the_reference_of_regions(tmp_path: Path) -> None:
    listed = finishing("regions").stdout
    for name, region in REGIONS.items():
        told = json.loads(finishing("regions", name, "--json").stdout)
        assert told["name"] == name
        assert f"{name} " in listed
        page = finishing("regions", name).stdout
        assert region.summary in page
        assert [parameter["name"] for parameter in told["parameters"]] == [
            parameter for parameter in region.model_fields if not region.short_is_all
        ]
        for parameter in told["parameters"]:
            assert parameter["about"] in page
        # what the page shows is a step that can be typed
        recipe = tmp_path / "shown.yaml"
        (example,) = (line for line in page.splitlines() if line.startswith("  - "))
        recipe.write_text(f"look: Shown\nsteps:\n{example}\n")
        assert finishing("check", str(recipe)).exit_code == 0, page
    wrong = finishing("regions", "elipse")
    assert wrong.exit_code == 2
    assert "ellipse" in wrong.stderr


def test_explain_names_steps_and_what_runs_together() -> None:
    text = finishing("explain", "white_edge", "--size", "3000x2000").stdout
    assert "saturation: {amount: 0.4" in text
    assert "Worked into the table" in text
    told = json.loads(finishing("explain", "white_edge", "--json").stdout)
    assert told["sweeps"] == 1
    assert told["steps"][0]["step"] == "exposure: {stops: 0.45}"
    assert finishing("explain", "white_edge", "--size", "big").exit_code == 2


@pytest.mark.parametrize(
    ("next_points", "worked_in"), [("[[0, 0.05], [1, 0.9]]", 2), ("[[0, 0], [0.5, 0.1], [0.502, 0.9], [1, 1]]", 0)]
)
def test_explain_tells_of_a_curve_inside_a_region(tmp_path: Path, next_points: str, worked_in: int) -> None:
    """What too steep a curve follows is not in the table, and is not said to be."""
    inside = "{points: [[0, 0], [0.5, 0.2], [1, 0.6]], where: {near: subject}}"
    look = tmp_path / "limited.yaml"
    look.write_text(f"look: L\nsteps:\n  - tone_curve: {inside}\n  - tone_curve: {{points: {next_points}}}\n")
    text = finishing("explain", str(look)).stdout
    assert ("256 codes, by how far inside its region a pixel lies:" in text) == (worked_in > 0)
    told = json.loads(finishing("explain", str(look), "--json").stdout)
    assert sum("tone_curve" in item for item in told["table"]) == worked_in


def test_check_says_what_each_file_is(session: Path) -> None:
    recipe = Path(__file__).parents[2] / "recipes" / "faded_print.yaml"
    result = finishing("check", recipe, session / "session.yaml", session / "plan.yaml")
    assert result.exit_code == 0, result.stderr
    assert [line.rsplit(" ", 1)[1] for line in result.stdout.splitlines()] == ["recipe", "session", "plan"]
    (session / "other.yaml").write_text("colour: red\n")
    assert finishing("check", session / "other.yaml", recipe).exit_code == 2


def test_check_names_the_frames_that_a_run_would_fail(session: Path) -> None:
    (session / "frames/A-0001.jpg").write_bytes(b"")
    told = finishing("check", session)
    assert told.exit_code == 1
    assert "A-0001" in told.stderr
    assert "do this:" in told.stderr
    assert told.stdout == f"{session / 'session.yaml'}: a sound session, but 1 frame of it cannot be finished\n"
    (one,) = json.loads(finishing("check", session, "--json").stdout)
    assert [failing["frame"] for failing in one["failing"]] == ["A-0001"]
    assert finishing("run", session, "--dry-run").exit_code in (0, 1)  # nothing is decoded
    assert finishing("run", session, "--deliverable", "web").exit_code == 1
    # one that no look is for is not missed
    text = (session / "session.yaml").read_text()
    (session / "session.yaml").write_text(text.replace("frames: all", "frames: C").replace("[A, C-0004]", "C-0004"))
    assert finishing("check", session).exit_code == 0
    assert finishing("run", session, "--deliverable", "web").exit_code == 0
    (session / "session.yaml").write_text(text + "loks: []\n")
    assert finishing("check", session).exit_code == 2


def test_ledger_lists_and_verifies(session: Path) -> None:
    finishing("run", session)
    out = session / "finished"
    assert finishing("ledger", out).stdout.splitlines()[-1] == "14 outputs"
    sound = finishing("ledger", out, "--verify")
    assert (sound.exit_code, sound.stdout) == (0, "14 as made, 0 changed, 0 gone\n")
    rows = finishing("ledger", out, "--csv").stdout.splitlines()
    assert rows[0].startswith("path,fingerprint,frame,source")
    assert len(rows) == 15
    changed, gone, *_ = sorted(out.rglob("*.jpg"))
    changed.write_bytes(b"x")
    verified = finishing("ledger", out, "--verify", "--json")
    assert verified.exit_code == 1
    assert [e["state"] for e in json.loads(verified.stdout)].count("changed") == 1
    gone.unlink()
    told = finishing("ledger", out, "--verify")
    assert told.exit_code == 1
    first, second, last = told.stdout.splitlines()
    assert first.startswith(changed.relative_to(out).as_posix())
    assert first.endswith("  changed")
    assert second.startswith(gone.relative_to(out).as_posix())
    assert second.endswith("  gone")
    assert last == "12 as made, 1 changed, 1 gone"


def test_the_ledger_of_a_session(session: Path) -> None:
    early = finishing("ledger", session)
    assert early.exit_code == 2
    assert str(session / "finished") in early.stderr
    finishing("run", session)
    whole = finishing("ledger", session / "finished").stdout
    assert finishing("ledger", session).stdout == whole
    assert finishing("ledger", session / "session.yaml").stdout == whole
    elsewhere = session / "frames"
    assert finishing("ledger", elsewhere).exit_code == 2
    lost = next((session / "finished").rglob("*.jpg"))
    lost.unlink()
    name = lost.relative_to(session / "finished").as_posix()
    assert finishing("ledger", session, "--forget", name).stdout == "1 file forgotten\n"


@pytest.mark.parametrize("kind", ["recipe", "session", "plan"])
def test_schema(kind: str) -> None:
    told = json.loads(finishing("schema", kind).stdout)
    assert told["$schema"].startswith("https://json-schema.org/")
    assert told["properties"]


def test_a_wrong_option_ends_with_2(session: Path) -> None:
    assert finishing("run", session, "--jobs", "0").exit_code == 2
    assert finishing("run").exit_code == 2
    assert finishing("no_such_command").exit_code == 2


def test_a_look_beside_the_session_is_found_by_its_name(session: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (session / "recipes/mine.yaml").write_text("look: Mine\nsteps: [{exposure: {stops: 0.5}}]\n")
    monkeypatch.chdir(session)
    assert "Mine (mine), version 1" in finishing("explain", "mine").stdout


def test_the_schema_of_recipes_knows_where() -> None:
    told = json.loads(finishing("schema", "recipe").stdout)
    where = json.dumps(told["$defs"]["where"])
    for region in ("ellipse", "skin", "mask", "not", "any_of"):
        assert f'"{region}"' in where
    assert '{"$ref": "#/$defs/where"}' in json.dumps(told["properties"]["steps"])


def test_looks_tell_settings_in_numbers_and_words_alone() -> None:
    told = finishing("looks").stdout
    assert "skin_where: a region" in " ".join(told.split())
    assert not any(sign in told for sign in "{}")
    assert max(map(len, told.splitlines())) <= 78
    assert json.loads(finishing("looks", "--json").stdout)  # where they stand in full
