"""Places in a picture as options take them: --subject 0.45,0.60 or 45%,60%."""

import click

from finishing.errors import Problem

SUBJECT = click.option(
    "--subject", metavar="X,Y", help="The point of interest, in fractions of width and height or in percent."
)


def subject_from(text: str | None) -> tuple[float, float] | None:
    """What stands behind --subject, where it was given. Raises Problem."""
    return None if text is None else point(text, "--subject")


def point(text: str, option: str) -> tuple[float, float]:
    """x and y in fractions of width and height. option: "--subject". Raises Problem."""
    from finishing.documents.fields import parse_number

    try:
        x, y = (
            parse_number(part.removesuffix("%")) / (100 if part.endswith("%") else 1)
            for part in (part.strip() for part in text.split(","))
        )
        if not (0 <= x <= 1 and 0 <= y <= 1):
            raise ValueError
    except ValueError:
        raise Problem(
            f"the place behind {option} cannot be read",
            got=text,
            expected="two numbers with a comma between them, in fractions of the picture or each in percent",
            remedy=f"write {option} 0.45,0.60, for example",
        ) from None
    return x, y
