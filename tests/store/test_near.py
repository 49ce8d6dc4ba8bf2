"""Which spellings are taken for one appliance, and which tell two apart."""

import pytest
from sqlalchemy.orm import Session

from server.actions.add_appliance import add_appliance
from server.model.bench import Appliance, Plate
from server.model.views import Tester
from server.store.near import edits, near_appliances


@pytest.mark.parametrize(
    ("a", "b", "n"),
    [("kitten", "sitting", 3), ("", "abc", 3), ("same", "same", 0), ("ab", "ba", 2)],
)
def test_edits_between_words(a: str, b: str, n: int) -> None:
    assert edits(a, b) == edits(b, a) == n


@pytest.mark.parametrize(
    ("maker", "model", "is_near"),
    [
        ("Millbeck", "WD-30", True),
        ("MILLBECK", "wd 30", True),
        ("Milbeck", "WD30", True),
        ("Millbeck", "WD-40", False),  # another figure is another machine
        ("Millbeck", "Shop 30", False),
        ("Tollan", "WD-30", False),
        ("", "WD-30", False),
    ],
)
def test_near_spellings(
    session: Session, tester: Tester, maker: str, model: str, is_near: bool
) -> None:
    appliance = Appliance(maker="Millbeck", model="WD-30", category="wet/dry vacuum")
    add_appliance(session, appliance=appliance, plate=Plate(), claims=(), tester=tester)
    found = near_appliances(session, maker=maker, model=model)
    assert bool(found) is is_near
    if found:
        assert found[0].is_same is (maker.casefold() == "millbeck" and model == "WD-30")
