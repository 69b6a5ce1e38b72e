"""The headers of a session's frames, and the frames matched to the plan by them. No pixel is decoded here."""

import os
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

from finishing.errors import Problem
from finishing.photographs.headers import Header, read_header
from finishing.sessions.blends import blends_by_setup
from finishing.sessions.clocks import Camera, ClockFound, Stamp, clocks_of
from finishing.sessions.folder import FramePath
from finishing.sessions.matching import FrameFacts, Matching, local_time, match_frames
from finishing.sessions.session import Session


def read_headers(frames: Sequence[FramePath], jobs: int | None = None) -> tuple[dict[str, Header], dict[str, Problem]]:
    """The headers of many frames, read side by side, and the problems of those that cannot be read."""
    headers: dict[str, Header] = {}
    problems: dict[str, Problem] = {}
    for frame, found in zip(frames, _read_all(frames, jobs or os.cpu_count() or 1), strict=True):
        if isinstance(found, Problem):
            problems[frame.name] = found
        else:
            headers[frame.name] = found
    return headers, problems


def _read_all(frames: Sequence[FramePath], jobs: int) -> Iterable[Header | Problem]:
    with ThreadPoolExecutor(jobs) as pool:
        return list(pool.map(_read, frames))


def _read(frame: FramePath) -> Header | Problem:
    try:
        return read_header(frame.path)
    except Problem as problem:
        return problem


def match_session(session: Session, headers: Mapping[str, Header]) -> Matching | None:
    """The session's frames against its plan; None without a plan. A frame without a header is matched by name.

    Raises ProblemSet where camera_clock speaks of cameras or frames that its frames contradict.
    """
    if session.plan is None:
        return None
    facts = _facts(session, headers)
    ahead, clocks = clocks_of_session(session, headers)
    matching = match_frames(session.plan.value, facts, ahead, clocks)
    frames = [frame.name for frame in session.chosen]
    return replace(matching, blends=blends_by_setup(session.blends, matching.setup_of, frames))


def clocks_of_session(
    session: Session, headers: Mapping[str, Header]
) -> tuple[dict[str, float], tuple[ClockFound, ...]]:
    """How many seconds each frame's camera was ahead, and each entry of camera_clock worked out.

    Raises ProblemSet where camera_clock speaks of cameras or frames that its frames contradict.
    """
    plan = session.plan.value if session.plan is not None else None
    stamps = {
        one.name: Stamp(one.camera, one.captured if plan is None else local_time(one, plan))
        for one in _facts(session, headers)
    }
    return clocks_of(session.document, session.value.camera_clock, stamps)


def _facts(session: Session, headers: Mapping[str, Header]) -> list[FrameFacts]:
    return [facts_of(frame, headers.get(frame.name)) for frame in session.chosen]


def facts_of(frame: FramePath, header: Header | None) -> FrameFacts:
    """What matching needs of a frame."""
    if header is None:
        return FrameFacts(frame.name, file_name=frame.path.name)
    told = header.metadata
    return FrameFacts(
        frame.name, told.captured, told.utc_offset_seconds, told.f_number, told.exposure_seconds, told.iso,
        frame.path.name, Camera(told.make, told.model, told.serial),
    )  # fmt: skip
