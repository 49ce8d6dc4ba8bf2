"""The picture of a comparison is drawn once for the same reductions by the same names."""

from server.charts import along_the_load
from server.pages import kept_pictures
from server.pages.kept_pictures import compared_along_the_load
from server.pages.pictures import show_figure
from tests.pages.samples import reduction


def test_it_is_the_picture_of_what_was_asked_for() -> None:
    one, two = reduction(1.0), reduction(1.2)
    named = [("Millbeck 1", one), ("Dorrin 2", two)]
    shown = compared_along_the_load(named)
    assert shown == show_figure(along_the_load(named))
    assert compared_along_the_load(list(named)) is shown
    # Another order, name or reduction is another picture, an equal reduction made anew as well.
    for other in (
        list(reversed(named)),
        [("Millbeck 3", one), named[1]],
        [named[0], ("Dorrin 2", reduction(1.3))],
    ):
        assert compared_along_the_load(other) == show_figure(along_the_load(other))
        assert compared_along_the_load(other) != shown


def test_it_keeps_no_more_than_it_may() -> None:
    for n in range(kept_pictures.MOST + 3):
        compared_along_the_load([(f"Model {n}", reduction()), ("Other", reduction(1.1))])
    assert len(kept_pictures._kept) == kept_pictures.MOST
