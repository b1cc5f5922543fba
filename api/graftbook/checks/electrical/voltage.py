"""The voltage that a vehicle runs at, and that of its battery."""

from graftbook.checks.fitted import Reading, remembered


@remembered
def system_v(reading: Reading) -> float:
    """Volts of the system: those that battery and machine are both made for, so that a converted vehicle is
    judged by what it has now; else the variant's from new."""
    battery = reading.maybe("battery", "rated_voltage")
    machine = reading.maybe("charging.machine", "rated_voltage")
    return reading.fact("system_voltage") if battery is None or battery != machine else battery


@remembered
def battery_v(reading: Reading) -> float:
    """Volts of the battery that is fitted; where it records none, those of the variant's system."""
    own = reading.maybe("battery", "rated_voltage")
    return reading.fact("system_voltage") if own is None else own
