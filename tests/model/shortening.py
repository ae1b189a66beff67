"""A run that ended in a difference, cut down to the steps that it takes. Hypothesis shrinks by choices drawn, which
changes what later steps mean; here whole steps are left out, and the same difference must come."""

import re
import traceback
from collections.abc import Sequence
from dataclasses import dataclass

from hypothesis.stateful import RULE_MARKER
from machine import ArchiveMachine

from catalogue.intake.tidy import Level

STEP = re.compile(r"\s*state\.(\w+)\((.*)\)$")
INVARIANTS = ("known_contents_agree", "findings_agree", "copies_agree", "filing_agrees", "log_agrees", "ledger_agrees")
LEFT_OUT = {"begin", "teardown", *INVARIANTS}


@dataclass(frozen=True)
class Difference:
    """``where`` is function and kind of error, ``step`` the number of the last step, ``told`` the whole traceback."""

    where: tuple[str, ...]
    step: int
    told: str


def steps_in(text: str) -> list[str]:
    """The steps that a report of Hypothesis lists, as calls of methods: ``undo(newest=True, number=4)``."""
    found = [match for line in text.splitlines() if (match := STEP.match(line))]
    return [re.sub(r"<(Level\.\w+): [^>]*>", r"\1", f"{m[1]}({m[2]})") for m in found if m[1] not in LEFT_OUT]


def difference_of(steps: Sequence[str]) -> Difference | None:
    """The first difference after the beginning and these steps. One whose precondition does not hold is left out."""
    machine, number = ArchiveMachine(), -1
    try:
        machine.begin()
        for step in steps:
            number += 1
            rule = getattr(getattr(type(machine), step.split("(")[0]), RULE_MARKER)
            if all(holds(machine) for holds in rule.preconditions):
                eval(f"machine.{step}", {"machine": machine, "Level": Level})
                for name in INVARIANTS:
                    getattr(machine, name)()
    except Exception as error:
        where = type(error).__name__, traceback.extract_tb(error.__traceback__)[-1].name
        return Difference(where, number, "".join(traceback.format_exception(error, chain=False)))
    finally:
        machine.teardown()
    return None


def shortened(steps: Sequence[str]) -> list[str]:
    """As few of the steps as still end in the same difference; all of them where they end in none."""
    first = difference_of(steps)
    if first is None:
        return list(steps)
    kept = list(steps[:first.step + 1])
    size = max(1, len(kept) // 4)
    while size:
        start = 0
        while start < len(kept):
            tried = kept[:start] + kept[start + size:]
            then = difference_of(tried)
            if then is not None and then.where == first.where:
                kept = tried[:then.step + 1]
            else:
                start += size
        size //= 2
    return kept
