"""Which figure of a run each meaning of "power" is read from."""

from server.model.words import Meaning, MetricName

METRIC_OF_MEANING: dict[Meaning, MetricName] = {
    Meaning.SHAFT_AT_RATED_CURRENT: MetricName.SHAFT_POWER_AT_RATED_CURRENT,
    Meaning.SHAFT_HIGHEST_STEADY: MetricName.SHAFT_POWER_MAX_STEADY,
    Meaning.SHAFT_HIGHEST_MOMENTARY: MetricName.SHAFT_POWER_MAX_MOMENTARY,
    Meaning.BRAKE_READING_WHILE_SLOWING: MetricName.BRAKE_READING_WHILE_SLOWING,
    Meaning.INPUT_AT_RATED_CURRENT: MetricName.INPUT_POWER_AT_RATED_CURRENT,
    Meaning.INPUT_AT_HIGHEST_STEADY: MetricName.INPUT_POWER_AT_MAX_STEADY_POWER,
    Meaning.INPUT_ROTOR_HELD: MetricName.INPUT_ROTOR_HELD,
}
