"""The radio link: how well it held, how it falls with distance, and what weakens it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses import link_words as words
from flightlog.analyses.link_aspect import SMOOTHING_STD_DB, Aspects, aspects_of
from flightlog.analyses.link_current import with_current
from flightlog.analyses.link_data import Seconds, Station, Strength, seconds_of, station_of
from flightlog.analyses.link_data import strength_of as strength_while_airborne
from flightlog.analyses.link_gaps import Silences, find_silences, least_quality
from flightlog.analyses.link_range import MODEL_STD, Range, range_of
from flightlog.analyses.phases import Sortie
from flightlog.analyses.track import Window, airborne_window
from flightlog.estimation.link_budget import exact_interval
from flightlog.estimation.path import FlightPath
from flightlog.figures import Answer, Figure
from flightlog.findings import Finding
from flightlog.inputs import Inputs, LinkSetting
from flightlog.uncertain import Posterior, Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

STRENGTH_FIGURES = (
    "link.margin",
    "link.range_exponent",
    "link.weakest_aspect",
    "link.current_correlation",
)
"""Figures that need the strength of the signal."""

LARGEST_STD_TOGETHER = 0.4
"""An exponent that was fitted together with directions is half what was thought before the flight
when it is less sure than this: none is given. [-]"""

LEAST_SECONDS = 30
"""Fewer seconds with power and place tell nothing."""


def answer(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None,
    inputs: Inputs,
    takeoff: Answer | None = None,
) -> Answer:
    """Give the link.* figures of one sortie.

    Parameters
    ----------
    recording : Recording
        Link, attitude, battery.
    sortie : Sortie
        Its bounds.
    path : FlightPath or None
        Positions and heights.
    inputs : Inputs
        Pilot's position; the ``[link]`` of the aircraft file.
    takeoff : Answer, optional
        Its "takeoff.liftoff_time" replaces the sortie's coarse time.
    """
    if "link" not in recording:
        return Answer()
    window = airborne_window(sortie, takeoff)
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    findings: list[Finding] = []
    silences = find_silences(recording, window)
    _add_quality(recording, window, silences, figures, withheld)
    _add_gap(silences, figures, withheld)
    strength = strength_while_airborne(recording, window, inputs)
    station, reason = _place(path, sortie, inputs)
    if isinstance(silences, Silences) and _to_tell(recording, silences):
        findings.append(words.dropout(recording, silences, path, station))
    if isinstance(strength, str) or path is None or station is None:
        why = strength if isinstance(strength, str) else reason
        withheld |= dict.fromkeys(STRENGTH_FIGURES, why)
        findings.append(words.not_excluded(why))
        return Answer(figures, withheld, tuple(findings))
    lost = silences.lost if isinstance(silences, Silences) else ()
    setting = _setting(inputs)
    rows = seconds_of(recording, strength, path, station, lost, setting.sensitivity_dbm)
    strong = _of_strength(recording, strength, rows, station, setting)
    return Answer(
        figures | dict(strong.figures),
        withheld | dict(strong.withheld),
        (*findings, *strong.findings),
    )


def _to_tell(recording: Recording, silences: Silences) -> bool:
    """Whether there are drop-outs that the reading of the log did not already tell as gaps."""
    if any(d.kind == "link" for d in silences.lost):
        return True
    told = any(f.code == "log-gap" for f in recording.findings)
    return bool(silences.lost) and not told


def _setting(inputs: Inputs) -> LinkSetting:
    link = inputs.aircraft.link if inputs.aircraft is not None else None
    return link if link is not None else LinkSetting()


def _place(path: FlightPath | None, sortie: Sortie, inputs: Inputs) -> tuple[Station | None, str]:
    """The ground station, or why no distance to it can be had."""
    if path is None or path.time_s.size < 2:
        return None, "no flown path; log GPS position and speed"
    if path.height_m is None:
        return None, "the log has no height; log a barometer"
    station = station_of(path, sortie, inputs)
    return (None, station) if isinstance(station, str) else (station, "")


# --- what the reports themselves say


def _add_quality(
    recording: Recording,
    window: Window,
    silences: Silences | str,
    figures: dict[str, Figure],
    withheld: dict[str, str],
) -> None:
    least = least_quality(recording, window)
    if least is None:
        withheld["link.minimum_quality"] = (
            "the log has no link quality while airborne; log the share of packets that arrive"
        )
        return
    how = "least 1 s mean"
    if least.slow:
        how = "least report; reports are a second or more apart"
    value, std = least.value, least.std
    lost = silences.lost if isinstance(silences, Silences) else ()
    if any(d.kind == "link" and d.end_s - d.start_s >= 1 + silences_period(silences) for d in lost):
        value, std, how = 0.0, 0.0, "a drop-out lasted for a second or more"
    figures["link.minimum_quality"] = Figure(
        "link.minimum_quality",
        Uncertain.of(value, std, "%", source="windows of the reports"),
        how,
        ("link",),
    )


def silences_period(silences: Silences | str) -> float:
    """Usual time between two reports; 0 where it is not known. [s]"""
    return silences.period_s if isinstance(silences, Silences) else 0.0


def _add_gap(
    silences: Silences | str, figures: dict[str, Figure], withheld: dict[str, str]
) -> None:
    if isinstance(silences, str):
        withheld["link.longest_gap"] = silences
        return
    # The link may have gone and come back anywhere within a period; a gap is never below 0.
    end = np.linspace(-0.5, 0.5, 21) * silences.period_s
    gap = np.round(np.maximum(silences.longest_s + (end[:, None] + end), 0.0), 9)
    count, of = len(silences.lost), max(1, round(silences.seen_s))
    low, high = exact_interval(min(count, of), of)
    unsure = sum(d.kind != "link" for d in silences.lost)
    doubt = f", {unsure} of them perhaps of the recorder on the ground" if unsure else ""
    figures["link.longest_gap"] = Figure(
        "link.longest_gap",
        Posterior.from_samples(gap, None, "s"),
        f"{count} drop-outs in {of} s{doubt}: {60 * low:.2g} to {60 * high:.2g} a minute (95 %); "
        f"reports every {silences.period_s:.2g} s",
        ("link",),
    )


# --- what the strength says


def _of_strength(
    recording: Recording,
    strength: Strength,
    rows: Seconds,
    station: Station,
    setting: LinkSetting,
) -> Answer:
    known = int((~rows.below).sum())
    if known < LEAST_SECONDS:
        why = (
            f"only {known} s with the strength of the signal and a place more than 20 m from the "
            f"ground station, fewer than {LEAST_SECONDS}"
        )
        return Answer(
            withheld=dict.fromkeys(STRENGTH_FIGURES, why), findings=(words.not_excluded(why),)
        )
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    findings: list[Finding] = []
    if strength.unit == "counts":
        for id_ in ("link.range_exponent", "link.weakest_aspect", "link.margin"):
            withheld[id_] = strength.missing
        findings.append(words.not_excluded(strength.missing))
    else:
        fall = range_of(rows, station, setting)
        aspects = aspects_of(rows, fall, station)
        figures |= _exponent(fall, aspects, station, withheld)
        findings += _weakest(aspects, station, figures, withheld)
        _add_margin(strength, fall, aspects, station, setting, figures, withheld)
    current = with_current(recording, rows, LEAST_SECONDS)
    if isinstance(current, str):
        withheld["link.current_correlation"] = current
    else:
        figure, found = current
        figures["link.current_correlation"] = figure
        findings += found
    return Answer(figures, withheld, tuple(findings))


def _exponent(
    fall: Range, aspects: Aspects | str, station: Station, withheld: dict[str, str]
) -> dict[str, Figure]:
    if fall.not_identifiable or fall.fit is None:
        withheld["link.range_exponent"] = fall.not_identifiable
        return {}
    if isinstance(aspects, str):
        value, std, how = fall.fit.exponent, fall.fit.exponent_std, "directions not allowed for"
        place = fall.station_exponent
    else:
        n = aspects.pattern.exponent
        if float(n.std()) > LARGEST_STD_TOGETHER:
            withheld["link.range_exponent"] = (
                "not identifiable: near and far parts of the flight faced the ground station with "
                "different sides of the aircraft; fly out and back along one line, and circles "
                "at both ends"
            )
            return {}
        value, std = float(n.mean()), float(n.std())
        how = "fitted together with the directions"
        place = 0.0 if aspects.moved else fall.station_exponent
    hidden = f"; {fall.hidden} s below what is reported" if fall.hidden else ""
    return {
        "link.range_exponent": Figure(
            "link.range_exponent",
            Uncertain(value, {"scatter": std, "ground station": place, "model": MODEL_STD}, ""),
            f"1 s means from {fall.near_m:.0f} to {fall.far_m:.0f} m; {how}; "
            f"{station.words}{hidden}",
            ("link", "gps") if isinstance(aspects, str) else ("link", "gps", "attitude"),
        )
    }


def _weakest(
    aspects: Aspects | str,
    station: Station,
    figures: dict[str, Figure],
    withheld: dict[str, str],
) -> list[Finding]:
    if isinstance(aspects, str):
        withheld["link.weakest_aspect"] = aspects
        return [words.not_excluded(aspects)]
    depth, std = aspects.weakest
    figures["link.weakest_aspect"] = Figure(
        "link.weakest_aspect",
        Uncertain(depth, {"scatter": std, "smoothing": SMOOTHING_STD_DB}, "dB"),
        f"{words.toward(aspects.azimuth_deg, aspects.elevation_deg)}; of "
        f"{aspects.seen_deg:.0f} deg of 360 about the aircraft that the flight shows; "
        f"{station.words}",
        ("link", "gps", "attitude"),
    )
    if aspects.null:
        return [words.weak_aspect(aspects)]
    return [words.unseen(aspects)] if aspects.poor else []


def _add_margin(
    strength: Strength,
    fall: Range,
    aspects: Aspects | str,
    station: Station,
    setting: LinkSetting,
    figures: dict[str, Figure],
    withheld: dict[str, str],
) -> None:
    distance, sensitivity = setting.planned_distance_m, setting.sensitivity_dbm
    if distance is None or sensitivity is None:
        withheld["link.margin"] = (
            "needs planned_distance_m and sensitivity_dbm under [link] in the aircraft file"
        )
        return
    if strength.unit != "dBm":
        withheld["link.margin"] = strength.missing
        return
    if fall.fit is None or distance > fall.most_extrapolated_m:
        withheld["link.margin"] = (
            f"{distance:.0f} m is too far beyond the {fall.far_m:.0f} m that were flown; "
            + (fall.not_identifiable or "fly farther out")
        )
        return
    far = math.log10(distance)
    if isinstance(aspects, str):
        draws = fall.fit.draws[:, 0] - 10 * fall.fit.draws[:, 1] * far
        mean, spread = float(fall.fit.at(distance)), fall.fit.spread_db
        scatter, place = float(draws.std()), fall.station_level(distance)
        how = "over all directions flown, which are not allowed for"
    else:
        pattern = aspects.pattern
        weakest = pattern.gain_db[:, aspects.node]
        draws = pattern.level_db - 10 * pattern.exponent * far + weakest
        mean, spread = float(draws.mean()), float(np.median(pattern.spread_db))
        scatter = math.hypot(float(draws.std()), SMOOTHING_STD_DB)
        place = 0.0 if aspects.moved else fall.station_level(distance)
        how = f"{words.toward(aspects.azimuth_deg, aspects.elevation_deg)}, the weakest seen"
    figures["link.margin"] = Figure(
        "link.margin",
        Uncertain(
            mean - sensitivity,
            {
                "scatter": scatter,
                "shadowing of one second": spread,
                "ground station": place,
                "model": fall.model_level(distance),
            },
            "dB",
        ),
        f"at {distance:.0f} m, {how}; {station.words}"
        + (f"; flown to {fall.far_m:.0f} m" if distance > fall.far_m else ""),
        ("link", "gps", "declared"),
    )
