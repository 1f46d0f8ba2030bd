"""The headline and the best: what they say, and that they are no surer than what they say."""

from dataclasses import replace

from survivor.evidence import reading, unanswered_finding
from survivor.evidence.best import Pair, best_finding, leader_of
from survivor.evidence.headline import headline_finding
from survivor.settings import Design

RANDOMISED = Design(allocation="random within blocks", plots_placed="random", smallest_difference=5.0)


def _compared(method, estimate, lower, upper, p_adjusted, grade_word, against="usual"):
    """A finding of one comparison and how it reads, smallest difference worth having 5."""
    found = unanswered_finding(f"{method} against {against}", "", f"{method} answer.", "12 months", 365)
    found = replace(
        found,
        methods=(method, against),
        estimate=estimate,
        lower=lower,
        upper=upper,
        grade=grade_word,
        reasons=(f"reasons of {method}",),
    )
    return found, reading(lower, upper, p_adjusted, 5.0)


MOUND = ("rip, mound", 21.0, 10.0, 32.0, 0.003, "firm")
RIP = ("rip", 12.0, 2.0, 22.0, 0.04, "fair")
AUGER = ("auger", 3.0, -9.0, 15.0, 1.0, "slight")
SCALP = ("scalp", -17.0, -30.0, -5.0, 0.03, "fair")
MAT = ("mat", 0.5, -3.0, 4.0, 1.0, "firm")


def test_the_headline_answers_its_question_and_is_no_surer_than_its_answer():
    found = headline_finding([_compared(*each) for each in (SCALP, AUGER, RIP, MOUND, MAT)])
    assert found.question == "Under which preparations were more plants alive than under the usual practice?"
    assert found.answer == (
        "rip, mound answer. Also clearly better than usual: rip 12 more per 100 (95 % limits 2 to 22 more). "
        "Clearly worse than usual: scalp 17 fewer per 100 (95 % limits 5 to 30 fewer). "
        "No difference worth having from usual: mat. Too little data to tell from usual: auger."
    )
    # It says that two beat the usual practice: as sure as the less sure of them.
    assert (found.grade, found.reasons) == ("fair", ("reasons of rip",))
    assert found.estimate == 21.0


def test_what_the_headline_says_besides_carries_its_own_grade():
    found = headline_finding([_compared(*MOUND), _compared(*SCALP)])
    assert found.grade == "firm"
    assert "scalp 17 fewer per 100 (95 % limits 5 to 30 fewer), how sure: fair." in found.answer


def test_where_none_is_better_the_headline_is_as_sure_as_the_least_sure():
    found = headline_finding([_compared(*MAT), _compared(*AUGER)])
    assert found.answer.startswith(
        "No preparation is shown to be better than usual in these records. "
        "The largest difference seen is that of auger: 3 more per 100 (95 % limits 9 fewer to 15 more)."
    )
    assert found.grade == "slight"
    worse = headline_finding([_compared(*SCALP)])
    assert "Clearly worse than usual: scalp" in worse.answer
    assert "largest" not in worse.answer


def test_limits_that_leave_nought_out_are_said_to_be_open_once_comparisons_are_counted():
    """Limits are of the one comparison, p is Holm's: 3 to 24 more and p 0.08 agree when this is said."""
    alone = ("rip", 13.0, 3.0, 24.0, 0.08, "slight")
    found = headline_finding([_compared(*alone), _compared(*AUGER)])
    assert "Too little data to tell from usual: auger." in found.answer
    assert (
        "Too little data to tell from usual once the number of comparisons is allowed for: rip."
        in found.answer
    )


def test_every_preparation_stands_in_the_headline():
    left = [("scalp", "2 plots on one side; 3 are the least"), ("mat", "no site holds both")]
    found = headline_finding([_compared(*MOUND), _compared(*AUGER)], left=left)
    assert found.answer.endswith(
        "Not compared: scalp (2 plots on one side; 3 are the least); mat (no site holds both)."
    )
    for name in ("rip, mound", "auger", "scalp", "mat"):
        assert name in found.answer


def test_without_a_usual_practice_the_question_names_what_is_compared_with():
    assert (
        headline_finding([_compared(*MOUND)], named=False).question
        == "Under which preparations were more plants alive than under usual?"
    )


def _pairs(*others):
    told = []
    for method, estimate, lower, upper, p_adjusted, grade_word in others:
        finding, _ = _compared("mound", estimate, lower, upper, p_adjusted, grade_word, against=method)
        told.append(Pair(method, estimate, lower, upper, p_adjusted, False, finding))
    return told


CLEAR_PAIR = ("usual", 21.0, 10.0, 32.0, 0.003, "firm")
OPEN_PAIR = ("rip", 12.0, 2.0, 22.0, 0.17, "fair")


def test_best_needs_a_clear_lead_over_each_other():
    found = best_finding("mound", _pairs(CLEAR_PAIR, OPEN_PAIR), 15, RANDOMISED)
    assert found.question == "Is one preparation clearly the best?"
    assert found.answer == (
        "Not shown: mound is ahead of all others in these records, but not clearly ahead of each. "
        "Its lead is not clear over rip: 12 more per 100 (95 % limits 2 to 22 "
        "more; p 0.17 allowing for all 15 pairs). Clearly behind it: usual."
    )
    assert found.grade == "slight"
    assert (found.methods, found.estimate) == (("mound", "rip"), 12.0)


def test_best_is_as_sure_as_its_least_sure_comparison():
    second = ("rip", 12.0, 6.0, 18.0, 0.01, "fair")
    found = best_finding("mound", _pairs(CLEAR_PAIR, second), 3, RANDOMISED)
    assert found.answer.startswith("Yes: at these sites mound had clearly more alive")
    assert "The nearest is rip: 12 more per 100" in found.answer
    assert found.grade == "fair"


def test_alike_to_within_what_matters_is_an_answer():
    alike = ("rip", 1.0, -2.0, 4.0, 0.9, "firm")
    assert best_finding("mound", _pairs(CLEAR_PAIR, alike), 3, RANDOMISED).grade == "firm"


def test_the_leader_is_ahead_of_most():
    pairs = [("a", "b", 3.0), ("a", "c", -1.0), ("b", "c", -2.0)]
    findings = [
        _compared(one, size, size - 1, size + 1, 1.0, "fair", against=two)[0] for one, two, size in pairs
    ]
    assert leader_of(findings) == "c"
    assert leader_of(findings[:1]) is None  # of two, the comparison is the answer
