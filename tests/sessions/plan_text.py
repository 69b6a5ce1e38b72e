"""A plan from a text, as it is read from its file."""

import contextlib
import tempfile
from pathlib import Path

from finishing.documents import Document
from finishing.sessions.plan import ShootPlan, read_plan


def parse_plan(text: str) -> Document[ShootPlan]:
    """The plan of a plan.yaml that holds this text. Raises as `read_plan`."""
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        Path("plan.yaml").write_text(text, encoding="utf-8")
        return read_plan(Path("plan.yaml"))
