"""One question of how much may be loaded, with all that is read for it: choices, and the answer."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

from flightlog.errors import NotEnoughDataError
from flightlog.operations.energy_need import EnergyNeed
from flightlog.operations.load_answer import UNKNOWN, Bind, Choice, LoadAnswer, WhatIf
from flightlog.operations.load_binds import ROLL_NAME, Binding, worst
from flightlog.operations.load_learnt import Learnt
from flightlog.operations.load_limit import ROLL, keeps
from flightlog.operations.load_scores import Scoring
from flightlog.operations.load_setting import Today
from flightlog.operations.load_sheet import Load
from flightlog.operations.plan import Plan
from flightlog.operations.score_choices import best_and_safest
from flightlog.prediction.takeoff_model import PredictedRoll
from flightlog.rules.book import Limit

MORE_WIND, LESS_WIND, WARMER = "1 m/s more headwind", "1 m/s less headwind", "5 °C warmer"
_WHAT_IFS = ((MORE_WIND, 1.0, 0.0), (LESS_WIND, -1.0, 0.0), (WARMER, 0.0, 5.0))


@dataclass(frozen=True, slots=True)
class Asked:
    """One question with all that is read for it.

    Attributes
    ----------
    plan : Plan
        What is asked about.
    now, known : Today, Learnt
        What the next take-off is flown under, and what the flights teach.
    limit, needed : Limit or None, float
        On the ground roll, and the probability that it asks for.
    others : tuple of Limit
        Further limits on the roll.
    binding, scoring : Binding, Scoring
        By which choices are judged.
    most_units : int
        More were not looked at.
    """

    plan: Plan
    now: Today
    known: Learnt
    limit: Limit | None
    needed: float
    others: tuple[Limit, ...]
    binding: Binding
    scoring: Scoring
    most_units: int

    # --- one choice

    def choice(self, units: int, load: Load, roll: PredictedRoll) -> Choice:
        """Judge one number of units with the roll that is predicted for it."""
        probability = self._keeps(roll)
        score, why = self.scoring.of(units, load, roll, probability)
        return Choice(
            units,
            load.mass_kg,
            roll,
            probability,
            (*self._other_rolls(roll), *self.binding.of(units, load, roll)),
            score,
            why,
            self.known.beyond(load.mass_kg, self.now),
        )

    def _keeps(self, roll: PredictedRoll) -> float | None:
        return keeps(self.limit, roll, self.known.judged_longer_m)

    def _other_rolls(self, roll: PredictedRoll) -> tuple[Bind, ...]:
        """Judge the other limits on the roll."""
        found = []
        for limit in self.others:
            if limit.measured != ROLL:
                says = f"{limit.id} is on {limit.measured}, which this model does not predict"
                found.append(Bind(ROLL_NAME, UNKNOWN, f"{says}. Have it measured on each flight."))
                continue
            text = f"{roll.quantile(limit.plan_at):.1f} m in {100 * limit.plan_at:g} of 100"
            found.append(
                worst(
                    ROLL_NAME,
                    text,
                    [(limit, keeps(limit, roll, self.known.judged_longer_m) or 0.0)],
                )
            )
        return tuple(found)

    # --- the answer

    def answer(
        self, choices: tuple[Choice, ...], loads: tuple[Load, ...], said: tuple[str, ...]
    ) -> LoadAnswer:
        """Give the answer from all choices and their loads, and what was taken."""
        withheld = self._withheld()
        kept = self._kept(choices, [c.probability for c in choices])
        by_roll = max((c.units for c in kept), default=None)
        most = max((c.units for c in kept if c.allowed), default=None)
        if withheld:
            by_roll = most = None
        best, safest = best_and_safest(choices, self.needed)
        chosen = choices[most] if most is not None else None
        abort_m, no_abort = self._abort(chosen)
        energy, no_energy = self._energy(chosen)
        return LoadAnswer(
            self.plan,
            self.now.weather,
            self.now.day,
            self.now.headwind_m_s,
            self.now.density_kg_m3,
            self.limit,
            self.needed,
            self.known.model,
            choices,
            most,
            by_roll,
            tuple(self._what_if(choices, most, *changed) for changed in _WHAT_IFS),
            None if withheld else best,
            None if withheld else safest,
            self._slopes(choices, loads, most),
            abort_m,
            no_abort,
            energy,
            no_energy,
            withheld,
            self.known.past.left_out,
            self.known.past.other_configuration,
            said,
            self.now.pack_ratio,
            self.known.judged_longer_m,
            self.most_units if choices and choices[-1].units == self.most_units else None,
            self.now.pack.says,
        )

    def _withheld(self) -> str:
        model = self.known.model.withheld
        no_limit = (
            ""
            if self.limit is not None
            else "no limit on the ground roll is in force: choose a rule book with --rules, or "
            f'write "{ROLL}" into [limits] of the aircraft\'s file'
        )
        return "; ".join(filter(None, (*self.now.faults, model, no_limit)))

    def _kept(self, choices: tuple[Choice, ...], probabilities: list[float | None]) -> list[Choice]:
        """Give the choices that keep the limit, with every smaller one."""
        found = []
        for choice, probability in zip(choices, probabilities, strict=True):
            if probability is None or probability < self.needed:
                break
            found.append(choice)
        return found

    def _what_if(
        self, choices: tuple[Choice, ...], most: int | None, name: str, wind: float, warmer: float
    ) -> WhatIf:
        """Ask the roll anew; what else binds is taken as it is now."""
        if self._withheld():
            return WhatIf(name, None, None)

        def fails(choice: Choice) -> bool:
            probability = self._keeps(self._changed(choice, wind, warmer))
            return probability is None or probability < self.needed

        try:
            # The heavier, the longer: so the first that fails is found by halving.
            kept = choices[: bisect_left(choices, True, key=fails)]
            bound = None
            if most is not None:
                bound = self._changed(choices[most], wind, warmer).quantile(0.95)
        except NotEnoughDataError:
            return WhatIf(name, None, None)
        return WhatIf(name, max((c.units for c in kept if c.allowed), default=None), bound)

    def _changed(self, choice: Choice, wind: float, warmer: float) -> PredictedRoll:
        setting = self.now.setting(choice.mass_kg, more_wind=wind, warmer_k=warmer)
        return self.known.model.predict(setting)

    def _slopes(
        self, choices: tuple[Choice, ...], loads: tuple[Load, ...], most: int | None
    ) -> tuple[tuple[str, float], ...]:
        if most is None:
            return ()
        try:
            windier = self._changed(choices[most], 1.0, 0.0)
        except NotEnoughDataError:
            return ()
        more = (choices[most + 1], loads[most + 1]) if most + 1 < len(choices) else None
        now = (choices[most], loads[most])
        return self.scoring.slopes(now, more, (windier, self._keeps(windier)))

    def _abort(self, chosen: Choice | None) -> tuple[float | None, str]:
        """Give the point at which to give up: not later than what 95 of 100 take-offs keep."""
        if chosen is None:
            return None, "no load is named that it could be told for"
        bound, room = chosen.roll.quantile(0.95), self.binding.room
        if room is None:
            return None, (
                f"the file of {self.plan.site} does not say how long the runway is: write length_m "
                f"into its [runway]. 95 of 100 take-offs are airborne by {bound:.1f} m"
            )
        try:
            last = room.length_m - room.stop_m(chosen.mass_kg)
        except NotEnoughDataError as error:
            return None, error.sentence()
        if last <= 0:
            return (
                None,
                "from lift-off speed it does not stop on this runway wherever it is given up",
            )
        return min(last, bound), ""

    def _energy(self, chosen: Choice | None) -> tuple[EnergyNeed | None, str]:
        laps, energy = self.binding.laps, self.binding.energy
        if laps is None:
            return None, "no laps are planned: give --laps N"
        if chosen is None:
            return None, "no load is named that it could be told for"
        if isinstance(energy, NotEnoughDataError):
            return None, energy.sentence()
        try:
            return energy.need(laps, chosen.mass_kg), ""
        except NotEnoughDataError as error:
            return None, error.sentence()
