"""Debriefs made by hand, for screens."""

from __future__ import annotations

from flightlog.analyses.laps import Gate, Lap
from flightlog.analyses.phases import Attempt, Sortie
from flightlog.debriefing import Debrief, SortieDebrief
from flightlog.figures import FIGURES, Figure
from flightlog.findings import make_finding
from flightlog.inputs import Inputs, Mass
from flightlog.recording import Receipt, UtcRelation
from flightlog.rules.outcomes import Bound, Outcome, Score, Verdict
from flightlog.uncertain import Quantity, Uncertain


def judged(
    value: float | None,
    std: float = 0.6,
    *,
    limit: float = 40.0,
    op: str = "<=",
    figure: str = "takeoff.ground_roll",
    required: float = 0.95,
) -> Outcome:
    """Judge a Gaussian number the way that the words are defined."""
    unit = FIGURES[figure].unit
    bound = Bound(op, limit, unit)  # type: ignore[arg-type]
    if value is None:
        return Outcome(
            "roll", "rule", figure, None, None, "not assessable", None, bound, required,
            "clause 4.2", "hand launch, so there is no ground roll",
        )  # fmt: skip
    number = Uncertain.of(value, std, unit, source="all")
    p = number.probability_below(limit)
    p = p if op == "<=" else 1 - p
    word: Verdict = "met" if p >= required else "not met" if p <= 1 - required else "not shown"
    return Outcome("roll", "rule", figure, None, number, word, p, bound, required, "clause 4.2")


def figure(id_: str, value: float, std: float) -> Figure:
    return Figure(id_, Uncertain.of(value, std, FIGURES[id_].unit, source="a"), "by hand", ("gps",))


def made(
    *outcomes: Outcome,
    roll: Quantity | None = None,
    withheld: dict[str, str] | None = None,
    file: str = "calm.bin",
    sorties: int = 1,
    attempts: tuple[Attempt, ...] = (),
    message: str = "1200 rows repeat the fix before them",
) -> Debrief:
    """Make a debrief with a bit of everything."""
    figures = {
        "takeoff.liftoff_time": figure("takeoff.liftoff_time", 74.8, 0.1),
        "climb.best_rate": figure("climb.best_rate", 2.131, 0.06),
        "flight.max_bank": figure("flight.max_bank", 41.2, 1.5),
        "wind.from_deg": figure("wind.from_deg", 358.0, 6.0),
        "energy.used": figure("energy.used", 31.204, 0.2),
        "mass.takeoff": Figure("mass.takeoff", Uncertain(8.0, {}, "kg"), "declared", ("declared",)),
    }
    if roll is not None:
        number = Figure("takeoff.ground_roll", roll, "by hand", ("gps",))
        figures = {"takeoff.ground_roll": number, **figures}
    lap = Lap(
        number=1,
        start_s=101.22,
        end_s=141.03,
        time=Uncertain.of(39.81, 0.02, "s", source="t"),
        energy=Uncertain.of(3.76, 0.05, "Wh", source="e"),
        distance=None,
    )
    results = tuple(
        SortieDebrief(
            Sortie(n + 1, "runway", "rest", "standstill", 70.9, 74.8, 540.2, 552.0, (60.0, 90.0)),
            figures,
            withheld or {"flight.max_airspeed": "the log has no airspeed data"},
            Gate("found", (0.0, 0.0), (0.0, 0.001)),
            (lap,),
            outcomes,
            Score(Uncertain.of(812.0, 9.0, "", source="s"), {}),
            (make_finding("repeated-fixes", message),),
        )
        for n in range(sorties)
    )
    receipt = Receipt(
        file, 4_000_000, "ab" * 32, "dataflash", 1,
        duration_s=812.4, utc=UtcRelation(1_804_064_845.0, 0.1, "gps"), rows={"gps": 100},
    )  # fmt: skip
    return Debrief(
        receipt,
        Inputs(mass=Mass(8.0, 0.02, "option")),
        {"id": "club-trial-2027", "version": "1", "sha256": "cd" * 32},
        attempts,
        results,
        () if results else (make_finding("no-flight", "nothing moved faster than 1 m/s"),),
    )
