"""The sorts of refusal. Each has an address of its own, which says what it means."""

from dataclasses import dataclass

KINDS_ADDRESS = "/api/v1/problems"


@dataclass(frozen=True, slots=True)
class ProblemKind:
    """A sort of refusal: its word in the address of `type`, its status, and what it means."""

    word: str
    status: int
    title: str
    meaning: str


KINDS: dict[str, ProblemKind] = {
    kind.word: kind
    for kind in (
        ProblemKind(
            "malformed",
            400,
            "The request can't be read",
            "The bytes don't follow their own format.",
        ),
        ProblemKind(
            "sign-in-needed",
            401,
            "A token is needed",
            "No token was sent, or it is unknown, revoked or expired.",
        ),
        ProblemKind(
            "not-allowed", 403, "Not allowed", "The token is good, but does not reach this far."
        ),
        ProblemKind("not-found", 404, "Not found", "Nothing is here, or nothing that you may see."),
        ProblemKind(
            "method-not-allowed",
            405,
            "Not done here",
            "The address exists, but does not take this method; `Allow` names those it takes.",
        ),
        ProblemKind(
            "conflict",
            409,
            "Something else stands there",
            "It changed meanwhile, or its idempotency key was used for something else.",
        ),
        ProblemKind(
            "over",
            410,
            "Not good any more",
            "A link or code that was used already, or whose time is over.",
        ),
        ProblemKind(
            "too-large",
            413,
            "Too large",
            "Over a limit of this server; the detail names the limit and its setting.",
        ),
        ProblemKind(
            "unsupported-media-type",
            415,
            "Not in a form that is read here",
            "The content type is none that this address takes.",
        ),
        ProblemKind(
            "unusable-log",
            422,
            "This log can't be used",
            "`problems` names every row and column that stands in the way, and the remedy.",
        ),
        ProblemKind(
            "unusable-bench",
            422,
            "This bench description can't be used",
            "`problems` names every field that stands in the way, and the remedy.",
        ),
        ProblemKind(
            "invalid-input",
            422,
            "These values can't be used",
            "`problems` names every field that stands in the way, and the remedy.",
        ),
        ProblemKind(
            "too-many",
            429,
            "Too often",
            "More tries than this server takes from one account or address; "
            "`Retry-After` says in how many seconds it takes one again.",
        ),
        ProblemKind("defect", 500, "Something went wrong here", "A defect of the server's own."),
        ProblemKind(
            "unavailable", 503, "Not ready", "The server can't answer at present. Try again later."
        ),
    )
}
