"""What kind of file a user's file is, told by its keys alone."""

from pathlib import Path

from finishing.documents.tree import read_text, tree_and_problems
from finishing.errors import Place, Problem


def kind_of(path: Path) -> str:
    """recipe, session or plan, told by the keys of the file. Raises Problem or ProblemSet."""
    data = tree_and_problems(read_text(path), str(path))[0].data
    keys = set(data) if isinstance(data, dict) else set()
    found = {
        "session": {"session", "frames", "deliverables", "per_frame", "looks", "rights"},
        "plan": {"setups", "sync", "place"},
        "recipe": {"look", "steps", "extends", "about"},
    }
    likeness = {kind: len(words & keys) for kind, words in found.items()}
    best = max(likeness, key=lambda kind: likeness[kind])
    if likeness[best] == 0:
        raise Problem(
            "this is neither a recipe nor a session nor a plan",
            where=Place(str(path), 1, 1),
            got=", ".join(sorted(keys)) or "no keys",
            expected="a recipe (look, steps), a session (session, frames) or a plan (setups)",
            remedy="check the spelling of the keys on the left",
        )
    return best
