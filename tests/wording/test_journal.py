"""What changed, in plain words: by role, never more than everybody may know."""

from datetime import UTC, datetime

import pytest

from server.model.views import JournalRow
from server.wording.journal import change_text

AT = datetime(2026, 11, 26, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("row", "text"),
    [
        (JournalRow(AT, "run sent", "Ada Quill", None), "Sent, by Ada Quill"),
        (JournalRow(AT, "run published", "system", None), "Published, by the rule"),
        (
            JournalRow(AT, "run published", "Bo Finch", None, is_maintainer=True),
            "Published, by a maintainer",
        ),
        (
            JournalRow(
                AT, "run returned", "Bo Finch", "See the plate.",
                {"remarks": [{"field": "plate.voltage"}]}, is_maintainer=True,
            ),
            "Returned with 1 remark, by a maintainer: See the plate.",
        ),
        (
            JournalRow(
                AT, "run accepted", "Bo Finch", None, {"not_before": "2026-12-01"}
            ),
            "Looked at and accepted for 1\u00a0Dec\u00a02026, by a maintainer",
        ),
        (JournalRow(AT, "run waiting", "Ada Quill", None), "Waits for a look, by Ada Quill"),
        (
            JournalRow(AT, "run withdrawn", "Ada Quill", "Wrong arm."),
            "Withdrawn, by Ada Quill: Wrong arm.",
        ),
        (JournalRow(AT, "problem raised", "reader", None), "A problem was reported, by a reader"),
        (
            JournalRow(AT, "problem settled", "Bo Finch", "It is right.", {"outcome": "stands"}),
            "The report was settled (it stays as it was), by a maintainer: It is right.",
        ),
        (
            JournalRow(AT, "plate corrected", "Bo Finch", "Misread.", {"plate": 2}),
            "Rating plate corrected, revision 2, by a maintainer: Misread.",
        ),
        (
            JournalRow(AT, "appliance merged", "Bo Finch", "One.", {"into": "4k7p2m9xq1"}),
            "Merged into another, where its runs stand now, by a maintainer: One.",
        ),
        (
            JournalRow(AT, "run working", "Ada Quill", "The arm is 240 mm."),
            "Corrected, by Ada Quill: The arm is 240 mm.",
        ),
        (
            JournalRow(AT, "run working", "Bo Finch", None, is_maintainer=True),
            "Its figures are made again, by a maintainer",
        ),
        (JournalRow(AT, "rig revised", "Ada Quill", None), "Rig revised, by Ada Quill"),
    ],
)  # fmt: skip
def test_an_act_in_words(row: JournalRow, text: str) -> None:
    assert change_text(row) == text
