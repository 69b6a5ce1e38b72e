"""Commands on users' files and the ledger: check, ledger, schema."""

import csv
import sys
from pathlib import Path

import click

from finishing.cli.reporting import (
    WRONG_REQUEST,
    files,
    finish,
    frames,
    print_json,
    tell,
    tell_failed,
    tells_problems,
)
from finishing.cli.valued import ValuedCommand

AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")


@click.command(cls=ValuedCommand)
@click.argument("paths", metavar="FILE…", nargs=-1, required=True, type=click.Path(path_type=Path))
@AS_JSON
@tells_problems
def check(paths: tuple[Path, ...], as_json: bool) -> None:
    """Read recipes, sessions and plans and say all that is wrong, with places.

    Ends with 2 where something is wrong that keeps a run from starting, and with 1 where a run would fail some frames.
    """
    from finishing.batch.texts.checking import check_file

    checked = [check_file(path) for path in paths]
    if as_json:
        print_json([one.as_json() for one in checked])
    else:
        told: set[str] = set()  # of a session and its plan alike
        for one in checked:
            tell(one.problems)
            for warning in dict.fromkeys(map(str, one.warnings)):
                if warning not in told:
                    click.echo(f"to look at: {warning}", err=True)
                told.add(warning)
            if one.problems:
                continue
            tell_failed(one.failing)
            less = f", but {frames(one.frames_failing)} of it cannot be finished" if one.failing else ""
            click.echo(f"{one.path}: a sound {one.kind}{less}")
    if any(one.problems for one in checked):
        sys.exit(WRONG_REQUEST)
    finish(any(one.failing for one in checked))


@click.command(cls=ValuedCommand)
@click.argument("folder", metavar="DIR|SESSION", type=click.Path(path_type=Path))
@click.option("--verify", is_flag=True, help="Hash every output anew, and list those that are not as made.")
@click.option("--csv", "as_csv", is_flag=True, help="Print a table for a spreadsheet.")
@click.option(
    "--forget", "forgotten", multiple=True, metavar="PATH", help="Take a deleted file out of the ledger; repeatable."
)
@AS_JSON
@tells_problems
def ledger(folder: Path, verify: bool, as_csv: bool, forgotten: tuple[str, ...], as_json: bool) -> None:
    """Tell what was made from what, by which recipe.

    DIR is an output folder; of a SESSION (a session.yaml or its folder) it is finished/ beside it.
    """
    folder = _output_folder(folder)
    if forgotten:
        from finishing.batch.delivery.left_over import forget

        paths = forget(folder, forgotten)
        if as_json:
            print_json({"forgotten": paths})
        else:
            click.echo(f"{files(len(paths))} forgotten")
        return
    from finishing.batch.memory.ledger import open_ledger
    from finishing.batch.memory.verifying import verify_outputs

    with open_ledger(folder, create=False, write=False) as opened:
        entries = opened.entries()
        blends = opened.blends()
        evened = opened.corrections_of_outputs()
    state = verify_outputs(folder, entries) if verify else {}
    if as_json:
        told = [
            {**entry.as_json(), "blend": blends.get(entry.source_hash), "correction": evened.get(entry.path)}
            for entry in entries
        ]
        print_json([{**one, **({"state": state[one["path"]]} if verify else {})} for one in told])
        finish([path for path, found in state.items() if found != "as made"])
    corrections = {}
    if evened:
        from finishing.batch.memory.inspection_words import correction_words
        from finishing.batch.memory.making import correction_from

        corrections = {path: correction_from(values) for path, values in evened.items()}
    if as_csv:
        rows = []
        for entry in entries:
            one = corrections.get(entry.path)
            rows.append(
                {
                    **entry.as_json(),
                    "exposure_correction_stops": one.stops if one else 0.0,
                    "white_balance_correction": (one.white_text if one else None) or "",
                    **({"state": state[entry.path]} if verify else {}),
                }
            )
        writer = csv.DictWriter(sys.stdout, list(rows[0]) if rows else ["path"], lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    else:
        for entry in entries:
            if state.get(entry.path) == "as made":
                continue
            line = f"{entry.path}  from {entry.source}, {entry.look} {entry.look_version} ({entry.look_hash[:12]})"
            if entry.path in corrections:
                line += f", evened out: {correction_words(corrections[entry.path])}"
            click.echo(line + f", {entry.made_at}" + (f"  {_STATES[state[entry.path]]}" if verify else ""))
        counts = [f"{list(state.values()).count(one)} {words}" for one, words in _STATES.items()]
        click.echo(", ".join(counts) if verify else f"{len(entries)} outputs")
    finish([path for path, found in state.items() if found != "as made"])


#: What became of an output, and how that is told.
_STATES = {"as made": "as made", "changed": "changed", "missing": "gone"}


def _output_folder(path: Path) -> Path:
    """The output folder that a path names: itself, or that of a session."""
    from finishing.batch.memory.ledger import FILE_NAME
    from finishing.sessions.folder import OUTPUT_FOLDER

    if path.is_file() and path.suffix.lower() in (".yaml", ".yml"):
        return path.parent / OUTPUT_FOLDER
    is_session = not (path / FILE_NAME).is_file() and (path / "session.yaml").is_file()
    return path / OUTPUT_FOLDER if is_session else path


@click.command(cls=ValuedCommand)
@click.argument("kind", type=click.Choice(["recipe", "session", "plan"]))
@tells_problems
def schema(kind: str) -> None:
    """Print the JSON Schema of a kind of file, for editors."""
    from finishing.batch.texts.schemas import schema_of

    print_json(schema_of(kind))
