"""A debrief in words: one screen of plain text, the most important first.

Order: one honest sentence, the outcomes as strips, findings, what the flight did in figures with
their intervals, laps, what is wearing out, what is withheld and what would unlock it, and a
caution. No colour is used, so that it reads in sunlight and on paper.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime, timedelta

from flightlog.analyses.phases import Attempt
from flightlog.constants import ZERO_CELSIUS_K
from flightlog.debriefing import Debrief, SortieDebrief
from flightlog.figures import FIGURES, LEVEL, Figure, FigureKind
from flightlog.findings import Finding
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.recording import Partner, Receipt
from flightlog.reports.figure_groups import (
    DECLARED,
    FAULTS,
    WEAR,
    WEAR_TITLE,
    SurfaceColumn,
    SurfaceTable,
    apart,
    in_groups,
    is_of_surface,
    surface_table,
    withheld_texts,
)
from flightlog.reports.headline import ALARMS, headline
from flightlog.reports.numbers import (
    bound_text,
    digits,
    digits_beside,
    figure_span,
    figure_value,
    probability,
    span,
    with_unit,
)
from flightlog.reports.plain import plain
from flightlog.reports.strip import DRAWN, Look, draw
from flightlog.rules.book import whose
from flightlog.rules.outcomes import WORST_FIRST, Outcome
from flightlog.uncertain import NORMAL_95

CAUTION = (
    "This says what the log shows, not that the flight was safe or legal. Local law, the rule "
    "book in force and licensed practice decide; a figure that is withheld approves nothing."
)
"""The last line of every debrief."""

TEXT_LIMIT = 400
"""Longest text from outside in one place [characters]."""

_WIDEST = 100
_INDENT = "  "
_WORD_COLUMN = 17
"""Width of the column that holds shape and word of an outcome."""
_TAIL = 26
"""Room for the probability behind a strip, so that strips are of one length."""
_TABLE = 72
"""From so many characters on figures stand in columns."""
_SAME_CODE = 3
"""Findings of one kind that are written out; the others are counted."""

_ORDER_OF_SEVERITY = ("stop", "degrade", "note")

_RECOMPUTED = "recomputed"
"""Findings of a comparison with an earlier debrief."""

UNLOCKED_BY: Mapping[str, str] = {
    "gps": "a position receiver in the log, at 5 Hz or more",
    "baro": "the barometer in the log",
    "airspeed": "an airspeed sensor in the log",
    "imu": "accelerometers and gyros in the log, at 100 Hz or more",
    "attitude": "the attitude in the log",
    "battery": "a current and voltage sensor in the log",
    "outputs": "the servo outputs in the log",
    "inputs": "the pilot's inputs in the log",
    "link": "the link quality in the log",
    "rotation": "the motor's speed in the log",
    "supply": "the voltage of the servos' supply in the log",
}
"""Table -> what would bring it."""


def debrief_lines(
    debrief: Debrief, *, width: int = 80, look: Look = DRAWN, short: bool = False
) -> list[str]:
    """Write a debrief for people.

    Parameters
    ----------
    debrief : Debrief
        What was found.
    width : int, default 80
        Characters of a line.
    look : Look
        Characters for the strips.
    short : bool, default False
        Only the sentence, the log and the outcomes.

    Returns
    -------
    list of str
        Lines without control codes; characters beyond ASCII are left to the screen.
    """
    width = min(max(width, 50), _WIDEST)
    lines = [*_wrap(headline(debrief), width), ""]
    lines += _wrap(_given(debrief), width)
    lines += [line for text in _joined(debrief.receipt) for line in _wrap(text, width)]
    lines += _against(debrief, width)
    common = _common(debrief)
    for sortie in debrief.sorties:
        lines += ["", *_wrap(_sortie_line(sortie, debrief), width)]
        lines += outcome_lines(sortie.outcomes, width, look)
        if sortie is debrief.sorties[-1]:
            lines += _legend(debrief, width, look)
        if not short:
            lines += _score(sortie, width)
            found, open_ = apart(f for f in sortie.findings if f.code != _RECOMPUTED)
            lines += _findings("Findings", found, width)
            groups = in_groups(sortie.figures.values())
            lines += _figures(groups, width)
            lines += _declared([f for f in sortie.figures.values() if f.sources == DECLARED], width)
            lines += _laps(sortie)
            lines += _wear(groups, open_, width)
            lines += _withheld(_own(sortie, common), debrief.receipt, width)
    if not short:
        lines += _withheld(common, debrief.receipt, width, "Withheld for every sortie")
        lines += _attempts(debrief, width)
        told = {f for s in debrief.sorties for f in _keys(s.findings)}
        # The line of the partner above the sorties says the same, with as many numbers.
        above = {_RECOMPUTED, *(("partner-recording",) if debrief.receipt.partners else ())}
        rest = [f for f in debrief.findings if _key(f) not in told and f.code not in above]
        lines += _findings("About the log", rest, width)
        lines += ["", *_wrap(CAUTION, width)]
    return [plain(line) for line in lines]


def _wrap(text: str, width: int, first: str = "", then: str = "") -> list[str]:
    return textwrap.wrap(
        plain(text),
        width,
        initial_indent=first,
        subsequent_indent=then,
        break_on_hyphens=False,
    )


# --- what it is about


def _given(debrief: Debrief) -> str:
    receipt, inputs = debrief.receipt, debrief.inputs
    parts = [
        plain(receipt.file, 60),
        f"{receipt.format}, {digits(receipt.duration_s, 0)} s",
    ]
    if inputs.aircraft is not None:
        parts.append(f"aircraft {plain(inputs.aircraft.id, 40)}")
    if inputs.pack is not None:
        parts.append(f"pack {plain(inputs.pack.id, 40)}")
    if inputs.site is not None:
        parts.append(f"site {plain(inputs.site.id, 40)}")
    if inputs.mass is not None:
        parts.append(f"{digits(inputs.mass.kg, 2)} kg ({plain(inputs.mass.source, 40)})")
    if inputs.wind is not None:
        wind = inputs.wind
        parts.append(f"wind {digits(wind.speed_m_s, 1)} m/s from {digits(wind.from_deg, 0)} deg")
    if inputs.air is not None:
        parts.append(f"air {digits(inputs.air.temperature_k - ZERO_CELSIUS_K, 1)} °C")
    if debrief.rules is not None:
        rules = debrief.rules
        parts.append(
            f"rules {plain(rules.get('id', ''), 40)} version {plain(rules.get('version', ''), 20)}"
        )
    return "; ".join(parts) + f"; SHA-256 {receipt.sha256[:12]}"


def _joined(receipt: Receipt) -> Iterator[str]:
    """One sentence per recording of the same flight that was joined."""
    for partner in receipt.partners:
        yield partner_text(partner)


def _against(debrief: Debrief, width: int) -> list[str]:
    """Say all that moved against an earlier debrief: it was asked for, so none is only counted."""
    many = len(debrief.sorties) > 1
    texts = [
        (f"sortie {s.sortie.number}: " if many else "") + f.message
        for s in debrief.sorties
        for f in s.findings
        if f.code == _RECOMPUTED
    ]
    texts += [f.message for f in debrief.findings if f.code == _RECOMPUTED]
    if not texts:
        return []
    lines = ["", f"Against the earlier debrief [{_RECOMPUTED}]"]
    for text in dict.fromkeys(texts):
        lines += _wrap(plain(text, TEXT_LIMIT).rstrip("."), width, _INDENT, _INDENT * 2)
    return lines


def partner_text(partner: Partner) -> str:
    """Say what was joined, how its clock lies, and what was taken from it."""
    taken = ", ".join(plain(table, 40) for table in partner.tables)
    spread = f"{NORMAL_95 * partner.offset_std_s:.2f} s (95 %)"
    return (
        f"Joined with {plain(partner.file, 60)} ({plain(partner.format, 40)}): its zero lies at "
        f"{digits(partner.offset_s, 2)} s ± {spread} here, by "
        f"{plain(partner.method, 120)}; taken from it: {taken or 'nothing, all here is as good'}"
    )


_LAUNCHES = {
    "runway": "runway take-off",
    "hand": "hand launch",
    "air": "the log starts in flight",
    "unknown": "the log starts during the take-off",
}
_ENDINGS = {
    "standstill": "standstill",
    "air": "the log ends in flight",
    "log": "the log ends on the ground, still moving",
}


def _sortie_line(result: SortieDebrief, debrief: Debrief) -> str:
    sortie = result.sortie
    rose = any(f.code == "vertical-launch" for f in result.findings)
    parts = ["rose without a roll" if rose else _LAUNCHES[sortie.launch]]
    began = moment_text(debrief.receipt, sortie.start_s)
    if began:
        parts.append(f"began {began}")
    parts.append(f"start {digits(sortie.start_s, 2)} s")
    liftoff = result.figures.get("takeoff.liftoff_time")
    if liftoff is not None:
        parts.append(f"lift-off {figure_value(liftoff)} s ({figure_span(liftoff)})")
    elif sortie.liftoff_s is not None:
        parts.append(f"airborne about {digits(sortie.liftoff_s, 0)} s")
    if sortie.touchdown_s is not None:
        parts.append(f"touchdown {digits(sortie.touchdown_s, 1)} s")
    parts.append(f"{_ENDINGS[sortie.ends]} {digits(sortie.end_s, 1)} s")
    return f"Sortie {sortie.number} of {len(debrief.sorties)}: " + ", ".join(parts)


def moment_text(receipt: Receipt, time_s: float) -> str:
    """Write the UTC or local moment of a time, "" where the log tells none or nonsense."""
    if receipt.utc.offset_s is None:
        return ""
    try:
        # Added to the epoch, since converting a time stamp fails before 1970 on some systems.
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=receipt.utc.offset_s + time_s)
    except (OverflowError, ValueError):
        return ""
    zone = "UTC" if receipt.utc.zone_known else "local time"
    return moment.strftime(f"%Y-%m-%d %H:%M:%S {zone}")


# --- outcomes


def outcome_lines(outcomes: Iterable[Outcome], width: int, look: Look) -> list[str]:
    """Write outcomes with their strips below an empty line, those that matter most first."""
    ordered = sorted(outcomes, key=lambda o: WORST_FIRST.index(o.outcome))
    lines = [""] if ordered else []
    for outcome in ordered:
        lines += _outcome(outcome, width, look)
    return lines


def _legend(debrief: Debrief, width: int, look: Look) -> list[str]:
    if all(o.quantity is None for s in debrief.sorties for o in s.outcomes):
        return []
    return legend_lines(width, look)


def legend_lines(width: int, look: Look) -> list[str]:
    """Say what the characters of strips are."""
    legend = (
        f"{look.line} allowed  {look.tick} bound  {look.beyond} beyond  {look.mark} figure  "
        f"{look.bar} one-sided limits"
    )
    return _wrap(legend, width, " " * _WORD_COLUMN, " " * _WORD_COLUMN)


def _outcome(outcome: Outcome, width: int, look: Look) -> list[str]:
    kind = _kind(outcome.figure)
    label = kind.label if kind else plain(outcome.figure, 40)
    word = f"{look.shapes[outcome.outcome]} {outcome.outcome}"
    text = f"{label} {judged_value(outcome)}, {bound_text(outcome.bound)}"
    if outcome.definition is not None:
        text += ", by the limit's own definition"
    own = whose(outcome.kind, outcome.source)
    told = (outcome.limit, outcome.source, "" if own in outcome.source else own)
    source = ", ".join(plain(part, 60) for part in told if part)
    lines = _wrap(f"{word:<{_WORD_COLUMN}}{text} ({source})", width, "", " " * _WORD_COLUMN)
    if outcome.quantity is None or outcome.probability is None:
        return lines + _wrap(
            plain(outcome.reason, TEXT_LIMIT), width, " " * _WORD_COLUMN, " " * _WORD_COLUMN
        )
    chance = probability(outcome.probability, outcome.required_probability)
    needed = f"{outcome.required_probability:g}"
    tail = f"  p {chance}, needs {needed}"
    room = width - _WORD_COLUMN - max(_TAIL, len(tail))
    return [*lines, " " * _WORD_COLUMN + draw(outcome, room, look) + tail]


def _kind(figure_id: str) -> FigureKind | None:
    return FIGURES.get(figure_id) or GROUND_FIGURES.get(figure_id)


def judged_value(outcome: Outcome) -> str:
    """Write the number that was judged, on its own side of the bound."""
    if outcome.quantity is None:
        return "is not known"
    kind = _kind(outcome.figure)
    decimals = kind.decimals if kind else 2
    value = digits_beside(outcome.quantity.value, outcome.bound.value, decimals)
    return with_unit(value, outcome.bound.unit)


def _score(sortie: SortieDebrief, width: int) -> list[str]:
    if sortie.score is None:
        return []
    if sortie.score.total is None:
        return ["", *_wrap(f"Score withheld: {plain(sortie.score.reason, TEXT_LIMIT)}", width)]
    total = sortie.score.total
    interval = span(total, 1)
    text = f"Score {digits(total.value, 1)}" + (f" ({interval})" if interval else "")
    terms = [
        f"{plain(name, 40)} {with_unit(f'{quantity.value:g}', quantity.unit)}"
        for name, quantity in sortie.score.terms.items()
    ]
    return ["", *_wrap(f"{text}: {', '.join(terms)}" if terms else text, width)]


# --- figures and laps


def _figures(groups: Mapping[str, list[Figure]], width: int) -> list[str]:
    lines = [
        line
        for name, group in groups.items()
        if name not in WEAR
        for line in _block(name, group, width)
    ]
    return ["", "Figures, each with its 95 % interval", *lines] if lines else []


def _wear(groups: Mapping[str, list[Figure]], open_: list[Finding], width: int) -> list[str]:
    """Write what is wearing out, and below it what the log could not have shown."""
    lines: list[str] = []
    for name in WEAR:
        group = groups.get(name, [])
        lines += _block(name, [f for f in group if not is_of_surface(f.id)], width)
        if (table := surface_table(group)) is not None:
            lines += _surfaces(table, width)
    for finding in open_:
        text = plain(finding.message, TEXT_LIMIT).rstrip(".")
        lines += _wrap(f"{text} [{finding.code}]", width, _INDENT, _INDENT * 2)
    return ["", f"{WEAR_TITLE}, each with its 95 % interval", *lines] if lines else []


def _block(name: str, group: list[Figure], width: int) -> list[str]:
    """Write a small block of figures; on a narrow screen the interval follows as it can."""
    if not group:
        return []
    if width < _TABLE:
        lines = [f"{_INDENT}{name}"]
        for figure in group:
            value = with_unit(figure_value(figure), FIGURES[figure.id].unit)
            text = f"{FIGURES[figure.id].label} {value} ({figure_span(figure) or 'exact'})"
            lines += _wrap(text, width, _INDENT * 2, _INDENT * 3)
        return lines
    return [_figure(figure, "" if n else name) for n, figure in enumerate(group)]


def _figure(figure: Figure, heading: str) -> str:
    kind = FIGURES[figure.id]
    interval = figure_span(figure) or "exact"
    return (
        f"{_INDENT}{heading:<10}{kind.label:<30}{figure_value(figure):>8} {kind.unit:<6} {interval}"
    ).rstrip()


def _surfaces(table: SurfaceTable, width: int) -> list[str]:
    """Write a row for each surface, its intervals below it; as many columns as the width takes."""
    names = [plain(name, 40) for name in table.surfaces]
    first = max(map(len, (*names, "Surface"))) + 2
    lines: list[str] = []
    left = list(table.columns)
    while left:
        taken = [left.pop(0)]
        room = width - len(_INDENT) - first - _wide(taken[0])
        while left and _wide(left[0]) <= room:
            room -= _wide(left[0])
            taken.append(left.pop(0))
        wide = [_wide(column) for column in taken]
        lines.append(_row("Surface", [c.head for c in taken], first, wide))
        for n, name in enumerate(names):
            cells = [column.cells[n] for column in taken]
            lines.append(_row(name, [value or "-" for value, _ in cells], first, wide))
            lines.append(_row("", [span_ for _, span_ in cells], first, wide))
    return [line for line in lines if line.strip()]


def _wide(column: SurfaceColumn) -> int:
    """Give the width of a column with the space before it."""
    texts = [column.head, *(text for cell in column.cells for text in cell)]
    return max(map(len, texts)) + 2


def _row(name: str, cells: list[str], first: int, wide: list[int]) -> str:
    row = "".join(f"{cell:>{w}}" for cell, w in zip(cells, wide, strict=True))
    return f"{_INDENT}{name:<{first}}{row}".rstrip()


def _declared(figures: Iterable[Figure], width: int) -> list[str]:
    """What people said and no sensor measured, in one sentence."""
    parts = [
        f"{FIGURES[f.id].label.lower()} {with_unit(figure_value(f), FIGURES[f.id].unit)}"
        for f in figures
    ]
    text = f"Declared, not measured: {', '.join(parts)}"
    return ["", *_wrap(text, width)] if parts else []


def _laps(sortie: SortieDebrief) -> list[str]:
    if not sortie.laps:
        return []
    gate = f", gate {sortie.gate.origin}" if sortie.gate is not None else ""
    lines = ["", f"Laps{gate}", f"{_INDENT}{'':>3}   time s  interval              Wh        m"]
    for lap in sortie.laps:
        energy = digits(lap.energy.value, 2) if lap.energy is not None else "-"
        distance = digits(lap.distance.value, 0) if lap.distance is not None else "-"
        lines.append(
            f"{_INDENT}{lap.number:>3} {digits(lap.time.value, 2):>8}  {span(lap.time, 2):<17} "
            f"{energy:>7}  {distance:>7}"
        )
    return lines


def _common(debrief: Debrief) -> dict[str, str]:
    """Figures that several sorties withhold, each for the same reason: said once for all."""
    first, *others = debrief.sorties or (None,)
    if first is None or not others:
        return {}
    return {
        figure: reason
        for figure, reason in first.withheld.items()
        if all(other.withheld.get(figure) == reason for other in others)
    }


def _own(sortie: SortieDebrief, common: Mapping[str, str]) -> dict[str, str]:
    return {figure: reason for figure, reason in sortie.withheld.items() if figure not in common}


def _withheld(
    withheld: Mapping[str, str], receipt: Receipt, width: int, title: str = "Withheld"
) -> list[str]:
    if not withheld:
        return []
    reasons = {id_: plain(r, TEXT_LIMIT) + _unlock(id_, r, receipt) for id_, r in withheld.items()}
    lines = ["", title]
    for text in withheld_texts(reasons):
        lines += _wrap(text, width, _INDENT, _INDENT * 2)
    return lines


def _unlock(figure_id: str, reason: str, receipt: Receipt) -> str:
    """Say which sensor is missing, where the reason only names a table."""
    kind = FIGURES.get(figure_id)
    if kind is None or not reason.startswith("the log has no") or ";" in reason:
        return ""
    missing = [UNLOCKED_BY[t] for t in kind.needs if not receipt.rows.get(t) and t in UNLOCKED_BY]
    return f"; unlocked by {' and '.join(missing)}" if missing else ""


def _rolled(attempt: Attempt) -> str:
    """Say how far an attempt rolled, "" where the log does not show it."""
    if attempt.distance is None:
        return ""
    low, high = attempt.distance.interval(LEVEL)
    text = f" after {digits(attempt.distance.value, 1)} m"
    text += f" ({digits(max(0.0, low), 1)} to {digits(high, 1)})"
    if attempt.distance_in_all is None:
        return text
    return f"{text}, {digits(attempt.distance_in_all.value, 1)} m in all"


def _attempts(debrief: Debrief, width: int) -> list[str]:
    if not debrief.attempts:
        return []
    lines = ["", "Attempts that did not leave the ground"]
    for attempt in debrief.attempts:
        text = (
            f"{attempt.number}: {digits(attempt.start_s, 1)} s to {digits(attempt.stop_s, 1)} s, "
            f"fastest {digits(attempt.peak_ground_speed_m_s, 1)} m/s{_rolled(attempt)}: "
            f"{plain(attempt.reason, TEXT_LIMIT)}"
        )
        lines += _wrap(text, width, _INDENT, _INDENT * 2)
    return lines


# --- findings


def _key(finding: Finding) -> tuple[str, str, float | None]:
    return finding.code, finding.message, finding.start_s


def _keys(findings: Iterable[Finding]) -> Iterator[tuple[str, str, float | None]]:
    return (_key(f) for f in findings)


def _findings(title: str, findings: Iterable[Finding], width: int) -> list[str]:
    ordered = most_severe_first(findings)
    if not ordered:
        return []
    return ["", title, *finding_lines(ordered, width)]


def most_severe_first(findings: Iterable[Finding]) -> list[Finding]:
    """Order findings as they are read.

    First what is to be inspected before the next flight, then what withholds, what widens, what
    only tells.
    """
    order = list(FAULTS)

    def rank(finding: Finding) -> tuple[int, int, bool]:
        fault = order.index(finding.code) if finding.code in FAULTS else len(order)
        return fault, _ORDER_OF_SEVERITY.index(finding.severity), finding.code not in ALARMS

    return sorted(findings, key=rank)


def finding_lines(findings: Iterable[Finding], width: int) -> list[str]:
    """Write findings, those of one kind together and the later ones only counted."""
    by_code: dict[str, list[Finding]] = {}
    for finding in findings:
        by_code.setdefault(finding.code, []).append(finding)
    lines: list[str] = []

    def write(text: str) -> None:
        lines.extend(_wrap(text, width, _INDENT, _INDENT * 2))

    for same in by_code.values():
        for finding in same[:_SAME_CODE]:
            when = "" if finding.start_s is None else f" at {digits(finding.start_s, 1)} s"
            message = plain(finding.message, TEXT_LIMIT).rstrip(".")
            write(f"{finding.severity}{when}: {message} [{plain(finding.code, 40)}]")
        if len(same) > _SAME_CODE:
            write(f"and {len(same) - _SAME_CODE} more of these")
        for remedy in dict.fromkeys(f.remedy for f in same[:_SAME_CODE] if f.remedy):
            lines += _wrap(plain(remedy, TEXT_LIMIT), width, _INDENT * 3, _INDENT * 3)
    return lines
