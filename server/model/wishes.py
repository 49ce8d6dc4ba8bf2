"""What readers can ask to have tested, by the word that is stored."""

WISHES: tuple[str, ...] = (
    "brake run",
    "another specimen",
    "another tester",
    "air or water",
    "in use",
    "run-up",
    "run-down",
    "locked rotor",
    "something else",
)
