"""Where chance comes from: a stream for each name, so that nothing drawn here moves anything drawn there."""

import random


def stream(seed: int, *name: object) -> random.Random:
    """The stream of this name: the same for the same seed, whatever else is drawn."""
    return random.Random("/".join(map(str, (seed, *name))))
