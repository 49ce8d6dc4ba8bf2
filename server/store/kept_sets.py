"""Reductions as comparisons show them, kept decoded: metric sets are added, never changed."""

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from datetime import datetime
from threading import Lock
from typing import Any
from weakref import WeakKeyDictionary

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from server.model.results import Reduction

MOST = 64  # of about 0.2 MB each
# A set that was never committed can leave its number to another one, but not all of this.
Key = tuple[int, str, datetime]


def key_of(metric_set: Any) -> Key:
    """What a row of `metric_set` is kept under."""
    return metric_set.id, metric_set.input_digest, metric_set.created_at


class KeptSets:
    """Of one database, those asked for last; shared by the threads of a process."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._kept: OrderedDict[Key, Reduction] = OrderedDict()
        self._lock = Lock()

    def those_of(self, keys: Sequence[Key]) -> dict[Key, Reduction]:
        """Those of them that are kept."""
        with self._lock:
            found = {key: self._kept[key] for key in keys if key in self._kept}
            for key in found:
                self._kept.move_to_end(key)
        return found

    def keep(self, made: Mapping[Key, Reduction]) -> None:
        with self._lock:
            self._kept.update(made)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)


_by_engine: WeakKeyDictionary[Engine, KeptSets] = WeakKeyDictionary()


def kept_sets(session: Session) -> KeptSets:
    """Those of the session's database."""
    return _by_engine.setdefault(session.connection().engine, KeptSets())
