"""All detectors, in the order in which they are asked."""

from __future__ import annotations

from flightlog.screening import FlightDetector, LogDetector
from flightlog.screening.airflow import airspeed_below_zero, airspeed_unusable, wind_unknown
from flightlog.screening.angles import angle_unit
from flightlog.screening.cells import cell_count
from flightlog.screening.clocks import (
    clock_unit,
    late_fixes,
    stream_shifts,
    stream_spans,
)
from flightlog.screening.dates import impossible_date, leap_seconds
from flightlog.screening.declared import mass_doubtful, pack_doubtful, payload_contradicts
from flightlog.screening.flights import (
    attempts_first,
    power_lost,
    radio_copy,
    several_sorties,
    silences,
    silent_end,
    stream_gaps,
)
from flightlog.screening.heights import (
    altitude_by_gps,
    altitude_off_site,
    baro_warming,
    static_pressure_error,
)
from flightlog.screening.inertial import (
    accelerometer_clipped,
    accelerometer_unit,
    board_rotated,
    vibration_folds,
)
from flightlog.screening.out_of_range import out_of_range
from flightlog.screening.outputs import pulse_unit, throttle_channel
from flightlog.screening.positions import poor_fixes, position_jumps, static_hold
from flightlog.screening.power import current_scale, wiring_resistance
from flightlog.screening.scaled import scaled_integers
from flightlog.screening.settings import settings_changed
from flightlog.screening.surfaces import surface_sense
from flightlog.screening.units import airspeed_unit, height_unit, speed_unit

LOG_DETECTORS: tuple[LogDetector, ...] = (
    # --- clocks, positions, heights, units
    stream_spans,
    stream_shifts,
    clock_unit,
    leap_seconds,
    impossible_date,
    out_of_range,
    speed_unit,
    height_unit,
    angle_unit,
    scaled_integers,
    position_jumps,
    poor_fixes,
    altitude_off_site,
    silences,
    silent_end,
    stream_gaps,
    several_sorties,
    attempts_first,
    radio_copy,
    # --- power, outputs, inertial sensors, air data, settings
    cell_count,
    current_scale,
    pulse_unit,
    throttle_channel,
    accelerometer_unit,
    airspeed_below_zero,
    payload_contradicts,
    settings_changed,
)

FLIGHT_DETECTORS: tuple[FlightDetector, ...] = (
    # --- clocks, positions, heights, units
    late_fixes,
    static_hold,
    airspeed_unit,
    static_pressure_error,
    baro_warming,
    altitude_by_gps,
    power_lost,
    # --- power, outputs, inertial sensors, air data, what was declared
    wiring_resistance,
    surface_sense,
    board_rotated,
    accelerometer_clipped,
    vibration_folds,
    wind_unknown,
    mass_doubtful,
    pack_doubtful,
)

SENSOR_DETECTORS: tuple[FlightDetector, ...] = (airspeed_unusable,)
"""Asked before the analyses, which are not shown what can't be used."""
