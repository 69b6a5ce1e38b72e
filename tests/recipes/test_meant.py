"""What a step was meant as that cannot be read: what is told leads to a sound recipe."""

from pathlib import Path

import pytest

from finishing.batch.work.looks import vocabulary
from finishing.errors import ProblemSet
from finishing.recipes.library import library_folder, recipes_in
from finishing.recipes.reading import idle_settings, read_recipe

HEAD = "look: Dusk\nsettings: {sky: -0.8}\nsteps:\n  - exposure: {stops: $sky}\n"


def told(folder: Path, text: str) -> list[tuple[str, str, str | None]]:
    """Place, what is wrong, and what to do, of a recipe that is refused."""
    path = folder / "dusk.yaml"
    path.write_text(text)
    with pytest.raises(ProblemSet) as caught:
        read_recipe(path, vocabulary())
    return [(str(one.where).removeprefix(f"{folder}/"), one.what, one.remedy) for one in caught.value.problems]


@pytest.mark.parametrize(
    ("rest", "place", "what", "remedy"),
    [
        (
            "  - saturation: {amount: 0.6, wher: {near: subject}}\n",
            "5:31",
            'unknown key "wher"',
            'did you mean "where"?',
        ),
        (
            "checks:\n  - clipped_white: {at_most: 0.6, were: {near: subject}}\n",
            "6:35",
            'unknown key "were"',
            'did you mean "where"?',
        ),
        (
            "    saturation: {amount: 0.6}\n",
            "5:5",
            "a dash is missing before this step",
            "write - saturation: …, the dash in line with the one of the step above",
        ),
        (
            "  - {saturation: {amount: 0.6}, exposure: {stops: 1}}\n",
            "5:5",
            "a step names one operation",
            "start each step with a dash of its own, its parameters in braces or indented below it",
        ),
        (
            "  - saturation:\n      amount: 0.6\n    where: skin\n",
            "7:5",
            '"where" belongs among the parameters of "saturation"',
            "indent it as deep as they are, or write it in their braces",
        ),
        (
            "  - {saturation: {amount: 0.6}, where: skin}\n",
            "5:33",
            '"where" belongs among the parameters of "saturation"',
            "indent it as deep as they are, or write it in their braces",
        ),
        (
            "  - exposure: {stops: sky, where: {near: subject}}\n",
            "5:23",
            '"stops" cannot be read',
            "write stops: $sky for the setting of this name",
        ),
        (
            "  - exposure: {stops: 1, where: {near: Sky}}\n",
            "5:40",
            '"near" cannot be read',
            "write near: $sky for the setting of this name",
        ),
        (
            "checks:\n  - clipped_white: {at_most: sky}\n",
            "6:30",
            '"at_most" cannot be read',
            "write at_most: $sky for the setting of this name",
        ),
        (
            "  - saturation: 0.6\n",
            "5:17",
            '"saturation" must be a mapping of parameters',
            "write saturation: {amount: 0.6}",
        ),
        (
            "  - exposure: 1/3 stop\n",
            "5:15",
            '"exposure" must be a mapping of parameters',
            "write exposure: {stops: 0.33}",
        ),
        (
            "  - tone_curve: steep\n",
            "5:17",
            '"tone_curve" must be a mapping of parameters',
            "write tone_curve: {points: [[0, 0.06], [0.25, 0.22], [0.75, 0.80], [1, 0.97]]}, for example",
        ),
        (
            "checks:\n  - clipped_white: 0.02\n",
            "6:20",
            '"clipped_white" must be a mapping',
            "write clipped_white: {at_most: 0.02}, for example",
        ),
        (
            "checks:\n  - clipped_white: 2%\n",
            "6:20",
            '"clipped_white" must be a mapping',
            "write clipped_white: {at_most: 0.02}, for example",
        ),
        (
            "  - edge_vignette: {toward: black, strength: 0.3, starts_at: 1.1, reaches: 0.5}\n",
            "5:76",
            '"reaches" cannot be read',
            "make reaches the larger one: it grows outward",
        ),
        (
            "  - edge_vignette: {toward: black, strength: 0.3, starts_at: 1.1}\n",
            "5:20",
            '"reaches" cannot be read',
            "make reaches the larger one: it grows outward",
        ),
        (
            "  - veil: {density: 0.3, near_at: [0.5, 0.4]}\n",
            "5:11",
            '"far_at" cannot be read',
            "move one of the two",
        ),
        (
            "  - tone_curve: {points: [[0, 0.1], [0.75, 0.76], [0.25, 0.26], [1, $sky]]}\n",
            "5:26",
            '"points" cannot be read',
            "move [0.25, 0.26] to before [0.75, 0.76]",
        ),
        (
            "  - tone_curve: {points: [[0, 0.1], [0.5, 0.4], [0.5, 0.6], [1, 1]]}\n",
            "5:26",
            '"points" cannot be read',
            "take one of [0.5, 0.4] and [0.5, 0.6] out: both begin at one place",
        ),
        (
            "  - tone_curve: {points: [[0, $sky], [0,25, 0,26], [1, 0.95]]}\n",
            "5:26",
            '"points" cannot be read',
            "write the second point with points for its decimals: [0.25, 0.26]",
        ),
        (
            "  - tone_curve: {points: [0, 0.08, 1, 0.95]}\n",
            "5:26",
            '"points" cannot be read',
            "put brackets around each point: [[0, 0.08], [1, 0.95]]",
        ),
        (
            "  - tone_curve: {points: [[0, 0], [50, 50], [100, 97]]}\n",
            "5:26",
            '"points" cannot be read',
            "50 in the second point is above 4: write a number from -1 to 4",
        ),
        (
            "  - tone_curve: {points: [[0, 0], [0.5], [1, 0.97]]}\n",
            "5:26",
            '"points" cannot be read',
            "the second point, [0.5], has 1 number: write two, [from, to]",
        ),
        (
            "  - tone_curve: {points: [[0, 0], [0.5, half], [1, 0.97]]}\n",
            "5:26",
            '"points" cannot be read',
            "half in the second point is no number: write one from -1 to 4",
        ),
        (
            "  - tone_curve: {points: [[0, 0]]}\n",
            "5:26",
            '"points" cannot be read',
            "write points: [[0, 0.06], [0.5, 0.5], [1, 0.97]], for example",
        ),
    ],
)
def test_what_was_meant_is_told(tmp_path: Path, rest: str, place: str, what: str, remedy: str) -> None:
    assert told(tmp_path, HEAD + rest) == [(f"dusk.yaml:{place}", what, remedy)]


def test_a_default_that_does_not_go_with_what_is_given_is_told_as_one(tmp_path: Path) -> None:
    (tmp_path / "dusk.yaml").write_text(HEAD + "  - edge_vignette: {strength: 0.3, starts_at: 1.25}\n")
    with pytest.raises(ProblemSet) as caught:
        read_recipe(tmp_path / "dusk.yaml", vocabulary())
    (problem,) = caught.value.problems
    assert (problem.got, problem.expected) == (
        "1, which it is unless said",
        "a number not below starts_at, which is 1.25",
    )


def test_an_edge_may_be_hard(tmp_path: Path) -> None:
    (tmp_path / "dusk.yaml").write_text(HEAD + "  - edge_vignette: {strength: 0.3, starts_at: 0.8, reaches: 0.8}\n")
    assert len(read_recipe(tmp_path / "dusk.yaml", vocabulary()).steps) == 2


def test_settings_that_nothing_asks_for_are_told(tmp_path: Path) -> None:
    path = tmp_path / "dusk.yaml"
    text = HEAD.replace("{sky: -0.8}", "{sky: -0.8, grainy: 0.2, blown: 0.02}")
    path.write_text(text + "checks:\n  - clipped_white: {at_most: $blown}\n")
    (problem,) = idle_settings(path, vocabulary())
    assert str(problem) == (
        f'{path}:2:23: no step asks for the setting "grainy"\n'
        "    expected: a setting that stands somewhere below as $grainy, as $blown does\n"
        "    do this:  write $grainy where its value belongs, or take it out"
    )
    child = tmp_path / "late.yaml"
    child.write_text("look: Late\nextends: dusk\nsettings: {sky: -1, grainy: 0.3}\n")
    assert [one.what for one in idle_settings(child, vocabulary())] == ['no step asks for the setting "grainy"']


def test_every_look_of_the_library_uses_its_settings() -> None:
    for path in recipes_in(library_folder()).values():
        assert idle_settings(path, vocabulary()) == []
