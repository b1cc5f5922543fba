"""The voltage that a vehicle runs at."""

from api.checks.fitted import Reading


def system_v(reading: Reading) -> float:
    """What the fitted battery is rated at: a conversion is judged as what it became. The variant's own where
    no battery says it."""
    own = reading.maybe("battery", "rated_voltage")
    return reading.fact("system_voltage") if own is None else own
