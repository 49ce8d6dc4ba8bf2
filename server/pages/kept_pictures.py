"""Pictures of comparisons, kept: the same reductions by the same names are drawn alike.

The store keeps the reductions of a comparison, so that those asked for again are the very same.
"""

from collections import OrderedDict
from collections.abc import Sequence
from threading import Lock

from server.charts import along_the_load
from server.model.results import Reduction
from server.pages.pictures import show_figure
from server.pages.shapes import FigureShown

MOST = 16  # of about 0.3 MB each

Named = tuple[tuple[str, Reduction], ...]
# By names and identities. Each picture holds its reductions: no other can have their identity.
_kept: OrderedDict[tuple[tuple[str, int], ...], tuple[Named, FigureShown]] = OrderedDict()
_lock = Lock()


def compared_along_the_load(named: Sequence[tuple[str, Reduction]]) -> FigureShown:
    """The curves of several appliances over torque, each by its name."""
    key = tuple((name, id(reduction)) for name, reduction in named)
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key][1]
    shown = show_figure(along_the_load(named))
    with _lock:
        _kept[key] = tuple(named), shown
        while len(_kept) > MOST:
            _kept.popitem(last=False)
    return shown
