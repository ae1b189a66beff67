"""Garbage collection between keys, because a collection over the screens' objects takes longer than a key may."""

import gc

EVERY = 0.2         # seconds between two looks
BREATH, REST = 0.25, 1.0    # seconds without a key: enough for what is new, and for all
PILED_UP = 5_000    # new objects worth a look


def collect_when_idle(idle: float) -> None:
    """Collect garbage if no key came for ``idle`` seconds and that is long enough."""
    young, middle, old = gc.get_count()
    if idle > REST and middle > 10:
        gc.collect(2 if old > 10 else 1)
    elif idle > BREATH and young > PILED_UP:
        gc.collect(0)


def freeze_objects() -> None:
    """Exempt the objects that exist now from future collections."""
    gc.collect()
    gc.freeze()
