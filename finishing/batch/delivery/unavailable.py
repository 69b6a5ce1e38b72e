"""What a session asks for that cannot be done here: told with its place before anything is started."""

from finishing.batch.delivery.delivering import read_printer_profile
from finishing.errors import Problem, ProblemSet
from finishing.photographs.colour_management import printer_profile_problem
from finishing.sessions.deliverables import is_profile_file
from finishing.sessions.session import Session


def refuse_unavailable(session: Session) -> None:
    """Raises ProblemSet for everything in a session that would fail every frame, or be passed over in silence."""
    problems = unavailable(session)
    if problems:
        raise ProblemSet(problems)


def unavailable(session: Session) -> list[Problem]:
    """Printers' profiles of the session that cannot be used. A file that is not there is told by who reads it."""
    document, problems = session.document, []
    for name, deliverable in session.value.deliverables.items():
        path = session.folder / deliverable.profile
        if not is_profile_file(deliverable.profile) or not path.is_file():
            continue
        wrong = printer_profile_problem(read_printer_profile(path) or b"")
        if wrong is not None:
            problems.append(wrong.at(document.place("deliverables", name, "profile")))
    return problems
