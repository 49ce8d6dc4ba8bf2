"""A power claim read every way, as a section of the appliance's and the run's page."""

from collections.abc import Sequence

from server.charts import claim_every_way
from server.charts.figure import FigureTable
from server.model.bench import Claim, ClaimReading, Plate
from server.model.meanings import METRIC_OF_MEANING
from server.model.words import Meaning
from server.pages.methods import method_links
from server.pages.pictures import show_figure
from server.pages.rows import figure_path
from server.pages.shapes import ClaimShown, Value
from server.wording.counts import show_date
from server.wording.figures import show_claim, unbroken
from server.wording.sentences import claim_sentences
from server.wording.verdicts import RULE, verdict_rows


def show_claims(
    readings: Sequence[ClaimReading], *, plate: Plate, run_id: str | None = None
) -> tuple[ClaimShown, ...]:
    """Each power claim with its picture, its verdicts and what would have to be true for it.

    `run_id`: the run whose figures were read, for links to them.
    """

    def address(meaning: Meaning) -> str:
        return figure_path(run_id or "", METRIC_OF_MEANING[meaning])

    many = len(readings) > 1
    shown = []
    for number, reading in enumerate(readings, start=1):
        claim = reading.claim
        title = "The claim, read every way"
        if many:
            title = f"{unbroken(claim.value_typed)}, read every way"
        section = "claim" if not many else f"claim-{number}"
        spec = claim_every_way(
            reading,
            plate=plate,
            address=address if run_id is not None else None,
            figure_id=f"{section}-picture",
        )
        shown.append(
            ClaimShown(
                id=section,
                title=title,
                wording=claim_wording(claim),
                figure=show_figure(spec, links=method_links(("claims", "How this is worked out"))),
                sentences=claim_sentences(reading, plate=plate),
                verdicts=_verdicts(reading),
                rule=RULE,
                rule_links=method_links(("uncertainty", "How this is decided, and the guard band")),
            )
        )
    return tuple(shown)


def _verdicts(reading: ClaimReading) -> FigureTable | None:
    rows = verdict_rows(reading)
    if not rows:
        return None
    return FigureTable(
        caption=f"Does the true figure reach {unbroken(reading.claim.value_typed)}?",
        headers=("Meaning", "Measured", "Probability", "Verdict", "Guard band"),
        rows=rows,
        numeric=frozenset({1, 2, 4}),
    )


def claim_wording(claim: Claim) -> str:
    """The exact words of a claim and where they stand."""
    text = f"Printed: “{claim.wording}”"
    if claim.where_printed:
        text += f", {claim.where_printed}"
    if claim.seen_on:
        text += f", seen {show_date(claim.seen_on)}"
    text += "."
    if claim.footnote:
        text += f" Its footnote: “{claim.footnote.rstrip('.')}”."
    return text


def other_claims(claims: Sequence[Claim], *, readings: Sequence[ClaimReading]) -> tuple[Value, ...]:
    """What is printed beside the claims that are read every way."""
    read = [reading.claim for reading in readings]
    return tuple(
        Value(
            label=claim.quantity.replace("_", " ").capitalize(),
            text=show_claim(claim),
            note=claim_wording(claim),
        )
        for claim in claims
        if claim not in read
    )
