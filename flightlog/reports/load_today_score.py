"""The score of what may be loaded today, in words: the best expected beside the safest."""

from __future__ import annotations

from flightlog.operations.load_answer import Choice, LoadAnswer
from flightlog.reports.load_today_words import hundred, units_word


def score_texts(answer: LoadAnswer) -> list[str]:
    """Give the best expected score and the safest choice, and by what the score changes."""
    best, safest = answer.choice(answer.best_expected), answer.choice(answer.safest)
    if best is None:
        why = next((c.no_score for c in answer.choices if c.no_score), "")
        return [f"No score: {why.rstrip('.')}."] if why and not answer.withheld else []
    texts = [f"Best expected score: {_scored(best, answer.needed)}"]
    if safest is None:
        texts.append("Safest: no choice keeps the limit")
    elif safest is best:
        texts = [f"Best expected score, and safest: {_scored(best, answer.needed)}"]
    else:
        texts.append(f"Safest of those that keep the limit: {_scored(safest, answer.needed)}")
    if answer.score_slopes:
        changes = (f"{name} {value:+.1f}" for name, value in answer.score_slopes)
        texts.append(f"Expected score of the answer changes by: {', '.join(changes)}")
    if best.score is not None and best.score.says:
        texts.append(f"Assumed: {best.score.says}")
    return texts


def _scored(choice: Choice, needed: float) -> str:
    score = choice.score
    if score is None:
        return units_word(choice.units)
    # The mean holds what the ends may leave out: the seldom flight that scores nothing.
    beyond = not score.low <= score.expected <= score.high
    less = "; less on average, for the few that score nothing" if beyond else ""
    return (
        f"{units_word(choice.units)}, {score.expected:.1f} ({score.low:.1f} to {score.high:.1f} in "
        f"95 of 100{less}), keeps the limit in {hundred(choice, needed)} of 100"
        f"{'; BEYOND WHAT WAS FLOWN' if choice.beyond_flown else ''}"
    )
