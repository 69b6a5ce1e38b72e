"""What a session may say that this version cannot do yet: told with its place before anything is started."""

from finishing.errors import ProblemSet
from finishing.sessions.session import Session


def refuse_unavailable(session: Session) -> None:
    """Raises ProblemSet for everything in a session that would otherwise be passed over in silence."""
    document, problems = session.document, []
    for name, deliverable in session.value.deliverables.items():
        at = ("deliverables", name)
        if deliverable.format == "tiff":
            problems.append(
                document.problem("this version cannot write TIFF", *at, "format", remedy="write format: png or jpeg")
            )
        if deliverable.bits != 8:
            problems.append(
                document.problem("this version writes 8 bits a channel", *at, "bits", remedy="leave bits out")
            )
        if deliverable.sharpen != "none":
            problems.append(
                document.problem(
                    "this version cannot sharpen for output yet", *at, "sharpen", remedy="leave sharpen out"
                )
            )
    for key in ("exposure", "white_balance"):
        if getattr(session.value.match, key) is not None:
            problems.append(
                document.problem(
                    f"this version cannot even out {key.replace('_', ' ')} yet", "match", key, remedy="leave it out"
                )
            )
    for name, frame in session.value.per_frame.items():
        for key in ("crop", "straighten"):
            if getattr(frame, key) is not None:
                problems.append(
                    document.problem(f"this version cannot {key} yet", "per_frame", name, key, remedy="leave it out")
                )
    if problems:
        raise ProblemSet(problems)
