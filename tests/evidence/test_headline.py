"""The headline and the best: what they say, and that they are no surer than what they say."""

from dataclasses import replace

from survivor.evidence.headline import Pair, best_finding, headline_finding, leader_of
from survivor.evidence.making import unanswered_finding
from survivor.evidence.words import reading
from survivor.settings import Design

RANDOMISED = Design(allocation="random within blocks", plots_placed="random", smallest_difference=5.0)


def _compared(method, estimate, lower, upper, p_adjusted, grade_word, against="usual"):
    """A finding of one comparison and how it reads, smallest difference that matters 5."""
    found = unanswered_finding(f"{method} against {against}", "", f"{method} answer.", "12 months", 365)
    found = replace(
        found,
        methods=(method, against),
        estimate=estimate,
        lower=lower,
        upper=upper,
        grade=grade_word,
        reasons=(f"reasons of {method}",),
        reading=reading(lower, upper, p_adjusted, 5.0),
    )
    return found


MOUND = ("rip, mound", 21.0, 10.0, 32.0, 0.003, "strong")
RIP = ("rip", 12.0, 2.0, 22.0, 0.04, "moderate")
AUGER = ("auger", 3.0, -9.0, 15.0, 1.0, None)
SCALP = ("scalp", -17.0, -30.0, -5.0, 0.03, "moderate")
MAT = ("mat", 0.5, -3.0, 4.0, 1.0, "strong")


def test_the_headline_answers_its_question_with_the_grade_of_what_it_leads_with():
    found = headline_finding([_compared(*each) for each in (SCALP, AUGER, RIP, MOUND, MAT)])
    assert found.question == "Under which preparations were more plants alive than under the usual practice?"
    assert found.answer == (
        "rip, mound answer. “rip” also had clearly more alive than “usual”: 12 more per 100 (95 % CI 2 to 22 "
        "more). The strength of that evidence is moderate. “scalp” had clearly fewer alive than “usual”: 17 "
        "fewer per 100 (95 % CI 5 to 30 fewer). The strength of that evidence is moderate. “mat” "
        "differed from “usual” by less than matters. There is not enough evidence to tell “auger” from "
        "“usual”."
    )
    # The first page grades what it leads with; a weaker second answer has its own grade, in its own words.
    assert (found.grade, found.reasons) == ("strong", ("reasons of rip, mound",))
    assert found.estimate == 21.0


def test_what_the_headline_says_besides_carries_its_own_grade():
    found = headline_finding([_compared(*MOUND), _compared(*SCALP)])
    assert found.grade == "strong"
    assert (
        "17 fewer per 100 (95 % CI 5 to 30 fewer). The strength of that evidence is moderate." in found.answer
    )


def test_where_none_is_better_the_headline_is_as_sure_as_the_least_sure():
    found = headline_finding([_compared(*MAT), _compared(*AUGER)])
    assert found.answer.startswith(
        "There is not enough evidence that more plants were alive under any preparation than under “usual”. "
        "The largest difference seen is that of “auger”: 3 more per 100 (95 % CI 9 fewer to 15 more)."
    )
    assert found.grade is None
    worse = headline_finding([_compared(*SCALP)])
    assert "“scalp” had clearly fewer alive than “usual”" in worse.answer
    assert "largest" not in worse.answer


def test_limits_that_leave_nought_out_are_said_to_be_open_once_comparisons_are_counted():
    """Limits are of the one comparison, p is Holm's: 3 to 24 more and p 0.08 agree when this is said."""
    alone = ("rip", 13.0, 3.0, 24.0, 0.08, None)
    found = headline_finding([_compared(*alone), _compared(*AUGER)])
    assert "There is not enough evidence to tell “auger” from “usual”." in found.answer
    assert (
        "Allowing for the number of comparisons, there is not enough evidence to tell “rip” from “usual”."
        in found.answer
    )


def test_every_preparation_stands_in_the_headline():
    left = [("scalp", "2 plots on one side; 3 are the least"), ("mat", "no site holds both")]
    found = headline_finding([_compared(*MOUND), _compared(*AUGER)], left=left)
    assert found.answer.endswith(
        "“scalp” could not be compared: 2 plots on one side; 3 are the least. “mat” could not be compared: "
        "no site holds both."
    )
    for name in ("rip, mound", "auger", "scalp", "mat"):
        assert name in found.answer


def test_without_a_usual_practice_the_question_names_what_is_compared_with():
    assert (
        headline_finding([_compared(*MOUND)], named=False).question
        == "Under which preparations were more plants alive than under “usual”?"
    )


def _pairs(*others):
    told = []
    for method, estimate, lower, upper, p_adjusted, grade_word in others:
        finding = _compared("mound", estimate, lower, upper, p_adjusted, grade_word, against=method)
        told.append(Pair(method, estimate, lower, upper, p_adjusted, False, finding))
    return told


CLEAR_PAIR = ("usual", 21.0, 10.0, 32.0, 0.003, "strong")
OPEN_PAIR = ("rip", 12.0, 2.0, 22.0, 0.17, "moderate")


def test_best_needs_a_clear_lead_over_each_other():
    found = best_finding("mound", _pairs(CLEAR_PAIR, OPEN_PAIR), 15, RANDOMISED)
    assert found.question == "Is one preparation clearly the best?"
    assert found.answer == (
        "There is not enough evidence to say: “mound” is ahead of all others in these records, but not "
        "clearly of each. Its lead over “rip” is not clear: 12 more per 100 (95 % CI 2 to 22 more; p 0.17 "
        "allowing for all 15 pairs). Clearly behind it: “usual”."
    )
    assert (found.grade, found.reading) == (None, "not enough evidence to say")
    assert (found.methods, found.estimate) == (("mound", "rip"), 12.0)


def test_best_is_as_sure_as_its_least_sure_comparison():
    second = ("rip", 12.0, 6.0, 18.0, 0.01, "moderate")
    found = best_finding("mound", _pairs(CLEAR_PAIR, second), 3, RANDOMISED)
    assert found.answer.startswith("Yes: at these sites “mound” had clearly more alive")
    assert "The nearest is “rip”: 12 more per 100" in found.answer
    assert found.grade == "moderate"


def test_alike_to_within_what_matters_is_an_answer():
    alike = ("rip", 1.0, -2.0, 4.0, 0.9, "strong")
    found = best_finding("mound", _pairs(CLEAR_PAIR, alike), 3, RANDOMISED)
    assert (found.grade, found.reading) == ("strong", "no difference that matters")
    assert not found.answer.startswith("There is not enough")


def test_the_leader_is_ahead_of_most():
    pairs = [("a", "b", 3.0), ("a", "c", -1.0), ("b", "c", -2.0)]
    findings = [
        _compared(one, size, size - 1, size + 1, 1.0, "moderate", against=two) for one, two, size in pairs
    ]
    assert leader_of(findings) == "c"
    assert leader_of(findings[:1]) is None  # of two, the comparison is the answer
