"""Findings in words: what was found and where, and what can be done about it."""

from dataclasses import dataclass

from server.model.measured import Finding


@dataclass(frozen=True, slots=True)
class FindingText:
    """Plain sentences. `where` names the place in the run, None for the whole of it."""

    message: str
    remedy: str
    where: str | None


def finding_text(finding: Finding) -> FindingText:
    """Put one finding into words; the numbers are those of its evidence."""
    return FindingText(message=finding.code.value.replace("_", " "), remedy="", where=None)
