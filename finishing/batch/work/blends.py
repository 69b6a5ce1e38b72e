"""The blends of a session as work: their sources with exposures, what is told and recorded of them."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from finishing import units
from finishing.errors import Problem, ProblemSet, problems_of
from finishing.evenness.correction import NONE, Correction
from finishing.photographs.headers import Header
from finishing.photographs.records import RecordedBlend, RecordedSource
from finishing.sessions.blends import (
    FrameBlend,
    blend_words,
    lights_words,
    listed,
    missing_source,
    setup_problems,
    white_words,
)  # fmt: skip
from finishing.sessions.folder import FramePath
from finishing.sessions.matching import Matching
from finishing.sessions.plan import ShootPlan
from finishing.sessions.session import Session

if TYPE_CHECKING:
    from finishing.batch.lighting.lighting_frames import Taken
    from finishing.light.blending import Blend


@dataclass(frozen=True)
class Origin:
    """The files that a frame comes from. hash: stands for all that its pixels hang on before anything is done to them;
    files: SHA-256 of its file, or of a blend's sources in order; blend: what else a blend hangs on, as plain values."""

    hash: str
    files: tuple[str, ...]
    blend: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class BlendWork:
    """What a blend is made of. written: as session.yaml has it; sources: its frames (one that is not
    there has no file of that path); taken: the same with exposures;
    plan: the session's; refusal: why it cannot be made, as far as the sources' headers tell; taken is then empty."""

    written: FrameBlend
    sources: tuple[FramePath, ...]
    taken: "tuple[Taken, ...]"
    plan: ShootPlan | None
    refusal: Problem | None = None

    @property
    def light(self) -> "Blend":
        """What is done to both lights."""
        from finishing.light.blending import Blend, Light

        light, white = self.written.light, self.written.white_balance
        return Blend(Light(light.ambient, white.ambient), Light(light.strobe, white.strobe))

    @property
    def words(self) -> str:
        """In a line: blend of C-0012 and C-0013, ambient +0.7 stop, strobe −0.3 stop."""
        return blend_words(self.written)

    @property
    def source_text(self) -> str:
        """In a line with where its frames lie, for the ledger."""
        return f"blend of {listed(frame.relative for frame in self.sources)}, {lights_words(self.written)}"

    def correction(self, first: Correction) -> Correction:
        """What evens a blend out: what evens its first source out, without the colour part of that where the blend
        has a white balance of its own."""
        white = self.written.white_balance
        own = white.ambient is not None or white.strobe is not None
        if not own or first.changes_nothing:
            return first
        return replace(first, rows=None, white="") if first.stops else NONE

    def facts(self, hashes: Sequence[str]) -> dict[str, Any]:
        """All that the blend's pixels hang on, as plain values. hashes: SHA-256 of its sources' files, in order."""
        light, white = self.written.light, self.written.white_balance
        return {
            "sources": [
                {
                    "frame": frame.relative, "hash": digest, "shutter": units.format_shutter(taken.shutter),
                    "seconds": taken.seconds, "strobes": taken.strobes,
                }
                for frame, taken, digest in zip(self.sources, self.taken, hashes, strict=True)
            ],
            "light": {"ambient": _stops(light.ambient), "strobe": _stops(light.strobe)},
            "white_balance": {"ambient": _white(white.ambient), "strobe": _white(white.strobe)},
            "words": self.words,
        }  # fmt: skip

    def recorded(self, hashes: Sequence[str]) -> RecordedBlend:
        """What a finished file of the blend carries."""
        return recorded_blend(self.taken, self.light, hashes)


def recorded_blend(taken: "Sequence[Taken]", blend: "Blend", hashes: Sequence[str]) -> RecordedBlend:
    """What a file tells of the frames that it is a blend of, and of how. hashes: of the frames' files."""
    sources = tuple(
        RecordedSource(frame.path.name, digest, frame.shutter, frame.strobes)
        for frame, digest in zip(taken, hashes, strict=True)
    )
    ambient, strobe = blend.ambient, blend.strobe
    whites = (None if white is None else white_words(white) for white in (ambient.white, strobe.white))
    return RecordedBlend(sources, ambient.stops, strobe.stops, *whites)


def _stops(stops: float | None) -> float | str:
    return "off" if stops is None else stops


def _white(white: float | tuple[float, float, float] | None) -> float | list[float] | None:
    return list(white) if isinstance(white, tuple) else white


def origin_of(blend: BlendWork | None, hashes: Sequence[str]) -> Origin:
    """Where a frame comes from. hashes: of its file, or of its sources' files in order.

    A blend's own hash, which stands where that of its file stands for a frame, is that of its sources' hashes,
    exposures and settings: what changes one of them makes it anew. Where its sources lie does not count.
    """
    if blend is None:
        return Origin(hashes[0], (hashes[0],))
    facts = blend.facts(hashes)
    sources = [{key: value for key, value in one.items() if key != "frame"} for one in facts["sources"]]
    counted = json.dumps({**facts, "sources": sources}, sort_keys=True)
    return Origin(hashlib.sha256(counted.encode()).hexdigest(), tuple(hashes), facts)


def blends_of(
    session: Session, headers: Mapping[str, Header], unreadable: Mapping[str, Problem], matching: Matching | None
) -> dict[str, tuple[BlendWork, Header | None]]:
    """The session's blends by name, each with the header that it has as a frame: its first source's, under its own name
    and with the reason where it cannot be made; None where that source has none.

    Raises ProblemSet where the sources of a blend are of different set-ups.
    """
    setup_of = matching.setup_of if matching else {}
    problems = setup_problems(session.document, session.blends, setup_of)
    if problems:
        raise ProblemSet(problems)
    found: dict[str, tuple[BlendWork, Header | None]] = {}
    for name, written in session.blends.items():
        work = _blend(session, name, written, headers, unreadable, setup_of)
        first = headers.get(written.sources[0])
        # what reading the sources has to tell is told when they are read
        header = first and replace(
            first, name=name, path=session.folder / name, notices=(), beside=(), refusal=work.refusal
        )
        found[name] = work, header
    return found


def _plan(session: Session) -> ShootPlan | None:
    return session.plan.value if session.plan else None


def _blend(
    session: Session,
    name: str,
    written: FrameBlend,
    headers: Mapping[str, Header],
    unreadable: Mapping[str, Problem],
    setup_of: Mapping[str, str],
) -> BlendWork:
    from finishing.batch.lighting.lighting_frames import taken_in_session

    frames = {frame.name: frame for frame in session.frames}
    plan = _plan(session)
    sources = tuple(
        frames.get(source) or FramePath(source, session.folder / source, source) for source in written.sources
    )
    work = BlendWork(written, sources, (), plan)
    missing = missing_source(session.document, name, written, [frame.name for frame in session.chosen])
    if missing is not None:
        return replace(work, refusal=missing)
    lost = next((source for source in written.sources if source not in headers), None)
    if lost is not None:
        problem = unreadable[lost]
        refusal = Problem(
            f"the source {lost} cannot be read", where=name, got=problem.what, expected=problem.expected,
            remedy=problem.remedy or f"bring {lost} anew from the card",
        )  # fmt: skip
        return replace(work, refusal=refusal)
    exposures = {} if plan is None else {setup.id: setup.exposure for setup in plan.setups}
    planned = [exposures.get(setup_of.get(source, "")) for source in written.sources]
    try:
        taken = taken_in_session([headers[source] for source in written.sources], planned, written.strobes_off, plan)
    except ProblemSet as error:
        return replace(work, refusal=one_problem(error).at(name))
    return replace(work, taken=tuple(taken))


def one_problem(error: ProblemSet) -> Problem:
    """Several problems of one frame as one: each is told with its own place, and each remedy once."""
    problems = problems_of(error)
    if len(problems) == 1:
        (only,) = problems
        got = ": ".join(part for part in (None if only.where is None else str(only.where), only.got) if part)
        return Problem(only.what, got=got or None, expected=only.expected, remedy=only.remedy)
    told = [f"{one.where}: {one.what}" + (f" ({one.got})" if one.got else "") for one in problems]
    remedies = list(dict.fromkeys(one.remedy for one in problems if one.remedy))
    return Problem(
        "the strobe and the ambient of its sources cannot be told apart", got="; ".join(told),
        remedy="; ".join(remedies) or None,
    )  # fmt: skip
