"""What a run did, for whoever tells it."""

from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from finishing.batch.delivery.measuring import failed_of
from finishing.errors import DiskFull, Problem
from finishing.recipes.check import CheckResult

if TYPE_CHECKING:
    from finishing.batch.evening.evening_out import Evenness


@dataclass
class Report:
    """What a run did. made, up_to_date: paths below `folder`; failed: problems by frame; warnings: what is doubtful;
    left_over: files of earlier runs, below `folder`, that the session no longer asks for; cleared: unfinished files of
    runs that were cut off, deleted; not_done: frames that were not begun, or not carried to the end, because the disk
    was full, which the frame that met it first is `failed` with; chart: of evening out, where it was drawn anew."""

    folder: Path
    made: list[str] = field(default_factory=list)
    up_to_date: list[str] = field(default_factory=list)
    planned: list[str] = field(default_factory=list)
    failed: dict[str, Problem] = field(default_factory=dict)
    notices: dict[str, list[str]] = field(default_factory=dict)
    checks: dict[tuple[str, str], list[CheckResult]] = field(default_factory=dict)
    stopped: bool = False
    not_done: list[str] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)
    left_over: list[str] = field(default_factory=list)
    cleared: list[Path] = field(default_factory=list)
    evenness: "Evenness | None" = None
    chart: Path | None = None

    @property
    def failed_checks(self) -> dict[tuple[str, str], list[CheckResult]]:
        """Frame and look with the checks that did not pass."""
        failed = {key: failed_of(results) for key, results in self.checks.items()}
        return {key: results for key, results in failed.items() if results}

    @property
    def disk_full(self) -> bool:
        """Whether the run ended because there was no room left."""
        return any(isinstance(problem, DiskFull) for problem in self.failed.values())

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "folder": str(self.folder),
            "made": sorted(self.made),
            "up_to_date": sorted(self.up_to_date),
            "planned": sorted(self.planned),
            "failed": [{"frame": name, **problem.as_dict()} for name, problem in sorted(self.failed.items())],
            "notices": [{"frame": name, "notices": told} for name, told in sorted(self.notices.items())],
            "checks": [
                {"frame": frame, "look": look, **asdict(result)}
                for (frame, look), results in sorted(self.checks.items())
                for result in results
            ],
            "stopped": self.stopped,
            "not_done": sorted(self.not_done),
            "warnings": [problem.as_dict() for problem in self.warnings],
            "left_over": self.left_over,
            "cleared": [str(path) for path in self.cleared],
            "evenness": None if self.evenness is None else self.evenness.as_json(),
            "chart": None if self.chart is None else str(self.chart),
        }
