"""Which method made a figure. Raised with a changelog line and an edit in docs/methods/."""

from server.model.words import RunKind

METHOD_VERSIONS: dict[RunKind, str] = {RunKind.BRAKE: "brake-1"}
