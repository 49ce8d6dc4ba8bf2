"""Every table of the database."""

from server.store.tables.listing import ListingRow, ListingWordRow
from server.store.tables.metadata import Table
from server.store.tables.moderation import (
    ConcernRow,
    LiveTestRow,
    PartialUploadRow,
    PhotoRow,
    RemarkRow,
    StatementRow,
)
from server.store.tables.people import (
    ApiTokenRow,
    ExternalIdentityRow,
    MakerDomainRow,
    MakerTieRow,
    OneTimeSecretRow,
    PasskeyRow,
    PersonTextRow,
    TesterRow,
    TotpRow,
    WebSessionRow,
)
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
from server.store.tables.work import AuditEventRow, AuditHeadRow, AuditSealRow, DraftRow, JobRow

__all__ = [
    "Table",
    "TesterRow",
    "ApiTokenRow",
    "WebSessionRow",
    "OneTimeSecretRow",
    "PasskeyRow",
    "TotpRow",
    "ExternalIdentityRow",
    "MakerTieRow",
    "MakerDomainRow",
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
    "RemarkRow",
    "ConcernRow",
    "StatementRow",
    "PhotoRow",
    "PartialUploadRow",
    "LiveTestRow",
    "AuditEventRow",
    "AuditSealRow",
    "AuditHeadRow",
]
