"""Appliances that are spelled much like one that is about to be added."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.store import tables as t
from server.store.identity import match_key, plain_words

# How many makers, and how many models of those, are looked through.
MOST_MAKERS = 5000
MOST_MODELS = 2000


@dataclass(frozen=True, slots=True)
class NearAppliance:
    public_id: str
    maker: str
    model: str
    category: str
    is_same: bool


def near_appliances(
    session: Session, *, maker: str, model: str, limit: int = 5
) -> tuple[NearAppliance, ...]:
    """Appliances of a maker and model spelled like these, the likest first; the same one too.

    Two spellings are near if they differ by at most one letter in six, with case, accents, blanks
    and punctuation left out.
    """
    wanted_maker, wanted_model = _letters(maker), _letters(model)
    if not wanted_maker or not wanted_model:
        return ()
    row = t.ApplianceRow
    makers = session.execute(
        select(row.maker_key).where(row.maker_key.like(f"{_head(maker)}%", escape="\\")).distinct()
        .order_by(row.maker_key).limit(MOST_MAKERS)
    ).scalars()  # fmt: skip
    near = [key for key in makers if _is_near(_letters(key), wanted_maker)]
    if not near:
        return ()
    rows = session.execute(
        select(row.public_id, row.maker, row.model, row.category, row.maker_key, row.model_key)
        .where(row.maker_key.in_(near), row.merged_into_id.is_(None))
        .order_by(row.id.desc())
        .limit(MOST_MODELS)
    ).all()
    same = (match_key(maker), match_key(model))
    found = [
        (
            edits(_letters(one.model), wanted_model) + edits(_letters(one.maker), wanted_maker),
            NearAppliance(
                one.public_id,
                one.maker,
                one.model,
                one.category,
                is_same=(one.maker_key, one.model_key) == same,
            ),
        )
        for one in rows
        if _is_near(_letters(one.model), wanted_model)
    ]
    found.sort(key=lambda pair: pair[0])
    return tuple(one for _, one in found[:limit])


def edits(a: str, b: str) -> int:
    """How many letters must be put in, taken out or changed to make one the other.

    Sources
    -------
    The row-by-row scheme of R. A. Wagner and M. J. Fischer, The String-to-String Correction
    Problem, J. ACM 21 (1974) 168-173.
    """
    above = list(range(len(b) + 1))
    for i, left in enumerate(a, start=1):
        row = [i]
        for j, right in enumerate(b, start=1):
            row.append(min(above[j] + 1, row[-1] + 1, above[j - 1] + (left != right)))
        above = row
    return above[-1]


def _is_near(a: str, b: str) -> bool:
    longer = max(len(a), len(b))
    allowed = max(1, longer // 6)
    # A figure in a model's name tells models apart: WD-30 and WD-40 are two machines.
    if _figures(a) != _figures(b) or abs(len(a) - len(b)) > allowed:
        return False
    return edits(a, b) <= allowed


def _figures(letters: str) -> str:
    return "".join(c for c in letters if c.isdigit())


def _letters(text: str) -> str:
    return "".join(plain_words(text))


def _head(maker: str) -> str:
    """The first letter, which a slip of the finger seldom takes; safe in a LIKE."""
    first = match_key(maker)[:1]
    return f"\\{first}" if first in {"%", "_", "\\"} else first
