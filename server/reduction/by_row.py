"""Whether the rows of a recording are loads by themselves, noted one by one."""

from server.model.recording import Recording
from server.model.results import ReductionOptions

ROWS_WITHOUT_TIME = "rows_without_time"  # a note of the reading


def rows_are_points(recording: Recording, options: ReductionOptions) -> bool:
    """True where there is no time column, or the readings were noted by hand or off a video."""
    return options.rows_are_points or ROWS_WITHOUT_TIME in recording.notes
