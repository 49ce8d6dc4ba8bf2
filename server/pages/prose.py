"""Pages that are words alone."""

from dataclasses import dataclass

from server.pages.shapes import Head


@dataclass(frozen=True, slots=True)
class ProsePage:
    head: Head
    article: str


SAFETY = ProsePage(
    Head(
        title="Safety",
        description="Cautions of the trade for bench tests of mains-powered motors.",
        path="/safety",
        section="safety",
        kind="article",
    ),
    "_safety.html",
)
DATA_LICENCE = ProsePage(
    Head(
        title="Licence of the data",
        description="Figures and files may be used by anyone under CC BY 4.0.",
        path="/data-licence",
        kind="article",
    ),
    "_data_licence.html",
)
PRIVACY = ProsePage(
    Head(
        title="Privacy",
        description="What is kept about those who read and those who send, why, and how long.",
        path="/privacy",
        kind="article",
    ),
    "_privacy.html",
)
