"""What every room speaks: frozen dataclasses and enums. SI inside, no numpy at run time."""
