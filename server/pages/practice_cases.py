"""Invented cases for new maintainers: what is seen, what to decide, and why. Nothing is stored."""

from dataclasses import dataclass
from enum import StrEnum

from server.model.measured import Finding
from server.model.words import FindingCode, Severity


class Decision(StrEnum):
    PUBLISH = "publish"
    RETURN = "return"
    WITHDRAW = "withdraw"
    MERGE = "merge"


@dataclass(frozen=True, slots=True)
class PracticeCase:
    """`right`: the decisions that do; `why` of each choice stands in `told`."""

    word: str
    title: str
    seen: tuple[tuple[str, str], ...]
    findings: tuple[Finding, ...]
    story: str
    right: frozenset[Decision]
    why: str
    how: str


_ERROR, _WARNING, _NOTE = Severity.ERROR, Severity.WARNING, Severity.INFO

CASES: tuple[PracticeCase, ...] = (
    PracticeCase(
        word="unit-slip",
        title="A shaft power of 4 W",
        seen=(
            ("Shaft, highest steady", "4.5 ± 0.1 W; other runs of this appliance: 638 ± 15 W"),
            ("Torque column", "“Torque [ozf·in]”, read in ozf·in"),
            ("Tester", "11 runs published, one returned"),
        ),
        findings=(
            Finding(
                FindingCode.UNIT_SLIP,
                _ERROR,
                {
                    "gain_of_brake_over_gain_of_input": 0.0045,
                    "candidates": [
                        {"channels": ["torque"], "units": "ozf·in and N·m", "factor": 141.6}
                    ],
                },
            ),
        ),
        story="The note says: “The flange was set to newton-metres for the big one.”",
        right=frozenset({Decision.RETURN}),
        why="The figures are off by the factor between two units, and the note says which. "
        "Only the sender can say how the flange stood.",
        how="Return it with a remark on the torque column’s unit. The readings are sound; a new "
        "revision with the right unit keeps them.",
    ),
    PracticeCase(
        word="sound-first-run",
        title="The first run of a blender",
        seen=(
            ("Shaft, highest steady", "412 ± 9 W"),
            ("Efficiency, best", "54.1 ± 1.2 %"),
            ("Similar blenders", "290 W to 520 W; this one 0.4 standard deviations above"),
            ("Tester", "their first run"),
        ),
        findings=(),
        story="Twelve steady dwells, the plate photographed, the rig calibrated in March.",
        right=frozenset({Decision.PUBLISH}),
        why="Nothing stands against it. That it is the first run, of its appliance and of its "
        "tester, is why it waited, not a reason to send it back.",
        how="Publish it. A kind word by a correspondence note is not needed.",
    ),
    PracticeCase(
        word="same-file",
        title="The same file once more",
        seen=(
            ("File", "the same bytes as a run published last week"),
            ("Specimen", "“no. 2”; that run says “no. 1”"),
            ("Tester", "the same tester"),
        ),
        findings=(Finding(FindingCode.SAME_FILE, _WARNING, {"runs": ["4k7p2m9xq1"]}),),
        story="The reason of the revision is empty. Both runs have the same date.",
        right=frozenset({Decision.RETURN}),
        why="One file is one run: counted twice, it would make the pooled figure look surer than "
        "it is. Perhaps the wrong file was picked for the second specimen.",
        how="Return it with a remark on the file. If it was sent twice by mistake, its tester "
        "takes one back.",
    ),
    PracticeCase(
        word="two-names",
        title="An appliance under two names",
        seen=(
            ("Appliance", "Tollan Shed-40"),
            ("On record already", "Tollan Shed 40, three runs"),
            ("Plate", "the same voltage, current and model number"),
        ),
        findings=(),
        story="A first run, by the catalogue’s reckoning. Its figures agree with those of the "
        "other within one standard deviation.",
        right=frozenset({Decision.MERGE, Decision.PUBLISH}),
        why="It is one appliance, noted twice for a hyphen. The run is sound.",
        how="Merge the new name into the old, look at what will move, then publish the run. The "
        "old address leads on.",
    ),
    PracticeCase(
        word="a-name-in-the-header",
        title="A line above the table names somebody",
        seen=(
            ("First lines of the file", "“Operator: J. Example, 12 Sample Lane”"),
            ("Findings", "none"),
            ("Figures", "all within one standard deviation of similar runs"),
        ),
        findings=(),
        story="The operator is not the tester. A published file is read by everybody, as it was "
        "sent.",
        right=frozenset({Decision.RETURN}),
        why="The figures are sound, but publishing would publish somebody’s name and address "
        "without their word.",
        how="Return it with a remark on the file: send it again without that line. The first rows "
        "are shown when a file is sent, with the question whether they name anyone.",
    ),
    PracticeCase(
        word="heated-motor",
        title="The second half is weaker",
        seen=(
            ("Shaft, highest steady", "583 ± 12 W; first run of the same day: 641 ± 13 W"),
            ("Off by", "3.3 standard deviations below"),
            ("Notes", "“Third run of the day, housing too hot to touch.”"),
        ),
        findings=(
            Finding(
                FindingCode.RATED_CURRENT_NOT_REACHED,
                _WARNING,
                {"lowest_a": 1.4, "highest_a": 8.1, "plate_a": 10.2},
            ),
        ),
        story="Every reading is plausible; resistance rises and torque falls as windings warm.",
        right=frozenset({Decision.PUBLISH}),
        why="It is a true run of a hot motor, and says so. Differences between runs are what the "
        "ledger is for; being unlike the others is no fault.",
        how="Publish it. The note tells readers why it differs.",
    ),
    PracticeCase(
        word="over-hundred-percent",
        title="An efficiency of 118 %",
        seen=(
            ("Efficiency, best", "118 ± 2 %"),
            ("Arm", "250 mm; the picture of the rig shows about 200 mm"),
            ("Other runs", "none"),
        ),
        findings=(Finding(FindingCode.EFFICIENCY_IMPOSSIBLE, _ERROR, {"efficiency": 1.18}),),
        story="The tester’s other rig has an arm of 250 mm.",
        right=frozenset({Decision.RETURN}),
        why="More comes out than goes in, so something is read wrongly. The picture points at the "
        "arm, but only the sender can measure it.",
        how="Return it with a remark on the rig’s arm, and say what the picture shows.",
    ),
    PracticeCase(
        word="made-up",
        title="Readings too round",
        seen=(
            ("File", "ten rows, each figure a multiple of ten"),
            ("A reader’s report", "“These are the numbers of the example in the guide.”"),
            ("Tester", "this run only; does not answer"),
        ),
        findings=(),
        story="The rows are those of a published example, digit by digit. The run is published.",
        right=frozenset({Decision.WITHDRAW}),
        why="It is no bench test. What is no measurement leaves the figures, and the reason stays.",
        how="Withdraw it and say why in plain words, without guessing at motives. Then settle the "
        "report with the same reason.",
    ),
)
BY_WORD = {case.word: case for case in CASES}
