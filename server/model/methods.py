"""Which method makes the figures of each kind of run.

Raised with a changelog line and an edit in docs/methods/. It is here, not in `reduction/`,
because the store asks which figures are stale and may not know the numerics.
"""

from server.model.words import RunKind

METHOD_VERSIONS: dict[RunKind, str] = {
    RunKind.BRAKE: "brake-5",
    RunKind.RUN_DOWN: "run-down-1",
    RunKind.RUN_UP: "run-up-2",
    RunKind.IN_USE: "in-use-1",
    RunKind.LOCKED_ROTOR: "locked-rotor-1",
}
