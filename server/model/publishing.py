"""When a run without an error finding is published at once, and when somebody looks first."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PublishingRule:
    """The conditions of publishing at once, by actor `system`.

    `standing_runs`: how many published runs a tester needs, none withdrawn in `standing_days`;
    0: none asked. `look_share`: what part of those is looked at afterwards. `first_run_waits`: an
    appliance's first run is always looked at. As made here nobody looks first.
    """

    standing_runs: int = 0
    standing_days: float = 180.0
    look_share: float = 0.0
    first_run_waits: bool = False
