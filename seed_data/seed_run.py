"""One run of the scenario as files, and what was true of it."""

from dataclasses import dataclass, field

from seed_data.motors import Truth


@dataclass(frozen=True)
class SeedRun:
    """One run of the scenario as files, and what was true of it."""

    order: int
    tester: str
    appliance: str
    specimen: str
    rig: str
    log: str
    bench: str
    about: str
    expects: tuple[str, ...]  # finding codes that must come
    is_sound: bool  # no error finding may come
    is_bracketed: bool  # power is seen to fall on both sides of its peak
    truth: Truth
    kind: str = "brake"
    true: dict[str, float] = field(default_factory=dict)  # figures by name, of other kinds
