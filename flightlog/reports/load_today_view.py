"""How much may be loaded today, all of it in words and a picture, as a page shows it.

Making it takes a second or two, so it stands until entries are added, or something else is typed,
or the clock changes what the weather and the pack say.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import cast

from flightlog.operations.desk import Desk
from flightlog.operations.load_answer import Choice, LoadAnswer
from flightlog.operations.load_setting import today
from flightlog.operations.load_today import load_answer
from flightlog.operations.plan import Plan
from flightlog.operations.season_table import season_rows
from flightlog.reports.load_today_picture import (
    load_today_picture_words,
    load_today_svg,
    shown_choices,
)
from flightlog.reports.load_today_score import score_texts
from flightlog.reports.load_today_words import (
    abort_m,
    bind_rows,
    choice_rows,
    effect_rows,
    headline,
    in_hundred,
    rests_on,
    units_word,
    what_if_rows,
)
from flightlog.reports.numbers import digits

SCORE_HEAD = ("score", "units", "expected", "95 of 100 within", "keeps, of 100")
_KEPT = "load-today"
_MOST_KEPT = 8
_TYPED = r"ive --(pack-voltage|laps|entered)( N| \w+=\w+)?"
_ON_PAGE = (
    (r"^--[a-z-]+: ", ""),
    (f"g{_TYPED}", "type it into its field"),
    (f"G{_TYPED}", "Type it into its field"),
    (r": --laps N", " in the field of laps"),
    (r"given with --entered", "typed into their fields"),
    (r"with --rules( \w+)?", "at the top of the page"),
    (r": --site \w+", " at the top of the page"),
    (r": 'flightlog weather add[^']*'( enters it)?", " in the section Weather"),
)
"""What a command calls something -> where it is on the page."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is typed beside the question.

    Attributes
    ----------
    laps : int or None
        As planned.
    pack_voltage : float or None
        At rest [V].
    entered : mapping of str to float
        Numbers of the score formula that only people know.
    most_units : int or None
        More are not looked at.
    """

    laps: int | None = None
    pack_voltage: float | None = None
    entered: Mapping[str, float] = field(default_factory=dict)
    most_units: int | None = None

    @property
    def typed(self) -> tuple[object, ...]:
        """All of it, to tell one from another."""
        return (self.laps, self.pack_voltage, tuple(sorted(self.entered.items())), self.most_units)


@dataclass(frozen=True, slots=True)
class LoadView:
    """The answer as it is shown; texts are sentences.

    Attributes
    ----------
    answer : LoadAnswer
        The numbers.
    number : str
        The one that is read first, "" where none is given.
    first, then : str, tuple of str
        The sentence that is read first, and those after it.
    give_up, no_give_up : str
        Where to give up; or that no such point is named, and why.
    beyond : str
        That the answer asks for a build-up flight, "" where it does not.
    offers : tuple of (int, str)
        Units that may be tried on, the better founded ones first, and what is said of them.
    reasons : tuple of str
        Why no number is given.
    picture, picture_words : str
        The ``<svg>``, and what it shows.
    choices, what_ifs, binds, effects : tuple
        Rows of the tables.
    bound_units : str
        Of how many units the binds are.
    scores : tuple
        Best expected score and safest choice, in the order of `SCORE_HEAD`.
    model_says, score_says, rests_on, left_out : tuple of str
        Sentences.
    """

    answer: LoadAnswer
    number: str
    first: str
    then: tuple[str, ...]
    give_up: str
    no_give_up: str
    beyond: str
    offers: tuple[tuple[int, str], ...]
    reasons: tuple[str, ...]
    picture: str
    picture_words: str
    choices: tuple[tuple[str, ...], ...]
    what_ifs: tuple[tuple[str, ...], ...]
    binds: tuple[tuple[str, ...], ...]
    effects: tuple[tuple[str, ...], ...]
    bound_units: str
    model_says: tuple[str, ...]
    scores: tuple[tuple[str, ...], ...]
    score_says: tuple[str, ...]
    rests_on: tuple[str, ...]
    left_out: tuple[str, ...]


def kept_view(desk: Desk, plan: Plan, asked: Asked) -> LoadView:
    """Give the answer as it is now; what was worked out for the same record is not worked out anew.

    Raises
    ------
    NotEnoughDataError
        If nothing can be said at all.
    UsageError
        If a file of the plan is not in the record, or a number can't be meant.
    """
    tips = tuple(sorted(tip.hash for tip in desk.ledger.order.tips()))
    # The clock alone changes how old the weather is, and which charge is the last.
    now = today(desk, plan, asked.pack_voltage)
    by_clock = (now.day, now.weather.hash, now.pack, now.faults)
    about = (tips, plan, asked.typed, by_clock)
    every = cast(dict[object, LoadView], desk.lasting.setdefault(_KEPT, {}))
    known = every.get(about)
    if known is None:
        known = load_view(
            load_answer(
                desk,
                plan,
                laps=asked.laps,
                entered=asked.entered,
                most_units=asked.most_units,
                pack_voltage=asked.pack_voltage,
            )
        )
        if not any(row.no_debrief and row.record.recording for row in season_rows(desk)):
            # Else a file that is missing may come, without any entry.
            for old in list(every)[: max(0, len(every) - _MOST_KEPT + 1)]:
                del every[old]
            every[about] = known
    return known


def load_view(answer: LoadAnswer) -> LoadView:
    """Put an answer into words and a picture."""
    chosen = answer.choice(answer.most) if not answer.withheld else None
    first, *then = headline(answer)
    # What asks for a build-up flight comes last, and stands in a frame of its own.
    beyond = then.pop() if chosen is not None and chosen.beyond_flown and then else ""
    shown = chosen or (answer.choices[0] if answer.choices else None)
    return LoadView(
        answer,
        units_word(chosen.units) if chosen is not None else "",
        on_page(first),
        tuple(map(on_page, then)),
        abort_m(answer) if chosen else "",
        on_page(f"No point to give up is named: {answer.no_abort.rstrip('.')}.")
        if chosen and answer.abort_m is None
        else "",
        on_page(beyond),
        tuple(_offers(answer, chosen)) if chosen is not None else (),
        tuple(on_page(_sentence(one)) for one in answer.withheld.split("; ") if one),
        load_today_svg(answer),
        load_today_picture_words(answer),
        _rows(answer),
        tuple(what_if_rows(answer)) if not answer.withheld else (),
        tuple((n, w, on_page(s)) for n, w, s in bind_rows(shown)) if shown is not None else (),
        tuple(effect_rows(answer)),
        units_word(shown.units) if shown is not None else "",
        answer.model.says,
        _scores(answer),
        _score_texts(answer),
        tuple(on_page(text) for text in rests_on(answer) if text not in answer.model.says),
        tuple(f"{one.name}: {one.why}" for one in answer.left_out),
    )


def on_page(text: str) -> str:
    """Say of a text that names options of a command where they are on the page."""
    for option, there in _ON_PAGE:
        text = re.sub(option, there, text)
    return text


def _sentence(clause: str) -> str:
    return f"{clause[:1].upper()}{clause[1:].rstrip('.')}."


def _offers(answer: LoadAnswer, chosen: Choice) -> Iterator[tuple[int, str]]:
    """Offer the answer; where it is beyond what was flown, the most that is not comes first."""
    if not chosen.beyond_flown:
        yield chosen.units, f"Try {units_word(chosen.units)} below, and sign the load sheet with it"
        return
    known = [c.units for c in answer.choices if c.units < chosen.units and not c.beyond_flown]
    if known:
        yield max(known), f"Try {units_word(max(known))} below, the most within what was flown"
    yield chosen.units, f"Try {units_word(chosen.units)} below, after build-up flights"


def _rows(answer: LoadAnswer) -> tuple[tuple[str, ...], ...]:
    """Give the choices that are shown."""
    return tuple(choice_rows(replace(answer, choices=tuple(shown_choices(answer)))))


def _scores(answer: LoadAnswer) -> tuple[tuple[str, ...], ...]:
    """Give the best expected score and the safest choice, in the order of `SCORE_HEAD`."""
    found = (
        ("best expected score", answer.choice(answer.best_expected)),
        ("safest, of those that keep the limit", answer.choice(answer.safest)),
    )
    return tuple(
        (
            name,
            str(choice.units),
            digits(choice.score.expected, 1),
            f"{digits(choice.score.low, 1)} to {digits(choice.score.high, 1)}",
            in_hundred(choice.probability, answer.needed)
            if choice.probability is not None
            else "-",
        )
        for name, choice in found
        if choice is not None and choice.score is not None and not answer.withheld
    )


def _score_texts(answer: LoadAnswer) -> tuple[str, ...]:
    """Say by what the score changes and what was assumed, or why there is none."""
    best = answer.choice(answer.best_expected)
    if best is None or best.score is None:
        return tuple(map(on_page, score_texts(answer)))
    changes = ", ".join(f"{name} {value:+.1f}" for name, value in answer.score_slopes)
    texts = (f"the expected score of the answer changes by: {changes}" if changes else "",
             best.score.says)  # fmt: skip
    return tuple(_sentence(text) for text in texts if text)
