"""Versions of a guideline: what each said, and what changed from one to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from survivor.errors import GuidelineError
from survivor.guideline import english as en
from survivor.guideline.advice import Advice, facts_of
from survivor.guideline.file import Row
from survivor.guideline.rule import NOT_ANSWERED, bounds_of, lacked
from survivor.words import capital, counted, difference, listed


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
    before, after = _by_key(issued), _by_key(now)
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


def _by_key(version: Version) -> dict[tuple[str, str], Advice]:
    return {(each.ground, each.preparation): each for each in version.advice}


def _printed(advice: Advice) -> tuple[object, ...]:
    return (advice.answer, size_words(advice), advice.n_sites, advice.n_seasons, advice.strength)


def changes(versions: Sequence[Version], rule: Sequence[Row] = ()) -> tuple[Change, ...]:
    """Say what each version changed, the newest first.

    Parameters
    ----------
    versions
        The first first.
    rule
        In force: what it asks for and an earlier version lacked is why advice changed.
    """
    entries = [_first(versions[0])]
    for old, new in pairwise(versions):
        entries.append(_change(old, new, rule))
    for place, version in enumerate(versions[:-1]):
        if not version.recorded:
            said = en.NOT_RECORDED.format(number=version.number)
            entries[place] = replace(entries[place], also=(*entries[place].also, said))
    return tuple(reversed(entries))


def _first(version: Version) -> Change:
    return Change(
        version.number, version.dated, (en.FIRST_VERSION.format(seasons=listed(version.seasons)),), (), ()
    )


def _change(old: Version, new: Version, rule: Sequence[Row]) -> Change:
    also = []
    added = [name for name in new.seasons if name not in old.seasons]
    gone = [name for name in old.seasons if name not in new.seasons]
    if added:
        also.append(en.ADDED.format(seasons=listed(added)))
    if gone:
        also.append(en.GONE.format(seasons=listed(gone)))
    if old.rule != new.rule:
        also.append(en.RULE_CHANGED)
    also += [en.PRACTICE_IN.format(line=line) for line in new.practice if line not in old.practice]
    also += [en.PRACTICE_OUT.format(line=line) for line in old.practice if line not in new.practice]
    before, after = _by_key(old), _by_key(new)
    moved, stood = [], []
    for key, advice in after.items():
        was = before.get(key)
        if was is None:
            moved.append(en.NEW.format(named=_named(advice), answer=advice.answer, rests=_rests(advice)))
        elif was.answer != advice.answer:
            moved.append(_moved(was, advice, rule))
        else:
            stood += _stood(advice, added)
    moved += [en.NO_LONGER.format(named=_named(a)) for key, a in before.items() if key not in after]
    if not moved:
        also.append(en.NOTHING_MOVED)
    return Change(new.number, new.dated, tuple(also), tuple(moved), tuple(stood))


def _moved(was: Advice, now: Advice, rule: Sequence[Row]) -> str:
    facts = facts_of(was)
    lacking = lacked(rule, now.held, facts) if facts is not None else []
    said = [en.MOVED.format(named=_named(now), was=was.answer, now=now.answer, rests=_rests(now))]
    said += [en.ASKS.format(answer=now.answer, what=what) for what in lacking]
    if now.estimate is None or (now.answer == NOT_ANSWERED):
        said.append(en.HELD.format(held=capital(now.held)))
    if now.estimate is not None:
        said.append(en.NOW.format(size=size_words(now, rule)))
    if was.estimate is not None:
        said.append(en.BEFORE.format(size=size_words(was, rule)))
    return " ".join(said)


def _stood(advice: Advice, added: Sequence[str]) -> list[str]:
    """Say where a new season alone would have told a difference that all together do not bear out."""
    lines = []
    for says in advice.seasons:
        clear = says.lower > 0 or says.upper < 0
        against = advice.lower is not None and advice.upper is not None and advice.lower <= 0 <= advice.upper
        if says.season in added and clear and against:
            own, span = difference(says.estimate, says.lower, says.upper)
            parts = (
                en.STOOD.format(named=_named(advice), answer=advice.answer),
                en.STOOD_ALONE.format(season=says.season, size=f"{own} per 100 ({span})"),
                en.STOOD_ALL.format(size=size_words(advice), rests=_rests(advice)),
            )
            lines.append(" ".join(parts))
    return lines


def size_words(advice: Advice, rule: Sequence[Row] = ()) -> str:
    """Write a difference with its limits, or a dash; never as a bound of the rule that it is not."""
    if advice.estimate is None or advice.lower is None or advice.upper is None:
        return "–"
    size, span = difference(advice.estimate, advice.lower, advice.upper, marks=bounds_of(rule))
    return f"{size} per 100 ({span})"


def _named(advice: Advice) -> str:
    return f"{advice.preparation} on {advice.ground}"


def _rests(advice: Advice) -> str:
    if not advice.n_seasons:
        return ""
    return f"; {counted(advice.n_seasons, 'season')}, {counted(advice.n_sites, 'site')}"
