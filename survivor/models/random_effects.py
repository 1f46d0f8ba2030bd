"""Which random effects a mixed model has: read from a short text, checked against a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.errors import IntervalsError, ModelError
from survivor.intervals import cluster_columns, group_codes

Codes = NDArray[np.intp]


@dataclass(frozen=True)
class Effects:
    """Nested levels of effects, outermost first: their names and the columns that tell their groups."""

    names: tuple[str, ...]
    columns: tuple[tuple[str, ...], ...]

    def codes(self, frame: pd.DataFrame) -> Codes:
        """Group of each row at each level, shape (n, L)."""
        return np.column_stack([group_codes(frame, columns)[0] for columns in self.columns]).astype(np.intp)


def read_effects(frame: pd.DataFrame, random: str | None, cluster: str | Sequence[str] | None) -> Effects:
    """Read levels of effects.

    Parameters
    ----------
    frame
        Risk intervals.
    random
        Levels from the outermost in, parted by ``/``; the columns of a level joined
        by ``:``. For example ``"plot"``, ``"site/plot"``, ``"site:method/plot"``.
        ``plot`` means site, block and plot where present. None: the cluster.
    cluster
        Column(s) of the only level where ``random`` is None.

    Raises
    ------
    ModelError
        When a column is absent, or nothing is named.
    """
    if random is None:
        if cluster is None:
            raise ModelError(
                "a mixed model needs groups that share an effect",
                where="cluster",
                mend='give cluster="plot" or, for nested effects, random="site/plot"',
            )
        given = [cluster] if isinstance(cluster, str) else list(cluster)
        levels = [(":".join(given), given)]
    else:
        texts = [text.strip() for text in random.split("/")]
        levels = [(text, [name.strip() for name in text.split(":")]) for text in texts]
    columns = []
    for _, names in levels:
        found: list[str] = []
        for name in names:
            try:
                found += cluster_columns(frame, name)
            except IntervalsError as problem:
                raise ModelError(
                    f"the table has no column {name!r} to tell the groups of a random effect",
                    where=f"random={random!r}" if random is not None else f"cluster={cluster!r}",
                    mend="name columns of the table",
                ) from problem
        columns.append(tuple(dict.fromkeys(found)))
    return Effects(tuple(name for name, _ in levels), tuple(columns))


def check_effects(effects: Effects, codes: Codes, stratum: Codes, strata: Sequence[str]) -> None:
    """Raise unless the levels are nested and each can be told from the others and the strata.

    Parameters
    ----------
    effects
        The levels.
    codes
        Group of each row at each level, shape (n, L).
    stratum
        Stratum of each row, shape (n,).
    strata
        Columns of the strata.
    """
    count = [len(np.unique(codes[:, level])) for level in range(codes.shape[1])]
    for level, name in enumerate(effects.names):
        if count[level] < 2:
            raise ModelError(
                f"there is only one {name}, so no variation between them can be told",
                where="random effect",
                mend="leave that effect out",
            )
        # Strata levels stand for the effect already where every stratum lies in one group.
        if strata and not _splits(codes[:, level], stratum):
            raise ModelError(
                f"a level for each {' and '.join(strata)} leaves nothing for a random effect of {name}",
                where="strata",
                mend=f"give strata=None, or leave {name} out of the random effects",
            )
        if not level:
            continue
        outer = effects.names[level - 1]
        if _splits(codes[:, level - 1], codes[:, level]):
            raise ModelError(
                f"some {name} lies in more than one {outer}; only nested effects are offered",
                where="random effect",
                mend=f"name the level so that it lies within the outer one, for example {outer}:{name}",
            )
        if count[level] == count[level - 1]:
            raise ModelError(
                f"every {outer} holds one {name}, so their effects cannot be told apart",
                where="random effect",
                mend=f"leave {outer} or {name} out",
            )


def _splits(parts: Codes, whole: Codes) -> bool:
    """Whether some group of ``whole`` holds rows of more than one group of ``parts``."""
    pairs = np.unique(whole.astype(np.int64) * (int(parts.max()) + 1) + parts)
    return len(pairs) > len(np.unique(whole))
