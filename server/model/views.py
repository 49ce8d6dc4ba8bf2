"""What the store's queries hand to api and pages: plain, frozen, complete, never a live row.

`public_id` is the 10-character random id of an address; integer keys stay inside the store.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Generic, TypeVar

from server.model.bench import Appliance, Claim, Plate, Rig, RunDetails, Specimen
from server.model.measured import JsonValue, Metric
from server.model.people import Role
from server.model.recording import Column
from server.model.results import Reduction
from server.model.words import MetricName, RunState

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Page(Generic[T]):
    """One page of a list; `next` is an opaque cursor, None at the end."""

    items: tuple[T, ...]
    next: str | None = None


@dataclass(frozen=True, slots=True)
class CatalogueFilter:
    """Filters and sort of the catalogue. Ranges are (low, high) in SI, either end open."""

    text: str | None = None
    category: str | None = None
    maker: str | None = None
    printed_power_w: tuple[float | None, float | None] = (None, None)
    metric_ranges: Mapping[MetricName, tuple[float | None, float | None]] = field(
        default_factory=dict
    )
    sort: str = "newest"
    descending: bool = True
    cursor: str | None = None
    limit: int = 50


# What the catalogue can be sorted by: a word of the address -> the listing column behind it.
CATALOGUE_SORTS: tuple[str, ...] = (
    "newest",
    "maker",
    "printed_power",
    "shaft_power_at_rated_current",
    "shaft_power_max_steady",
    "efficiency_max",
    "ratio",
)


@dataclass(frozen=True, slots=True)
class ListingRow:
    """One appliance in the catalogue, from the wide `listing` table.

    `ratio`: highest steady shaft power / printed power. The figures are those of one run
    (`run_id`), its newest published brake run, and are said to be.
    """

    public_id: str
    slug: str
    maker: str
    model: str
    model_number: str | None
    category: str
    printed_power_w: float | None
    printed_power_typed: str | None
    n_runs: int
    n_specimens: int
    n_testers: int
    run_id: str | None
    metrics: Mapping[MetricName, Metric]
    ratio: float | None
    ratio_standard_uncertainty: float | None
    updated_at: datetime


@dataclass(frozen=True, slots=True)
class Stored(Generic[T]):
    """A stored thing with its address: appliance, rig, specimen."""

    public_id: str
    slug: str
    content: T
    revision: int = 1


@dataclass(frozen=True, slots=True)
class RunRow:
    """A run in a list."""

    public_id: str
    state: RunState
    kind: str
    tested_on: date | None
    created_at: datetime
    tester: str
    specimen: str | None
    rig: str | None
    appliance_id: str
    appliance_slug: str
    appliance_name: str
    metrics: Mapping[MetricName, Metric]


@dataclass(frozen=True, slots=True)
class JournalRow:
    """One act as everybody may know it. `actor`: a person's name, or who acted without one.

    `is_maintainer`: the actor is one, or an administrator.
    """

    at: datetime
    act: str
    actor: str
    note: str | None
    after: Mapping[str, JsonValue] = field(default_factory=dict)
    is_maintainer: bool = False


@dataclass(frozen=True, slots=True)
class ApplianceView:
    """All that an appliance page shows. `best` is the run its headline figures come from."""

    appliance: Stored[Appliance]
    plate: Plate
    plate_revision: int
    claims: tuple[Claim, ...]
    runs: tuple[RunRow, ...]
    best: "RunView | None"
    n_specimens: int
    n_testers: int
    journal: tuple[JournalRow, ...]
    updated_at: datetime


@dataclass(frozen=True, slots=True)
class StoredFile:
    sha256: str
    name: str
    n_bytes: int


@dataclass(frozen=True, slots=True)
class PlacedOn:
    """The brake run whose curve a run in use was placed on."""

    public_id: str
    specimen: str | None
    is_same_specimen: bool


@dataclass(frozen=True, slots=True)
class RunView:
    """All that a run page shows. `reduction` is None while the run is `working` or `failed`."""

    public_id: str
    state: RunState
    revision: int
    appliance: Stored[Appliance]
    plate: Plate
    claims: tuple[Claim, ...]
    specimen: Stored[Specimen]
    rig: Stored[Rig]
    details: RunDetails
    tester: str
    tester_id: str
    file: StoredFile
    columns: tuple[Column, ...]
    dialect: Mapping[str, JsonValue]
    n_rows: int
    reduction: Reduction | None
    is_stale: bool
    failure: str | None
    created_at: datetime
    updated_at: datetime
    journal: tuple[JournalRow, ...]
    placed_on: PlacedOn | None = None


@dataclass(frozen=True, slots=True)
class Tester:
    """Who asks. `id` is the internal key, never shown.

    `scopes`: what this request may do. `session_id`, `proved_at` and `has_second_factor` are those
    of a sign-in on the pages; a token has none of them. `is_by_token`: asked with a token, or
    signed in with one. `seen_at`: when the token or sign-in was last noted in use.
    """

    id: int
    public_id: str
    name: str
    scopes: frozenset[str]
    role: Role = Role.TESTER
    session_id: str | None = None
    proved_at: datetime | None = None
    has_second_factor: bool = False
    is_by_token: bool = False
    token_id: int | None = None
    seen_at: datetime | None = None

    @property
    def is_visitor(self) -> bool:
        return self.role is Role.VISITOR


@dataclass(frozen=True, slots=True)
class TokenView:
    """A token as its owner sees it; the token itself was told once and is not kept."""

    public_id: str
    label: str
    scopes: tuple[str, ...]
    created_at: datetime
    expires_at: datetime | None
    revoked_at: datetime | None
    used_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class DraftView:
    """An upload on its way: the stored file and what the sender has filled in so far.

    `run_id`: of the run that it will be a new revision of.
    """

    public_id: str
    file: StoredFile
    form: Mapping[str, JsonValue]
    created_at: datetime
    updated_at: datetime
    run_id: str | None = None
