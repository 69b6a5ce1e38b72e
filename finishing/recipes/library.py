"""The library of looks: the recipes that come with the program, and where a recipe's name leads."""

from pathlib import Path

from finishing.documents.names import unknown_name
from finishing.errors import Problem

_PACKAGE = Path(__file__).resolve().parents[1]


def library_folder() -> Path:
    """The folder of the looks that come along: inside the installed package, or beside it in a checkout."""
    installed = _PACKAGE / "library"
    return installed if installed.is_dir() else _PACKAGE.parent / "recipes"


def recipes_in(folder: Path) -> dict[str, Path]:
    """The recipe files of a folder by name, in the order of their names."""
    return {path.stem: path for path in sorted(folder.glob("*.yaml"))} if folder.is_dir() else {}


def find_recipe(name: str, *folders: Path, inside: Path | None = None) -> Path:
    """The file of a look: a name found in `folders`, then in the library; or a path, relative to the first folder.

    inside: the folder that a path must not leave. Raises Problem with the nearest name.
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
    known: dict[str, Path] = {}
    for folder in reversed((*folders, library_folder())):
        known.update(recipes_in(folder))
    if name not in known:
        raise unknown_name("look", name, known, None, listed_by="finishing looks")
    return known[name]
