"""Which of many findings to believe. Source: Y. Benjamini and Y. Hochberg, Controlling the false discovery rate,
Journal of the Royal Statistical Society B 57 (1995), 289-300."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pmcore.engines.counts import as_probabilities, one_tail


def discoveries(p_values: ArrayLike, level: float = 0.05) -> NDArray[np.bool_]:
    """Which p-values stand out, so that of those named a share of at most `level` is expected to be false.

    In order p₁ ≤ … ≤ pₘ, all up to the last with pₖ ≤ k · level / m. `level` is the share of false ones, not a
    confidence. The answer has the shape of `p_values`. Raises NotAProbability (nan is none), NotALevel.
    """
    one_tail(level)
    given = as_probabilities(p_values)
    flat = np.sort(given, axis=None)
    within = np.flatnonzero(flat <= level * np.arange(1, flat.size + 1) / max(flat.size, 1))
    return np.asarray(given <= flat[within[-1]]) if within.size else np.zeros(given.shape, bool)
