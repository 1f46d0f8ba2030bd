"""Versions of a guideline: what each said, and what changed from one to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from survivor.errors import GuidelineError
from survivor.figures.words import difference
from survivor.guideline.advice import Advice, facts_of
from survivor.guideline.file import Row
from survivor.guideline.rule import NOT_ANSWERED, bounds_of, lacked


@dataclass(frozen=True)
class Version:
    """One version: its number and day, the seasons it rests on, its rule in words, advice and practice."""

    number: int
    dated: str
    seasons: tuple[str, ...]
    rule: tuple[str, ...]
    advice: tuple[Advice, ...]
    practice: tuple[str, ...] = ()
    recorded: bool = False  # as issued, not reckoned again


@dataclass(frozen=True)
class Change:
    """What one version changed: in a sentence each.

    ``moved`` advice that changed and why; ``stood`` advice that did not, though a season alone
    looked otherwise; ``also`` seasons, rule and practice.
    """

    number: int
    dated: str
    also: tuple[str, ...]
    moved: tuple[str, ...]
    stood: tuple[str, ...]


def refuse_other_advice(issued: Version, now: Version, name: str) -> None:
    """Raise where a version was issued with other advice: what was handed out does not change in silence.

    Raises
    ------
    GuidelineError
        Naming the first that differs.
    """
    before = {(a.ground, a.preparation): a for a in issued.advice}
    after = {(a.ground, a.preparation): a for a in now.advice}
    differ = [
        f"{key[1]} on {key[0]}"
        for key in {**before, **after}
        if (key in before) != (key in after) or _printed(before[key]) != _printed(after[key])
    ]
    if differ or issued.practice != now.practice:
        what = differ[0] if differ else "local practice"
        raise GuidelineError(
            f"version {issued.number} was issued with other content ({what}"
            + (f" and {len(differ) - 1} more)" if len(differ) > 1 else ")"),
            where=name,
            mend=f"set version = {issued.number + 1}, and give new seasons since = {issued.number + 1}; "
            "--draft makes a page without issuing it",
        )


def _printed(advice: Advice) -> tuple[object, ...]:
    return (advice.answer, size_words(advice), advice.n_sites, advice.n_seasons, advice.grade)


def changes(versions: Sequence[Version], rule: Sequence[Row] = ()) -> tuple[Change, ...]:
    """Say what each version changed, the newest first.

    Parameters
    ----------
    versions
        The first first.
    rule
        In force: what it asks for and an earlier version lacked is why advice changed.
    """
    found = [_first(versions[0])]
    for old, new in pairwise(versions):
        found.append(_change(old, new, rule))
    for place, version in enumerate(versions[:-1]):
        if not version.recorded:
            said = (
                f"No record of version {version.number} as issued is kept: it is reckoned again from the "
                "seasons that this file names."
            )
            found[place] = replace(found[place], also=(*found[place].also, said))
    return tuple(reversed(found))


def _first(version: Version) -> Change:
    return Change(
        version.number, version.dated, (f"First version; rests on {_listed(version.seasons)}.",), (), ()
    )


def _change(old: Version, new: Version, rule: Sequence[Row]) -> Change:
    also = []
    added = [name for name in new.seasons if name not in old.seasons]
    gone = [name for name in old.seasons if name not in new.seasons]
    if added:
        also.append(f"Season taken in: {_listed(added)}.")
    if gone:
        also.append(f"Season left out: {_listed(gone)}.")
    if old.rule != new.rule:
        also.append("The rule that turns findings into advice was changed.")
    also += [f"Local practice entered: {line}." for line in new.practice if line not in old.practice]
    also += [f"Local practice taken out: {line}." for line in old.practice if line not in new.practice]
    before = {(a.ground, a.preparation): a for a in old.advice}
    moved, stood = [], []
    for advice in new.advice:
        was = before.get((advice.ground, advice.preparation))
        if was is None:
            moved.append(f"{_named(advice)}: new, {advice.answer}{_rests(advice)}.")
        elif was.answer != advice.answer:
            moved.append(_moved(was, advice, rule))
        else:
            stood += _stood(advice, added)
    kept = {(a.ground, a.preparation) for a in new.advice}
    moved += [f"{_named(a)}: no longer in the guideline." for key, a in before.items() if key not in kept]
    if not moved:
        also.append("No advice changed.")
    return Change(new.number, new.dated, tuple(also), tuple(moved), tuple(stood))


def _moved(was: Advice, now: Advice, rule: Sequence[Row]) -> str:
    facts = facts_of(was)
    lacking = lacked(rule, now.held, facts) if facts is not None else []
    why = f"“{now.answer}” asks for {'; '.join(lacking)}. The" if lacking else "the"
    if now.estimate is not None:
        why += f" difference is now {size_words(now, rule)}"
        why += f", was {size_words(was, rule)}" if was.estimate is not None else ""
    else:
        why = now.held + (f"; the difference was {size_words(was, rule)}" if was.estimate is not None else "")
    if now.answer == NOT_ANSWERED and now.estimate is not None:
        why += f"; {now.held}"
    return f"{_named(now)}: from {was.answer} to {now.answer}{_rests(now)}. Why: {why}."


def _stood(advice: Advice, added: Sequence[str]) -> list[str]:
    """Say where a new season alone would have told a difference that all together do not bear out."""
    found = []
    for says in advice.seasons:
        clear = says.lower > 0 or says.upper < 0
        against = advice.lower is not None and advice.upper is not None and advice.lower <= 0 <= advice.upper
        if says.season in added and clear and against:
            own, span = difference(says.estimate, says.lower, says.upper)
            found.append(
                f"{_named(advice)}: stays {advice.answer}. {says.season} alone showed {own} per 100 "
                f"({span}), "
                "limits by plot, one of several looked at; all together "
                f"{size_words(advice)}{_rests(advice)}."
            )
    return found


def size_words(advice: Advice, rule: Sequence[Row] = ()) -> str:
    """Write a difference with its limits, or a dash; never as a bound of the rule that it is not."""
    if advice.estimate is None or advice.lower is None or advice.upper is None:
        return "–"
    said, span = difference(advice.estimate, advice.lower, advice.upper, marks=bounds_of(rule))
    return f"{said} per 100 ({span})"


def _named(advice: Advice) -> str:
    return f"{advice.preparation} on {advice.ground}"


def _rests(advice: Advice) -> str:
    if not advice.n_seasons:
        return ""
    return f"; {many(advice.n_seasons, 'season')}, {many(advice.n_sites, 'site')}"


def many(count: int, word: str) -> str:
    """Write a count with its noun."""
    return f"{count:,} {word}{'' if count == 1 else 's'}"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
