from __future__ import annotations

import math
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.errors import FormulaError, NotEnoughDataError, TeamFileError
from flightlog.figures import FIGURES, Figure
from flightlog.rules.book import Entered, ScoreRule, load_rules
from flightlog.rules.formula import compile_formula
from flightlog.rules.score import score
from flightlog.rules.working import evaluate
from flightlog.uncertain import Posterior, Uncertain


def computed(text: str, **names: float) -> float:
    formula = compile_formula(text, names, "book")
    return float(evaluate(formula, {n: np.array([v]) for n, v in names.items()})[0])


def figures(**numbers: float | Uncertain | Posterior) -> dict[str, Figure]:
    """Figures by id, with a double underscore for the full stop."""
    made = {}
    for name, number in numbers.items():
        id_ = name.replace("__", ".")
        unit = FIGURES[id_].unit
        quantity = Uncertain(float(number), {}, unit) if isinstance(number, int | float) else number
        made[id_] = Figure(id_, quantity, "by hand", ("gps",))
    return made


def rule_of(
    total: str,
    terms: dict[str, str] | None = None,
    variables: dict[str, str] | None = None,
    entered: dict[str, str] | None = None,
) -> ScoreRule:
    """Make a rule of formulas; terms in an order in which each uses those before it."""
    names = [*(terms or {}), *(variables or {}), *(entered or {})]
    return ScoreRule(
        compile_formula(total, names, "[score] total"),
        variables or {},
        {name: Entered(meaning) for name, meaning in (entered or {}).items()},
        {name: compile_formula(text, names, name) for name, text in (terms or {}).items()},
    )


TRIAL = rule_of(
    total="payload_points + climb_points + lap_points - penalties",
    terms={
        "carried": "load * (laps * lap_length)",
        "payload_points": "1000 * carried / field_best",
        "climb_points": "piecewise(h60, [[0,0],[20,30],[40,70],[60,95],[80,100],[100,90]])",
        "lap_points": "10*floor(laps) + 5*(laps >= 1)*max(0, (lap_goal - lap)/lap_goal)",
    },
    variables={
        "load": "payload.mass",
        "laps": "laps.count",
        "lap": "laps.mean_time",
        "h60": "climb.height_at_60s",
    },
    entered={
        "field_best": "largest payload times distance of the day",
        "lap_length": "nominal lap [m]",
        "lap_goal": "lap time that scores [s]",
        "penalties": "points taken off",
    },
)
GIVEN = {"field_best": 7200.0, "lap_length": 200.0, "lap_goal": 40.0, "penalties": 0.0}
FLOWN = figures(payload__mass=2.4, laps__count=12, laps__mean_time=38.0, climb__height_at_60s=50.0)


def test_the_worked_example_has_its_exact_numbers():
    # 1000*5760/7200; 10*12 + 5*(40-38)/40; half-way between 70 and 95
    result = score(TRIAL, FLOWN, {}, GIVEN)

    assert 1002.75 == result.total.value
    assert 0 == result.total.std
    assert {} == dict(result.total.sources)
    assert 800.0 == result.terms["payload_points"].value
    assert 82.5 == result.terms["climb_points"].value
    assert 120.25 == result.terms["lap_points"].value
    assert list(TRIAL.terms) == list(result.terms)
    assert "" == result.reason


# --- the language


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1 + 2 * 3 - 4 / 8", 6.5),
        ("2 ** 3", 8.0),
        ("4 ** -0.5", 0.5),
        ("-3 ** 2", -9.0),
        ("+x", 7.0),
        ("min(3, 1, 2) + max(3, x)", 8.0),
        ("clip(x, 0, 5)", 5.0),
        ("floor(-1.5) + ceil(1.2)", 0.0),
        ("abs(-2) * sqrt(9)", 6.0),
        ("(x > 3) + (x != 7) + (1 < 2 < 3)", 2.0),
        ("10 if x >= 7 else 20", 10.0),
        ("1 / 0 if x < 7 else 20", 20.0),
        ("piecewise(130.2, [[0, 0], [100, 90]])", 90.0),
        ("piecewise(-5, [[0, 4], [100, 90]])", 4.0),
        ("piecewise(x, [[-1, -8], [7.5, 9]])", 8.0),
        ("piecewise(x,\n  [[0, 0],\n   [14, 1]])", 0.5),
    ],
)
def test_arithmetic_is_that_of_python(text, value):
    assert value == pytest.approx(computed(text, x=7.0), abs=1e-12)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("x ^ 2", r"\^ is not part.*\*\*"),
        ("x.real", "`x.real` is not allowed"),
        ("x[0]", r"`x\[0\]` is not allowed"),
        ("__import__(1)", r"`__import__\(...\)` is not a function"),
        ("'a' * 9", "holds no text"),
        ("lambda: x", "not part of a formula"),
        ("[x for x in x]", "is not allowed"),
        ("[1, 2]", "is not allowed"),
        ("(1, 2)", "is not allowed"),
        ("(y := 3)", "not part of a formula"),
        ("x and 1", "Multiply conditions"),
        ("x or 1", "max"),
        ("not x", "Turn the comparison round"),
        ("x in x", "is not allowed"),
        ("x is x", "is not allowed"),
        ("True", "`True` is not a number"),
        ("None", "`None` is not a number"),
        ("...", "is not a number"),
        ("2j", "`2j` is not a number"),
        ("1e999", "too large"),
        ("9" * 400, "too large"),
        ("laps + y", "nothing is called 'y'. Known names are: laps, x"),
        ("lap", "Did you mean 'laps'"),
        ("min", r"needs brackets: min\(...\)"),
        ("min(x)", "takes 2 to 20 arguments, got 1"),
        ("max(*x, 1)", "by place only"),
        ("clip(x, low=1, high=2)", "by place only"),
        ("2 ** x", "exponent `x` is not a number from -8 to 8"),
        ("x ** 9", "exponent `9`"),
        ("x ** 2 ** 2", r"exponent `2 \*\* 2`"),
        ("piecewise(x, 3)", "not a table"),
        ("piecewise(x, [[1, 2]])", "not a table"),
        ("piecewise(x, [[1, 2], [1, 3]])", "x = 1 comes after 1"),
        ("piecewise(x, [[1, x], [2, 3]])", "not a table"),
        ("piecewise(x)", "takes 2 arguments, got 1"),
        ("x;1", "full stop for decimals"),
        ("2,5 * x", "is not allowed"),
        ("x +", "can't be understood"),
        ("", "empty"),
        ("  \n ", "empty"),
        ("é", "not part of a formula"),
        ("x\0", "not part of a formula"),
        ("-" * 1900 + "1", "deep"),
        ("(" * 900 + "1" + ")" * 900, "understood|deep"),
        ("1" + "+1" * 900, "deep|parts"),
        ("max(" + "1," * 19 + "1)" + "+max(" + "1," * 900 + "1)", "arguments|characters"),
        ("x" * 2001, "2001 characters"),
        ("f(x)(x)", "not a function"),
        ("x.y(1)", "not a function"),
        ("yield", "understood|not allowed"),
        ("await x", "understood|not allowed"),
    ],
)
def test_everything_else_is_refused_with_place_and_cure(text, said):
    with pytest.raises(FormulaError, match=said) as caught:
        compile_formula(text, ["x", "laps"], "trial.toml: [score] total")

    assert "trial.toml: [score] total" == caught.value.where
    assert caught.value.fix


PIECES = st.lists(
    st.sampled_from(
        "x laps 1 0 2.5 1e308 9e99 + - * / // % ** ** ( ) ( ) , min( max( clip( sqrt( floor( "
        "piecewise( [[0,0],[1,2]] < == != if else and not . [ ] __class__ : lambda ' \" ^".split()
    ),
    max_size=30,
).map(" ".join)


@settings(max_examples=200, deadline=None)
@given(st.one_of(st.text(max_size=80), PIECES))
def test_no_text_escapes_or_takes_long(text):
    begun = time.perf_counter()
    try:
        formula = compile_formula(text, ["x", "laps"], "book")
        values = evaluate(formula, {"x": np.array([0.0, 3.0]), "laps": np.array([2.0, -1.0])})
    except (FormulaError, NotEnoughDataError):
        values = np.zeros(2)

    assert np.isfinite(values).all()
    assert values.shape == (2,)
    assert time.perf_counter() - begun < 2


# --- the rule book

BOOK = """
schema = "flightlog.rules/1"
id = "club-trial"
version = "1"
[score]
total = "{total}"
[score.variables]
{variables}
[score.terms]
{terms}
"""


def load(folder, total="1", variables="", terms=""):
    place = folder / "trial.toml"
    place.write_text(BOOK.format(total=total, variables=variables, terms=terms), encoding="utf-8")
    return load_rules(place)


@pytest.mark.parametrize(
    ("terms", "said"),
    [
        ('a = "b"\nb = "c"\nc = "a"', r"\[score.terms\] a: terms use each other in a circle"),
        ('a = "a + 1"', r"in a circle: a \S+ a\. "),
        ('a = "b.c"', r"trial.toml: \[score.terms\] a: `b.c` is not allowed"),
        ('a = "total"', "nothing is called 'total'"),
        ('min = "1"', "means something else"),
        ('total = "1"', "means something else"),
        ('if = "1"', "means something else"),
        ('"höhe" = "1"', "can't be used"),
        ('x = "1"', r"also in \[score.variables\]"),
    ],
)
def test_a_book_with_a_faulty_score_is_refused(tmp_path, terms, said):
    with pytest.raises(TeamFileError, match=said):
        load(tmp_path, variables='x = "laps.count"', terms=terms)


def test_terms_may_stand_in_any_order(tmp_path):
    book = load(tmp_path, "a", 'x = "laps.count"', 'a = "b * 2"\nb = "x + 1"')

    assert 8.0 == score(book.score, figures(laps__count=3), {}, {}).total.value


# --- what is missing


def test_a_withheld_figure_withholds_the_total_and_what_uses_it_only():
    flown = {k: v for k, v in FLOWN.items() if k != "climb.height_at_60s"}
    result = score(TRIAL, flown, {"climb.height_at_60s": "the flight ended after 41 s"}, GIVEN)

    assert result.total is None
    assert "h60 needs climb.height_at_60s: the flight ended after 41 s" == result.reason
    assert {"payload_points", "carried", "lap_points"} == set(result.terms)


def test_a_number_to_be_entered_is_asked_for():
    given_ = {**GIVEN, "feild_best": 1.0}
    del given_["field_best"]
    result = score(TRIAL, FLOWN, {}, given_)

    assert result.total is None
    assert "field_best (largest payload times distance of the day)" in result.reason
    assert ": give --entered field_best=VALUE (feild_best was given)" in result.reason


def test_all_that_is_missing_is_said_at_once():
    result = score(TRIAL, {}, {}, {})

    assert 4 == result.reason.count("was not computed for this sortie")
    assert 4 == result.reason.count("=VALUE")
    assert 7 == result.reason.count("; ")


def test_what_the_formula_does_not_use_may_be_missing():
    rule = rule_of("10 * laps", {}, {"laps": "laps.count", "w": "wind.speed"}, {"spare": ""})

    assert 30.0 == score(rule, figures(laps__count=3), {}, {}).total.value


def test_a_number_that_is_not_finite_is_not_used():
    result = score(rule_of("a", {}, {}, {"a": "any"}), {}, {}, {"a": math.nan})

    assert result.total is None
    assert "finite" in result.reason


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1 / a", "divides by zero"),
        ("(1 / a) > 5", "divides by zero"),
        ("(1 / a) ** 0", "divides by zero"),
        ("a ** -1", "no finite value"),
        ("sqrt(a - 1)", "root of a negative"),
        ("(a - 1) ** 0.5", "no finite value"),
        ("1e300 * (a + 1e300)", "no finite value"),
        ("clip(a, 2, 1)", "low end above"),
        ("a % a", "divides by zero"),
    ],
)
def test_a_computation_that_fails_is_told_and_does_not_crash(text, said):
    result = score(rule_of(text, {}, {}, {"a": ""}), {}, {}, {"a": 0.0})

    assert result.total is None
    assert said in result.reason
    assert "total can't be computed" in result.reason


def test_one_bad_draw_withholds_the_score():
    rule = rule_of("1 / floor(laps)", {}, {"laps": "laps.count"})
    laps = Posterior.from_samples([0.2] * 1 + [3.0] * 99)
    result = score(rule, figures(laps__count=laps), {}, {})

    assert result.total is None
    assert "a part of the values" in result.reason


# --- uncertainty


def height(value: float, std: float, source: str = "drift") -> Uncertain:
    return Uncertain.of(value, std, "m", source=source)


def test_a_linear_score_has_the_gaussian_spread_of_its_figure():
    rule = rule_of("3 * h + 5", {}, {"h": "climb.height_at_60s"})
    total = score(rule, figures(climb__height_at_60s=height(50.0, 2.0)), {}, {}).total
    low, high = total.interval(0.95)

    assert isinstance(total, Posterior)
    assert total.value == pytest.approx(155.0, abs=0.02)
    assert total.std == pytest.approx(6.0, rel=0.01)
    assert low == pytest.approx(155 - 1.96 * 6, abs=0.15)
    assert high == pytest.approx(155 + 1.96 * 6, abs=0.15)
    assert total.samples.size <= 400


def test_a_shared_error_cancels_in_a_difference_and_another_does_not():
    rule = rule_of("a - b", {}, {"a": "flight.max_height", "b": "climb.height_at_60s"})
    one, same, other = height(60.0, 2.0), height(50.0, 2.0), height(50.0, 2.0, "other")
    shared = score(rule, figures(flight__max_height=one, climb__height_at_60s=same), {}, {}).total
    apart = score(rule, figures(flight__max_height=one, climb__height_at_60s=other), {}, {}).total

    assert shared.value == pytest.approx(10.0, abs=1e-9)
    assert shared.std == pytest.approx(0.0, abs=1e-9)
    assert apart.std == pytest.approx(math.sqrt(8), rel=0.05)


def test_a_posterior_is_drawn_by_its_quantiles():
    rule = rule_of("h", {}, {"h": "climb.height_at_60s"})
    skewed = Posterior.from_samples(np.exp(np.linspace(-2, 2, 2001)), unit="m")
    total = score(rule, figures(climb__height_at_60s=skewed), {}, {}).total

    for p in (0.05, 0.5, 0.95):
        assert total.quantile(p) == pytest.approx(skewed.quantile(p), rel=0.01)


def test_the_same_flight_scores_the_same_every_time():
    flown = FLOWN | figures(climb__height_at_60s=height(50.0, 3.0))
    first, second = (score(TRIAL, flown, {}, GIVEN).total for _ in range(2))

    assert np.array_equal(first.samples, second.samples)
    assert 1002.75 == pytest.approx(first.value, abs=0.05)


def test_whole_points_stay_whole():
    rule = rule_of("floor(h)", {}, {"h": "climb.height_at_60s"})
    total = score(rule, figures(climb__height_at_60s=height(50.0, 2.0)), {}, {}).total

    assert np.array_equal(total.samples, np.round(total.samples))


def test_a_spread_that_does_not_reach_the_score_leaves_it_exact():
    rule = rule_of("min(h, 20)", {}, {"h": "climb.height_at_60s"})
    total = score(rule, figures(climb__height_at_60s=height(50.0, 2.0)), {}, {}).total

    assert (20.0, 0.0) == (total.value, total.std)
