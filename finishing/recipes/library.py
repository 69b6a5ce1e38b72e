"""The library of looks: the recipes that come with the program, and where a recipe's name leads."""

from pathlib import Path

from finishing.documents.names import unknown_name
from finishing.documents.tree import read_text, tree_and_problems
from finishing.errors import Problem, ProblemSet

#: Keys of which every recipe has one, and no session and no plan has any.
_KEYS = {"look", "steps", "extends"}
_PACKAGE = Path(__file__).resolve().parents[1]


def library_folder() -> Path:
    """The folder of the looks that come along: inside the installed package, or beside it in a checkout."""
    installed = _PACKAGE / "library"
    return installed if installed.is_dir() else _PACKAGE.parent / "recipes"


def recipes_in(folder: Path) -> dict[str, Path]:
    """The recipe files of a folder by name, in the order of their names; other files are passed over."""
    return {name: path for name, path in _files_in(folder).items() if _is_recipe(path)}


def _files_in(folder: Path) -> dict[str, Path]:
    return {path.stem: path for path in sorted(folder.glob("*.yaml"))} if folder.is_dir() else {}


def _is_recipe(path: Path) -> bool:
    """Whether a file is meant as a recipe, told by its keys; one that cannot be read counts, so that this is told. What
    lies in the library is one, and is not read for that."""
    if path.parent == library_folder():
        return True
    if not path.is_file():
        return False
    try:
        data = tree_and_problems(read_text(path), str(path))[0].data
    except (Problem, ProblemSet):
        return True
    return isinstance(data, dict) and not _KEYS.isdisjoint(data)


def find_recipe(name: str, *folders: Path, inside: Path | None = None, asking: Path | None = None) -> Path:
    """The file of a look: a name found in `folders`, then in the library; or a path, relative to the first folder.

    inside: the folder that a path must not leave; asking: the recipe that names it, which is not offered. Raises
    Problem with the nearest name.
    """
    if name.endswith((".yaml", ".yml")) or "/" in name or "\\" in name:
        path = (folders[0] if folders else Path()) / name
        if inside is not None and not path.resolve().is_relative_to(inside.resolve()):
            raise Problem(
                "this path leaves the folder of the file that names it",
                got=name,
                remedy="copy the recipe into that folder and name it there",
            )
        if not path.is_file():
            raise Problem("there is no such recipe file", got=name, remedy="check the path")
        return path
    everywhere = (*folders, library_folder())
    named = [files[name] for files in map(_files_in, everywhere) if name in files]
    found = next(filter(_is_recipe, named), None)
    if found is not None:
        return found
    if named:
        raise Problem(
            "this file is no recipe",
            where=str(named[0]),
            expected="a recipe, with look and steps",
            remedy="name a look; `finishing looks` lists those that come along",
        )
    own = {one for folder in folders for one, path in recipes_in(folder).items() if path != asking}
    raise unknown_name("look", name, recipes_in(library_folder()), None, listed_by="finishing looks", besides=own)
