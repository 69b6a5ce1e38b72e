"""The command `finishing` and the list of its subcommands."""

import click

from finishing import __version__
from finishing.cli import files, light, looks, pictures, prints, proofs, records, sessions


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="finishing")
def main() -> None:
    """Give a whole photo session its finished look.

    Start with `finishing sample DIR`, which writes a session to try things on.
    """


for command in (
    sessions.init,
    sessions.run,
    sessions.sheet,
    sessions.plan,
    proofs.proof,
    proofs.picks,
    looks.apply,
    looks.looks,
    looks.operations,
    looks.regions,
    looks.explain,
    prints.strip,
    prints.steps,
    pictures.mask,
    pictures.compare,
    light.light,
    files.inspect,
    files.again,
    files.export,
    records.check,
    records.ledger,
    records.schema,
    sessions.sample,
):
    main.add_command(command)
