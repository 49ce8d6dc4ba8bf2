"""The catalogue's own tables: derived, rewritten in the transaction that changes what they show."""

from datetime import datetime

from sqlalchemy import ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from server.store.tables.metadata import JsonDict, Table
from server.store.types import ORDERED_WORDS


class ListingRow(Table):
    """One row per appliance that is not merged away; its figures are those of one run.

    A value column per figure that can be sorted or filtered, each indexed with the key that
    pages go by; `figures` holds what is shown: {name: [value, u, lower_bound, reason]}.
    `updated_at` is when its figures were published; `rewritten_at` changes with every change.
    """

    __tablename__ = "listing"
    __table_args__ = (
        Index("ix_listing_newest", "updated_at", "appliance_id"),
        Index("ix_listing_maker", "name_key", "appliance_id"),
        Index("ix_listing_category_newest", "category", "updated_at", "appliance_id"),
        # A category is the filter that is used most: each of its orders has an index of its own.
        Index("ix_listing_category_name", "category", "name_key", "appliance_id"),
        Index("ix_listing_category_printed", "category", "printed_power_w", "appliance_id"),
        Index(
            "ix_listing_category_rated", "category", "shaft_power_at_rated_current", "appliance_id"
        ),
        Index("ix_listing_category_steady", "category", "shaft_power_max_steady", "appliance_id"),
        Index("ix_listing_category_efficiency", "category", "efficiency_max", "appliance_id"),
        Index("ix_listing_category_ratio", "category", "ratio", "appliance_id"),
        Index("ix_listing_maker_key", "maker_key", "updated_at", "appliance_id"),
        Index("ix_listing_printed_power", "printed_power_w", "appliance_id"),
        Index("ix_listing_shaft_rated", "shaft_power_at_rated_current", "appliance_id"),
        Index("ix_listing_shaft_steady", "shaft_power_max_steady", "appliance_id"),
        Index("ix_listing_shaft_momentary", "shaft_power_max_momentary", "appliance_id"),
        Index("ix_listing_efficiency_max", "efficiency_max", "appliance_id"),
        Index("ix_listing_free_speed", "free_speed", "appliance_id"),
        Index("ix_listing_ratio", "ratio", "appliance_id"),
    )

    appliance_id: Mapped[int] = mapped_column(
        ForeignKey("appliance.id"), primary_key=True, autoincrement=False
    )
    public_id: Mapped[str]
    slug: Mapped[str]
    maker: Mapped[str]
    model: Mapped[str]
    model_number: Mapped[str | None]
    category: Mapped[str]
    name_key: Mapped[str] = mapped_column(ORDERED_WORDS)
    maker_key: Mapped[str]
    printed_power_w: Mapped[float | None]
    printed_power_typed: Mapped[str | None]
    n_runs: Mapped[int]
    n_specimens: Mapped[int]
    n_testers: Mapped[int]
    run_id: Mapped[int | None] = mapped_column(ForeignKey("run.id"), index=True)
    run_public_id: Mapped[str | None]
    metric_set_id: Mapped[int | None] = mapped_column(ForeignKey("metric_set.id"), index=True)
    shaft_power_at_rated_current: Mapped[float | None]
    shaft_power_max_steady: Mapped[float | None]
    shaft_power_max_momentary: Mapped[float | None]
    efficiency_max: Mapped[float | None]
    free_speed: Mapped[float | None]
    ratio: Mapped[float | None]
    ratio_standard_uncertainty: Mapped[float | None]
    figures: Mapped[JsonDict]
    updated_at: Mapped[datetime]
    rewritten_at: Mapped[datetime] = mapped_column(index=True)


class ListingWordRow(Table):
    """The words an appliance is found by; a search takes beginnings of words."""

    __tablename__ = "listing_word"
    __table_args__ = (Index(None, "appliance_id", "word"),)

    word: Mapped[str] = mapped_column(ORDERED_WORDS, primary_key=True)
    appliance_id: Mapped[int] = mapped_column(
        ForeignKey("listing.appliance_id", ondelete="CASCADE"), primary_key=True
    )
