"""Words for states that a sheet holds: what a key beside it explains, and what the sheet itself tells."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, Final

import pandas as pd

from survivor.files import cells
from survivor.files.headers import plain
from survivor.records.guess import Guess
from survivor.records.words import STATE_WORDS, spoken

_MEANINGS: Final = {
    "alive": "alive", "living": "alive", "live": "alive", "dead": "dead", "died": "dead", "green": "alive",
    "healthy": "alive", "survived": "alive", "missing": "missing", "gone": "missing",
    "present": "alive", "absent": "missing", "not found": "not found",
    "not visited": "not visited", "not checked": "not visited", "nobody looked": "not visited",
    "replanted": "replanted", "replaced": "replanted", "dormant": "alive", "leafless": "alive",
}  # fmt: skip
_KNOWN: Final = {spoken(word): str(state) for state, words in STATE_WORDS.items() for word in words}
_SCORES: Final = re.compile(r"\b(?:vigou?r|health|condition|scores?|rating|class)\b", re.IGNORECASE)
_GONE: Final = ("dead", "missing", "replanted")
_YES_OR_NO: Final = {"y": "alive", "yes": "alive", "n": "dead", "no": "dead"}
_YES: Final = ("y", "yes", "1", "true", "x", "✓", "✔")
_NO: Final = ("n", "no", "0", "false")
_DASHES: Final = frozenset({"-", "--", "\N{EN DASH}", "\N{EM DASH}"})
_LONGEST_CODE: Final = 2  # letters: a longer word says by itself what it means
_RARELY: Final = 0.05  # of the plants with such a word that may live on after a dead one: they reshot


def states_met(guess: Guess, beside: Sequence[str]) -> tuple[dict[str, str], dict[str, int]]:
    """Read the words for states that are not known, or that a key gives another meaning.

    Parameters
    ----------
    guess
        A sheet of tagged seedlings.
    beside
        Texts of titles, notes and keys.

    Returns
    -------
    told, asked
        Word -> state; and how often each other word stands there that nobody explains.
    """
    histories = _histories(guess)
    counts = {str(word): int(times) for word, times in histories.stack().value_counts().items() if word}
    of_key = {word: state for word in counts if (state := explained(word, beside)) is not None}
    of_key |= _of_the_dead(guess, counts)
    of_key |= _of_scores(guess, counts, of_key, beside)
    if of_key:  # a key of states, then, and none of preparations alone
        of_key = {**{word: own for word in counts if (own := _in_other_words(word, beside))}, **of_key}
    of_key = {**_of_presence(counts, of_key), **of_key}
    told = {word: state for word, state in of_key.items() if _KNOWN.get(spoken(word)) != state}
    meant = {word: of_key.get(word) or _KNOWN.get(spoken(word)) for word in counts}
    asked = {word: times for word, times in counts.items() if meant[word] is None}
    known = dict(meant)
    headed_alive = any("alive" in plain(guess.grid.header[place]).split() for place in guess.values)
    for word in asked:
        if (state := _by_use(word, asked, known, histories, headed_alive)) is not None:
            told[word] = state
    return told, {word: times for word, times in asked.items() if word not in told}


def _of_presence(counts: dict[str, int], of_key: dict[str, str]) -> dict[str, str]:
    """Read P and A, where no word says dead, as present and absent: A beside P is not alive."""
    words = {spoken(word): word for word in counts}
    dead = any((of_key.get(word) or _KNOWN.get(spoken(word))) == "dead" for word in counts)
    if dead or not {"p", "a"} <= words.keys() or {words["p"], words["a"]} & of_key.keys():
        return {}
    return {words["p"]: "alive", words["a"]: "missing"}


def _of_the_dead(guess: Guess, counts: dict[str, int]) -> dict[str, str]:
    """Read yes and no under headers that ask for the dead: Dead? 5/9/23, Mortality 5/9/23."""
    if not guess.visits or any(visit.counted != "dead" for visit in guess.visits):
        return {}
    meant = {**dict.fromkeys(_YES, "dead"), **dict.fromkeys(_NO, "alive")}
    return {word: meant[spoken(word)] for word in counts if spoken(word) in meant}


def _of_scores(
    guess: Guess, counts: dict[str, int], of_key: dict[str, str], beside: Sequence[str]
) -> dict[str, str]:
    """Read scores of vigour: where the key says that 0 is dead, every higher score is of a living plant."""
    heads = (guess.grid.header[place] for place in guess.values)
    if of_key.get("0") != "dead" or not any(_SCORES.search(text) for text in (*heads, *beside)):
        return {}
    return {word: "alive" for word in counts if re.fullmatch(r"[1-9]|10", word)}


def _histories(guess: Guess) -> pd.DataFrame:
    """One row a plant, one column a visit: words as they stand; rows that sum up left out."""
    keys = [guess.texts_of(word) for word in ("site", "plot", "tag") if guess.matched.has(word)]
    tagged = (
        guess.texts_of("tag") != "" if guess.matched.has("tag") else pd.Series(True, guess.grid.cells.index)
    )
    if guess.visits:
        table = pd.DataFrame({place: cells.texts(guess.grid.cells[place]) for place in guess.values})
        return table[tagged]
    own = pd.DataFrame({"state": cells.texts(guess.grid.cells[guess.values[0]])})
    own["key"] = ["|".join(parts) for parts in zip(*keys, strict=True)] if keys else ""
    own = own[tagged]
    own["turn"] = own.groupby("key").cumcount()
    wide: pd.DataFrame = own.pivot(index="key", columns="turn", values="state").fillna("")
    return wide


def explained(word: str, beside: Sequence[str]) -> str | None:
    """Meaning of a word by a key such as "x dead, OK = alive"; None where it gives none, or two."""
    filling = r"(?:(?!(?:nearly|almost|half|not|near)\b)[^\W\d]+ ){0,4}?"
    between = rf"\s*(?:[=:]\s*{filling}|[-\N{{EN DASH}}]?\s*(?:means? |is |for )?)"
    meaning = rf"(?:^|[\s,;(.]){re.escape(word)}{between}({'|'.join(_MEANINGS)})\b(?P<rest>[^=;.]*)"
    found = set()
    for text in beside:
        for one in re.finditer(meaning, text, re.IGNORECASE):
            state = _MEANINGS[one[1].casefold()]
            # "R = dead, replaced": what follows, but for the next word of the key, belongs to it.
            rest = (
                re.sub(r"[\w?+-]+\s*$", "", one["rest"])
                if text[one.end() : one.end() + 1] == "="
                else one["rest"]
            )
            again = state in _GONE and re.search(r"\b(?:replac|replant|infill|refill)", rest, re.IGNORECASE)
            found.add("replanted" if again else state)
    return found.pop() if len(found) == 1 else None


def _in_other_words(word: str, beside: Sequence[str]) -> str | None:
    """Meaning of a word by a key such as "S = stressed"; one of no known state puts a known code in doubt."""
    for text in beside:
        one = re.search(rf"(?:^|[\s,;(]){re.escape(word)}\s*=\s*([^\W\d][^,;=.)]{{2,}})(?:$|[,;.)])", text)
        one = one or re.fullmatch(rf"{re.escape(word)} ([^\W\d][^=.]{{2,40}})", text)
        if one is not None:
            code = len(word) <= _LONGEST_CODE and spoken(word) in _KNOWN
            return _KNOWN.get(spoken(one[1])) or ("doubtful" if code else None)
    return None


def _by_use(
    word: str,
    asked: dict[str, int],
    meant: dict[str, Any],
    histories: pd.DataFrame,
    headed_alive: bool,
) -> str | None:
    """Tell what the sheet itself says of a word; None where it may mean one thing or another."""
    low = word.casefold()
    states = histories.map(lambda text: meant.get(text) or "")
    some_alive, some_dead = (states == "alive").any(axis=None), states.isin(_GONE).any(axis=None)
    others = {other.casefold() for other in asked} - {low}
    if low in _YES_OR_NO:
        pair = {"y", "yes"} & {low, *others} and {"n", "no"} & {low, *others}
        return _YES_OR_NO[low] if headed_alive or (pair and not some_alive) else None
    if low == "l" and some_dead and not some_alive:
        return "alive"
    if low == "x" and some_alive:
        return "dead" if _stays(histories == word, states == "alive") else None
    if low in _DASHES and "+" not in others:
        return "not visited" if _tells_nothing(histories == word, states) else None
    return None


def _stays(is_word: pd.DataFrame, alive: pd.DataFrame) -> bool:
    """Tell whether hardly any plant is alive after the word: what reshoots is rare."""
    begun = is_word.astype(int).cummax(axis=1).astype(bool)
    after = (alive & begun).any(axis=1)
    plants = is_word.any(axis=1)
    return bool(after[plants].mean() <= _RARELY)


def _tells_nothing(is_word: pd.DataFrame, states: pd.DataFrame) -> bool:
    """Tell whether a dash stands only where nothing is to be said: after a death, or before a plant."""
    dead_before = states.isin(_GONE).astype(int).cummax(axis=1).astype(bool)
    begun = (states != "").astype(int).cummax(axis=1).astype(bool)
    return bool((~is_word | dead_before | ~begun).all(axis=None))
