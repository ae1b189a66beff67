"""Measuring how fast the terminal answers: over a slow line pictures come later, smaller and coarser."""

AUTO, FAST, SLOW = "auto", "fast", "slow"
LARGE = 8_000           # bytes of an update that is worth measuring
SLOW_SECONDS = 0.6      # until the terminal has taken it: slow, if twice in a row
FAST_SECONDS = 0.15     # as quick as this: fast again


class LineSpeed:
    """How fast the terminal is. ``setting`` is AUTO, FAST or SLOW; only AUTO is measured.

    A terminal answers a question after processing all that was sent before it; the delay after a large update shows how
    long a person waits for it. Moments are in seconds of any monotonic clock.
    """

    def __init__(self, setting: str) -> None:
        self._measured = setting == AUTO
        self.slow = setting == SLOW
        self._answers = False
        self._asked: float | None = None
        self._slow_ones = 0

    def wants_answer(self, size: int, moment: float) -> bool:
        """Whether to ask the terminal now that ``size`` bytes were sent; it is then taken for asked."""
        if not (self._measured and self._answers and self._asked is None and size >= LARGE):
            return False
        self._asked = moment
        return True

    def answered(self, moment: float) -> None:
        """The terminal has answered the question at the start or one of these."""
        self._answers = True
        if self._asked is None:
            return
        took, self._asked = moment - self._asked, None
        self._slow_ones = self._slow_ones + 1 if took > SLOW_SECONDS else 0
        if self._slow_ones > 1:
            self.slow = self._measured
        elif took < FAST_SECONDS and self._measured:
            self.slow = False
