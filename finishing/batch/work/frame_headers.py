"""The headers of a session's frames, and the frames matched to the plan by them. No pixel is decoded here."""

import os
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path, PurePosixPath

from finishing.errors import Problem
from finishing.photographs.finished import read_finished
from finishing.photographs.headers import Header, read_header
from finishing.photographs.xmp_out import NAMESPACE
from finishing.sessions.blends import blends_by_setup
from finishing.sessions.clocks import Camera, ClockFound, Stamp, clocks_of
from finishing.sessions.folder import FramePath
from finishing.sessions.matching import FrameFacts, Matching, local_time, match_frames
from finishing.sessions.session import Session


class Headers:
    """Headers of files, each read once however often it is asked for."""

    def __init__(self, jobs: int | None = None) -> None:
        self._jobs = jobs or os.cpu_count() or 1
        self._read: dict[Path, Header | Problem] = {}

    def of(self, frames: Sequence[FramePath]) -> tuple[dict[str, Header], dict[str, Problem]]:
        """The headers of frames by name, and the problems of those that cannot be read."""
        found = {frame.name: read for frame, read in self.each_of(frames).items()}
        headers = {name: header for name, header in found.items() if isinstance(header, Header)}
        return headers, {name: problem for name, problem in found.items() if isinstance(problem, Problem)}

    def each_of(self, files: Sequence[FramePath]) -> dict[FramePath, Header | Problem]:
        """The header of each file, or why it cannot be read; several files may have one name."""
        new = [file for file in files if file.path not in self._read]
        self._read.update(zip((file.path for file in new), _read_all(new, self._jobs), strict=True))
        return {file: self._read[file.path] for file in files}

    def finished_among(self, files: Sequence[FramePath]) -> dict[Path, str]:
        """The files that say that a look was carried out on them, with the names of those that they were made from."""
        found = {file.path: made_from(read) for file, read in self.each_of(files).items()}
        return {path: source for path, source in found.items() if source is not None}


def made_from(header: Header | Problem) -> str | None:
    """The name of the file that a finished one was made from; None for a frame, of which this program may still have
    taken the lights apart."""
    packet = b"" if isinstance(header, Problem) else header.metadata.xmp_raw
    if NAMESPACE.encode() not in packet:  # most frames: nothing need be parsed
        return None
    record = read_finished(packet)
    if record is None or "RecipeHash" not in record.values:
        return None
    return PurePosixPath(record.source_name).name or "another file"


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
