"""Every table of the database."""

from server.store.tables.listing import ListingRow, ListingWordRow
from server.store.tables.metadata import Table
from server.store.tables.people import ApiTokenRow, PersonTextRow, TesterRow, WebSessionRow
from server.store.tables.runs import (
    FindingRow,
    MetricRow,
    MetricSetRow,
    MetricSetTraceRow,
    RecordingRow,
    RunRevisionRow,
    RunRow,
    StoredFileRow,
)
from server.store.tables.things import (
    ApplianceRow,
    ClaimRow,
    PlateRevisionRow,
    RigRevisionRow,
    RigRow,
    SpecimenRow,
)
from server.store.tables.work import AuditEventRow, AuditSealRow, DraftRow, JobRow

__all__ = [
    "Table",
    "TesterRow",
    "ApiTokenRow",
    "WebSessionRow",
    "PersonTextRow",
    "ApplianceRow",
    "PlateRevisionRow",
    "ClaimRow",
    "SpecimenRow",
    "RigRow",
    "RigRevisionRow",
    "StoredFileRow",
    "RecordingRow",
    "RunRow",
    "RunRevisionRow",
    "MetricSetRow",
    "MetricSetTraceRow",
    "MetricRow",
    "FindingRow",
    "ListingRow",
    "ListingWordRow",
    "JobRow",
    "DraftRow",
    "AuditEventRow",
    "AuditSealRow",
]
