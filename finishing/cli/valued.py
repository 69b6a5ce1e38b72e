"""Commands whose options are never taken for the values of others: `--out --json` lacks what --out is to be."""

from collections.abc import Sequence

import click


class ValuedCommand(click.Command):
    """A command that says which option stands without its value. click itself takes whatever word comes next."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Refuse options without a value, then let click read the line."""
        refuse_without_value(ctx, args, options_of(self, ctx))
        return super().parse_args(ctx, args)


def options_of(command: click.Command, ctx: click.Context) -> dict[str, click.Option]:
    """A command's options by every name that they have."""
    known = [one for one in command.get_params(ctx) if isinstance(one, click.Option)]
    return {name: one for one in known for name in (*one.opts, *one.secondary_opts)}


def refuse_without_value(ctx: click.Context, args: Sequence[str], options: dict[str, click.Option]) -> None:
    """Raises UsageError where an option that takes a value stands last, or in front of another option."""
    line = iter(args)
    for word in line:
        if word == "--":
            return
        option = options.get(word)
        if option is None or option.is_flag or option.count:
            continue
        for _ in range(option.nargs):
            value = next(line, None)
            if value is None or value == "--" or value.partition("=")[0] in options:
                raise click.UsageError(f"{word} stands without {_value(option)} behind it", ctx)


def _value(option: click.Option) -> str:
    if isinstance(option.type, click.Path):
        return "a file or folder"
    return "a number" if isinstance(option.type, click.IntRange | click.FloatRange) else "a value"
