"""Fields of the bench file that came after runs were stored, and digests that outlive them."""

LATER_FIELDS = frozenset(
    {
        "temperature_coefficient_per_k",
        "reference_temperature_k",
        "arm_angle_rad",
        "arm_angle_uncertainty_rad",
        "pivot_friction_nm",
        "lead_resistance_ohm",
        "lead_resistance_uncertainty_rel",
        "cold_resistance_ohm",
        "hot_resistance_ohm",
        "resistance_uncertainty_rel",
        "cold_temperature_k",
        "cold_temperature_uncertainty_k",
        "winding_material",
        "winding_standard",
        "sheet",
    }
)


def without_later(value: object) -> object:
    """Nested dictionaries and lists without those of these fields that are not given.

    What a digest is made from: a field that came later and is not used changes no digest made
    before, so the same rig is still the same rig and the same draws are drawn again.
    """
    if isinstance(value, dict):
        return {
            key: without_later(item)
            for key, item in value.items()
            if item is not None or key not in LATER_FIELDS
        }
    if isinstance(value, list | tuple):
        return [without_later(item) for item in value]
    return value
