"""A ring-down against an earlier test that its bench file states: what stands is compared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from flightlog.findings import Finding
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.answer import GroundAnswer, GroundFigure, settled
from flightlog.groundtests.structure_change import (
    DAMPING,
    FREQUENCY,
    Comparison,
    amplitudes,
    changes,
    masses,
)
from flightlog.uncertain import Uncertain

_HZ = ".frequency"


def with_baseline(
    answer: GroundAnswer,
    baseline: Mapping[str, Mapping[str, float | None]],
    mass_kg: float | None,
) -> GroundAnswer:
    """Add what a comparison with an earlier test says; what can't be compared is told.

    Parameters
    ----------
    answer : GroundAnswer
        Of this test, before `settled`.
    baseline : mapping
        As in the setup of a ring-down.
    mass_kg : float or None
        Of what was tested, as it was.
    """
    pairs: list[Comparison] = []
    told: list[Finding] = []
    # As they will be given: without what a finding spoils, as wide as findings make them.
    given = settled(answer).figures
    for name, then in baseline.items():
        id_ = f"ringdown.{name}"
        mass = masses(mass_kg, then.get("mass_kg"))
        size = given.get(f"{id_}.amplitude")
        swing = amplitudes(size.quantity.value if size else None, then.get("amplitude_mm"))
        for part, key, unit, rule, alike in (
            ("frequency", "frequency_hz", "Hz", FREQUENCY, (mass,)),
            ("damping", "damping_percent", "%", DAMPING, (mass, swing)),
        ):
            value, now = then.get(key), given.get(f"{id_}.{part}")
            if value is None:
                continue
            if now is None:
                told.append(_lost(f"{id_}.{part}", f"{value:.4g} {unit}"))
                continue
            stem, _, ending = key.partition("_")
            std = then.get(f"{stem}_std_{ending}")
            if std is None:
                told.append(_exact(f"{id_}.{part}", f"{value:.4g} {unit}", f"{stem}_std_{ending}"))
            earlier = Uncertain.of(value, std or 0.0, unit, source="earlier test")
            pairs.append(Comparison(f"{id_}.{part}", now.quantity, earlier, rule, alike))
        told += _moved_names(name, then.get("frequency_hz"), given)
    _, found = changes(pairs)
    return replace(answer, findings=(*answer.findings, *found, *told))


def _lost(figure: str, earlier: str) -> Finding:
    label = GROUND_FIGURES[figure].label
    return ground_finding(
        "structure-not-compared",
        f"{label}: the earlier test gave {earlier}, and this test gives none, so that nothing "
        "is known of a change.",
        evidence={"figure": figure},
    )


def _exact(figure: str, earlier: str, key: str) -> Finding:
    label = GROUND_FIGURES[figure].label
    return ground_finding(
        "sensor-uncertainty-assumed",
        f"{label}: the uncertainty of the earlier {earlier} is not stated, and it was taken as "
        f"exact; write {key} beside it.",
        evidence={"figure": figure},
        affects=(),
    )


def _moved_names(
    name: str, then_hz: float | None, given: Mapping[str, GroundFigure]
) -> list[Finding]:
    """Say where another oscillation of this test is nearer to the earlier one of this name."""
    now = {
        id_.split(".")[1]: figure.quantity.value
        for id_, figure in given.items()
        if id_.startswith("ringdown.") and id_.endswith(_HZ)
    }
    if then_hz is None or name not in now:
        return []
    nearest = min(now, key=lambda each: abs(now[each] - then_hz))
    if nearest == name:
        return []
    return [
        ground_finding(
            "structure-not-compared",
            f"The {nearest} oscillation of this test, {now[nearest]:.2f} Hz, is nearer to the "
            f"earlier {name} of {then_hz:.2f} Hz than its {name} of {now[name]:.2f} Hz: one may "
            "have been missed in either test, so that names don't mean the same.",
            evidence={"figure": f"ringdown.{name}{_HZ}"},
        )
    ]
